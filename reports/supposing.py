"""Changes that are only thought of, as typed: `sides=1/32`, `sides@nock=1/16`, `brace=+1/8`, `glass=.045`.

A removal is written with its method and an amount, for the whole limb or at places; at one place alone it runs out to
nothing at the measured places beside it. Anything else is a value, or with a sign before it a step from the value as
last noted.
"""

from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import get_args

from datasets import notation
from datasets.book import read_record
from datasets.contents import Contents
from datasets.mistakes import RawRecord, nearest
from datasets.notation import Quantity
from datasets.record import DrawLength, NamedPlace, ZeroPoint
from datasets.schema import Method, Part, Removal, StringMaterial
from predictor.prediction.supposed import (
    Supposed,
    wider,
    with_brace,
    with_glass,
    with_length,
    with_removal,
    with_string,
)
from reports.adding import told
from reports.cuts_typed import in_full, limb_length, runs_out_in_words

EXAMPLE = "write it such as sides=1/32, sides@nock=1/16 or brace=+1/8"

STEPS = "+-"


def suppose(bow: Supposed, typed: Sequence[str], contents: Contents, *, measured: bool) -> Supposed:
    """Return a bow with all of what was typed changed about it.

    Args:
        bow: as it is.
        typed: changes, each one or several with commas between them.
        contents: the book that the bow is of.
        measured: whether what is taken off is measured afterwards, so that carrying it out is no doubt.

    Raises:
        ValueError: one of them cannot be read; in one line.
    """
    cuts: dict[Method, list[dict[str, str]]] = defaultdict(list)
    said: set[str] = set()
    for change in _each(typed):
        if change.method is None and change.word in said:
            raise ValueError(f"wanted {change.word} once, got it twice; say it once, steps added up")
        said.add(change.word)
        if change.method is not None:
            cuts[change.method].append({"amount_in": change.value, **change.at})
        elif change.word in _VALUES and not change.at:
            bow = _VALUES[change.word](bow, change.value)
        else:
            raise ValueError(
                f"wanted something of a bow to change, got {change.what!r}; "
                f"{nearest(change.what, [*Method, *_VALUES])}"
            )
    for method, of_method in cuts.items():
        bow = _taken_off(bow, method, of_method, contents, measured=measured)
    return bow


def in_words(typed: Sequence[str], bow: Supposed, contents: Contents) -> str:
    """Return changes as one says them, such as `sides 1/32 less all along, brace +1/8`.

    Args:
        typed: the changes.
        bow: as it is, for where along its limb a cut at one place runs out.
        contents: the book that the bow is of.
    """
    changes = list(_each(typed))
    length = limb_length(bow.build, bow.events, contents)
    methods = [change.method for change in changes]
    return ", ".join(change.in_words(length, alone=methods.count(change.method) == 1) for change in changes)


@dataclass(frozen=True)
class _Change:
    """One change as typed: of what, at which place of the limb, and by or to what."""

    word: str
    place: str
    value: str

    @property
    def what(self) -> str:
        """What is changed, with its place."""
        return f"{self.word}@{self.place}" if self.place else self.word

    @property
    def at(self) -> dict[str, str]:
        """The place as a field of a cut; nothing for the whole limb."""
        return {"at": self.place} if self.place else {}

    @property
    def method(self) -> Method | None:
        """How stock is taken off, if that is the change."""
        name = self.word.replace(" ", "-")
        return Method(name) if name in tuple(Method) else None

    def in_words(self, length: float | None, *, alone: bool) -> str:
        """Return the change as one says it, on a limb of a length in inches; alone it runs out beside its place."""
        named = self.place.lower() in get_args(NamedPlace)
        at = f" at the {self.place}" if named else f" {self.place} in from the fade"
        if not self.place:
            at = " all along"
        elif alone and self.method not in (None, Method.SHORTEN):
            at += f", {runs_out_in_words(self.place, length)}"
        match self.method:
            case None:
                return f"{self.word} {self.value}"
            case Method.EDGES:
                return f"edges rounded to {self.value}{at}"
            case Method.SHORTEN:
                return f"{self.value} off each nock end"
            case method:
                return f"{method.replace('-', ' ')} {self.value} less{at}"


def _each(typed: Sequence[str]) -> Iterator[_Change]:
    for text in (part.strip() for one in typed for part in one.split(",")):
        what, _, value = text.partition("=")
        word, _, place = what.partition("@")
        if not word.strip() or not value.strip():
            raise ValueError(f"wanted something with its change, got {text!r}; {EXAMPLE}")
        yield _Change(word.strip(), place.strip(), value.strip())


