"""Questions at a terminal, one field after the other; what was typed is never lost.

An answer is read as the record's own field would be; a wrong one is told why and asked again.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import typer
from pydantic import BaseModel, ValidationError

from datasets.contents import Contents
from datasets.mistakes import RawRecord, mistakes_of
from datasets.schema import KINDS, Layer, ProfileReading, Reading, StripLoad, WidthReading


class InterruptedAskingError(Exception):
    """The questions were left before the last one; says where the answers are."""


@dataclass(frozen=True)
class Question:
    """One field to ask for."""

    field: str
    text: str
    needed: bool = True


@dataclass(frozen=True)
class Rows:
    """A list to ask for, a line an item: its fields in order, parted by commas; an empty line ends it."""

    field: str
    text: str
    model: type[BaseModel]
    fields: tuple[str, ...]
    least: int


_PROFILE = Rows(
    "profile",
    "Profile of the limb's back, a line a station: inches from the bow's centre, offset from a straight edge "
    "laid on the riser's back (+ toward the back). Such as: 24, 3/4",
    ProfileReading,
    ("at_in", "offset_in"),
    2,
)
_LAYERS = Rows(
    "layers",
    "Layers from back to belly, a line each: part, material, butt, tip (if tapered). "
    "Such as: core, hard maple, .130, .100",
    Layer,
    ("part", "material", "butt_in", "tip_in"),
    1,
)
_WIDTHS = Rows(
    "widths",
    "Widths, a line each: place (fade, mid, nock or inches from the fade), belly, back (if trapped). "
    "Such as: fade, 1 1/4",
    WidthReading,
    ("at", "belly_in", "back_in"),
    2,
)
_READINGS = Rows(
    "readings", "Readings, a line each: draw, weight. Such as: 28, 52 1/2", Reading, ("draw", "weight"), 1
)

_LOADS = Rows(
    "loads",
    "Loads, a line each: weight hung on it, how far it went down from where it lay bare. Such as: 2 lb, .42",
    StripLoad,
    ("load", "deflection_in"),
    1,
)

QUESTIONS: Mapping[str, Sequence[Question | Rows]] = {
    "form": (
        Question("id", "Name of the form in small letters, such as ridge-66"),
        Question("kind", "Kind: straight, reflex-deflex or recurve"),
        Question("riser_length_in", "Riser, from fade end to fade end"),
        Question("handle_depth_in", "Handle, from the back of the riser to the deepest of the grip"),
        Question("limb_length_in", "Limb, from fade end to nock along the back"),
        _PROFILE,
        Question("note", "Note", needed=False),
    ),
    "build": (
        Question("form", "Form"),
        Question("length_in", "Length, nock to nock along the back"),
        _LAYERS,
        _WIDTHS,
        Question("brace", "Brace height"),
        Question("built", "Built on, such as 2026-05-31", needed=False),
        Question("note", "Note", needed=False),
    ),
    "weigh_in": (
        Question("build", "Build, such as K-014"),
        Question("on", "Weighed on, such as 2026-05-31"),
        Question("stage", "Stage: blank, first-draw, tillered, finished or settled"),
        _READINGS,
        Question("scale", "Scale", needed=False),
        Question("note", "Note", needed=False),
    ),
    "scale": (
        Question("id", "Name of the scale in small letters, such as hanging-digital"),
        Question("division_lbf", "Smallest step it shows, in pounds"),
        Question("note", "Note", needed=False),
    ),
    "strip": (
        Question("material", "Material of the strip"),
        Question("lot", "Lot, the delivery or board it came from", needed=False),
        Question("on", "Bent on, such as 2026-05-31"),
        Question("support", "Held: three-point (on two edges, loaded midway) or cantilever"),
        Question("span_in", "Span between the edges, or from the clamp to the load"),
        Question("width_in", "Width"),
        Question("thickness_in", "Thickness, mean over the span"),
        _LOADS,
        Question("note", "Note", needed=False),
    ),
}


def ask(kind: str | None, contents: Contents, draft: Path) -> RawRecord:
    """Ask for one record at the terminal.

    Args:
        kind: what to ask for (default: asked for too).
        contents: the book, whose forms are named.
        draft: where the answers go if the questions are left early.

    Raises:
        InterruptedAskingError: they were left early.
    """
    answers: dict[str, Any] = {}
    asked = kind if kind is not None and kind in QUESTIONS else ""
    try:
        while asked not in QUESTIONS:
            asked = _typed(f"What to add: {', '.join(QUESTIONS)}").replace("-", "_")
        if asked == "build" and contents.forms:
            typer.echo(f"Forms of the book: {', '.join(sorted({name for name, _ in contents.forms}))}")
        for question in QUESTIONS[asked]:
            _ask_one(asked, question, answers)
    except (typer.Abort, KeyboardInterrupt, EOFError):
        if not answers:
            raise InterruptedAskingError("stopped; nothing had been typed") from None
        save_draft(draft, asked, answers)
        raise InterruptedAskingError(
            f"stopped; the answers so far are in {draft}: finish it and add that file"
        ) from None
    if asked == "form":
        answers["revision"] = contents.latest_revision(answers["id"]) + 1
    if asked == "build":
        answers["form_revision"] = max(contents.latest_revision(answers["form"]), 1)
    return RawRecord(asked, answers, 0)


def _ask_one(kind: str, question: Question | Rows, answers: dict[str, Any]) -> None:
    """Ask one question; a list grows line by line, so that an interruption leaves the lines so far."""
    if isinstance(question, Rows):
        rows: list[dict[str, str]] = answers.setdefault(question.field, [])
        for row in _rows(question):
            rows.append(row)  # noqa: PERF402 # extend would lose the lines when the questions are left
    elif answer := _answer(kind, question):
        answers[question.field] = answer


def save_draft(path: Path, kind: str, answers: Mapping[str, Any]) -> None:
    """Write answers as a file that `add` takes."""
    lines = [f"[[{kind}]]"]
    lines += [f"{field} = {_toml(value)}" for field, value in answers.items() if not isinstance(value, list)]
    for field, rows in answers.items():
        for row in rows if isinstance(rows, list) else ():
            lines += ["", f"[[{kind}.{field}]]", *(f"{name} = {_toml(value)}" for name, value in row.items())]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")


def _toml(value: object) -> str:
    if isinstance(value, int):
        return str(value)
    escaped = str(value).replace("\\", "\\\\").replace('"', '\\"')
    return f'"{escaped}"'


def _typed(text: str) -> str:
    return str(typer.prompt(text, default="", show_default=False)).strip()


def _answer(kind: str, question: Question) -> str:
    """Return the answer to one question; empty only where it may be left out."""
    while True:
        hint = "" if question.needed else " (Enter for none)"
        typed = _typed(question.text + hint)
        wrong = _wrong(KINDS[kind], {question.field: typed}, question.field) if typed else None
        if typed and wrong is None:
            return typed
        if not typed and not question.needed:
            return ""
        typer.echo(f"  {wrong or 'this one is needed'}")


def _rows(rows: Rows) -> Iterator[dict[str, str]]:
    typer.echo(f"{rows.text}. An empty line ends the list.")
    count = 0
    while True:
        typed = _typed(f"  {count + 1}")
        if not typed:
            if count >= rows.least:
                return
            typer.echo(f"  at least {rows.least} are needed")
            continue
        words = [word.strip() for word in typed.split(",")]
        if len(words) > len(rows.fields):
            typer.echo(f"  wanted {', '.join(rows.fields)}, got {len(words)} words; part them by commas")
            continue
        row = {field: word for field, word in zip(rows.fields, words, strict=False) if word}
        wrong = _wrong(rows.model, row)
        if wrong:
            typer.echo(f"  {wrong}")
            continue
        count += 1
        yield row


def _wrong(model: type[BaseModel], data: Mapping[str, Any], field: str | None = None) -> str | None:
    """Return what is wrong with a row, or with one field whatever the others are."""
    try:
        model.model_validate(data)
    except ValidationError as invalid:
        for mistake, detail in zip(
            mistakes_of(invalid, RawRecord("answer", data, 0), model), invalid.errors(), strict=False
        ):
            if field is None or detail["loc"][:1] == (field,):
                return mistake.message
    return None