def _taken_off(
    bow: Supposed, method: Method, cuts: Sequence[Mapping[str, str]], contents: Contents, *, measured: bool
) -> Supposed:
    last = max((int(event.id.split("/")[1]) for event in bow.events), default=0)
    cuts = in_full(method, cuts, bow.build, bow.events, contents)
    data = {
        "id": f"{bow.build.id}/{last + 1}",
        "build": bow.build.id,
        "on": max((event.on for event in bow.events), default=date.today()).isoformat(),
        "method": method,
        "done" if measured else "planned": list(cuts),
    }
    raw = RawRecord("removal", data, 0)
    outcome = read_record(raw.kind, data, contents.plus(bow.build))
    if not isinstance(outcome.record, Removal) or outcome.refused:
        raise ValueError(told([raw], [outcome]).mistakes[0].message)
    return with_removal(bow, outcome.record)


def _stepped(value: str, now: float, quantity: Quantity) -> float:
    """Return a length as it is after a step that is typed with its sign."""
    return notation.read(f"{now + _step(value, Quantity.OFFSET)} in", quantity)


def _step(value: str, quantity: Quantity) -> float:
    size = notation.read(value[1:], quantity)
    return -size if value[0] == "-" else size


def _length(bow: Supposed, value: str) -> Supposed:
    if value[0] in STEPS:
        return with_length(bow, _stepped(value, bow.build.length_in.inch, Quantity.LENGTH))
    return with_length(bow, notation.read(value, Quantity.LENGTH))


def _width(bow: Supposed, value: str) -> Supposed:
    if value[0] not in STEPS:
        raise ValueError(f"wanted how much wider all along, got {value!r}; write it such as width=+1/16")
    return wider(bow, _step(value, Quantity.AMOUNT))


LEAST_GLASS_IN = 0.01
"""Thinner glass is none that one could press: common practice, no source."""


def _glass(bow: Supposed, value: str) -> Supposed:
    if value[0] in STEPS:
        changed = with_glass(bow, _step(value, Quantity.AMOUNT), more=True)
    else:
        changed = with_glass(bow, notation.read(value, Quantity.THICKNESS), more=False)
    thinnest = min(
        (layer.butt_in.inch for layer in changed.build.layers if layer.part is Part.GLASS),
        default=LEAST_GLASS_IN,
    )
    if thinnest < LEAST_GLASS_IN:
        raise ValueError(
            f"wanted glass of at least {LEAST_GLASS_IN:.3f} in, got {thinnest:.4f} in from {value!r}; "
            "write its thickness such as glass=.045, or a step such as glass=-.005"
        )
    return changed


def _brace(bow: Supposed, value: str) -> Supposed:
    now = bow.brace()
    if value[0] in STEPS:
        return with_brace(bow, _stepped(value, now.inch, Quantity.BRACE))
    inch, zero = notation.read_zeroed(value, Quantity.BRACE)
    if zero not in (None, now.zero):
        raise ValueError(
            f"wanted a brace height counted from the {now.zero}, as it was noted, got {value!r}; write it so"
        )
    return with_brace(bow, inch)


def _draw(bow: Supposed, value: str) -> Supposed:
    now = bow.draw
    if value[0] in STEPS:
        return replace(bow, draw=DrawLength(inch=_stepped(value, now.inch, Quantity.DRAW), zero=now.zero))
    inch, zero = notation.read_zeroed(value, Quantity.DRAW)
    return replace(bow, draw=DrawLength(inch=inch, zero=ZeroPoint(zero or now.zero)))


def _strands(bow: Supposed, value: str) -> Supposed:
    now = bow.string()
    step = value[0] in STEPS
    count = notation.read_count(value[1:] if step else value)
    if step:
        count = now.strands + (-count if value[0] == "-" else count)
    if not 4 <= count <= 40:
        raise ValueError(f"wanted 4 to 40 strands, got {count}; count them")
    return with_string(bow, now.model_copy(update={"strands": count}))


def _string(bow: Supposed, value: str) -> Supposed:
    if value not in tuple(StringMaterial):
        raise ValueError(f"wanted a string of {' or '.join(StringMaterial)}, got {value!r}; choose one")
    return with_string(bow, bow.string().model_copy(update={"material": StringMaterial(value)}))


_VALUES: dict[str, Callable[[Supposed, str], Supposed]] = {
    "length": _length,
    "width": _width,
    "glass": _glass,
    "brace": _brace,
    "draw": _draw,
    "strands": _strands,
    "string": _string,
}
