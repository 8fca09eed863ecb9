"""The command line: each command opens the book, calls one thing and prints. Exit codes are known here only.

Exit codes: 0 fine, 1 done with findings or no answer, 2 usage or bad input, 3 could not.
"""

import json
import os
import shlex
import sys
import tempfile
import traceback
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import date, datetime, time
from enum import StrEnum
from importlib.metadata import version
from itertools import chain, count
from pathlib import Path
from time import perf_counter
from typing import Annotated, Any

import typer
from rich.console import Console

from datasets import notation
from datasets.book import PREFIXES, Outcome, ShopBook, read_record
from datasets.contents import Contents
from datasets.files import Reading
from datasets.history import bow_at
from datasets.materials import named
from datasets.mistakes import RawRecord, nearest
from datasets.record import DrawLength, Record, Side
from datasets.schema import (
    KINDS,
    Build,
    Form,
    Method,
    Order,
    Part,
    Removal,
    Stage,
    StripTest,
    Support,
    WeighIn,
)
from datasets.store import BookError
from datasets.zero_points import from_back
from predictor.bow import Refusal, handbook_moduli
from predictor.model import Model, ModelError
from predictor.model_file import load_model, model_path, staleness
from predictor.prospects import Judged
from predictor.swaps import Change
from predictor.tiller import SPLIT_FINGER_IN, tillered
from predictor.what_if import WhatIf
from predictor.worth import worth
from reports import (
    adding,
    asking,
    demo,
    expectation,
    layup,
    layup_told,
    orders,
    reference,
    second_look,
    settings,
    show,
    stock,
    strips,
    what_if,
)
from reports.budget import show_budget
from reports.learned import learn, learned_json, show_learned
from reports.plan import plan_for, show_plan
from reports.prediction import show_prediction
from reports.printing import Units, console, note, table
from reports.shapes import shapes
from reports.tiller import show_tiller
from reports.usage import UsageError, in_words, shortened
from reports.worth import show_worth, worth_json

FINE, FINDINGS, BAD_INPUT, COULD_NOT = 0, 1, 2, 3

DEFAULT_BOOK = Path("shop.book")

TYPED = "what was typed"
"""Stands for the file in messages about the command line itself."""

ANY_MARK = "50#@28"
"""Stands for a target where bows are only compared at its draw."""

app = typer.Typer(
    name="drawweight",
    help="Predict the draw weight of laminated bows from the shop's own book and beam physics.",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)

UnitSystem = StrEnum("UnitSystem", {"INCH": "inch", "METRIC": "metric"})
Kind = StrEnum("Kind", {kind.upper(): kind for kind in KINDS})  # type: ignore[misc]  # made from the records


class StopError(Exception):
    """Ends a command with a message and an exit code."""

    def __init__(self, message: str, code: int = BAD_INPUT) -> None:
        super().__init__(message)
        self.code = code


@dataclass
class _Call:
    """What was typed: the whole line, and the book it is about."""

    argv: Sequence[str]
    book: Path


def run(argv: Sequence[str]) -> int:
    """Run one command line and return its exit code; every failure is one line on the channel of errors.

    Args:
        argv: what was typed after `drawweight`.
    """
    try:
        result = typer.main.get_command(app).main(
            args=list(argv), prog_name="drawweight", standalone_mode=False, obj=_Call(argv, DEFAULT_BOOK)
        )
        sys.stdout.flush()
    except StopError as stop:
        return _failed(str(stop), stop.code)
    except BookError as error:
        return _failed(str(error), error.exit_code)
    except UsageError as error:
        return _failed(
            in_words(error, argv, [command.name or "" for command in app.registered_commands]), BAD_INPUT
        )
    except (KeyboardInterrupt, typer.Abort):
        return _failed("stopped; nothing was kept", FINDINGS)
    except SystemExit:  # how the parser and the console say that nobody reads any longer
        return FINE
    except BrokenPipeError:
        sys.stdout = open(os.devnull, "w", encoding="utf-8")  # noqa: SIM115 # lives until the process ends
        return FINE
    except OSError as error:
        named = shortened(str(error.filename or "a file"))
        return _failed(f"wanted to use {named}, got: {error.strerror}; check the path", COULD_NOT)
    except Exception as error:  # noqa: BLE001 # the last net, so that nobody at the bench meets a traceback
        return _failed(_saved_report(error, argv), COULD_NOT)
    return result if isinstance(result, int) else FINE


def _failed(message: str, code: int) -> int:
    note(f"drawweight: {message}")
    return code


def _saved_report(error: Exception, argv: Sequence[str]) -> str:
    with tempfile.NamedTemporaryFile(
        "w", prefix="drawweight-", suffix=".txt", delete=False, encoding="utf-8"
    ) as report:
        report.write(f"drawweight {shlex.join(argv)}\n\n{''.join(traceback.format_exception(error))}")
    first = str(error).splitlines()[0] if str(error) else ""
    return (
        f"wanted to do it, got {type(error).__name__}: {first}; please send {report.name} with what you typed"
    )


BuildArgument = Annotated[str, typer.Argument(metavar="BUILD", help="the build's id, such as K-014")]
JsonOption = Annotated[bool, typer.Option("--json", help="print JSON")]
UnitsOption = Annotated[
    UnitSystem | None, typer.Option("--units", help="units of the output (default: the shop's)")
]
DrawOption = Annotated[
    str | None, typer.Option("--draw", help="draw length at which weight is told (default: 28)")
]
OnOption = Annotated[str | None, typer.Option("--on", help="day, such as 2026-05-31 (default: today)")]
NoteOption = Annotated[str | None, typer.Option("--note", help="anything worth remembering")]
CorrectsOption = Annotated[
    str | None, typer.Option("--corrects", help="id of the record that this supersedes")
]
BecauseOption = Annotated[str | None, typer.Option("--because", help="what was wrong with it")]


def _tell_version(asked: bool) -> None:
    if asked:
        sys.stdout.write(f"drawweight {version('drawweight-predictor')}\n")
        raise typer.Exit


@app.callback()
def _global(
    context: typer.Context,
    book: Annotated[
        Path, typer.Option("--book", envvar="DRAWWEIGHT_BOOK", help="the shop's book, a file")
    ] = DEFAULT_BOOK,
    _version: Annotated[
        bool,
        typer.Option("--version", callback=_tell_version, is_eager=True, help="tell the version and stop"),
    ] = False,
) -> None:
    context.obj.book = book


@app.command("demo")
def _demo(
    into: Annotated[Path, typer.Option("--into", help="folder for the invented shop's book")],
) -> int:
    """Lay out an invented shop, train on it and predict a planned kit.

    Example: drawweight demo --into demo
    """
    return demo.run_demo(into, console())


@app.command("form")
def _form(
    context: typer.Context,
    form_id: Annotated[
        str | None, typer.Argument(metavar="[FORM[/REVISION]]", help="the form to show")
    ] = None,
    add: Annotated[
        Path | None, typer.Option("--add", help="file with a form to add, as its next revision")
    ] = None,
    as_json: JsonOption = False,
    units: UnitsOption = None,
) -> int:
    """List the forms, show one with the curve read from it, or add one.

    Example: drawweight form ridge-66
    """
    if add is not None:
        return _add_form(context.obj.book, add)
    with ShopBook.open(context.obj.book) as book:
        contents = book.contents()
    if form_id is None:
        if as_json:
            sys.stdout.write(show.forms_json(contents) + "\n")
        else:
            show.show_forms(contents, _units(contents, units), console())
        return FINE
    form = _find_form(contents, form_id)
    try:
        profile = show.profile_of(form)
    except ValueError as error:
        raise StopError(str(error), FINDINGS) from None
    if as_json:
        sys.stdout.write(show.form_json(form, profile) + "\n")
    else:
        show.show_form(form, profile, _units(contents, units), console())
    return FINDINGS if profile.findings else FINE


def _add_form(path: Path, source: Path) -> int:
    contents = _contents_so_far(path)
    reading = adding.read_text(str(source), None, "form")
    for raw in reading.records:
        if raw.kind != "form":
            raise StopError(f"wanted only forms in {source}, got a {raw.kind}; use: drawweight add {source}")
    reading.records = [_next_revision(raw, contents) for raw in reading.records]
    return _tell(_added(path, reading, keep_good=False), str(source))


def _contents_so_far(path: Path) -> Contents:
    """Return what a book holds; nothing where there is none yet."""
    if not path.exists():
        return Contents()
    with ShopBook.open(path, create=True) as book:
        return book.contents()


def _added(path: Path, reading: Reading, *, keep_good: bool) -> adding.Added:
    """Keep what a text holds and look at it again; a new book is started with the first record that is kept."""
    if not path.exists():
        tried = adding.tried(reading, keep_good=keep_good)
        if not tried.kept:
            return tried
    with ShopBook.open(path, create=True) as book:
        return _looked_at_again(book, adding.add_reading(book, reading, keep_good=keep_good))


def _looked_at_again(book: ShopBook, added: adding.Added) -> adding.Added:
    """Return what became of a text, with what a second look finds odd about the records just kept."""
    contents = book.contents()
    weighed = sum(isinstance(record, WeighIn) for record in added.kept)
    oddities = [*second_look.doubtful_profiles(added, contents)]
    if weighed > second_look.MOST_COMPARED:
        note(
            f"wanted at most {second_look.MOST_COMPARED} weigh-ins to compare with what is expected, "
            f"got {weighed}: none is compared; see: drawweight show BUILD"
        )
    elif weighed:
        model = _model_if_whole(book)
        oddities += second_look.far_readings(added, contents, model, _units(contents, None))
    in_order = sorted([*added.oddities, *oddities], key=lambda oddity: oddity.line or 0)
    return replace(added, oddities=tuple(in_order))


def _next_revision(raw: RawRecord, contents: Contents) -> RawRecord:
    latest = contents.latest_revision(str(raw.data.get("id", "")))
    return RawRecord(raw.kind, {"revision": latest + 1, **raw.data}, raw.line, raw.lines)


@app.command("add")
def _add(
    context: typer.Context,
    source: Annotated[
        str | None, typer.Argument(metavar="[FILE|-]", help="TOML, JSON or CSV, - for standard input")
    ] = None,
    kind: Annotated[Kind | None, typer.Option("--kind", help="kind of all records, for CSV")] = None,
    keep_good: Annotated[bool, typer.Option("--keep-good", help="keep what is right, tell the rest")] = False,
    corrects: CorrectsOption = None,
    withdraws: Annotated[
        str | None, typer.Option("--withdraws", help="id of a record that should not be there")
    ] = None,
    because: BecauseOption = None,
) -> int:
    """Add records from a file, or answer questions at a terminal.

    Every mistake is told at once with its line. A file is kept whole or not at all, except with --keep-good.

    Example: drawweight add builds.toml
    """
    path = context.obj.book
    if withdraws is not None:
        with ShopBook.open(path) as book:
            book.withdraw(withdraws, because or "")
        sys.stdout.write(f"withdrew {withdraws}; its versions stay in the book\n")
        return FINE
    if source is None:
        return _add_by_asking(path, kind)
    content = sys.stdin.buffer.read() if source == adding.STDIN else None
    reading = adding.read_text(source, content, kind)
    code = COULD_NOT
    try:
        if corrects is None:
            code = _tell(_added(path, reading, keep_good=keep_good), source)
        else:
            with ShopBook.open(path) as book:
                code = _correct(book, reading, source, corrects, because)
    finally:
        if content and code in (BAD_INPUT, COULD_NOT):
            note(f"what was typed is in {_saved_text(path, content)}; mend it there and add that file")
    return code


def _add_by_asking(path: Path, kind: str | None) -> int:
    if not sys.stdin.isatty():
        raise StopError(
            "wanted a file or a terminal to ask at, got neither; write: drawweight add FILE (or -)"
        )
    draft = _free_name(path.with_name(f"{path.stem}-draft.toml"))
    try:
        raw = asking.ask(kind, _contents_so_far(path), draft)
    except asking.InterruptedAskingError as stopped:
        raise StopError(str(stopped), FINDINGS) from None
    # Kept until the book has it, so that a locked book or a full disk costs no answer.
    asking.save_draft(draft, raw.kind, raw.data)
    try:
        added = _added(path, Reading([raw]), keep_good=False)
    except BookError:
        note(f"what was typed is in {draft}; add that file later")
        raise
    if added.kept:
        draft.unlink()
    else:
        note(f"what was typed is in {draft}; mend it there and add that file")
    return _tell(added, "answers")


def _free_name(path: Path) -> Path:
    """Return a path at which there is no file yet: the one given or, numbered, one beside it."""
    numbered = (path.with_stem(f"{path.stem}-{number}") for number in count(2))
    return next(free for free in chain([path], numbered) if not free.exists())


def _correct(book: ShopBook, reading: Reading, source: str, corrects: str, because: str | None) -> int:
    if reading.mistakes or len(reading.records) != 1:
        for mistake in reading.mistakes:
            note(adding.one_line(mistake, source))
        raise StopError(
            f"wanted one record to correct {corrects}, got {len(reading.records)} in {source}; write that one"
        )
    (raw,) = reading.records
    outcome = book.correct(corrects, raw, because or "")
    return _tell(_looked_at_again(book, adding.told([raw], [outcome])), source)


def _tell(added: adding.Added, source: str) -> int:
    """Print what became of a text, and return the exit code that says so."""
    for mistake in added.mistakes:
        note(adding.one_line(mistake, source))
    for oddity in added.oddities:
        note(f"odd: {adding.one_line(oddity, source)}")
    sys.stdout.write(f"{adding.said_kept(added.kept)}\n")
    if added.mistakes:
        return BAD_INPUT
    return FINDINGS if added.oddities else FINE


def _saved_text(book: Path, content: bytes) -> Path:
    """Keep a text that could not be added beside the book, under a name of its own."""
    with tempfile.NamedTemporaryFile(
        dir=book.absolute().parent, prefix=f"{book.stem}-not-added-", suffix=".txt", delete=False
    ) as saved:
        saved.write(content)
    return Path(saved.name)


@app.command("weigh")
def _weigh(
    context: typer.Context,
    build_id: BuildArgument,
    readings: Annotated[list[str], typer.Argument(metavar="DRAW=WEIGHT...", help="such as 28=52.75")],
    stage: Annotated[
        Stage | None, typer.Option("--stage", help="how far the bow is (default: as last time)")
    ] = None,
    pulls: Annotated[str | None, typer.Option("--pulls", help="full draws since the last removal")] = None,
    shots: Annotated[str | None, typer.Option("--shots", help="arrows shot so far")] = None,
    scale: Annotated[str | None, typer.Option("--scale", help="the scale's name in the book")] = None,
    by: Annotated[str | None, typer.Option("--by", help="who pulled and read")] = None,
    brace: Annotated[str | None, typer.Option("--brace", help='brace height, such as "7 1/4"')] = None,
    gaps: Annotated[
        str | None, typer.Option("--gaps", help='upper and lower gap at the fades, such as "7 1/8,7"')
    ] = None,
    temp: Annotated[str | None, typer.Option("--temp", help='temperature, such as 70 or "20 C"')] = None,
    humidity: Annotated[str | None, typer.Option("--humidity", help="relative humidity in percent")] = None,
    on: OnOption = None,
    remark: NoteOption = None,
    yes: Annotated[bool, typer.Option("--yes", help="keep also a reading far from what is expected")] = False,
    corrects: CorrectsOption = None,
    because: BecauseOption = None,
) -> int:
    """Keep draw weights of a bow, and say at once what was expected.

    Example: drawweight weigh K-014 27=49.5 28=52.75 29=56.5 --stage tillered --pulls 30
    """
    with ShopBook.open(context.obj.book) as book:
        contents = book.contents()
        build_id = _find_build(contents, build_id).id
        data: dict[str, Any] = {
            "build": build_id,
            "on": on or date.today().isoformat(),
            "readings": [_reading(text) for text in readings],
            **_given(pulls=pulls, shots=shots, scale=scale, by=by, brace=brace, note=remark),
            **_gaps(gaps),
            **_quantity("temperature_f", temp, notation.Quantity.TEMPERATURE),
            **_quantity("humidity_pct", humidity, notation.Quantity.HUMIDITY),
            "stage": stage or _last_stage(contents, build_id),
        }
        raw = RawRecord("weigh_in", data, 0)
        weigh_in = _readable(raw, contents, corrects)
        compared = (
            expectation.compare(contents, weigh_in, _model_if_whole(book))
            if isinstance(weigh_in, WeighIn)
            else None
        )
        units = _units(contents, None)
        if isinstance(compared, tuple):
            _ask_about_far(compared, units, context.obj, yes=yes)
        outcome = _keep(book, raw, corrects, because)
    code = _tell(adding.told([raw], [outcome]), TYPED)
    if isinstance(compared, Refusal):
        note(f"no expectation: {compared.reason} ({compared.where})")
        return max(code, FINDINGS)
    if compared is not None and outcome.kept:
        heads = ["draw", f"read, {units.weight}", f"expected, {units.weight} (99 % of such bows)"]
        console().print(table(heads, show.compared_rows(compared, units), right=(1,)))
    return code


@app.command("reduce")
def _reduce(
    context: typer.Context,
    build_id: BuildArgument,
    method: Annotated[Method, typer.Argument(help="how stock is taken off")],
    cuts: Annotated[list[str], typer.Argument(metavar="PLACE=AMOUNT...", help="such as fade=1/16 nock=1/32")],
    limb: Annotated[Side, typer.Option("--limb", help="the limb worked on")] = Side.BOTH,
    planned: Annotated[
        bool, typer.Option("--planned", help="the amounts are a plan, not measured afterwards")
    ] = False,
    on: OnOption = None,
    remark: NoteOption = None,
    corrects: CorrectsOption = None,
    because: BecauseOption = None,
) -> int:
    """Keep what was taken off a bow, and say what it is worth.

    Amounts are off the whole width (sides), off the back's width (trap), the corner radius reached (edges),
    off the thickness (belly-glass, back-glass), or off each nock end (shorten). Caution: wear a respirator,
    for the dust of glass and wood harms the lungs.

    Example: drawweight reduce K-014 sides fade=1/16 nock=1/32
    """
    with ShopBook.open(context.obj.book) as book:
        contents = book.contents()
        build_id = _find_build(contents, build_id).id
        data: dict[str, Any] = {
            "build": build_id,
            "on": on or date.today().isoformat(),
            "method": method,
            "limb": limb,
            "planned" if planned else "done": [_cut(text) for text in cuts],
            **_given(note=remark),
        }
        raw = RawRecord("removal", data, 0)
        removal = _readable(raw, contents, corrects)
        worth = expectation.worth(contents, removal) if isinstance(removal, Removal) else None
        outcome = _keep(book, raw, corrects, because)
    code = _tell(adding.told([raw], [outcome]), TYPED)
    if isinstance(worth, Refusal):
        note(f"no expectation: {worth.reason} ({worth.where})")
        return max(code, FINDINGS)
    if worth is not None and outcome.kept:
        units = _units(contents, None)
        change = worth.after_lbf - worth.before_lbf
        sign = "+" if change > 0 else ""
        console().print(
            f"by the statics worth {sign}{units.tenths_of_weight(change)} {units.weight} "
            f"at {units.draw(worth.draw)}; brace, pull 20 to 30 times and weigh again"
        )
    return code


@app.command("strip")
def _strip(
    context: typer.Context,
    what: Annotated[
        str, typer.Argument(metavar="MATERIAL|LOT", help="the material, or the name of a lot of the book")
    ],
    loads: Annotated[
        list[str], typer.Argument(metavar="LOAD=DEFLECTION...", help='such as 2=.42 or "500 g=8 mm"')
    ],
    span: Annotated[str, typer.Option("--span", help="between the edges, or from the clamp to the load")],
    width: Annotated[str, typer.Option("--width", help='such as "1 1/2"')],
    thickness: Annotated[str, typer.Option("--thickness", help="mean over the span, such as .125")],
    lot: Annotated[str | None, typer.Option("--lot", help="the delivery or board it came from")] = None,
    support: Annotated[
        Support, typer.Option("--support", help="on two edges, or clamped at one end")
    ] = Support.THREE_POINT,
    by_rule: Annotated[
        bool, typer.Option("--rule", help="deflections were read on a rule, not by dial or caliper")
    ] = False,
    thickness_sd: Annotated[
        float | None,
        typer.Option("--thickness-sd", help="how well the thickness is known, in inches, if by micrometer"),
    ] = None,
    on: OnOption = None,
    remark: NoteOption = None,
    yes: Annotated[bool, typer.Option("--yes", help="keep also a strip far from what is expected")] = False,
    as_json: JsonOption = False,
    corrects: CorrectsOption = None,
    because: BecauseOption = None,
) -> int:
    """Keep a strip bent on the bench, and say how stiff its lot is.

    Deflections count from where the strip lies with nothing hung on it. Every prediction counts the strip from then on.
    Caution: wear eye protection, and keep your feet from under the weights.

    Example: drawweight strip "hard maple" --lot m7 --span 20 --width "1 1/2" --thickness .125 1=.33 2=.66 3=.98
    """
    with ShopBook.open(context.obj.book, create=True) as book:
        contents = book.contents()
        try:
            material, lot = strips.lot_of(what, lot, contents)
        except LookupError as unknown:
            raise StopError(str(unknown.args[0])) from None
        data: dict[str, Any] = {
            "material": material,
            "on": on or date.today().isoformat(),
            "support": support,
            "span_in": span,
            "width_in": width,
            "thickness_in": thickness,
            "loads": [_load(text, by_rule=by_rule) for text in loads],
            **_given(lot=lot, note=remark),
            **({} if thickness_sd is None else {"thickness_sd_in": thickness_sd}),
        }
        raw = RawRecord("strip", data, 0)
        test = _readable(raw, contents, corrects)
        told = strips.tell(contents, test, _model_if_whole(book)) if isinstance(test, StripTest) else None
        if told is not None and told.far:
            note(strips.far_in_words(told))
            _ask_to_keep(context.obj, yes=yes)
        outcome = _keep(book, raw, corrects, because)
    if told is None or not outcome.kept:
        return _tell(adding.told([raw], [outcome]), TYPED)
    if as_json:
        code = FINDINGS if outcome.findings else FINE
        sys.stdout.write(strips.strip_json(told) + "\n")
    else:
        code = _tell(adding.told([raw], [outcome]), TYPED)
        strips.show_strip(told, console())
    return max(code, FINDINGS if told.misfits else FINE)


@app.command("layup")
def _layup(
    context: typer.Context,
    form_id: Annotated[str | None, typer.Option("--form", help="the form to press on")] = None,
    like: Annotated[str | None, typer.Option("--like", help="a build to make another like it")] = None,
    target: Annotated[
        str | None, typer.Option("--target", help='promised weight and draw, such as "50#@28"')
    ] = None,
    order: Annotated[
        str | None, typer.Option("--order", help="an order of the book, for all that it promises")
    ] = None,
    length: Annotated[
        str | None, typer.Option("--length", help="nock to nock (default: the form's, or as it was)")
    ] = None,
    wood: Annotated[str | None, typer.Option("--wood", help="material of the cores")] = None,
    glass: Annotated[
        str | None, typer.Option("--glass", help="thickness of both faces, such as .050")
    ] = None,
    shots: Annotated[
        str | None, typer.Option("--shots", help="arrows after which it must hold (default: 500)")
    ] = None,
    tolerance: Annotated[
        str | None, typer.Option("--tolerance", help="pounds either way (default: the shop's)")
    ] = None,
    scale: Annotated[
        str | None, typer.Option("--scale", help="scale on which it is judged (default: the true force)")
    ] = None,
    count: Annotated[int, typer.Option("--count", min=1, help="stacks to tell at most")] = 5,
    untrained: Annotated[bool, typer.Option("--untrained", help="ignore what training has learned")] = False,
    as_json: JsonOption = False,
    units: UnitsOption = None,
) -> int:
    """Tell which stack of the lams in stock to press, and how thick.

    It is heavy enough to reach the weight after finishing and shooting in, with the least to take off. With --like
    the cores of another bow like one of the book: for a target or, without one, of the same weight with other glass,
    wood or length.

    Example: drawweight layup --form ridge-66 --target "50#@28"
    """
    with ShopBook.open(context.obj.book) as book:
        contents = book.contents()
        model = None if untrained else _trained_model(book)
    typed = _given(tolerance_lbf=tolerance, shots=shots, scale=scale)
    promised = _promised(target, order, typed, contents)
    change = _change_wanted(contents, glass, wood, length)
    asked = layup.Asked(contents, model, Judged(promised.draw, promised.shots, promised.scale), change)
    if like is not None and form_id is None and target is None and order is None:
        return _swap(asked, _find_build(contents, like), _units(contents, units), as_json=as_json)
    if (target is None) == (order is None) or (form_id is None) == (like is None):
        raise StopError("wanted --form or --like with --target or --order; see: drawweight layup --help")
    try:
        promise = layup.promise_of(promised, contents.shop)
        if form_id is not None:
            told = layup.for_form(asked, _find_form(contents, form_id), promise, count)
        else:
            build = _find_build(contents, like or "")
            told = layup.like_build(asked, _form_of(build, contents), build, promise)
    except ValueError as error:
        raise StopError(str(error), FINDINGS) from None
    if as_json:
        sys.stdout.write(told.model_dump_json(indent=2) + "\n")
    else:
        layup_told.show_layup(told, _units(contents, units), console())
    return FINE if told.layup.choices else FINDINGS


def _promised(target: str | None, order: str | None, typed: Mapping[str, str], contents: Contents) -> Order:
    """Return what is to be kept: an order of the book or a target, with what else was typed."""
    kept = None if order is None else contents.orders.get(order.upper())
    if order is not None and kept is None:
        raise StopError(f"wanted an order of the book, got {shortened(order)}; see: drawweight order")
    mark = _mark(target or ANY_MARK)
    data = {"weight": mark.weight_typed, "draw": mark.draw_typed} if kept is None else kept.model_dump()
    raw = RawRecord("order", {**data, **typed}, 0)
    outcome = read_record("order", raw.data, contents)
    if not isinstance(outcome.record, Order):
        (first, *_) = adding.told([raw], [outcome]).mistakes
        raise StopError(adding.one_line(first, TYPED))
    return outcome.record


def _swap(asked: layup.Asked, build: Build, units: Units, *, as_json: bool) -> int:
    if asked.change == Change():
        raise StopError(
            f"wanted what is to change about {build.id}, got nothing; add --glass, --wood, --length or --target"
        )
    try:
        told = layup.equal_weight(asked, _form_of(build, asked.contents), build)
    except ValueError as error:
        raise StopError(str(error), FINDINGS) from None
    if isinstance(told, Refusal):
        raise StopError(f"no bow like {build.id}: {told.reason} ({told.where})", FINDINGS)
    if as_json:
        sys.stdout.write(told.model_dump_json(indent=2) + "\n")
    else:
        layup_told.show_swap(build.id, told, units, console())
    return FINE


def _mark(text: str) -> notation.Mark:
    try:
        return notation.read_mark(text)
    except notation.NotationError as error:
        raise StopError(str(error)) from None


def _change_wanted(contents: Contents, glass: str | None, wood: str | None, length: str | None) -> Change:
    try:
        return Change(
            glass_in=None if glass is None else notation.read(glass, notation.Quantity.THICKNESS),
            wood=None if wood is None else named(wood, contents.materials).name,
            length_in=None if length is None else notation.read(length, notation.Quantity.LENGTH),
        )
    except notation.NotationError as error:
        raise StopError(str(error)) from None
    except LookupError as unknown:
        raise StopError(str(unknown.args[0])) from None


@app.command("order")
def _order(
    context: typer.Context,
    what: Annotated[
        str | None,
        typer.Argument(metavar='["50#@28"|ORDER]', help="what is promised, or an order to change"),
    ] = None,
    build: Annotated[str | None, typer.Option("--build", help="the bow that is to keep it")] = None,
    tolerance: Annotated[
        str | None, typer.Option("--tolerance", help="pounds either way (default: the shop's)")
    ] = None,
    shots: Annotated[str | None, typer.Option("--shots", help="arrows after which it holds")] = None,
    scale: Annotated[str | None, typer.Option("--scale", help="scale on which it is judged")] = None,
    customer: Annotated[str | None, typer.Option("--customer", help="who ordered")] = None,
    due: Annotated[str | None, typer.Option("--due", help="day, such as 2026-05-31")] = None,
    delivered: Annotated[
        str | None, typer.Option("--delivered", help="the last weighing before it was handed over: K-014/5")
    ] = None,
    remark: NoteOption = None,
    because: BecauseOption = None,
    as_json: JsonOption = False,
    units: UnitsOption = None,
) -> int:
    """List the promised weights, take an order, or change one.

    An order that names no scale is judged by the true force. It stays open until it names the weighing that it
    was delivered with.

    Example: drawweight order "50#@28" --build K-014 --due 2026-06-01
    """
    data = _given(
        build=build,
        tolerance_lbf=tolerance,
        shots=shots,
        scale=scale,
        customer=customer,
        due=due,
        delivered=delivered,
        note=remark,
    )
    if what is None and not data:
        return _list(context, units, as_json, orders.show_orders, orders.orders_json)
    if what is not None and what.upper().startswith(PREFIXES["order"]):
        return _change(context.obj.book, RawRecord("order", data, 0), what.upper(), because)
    mark = _mark(what or "")
    promise = {"weight": mark.weight_typed, "draw": mark.draw_typed, **data}
    return _tell(_added(context.obj.book, Reading([RawRecord("order", promise, 0)]), keep_good=False), TYPED)


@app.command("stock")
def _stock(
    context: typer.Context,
    what: Annotated[
        list[str] | None,
        typer.Argument(
            metavar="[PART MATERIAL THICKNESS|STOCK]",
            help=f"{', '.join(Part)}; its material; its thickness at the butt; or stock to change",
        ),
    ] = None,
    ground_to: Annotated[
        str | None, typer.Option("--ground-to", help="the thinnest that may be ground from it")
    ] = None,
    lot: Annotated[str | None, typer.Option("--lot", help="the delivery or board it came from")] = None,
    taper: Annotated[str | None, typer.Option("--taper", help="inch of thickness lost per inch")] = None,
    length: Annotated[str | None, typer.Option("--length", help="of one piece")] = None,
    width: Annotated[str | None, typer.Option("--width", help="of one piece")] = None,
    pieces: Annotated[str | None, typer.Option("--pieces", help="how many (default: 2, one bow's)")] = None,
    remark: NoteOption = None,
    because: BecauseOption = None,
    as_json: JsonOption = False,
    units: UnitsOption = None,
) -> int:
    """List the lams at hand, add some, or change them.

    What can be ground has two thicknesses: as it is, and the thinnest that may be ground from it.

    Example: drawweight stock core "hard maple" .130 --ground-to .060 --lot m7 --pieces 8
    """
    data = _given(
        ground_to_in=ground_to,
        lot=lot,
        taper_per_in=taper,
        length_in=length,
        width_in=width,
        pieces=pieces,
        note=remark,
    )
    match what or []:
        case [] if not data:
            return _list(context, units, as_json, stock.show_stock, stock.stock_json)
        case [stock_id] if stock_id.upper().startswith(PREFIXES["stock"]):
            return _change(context.obj.book, RawRecord("stock", data, 0), stock_id.upper(), because)
        case [part, material, thickness]:
            raw = RawRecord(
                "stock", {"part": part, "material": material, "thickness_in": thickness, **data}, 0
            )
            return _tell(_added(context.obj.book, Reading([raw]), keep_good=False), TYPED)
        case words:
            raise StopError(
                f"wanted part, material and thickness, got {len(words)} of them; "
                'write them such as: core "hard maple" .130'
            )


@app.command("shop")
def _shop(
    context: typer.Context,
    typed: Annotated[
        list[str] | None, typer.Argument(metavar="[SETTING=VALUE...]", help="such as tolerance_lbf=1.5")
    ] = None,
    as_json: JsonOption = False,
    units: UnitsOption = None,
) -> int:
    """List the shop's settings, or change some of them.

    Example: drawweight shop least_width_fade_in="1 1/8" least_width_nock_in=7/16
    """
    if not typed:
        return _list(
            context,
            units,
            as_json,
            lambda contents, asked, out: settings.show_settings(contents.shop, asked, out),
            lambda contents: contents.shop.model_dump_json(indent=2),
        )
    try:
        raw = RawRecord("shop", settings.changes(typed), 0)
    except ValueError as error:
        raise StopError(str(error)) from None
    return _tell(_added(context.obj.book, Reading([raw]), keep_good=False), TYPED)


def _list(
    context: typer.Context,
    units: UnitSystem | None,
    as_json: bool,
    show_all: Callable[[Contents, Units, Console], None],
    all_json: Callable[[Contents], str],
) -> int:
    """Print every record of a kind, for people or as JSON."""
    with ShopBook.open(context.obj.book) as book:
        contents = book.contents()
    if as_json:
        sys.stdout.write(all_json(contents) + "\n")
    else:
        show_all(contents, _units(contents, units), console())
    return FINE


def _change(path: Path, raw: RawRecord, record_id: str, because: str | None) -> int:
    """Change fields of an order or of stock, whose changes need no reason: they are no mistakes."""
    if not raw.data:
        raise StopError(f"wanted something to change about {record_id}, got nothing; see: drawweight --help")
    with ShopBook.open(path) as book:
        outcome = book.correct(record_id, raw, because or "changed")
    return _tell(adding.told([raw], [outcome]), TYPED)


@app.command("show")
def _show(
    context: typer.Context,
    build_id: Annotated[str | None, typer.Argument(metavar="[BUILD]", help="the build to show")] = None,
    as_json: JsonOption = False,
    units: UnitsOption = None,
    plot: Annotated[
        Path | None, typer.Option("--plot", help="draw its limb shapes into a PNG or SVG file")
    ] = None,
    as_of: Annotated[
        str | None, typer.Option("--as-of", help="as the book was at the end of a day, such as 2026-05-31")
    ] = None,
) -> int:
    """Show the book, or one build with its history.

    Each weighing stands beside what was expected of it.

    Example: drawweight show K-014
    """
    with ShopBook.open(context.obj.book) as book:
        contents = book.contents(None if as_of is None else _end_of(as_of))
        build = None if build_id is None else _find_build(contents, build_id)
        corrections = [] if build is None else book.corrections(build.id, contents)
        model = None if build is None else _model_of_then(book, as_of)
    if plot is not None:
        return _plot(build, contents, plot)
    if as_json:
        text = show.book_json(contents) if build is None else show.build_json(build, contents, model)
        sys.stdout.write(text + "\n")
    elif build is None:
        show.show_book(contents, _units(contents, units), console())
    else:
        show.show_build(build, contents, corrections, _units(contents, units), console(), model)
    return FINE


def _model_of_then(book: ShopBook, as_of: str | None) -> Model | None:
    """Return the model beside a book, unless it is newer than the day asked for: it would know too much."""
    model = _model_if_whole(book)
    if model is None or as_of is None or datetime.fromisoformat(model.trained_at) <= _end_of(as_of):
        return model
    note(f"expected untrained: the model is of {model.trained_at}, newer than {as_of}")
    return None


def _end_of(day: str) -> datetime:
    """Return the last instant of a day, by the clock of this place."""
    try:
        return datetime.combine(date.fromisoformat(day), time.max).astimezone()
    except ValueError:
        raise StopError(f"wanted a day such as 2026-05-31, got {day!r}; write year, month and day") from None


def _plot(build: Build | None, contents: Contents, path: Path) -> int:
    # The drawing library is slow to load, so only this command loads it.
    from reports.plots import SUFFIXES, save_shapes

    form = None if build is None else contents.form_of(build)
    if build is None or form is None:
        raise StopError("wanted a build to draw, got none; write: drawweight show BUILD --plot FILE")
    if path.suffix.lower() not in SUFFIXES:
        raise StopError(f"wanted a file that ends in {' or '.join(SUFFIXES)}, got {path}; rename it")
    full = expectation.usual_draws(contents)[2]
    states = shapes(form, build, contents.events.get(build.id, ()), full, contents.materials)
    if isinstance(states, Refusal):
        raise StopError(f"no shapes of {build.id}: {states.reason} ({states.where})", FINDINGS)
    try:
        save_shapes(path, f"{build.id} on {form.id}, as the statics see it", states)
    except OSError as error:
        raise StopError(
            f"wanted to write {path}, got: {error.strerror}; choose another place", COULD_NOT
        ) from None
    sys.stdout.write(f"{path}\n")
    return FINE


@app.command("predict")
def _predict(
    context: typer.Context,
    what: Annotated[
        str,
        typer.Argument(
            metavar="FILE|-|BUILD",
            help="a file with one planned build, - for standard input, or a build's id",
        ),
    ],
    draws: Annotated[
        str | None, typer.Option("--draws", help='draw lengths, such as "26,27,28 back" (default: 26 to 29)')
    ] = None,
    stage: Annotated[
        Stage | None,
        typer.Option("--stage", help="how far the bow is when weighed (default: as last time, or tillered)"),
    ] = None,
    shots: Annotated[
        int | None, typer.Option("--shots", min=0, help="arrows shot by then (default: not counted)")
    ] = None,
    scale: Annotated[
        str | None, typer.Option("--scale", help="scale it is read on (default: the last one)")
    ] = None,
    untrained: Annotated[bool, typer.Option("--untrained", help="ignore what training has learned")] = False,
    with_budget: Annotated[
        bool,
        typer.Option("--budget", help="tell every source of doubt, and what measuring better would bring"),
    ] = False,
    changes: Annotated[
        list[str] | None,
        typer.Option(
            "--if", help="what one change would do, such as sides=1/32, sides@nock=1/16, brace=+1/8"
        ),
    ] = None,
    measured: Annotated[
        bool, typer.Option("--measured", help="with --if: what is taken off is then measured")
    ] = False,
    as_json: JsonOption = False,
    units: UnitsOption = None,
) -> int:
    """Predict what a bow will weigh, with the range of such bows.

    What `drawweight train` has learned from the book is used where it is there. The stage matters from
    finished on, when finish sanding has taken its share; for settled the way there is told too.

    With --if, once or more often, all changes together are asked about: sides, trap, edges, belly-glass,
    back-glass or shorten with an amount as for `drawweight reduce`, or length, width, glass, brace, draw,
    strands or string with a value or, after a sign, a step.

    Example: drawweight predict K-014 --draws 27,28,29 --budget
    """
    with ShopBook.open(context.obj.book) as book:
        contents = book.contents()
        model = None if untrained else _trained_model(book)
    build, contents = _build_to_predict(what, contents)
    last = expectation.last_stage(contents, build)
    at = stage or last or Stage.TILLERED
    if shots is None and at is last:
        shots = expectation.last_shots(contents, build)
    if changes:
        supposed = _supposed(contents, build, changes, _one_draw(draws, contents), model, at, shots, measured)
        if as_json:
            sys.stdout.write(supposed.model_dump_json(indent=2) + "\n")
        else:
            what_if.show_what_if(supposed, _units(contents, units), console())
        return FINE
    prediction = expectation.expect(
        contents,
        build,
        _draws(draws, contents),
        stage=at,
        model=model,
        shots=shots,
        scale=scale or expectation.last_scale(contents, build),
    )
    if isinstance(prediction, Refusal):
        if as_json:
            sys.stdout.write(prediction.model_dump_json(indent=2) + "\n")
        with suppress(ValueError):  # which is then the reason for the refusal
            for doubt in second_look.shape_doubts(build, contents):
                note(f"odd: profile, {doubt.station:g} in from the centre: {doubt.doubt}: {doubt.message}")
        raise StopError(f"no prediction for {build.id}: {prediction.reason} ({prediction.where})", FINDINGS)
    budget = expectation.budget_of(contents, build, prediction, model, at, shots) if with_budget else None
    settled = at is Stage.SETTLED
    way = expectation.way_of(contents, build, prediction, model, shots) if settled else None
    if as_json:
        parts = {**prediction.model_dump(mode="json"), "stage": at.value}
        if way is not None:
            parts["way"] = way.model_dump(mode="json")
        if budget is not None:
            parts["budget"] = budget.model_dump(mode="json")
        sys.stdout.write(json.dumps(parts, indent=2) + "\n")
        return FINE
    show_prediction(prediction, at, _units(contents, units), console(), way)
    if budget is not None:
        show_budget(prediction, budget, _units(contents, units), console())
    return FINE


def _supposed(
    contents: Contents,
    build: Build,
    changes: Sequence[str],
    draw: DrawLength,
    model: Model | None,
    stage: Stage,
    shots: int | None,
    measured: bool,
) -> WhatIf:
    """Return what changes to a build do together; what cannot be read or solved ends the command."""
    try:
        told = what_if.asked(contents, build, changes, draw, model, stage, shots, measured=measured)
    except ValueError as error:
        raise StopError(str(error)) from None
    if isinstance(told, Refusal):
        raise StopError(f"no answer for {build.id}: {told.reason} ({told.where})", FINDINGS)
    return told


def _model_if_whole(book: ShopBook) -> Model | None:
    """Return the model beside a book, if there is one that can be used; a reading is kept either way."""
    try:
        return load_model(model_path(book.path))
    except ModelError as error:
        note(f"expected untrained: {error}")
        return None


def _trained_model(book: ShopBook) -> Model | None:
    """Return the model beside a book, if there is one; what it has not seen is told."""
    try:
        model = load_model(model_path(book.path))
    except ModelError as error:
        raise StopError(f"{error}; or add --untrained", COULD_NOT) from None
    behind = model and staleness(model, book.length(), book.data_hash())
    if behind:
        note(behind)
    return model


@app.command("train")
def _train(context: typer.Context, as_json: JsonOption = False) -> int:
    """Learn from every build of the book that may teach.

    What is learned is kept beside the book. Builds that look like a mistake of the pencil count for little and
    are named.

    Example: drawweight train
    """
    # The fit is slow to load, so only this command loads it.
    from training.train import NothingToLearnError

    started = perf_counter()
    try:
        with ShopBook.open(context.obj.book) as book, Console(stderr=True).status("learning from the book"):
            model = learn(book)
    except NothingToLearnError as error:
        raise StopError(str(error), FINDINGS) from None
    except ModelError as error:
        raise StopError(str(error), COULD_NOT) from None
    if as_json:
        sys.stdout.write(learned_json(model) + "\n")
    else:
        show_learned(model, perf_counter() - started, console())
    return FINDINGS if model.doubtful else FINE


@app.command("report")
def _report(
    context: typer.Context,
    name: Annotated[
        str,
        typer.Argument(
            metavar="NAME",
            help="calibration, errors, drift, settling, scales, tolerance, learning, differences, or all",
        ),
    ],
    words: Annotated[
        list[str] | None, typer.Argument(metavar="[WORDS]", help="what the report wants to know")
    ] = None,
    html: Annotated[Path | None, typer.Option("--html", help="write it as a page with graphs")] = None,
    into: Annotated[Path | None, typer.Option("--into", help="folder for the page and values of all")] = None,
    as_json: JsonOption = False,
    units: UnitsOption = None,
) -> int:
    """Tell how good predictions have been, and what may be promised.

    The model is fitted anew to the book as it is, and judged by builds left out. A page holds all it
    needs, for a phone and for paper.

    Example: drawweight report calibration --html calibration.html
    """
    # The fit and the plots are slow to load, so only this command loads them.
    from reports import report_files
    from reports.sources import ReportError, gather

    try:
        found = report_files.find(name, words or ())
    except ReportError as error:
        raise StopError(str(error)) from None
    if (name == report_files.ALL) != (into is not None):
        raise StopError(
            "wanted --into DIR with the reports named all and only there; see: drawweight report --help"
        )
    with ShopBook.open(context.obj.book) as book, Console(stderr=True).status("learning from the book"):
        sources = gather(book, report_files.with_progress)
    asked = _units(sources.contents, units)
    if into is None:
        try:
            report_files.tell_one(found[0], sources, words or (), asked, html=html, as_json=as_json)
        except ReportError as error:
            raise StopError(str(error)) from None
    else:
        sys.stdout.writelines(f"{path}\n" for path in report_files.write_all(into, found, sources, asked))
    return FINE


@app.command("worth")
def _worth(
    context: typer.Context,
    build_id: BuildArgument,
    draw: DrawOption = None,
    as_json: JsonOption = False,
    units: UnitsOption = None,
) -> int:
    """Tell what a little off sides, edges or glass is worth in pounds.

    Example: drawweight worth K-014 --draw 28
    """
    with ShopBook.open(context.obj.book) as book:
        contents = book.contents()
    build = _find_build(contents, build_id)
    form = _form_of(build, contents)
    at = _one_draw(draw, contents)
    bow = bow_at(form, build, contents.events.get(build.id, ()))
    draw_in = from_back(at.inch, at.zero, bow.pivot_depth)
    told = worth(bow, handbook_moduli(bow, contents.materials), draw_in)
    if isinstance(told, Refusal):
        raise StopError(f"no worth of stock on {build.id}: {told.reason} ({told.where})", FINDINGS)
    if as_json:
        sys.stdout.write(json.dumps(worth_json(build.id, told, at), indent=2) + "\n")
    else:
        show_worth(build.id, told, at, _units(contents, units), console())
    return FINE


def _form_of(build: Build, contents: Contents) -> Form:
    form = contents.form_of(build)
    if form is None:
        raise StopError(
            f"wanted the form of {build.id}, got none of that name; add it with: drawweight form --add FILE"
        )
    return form


def _one_draw(text: str | None, contents: Contents) -> DrawLength:
    if text is None:
        return expectation.usual_draws(contents)[2]
    draws = _draws(text, contents)
    if len(draws) > 1:
        raise StopError(f"wanted one draw length, got {len(draws)}; write it such as 28")
    return draws[0]


@app.command("tiller")
def _tiller(
    context: typer.Context,
    build_id: BuildArgument,
    want: Annotated[
        str | None, typer.Option("--want", help='tiller wanted, such as "1/8,1/4" (default: the shop\'s)')
    ] = None,
    draw: DrawOption = None,
    as_json: JsonOption = False,
    units: UnitsOption = None,
) -> int:
    """Tell which limb is too stiff, and what to take off it.

    What that costs in draw weight is told too.

    Tiller is the upper less the lower gap from string to belly at the fades, as noted with `drawweight weigh --gaps`.

    Example: drawweight tiller K-014 --want 1/8,1/4
    """
    with ShopBook.open(context.obj.book) as book:
        contents = book.contents()
    build = _find_build(contents, build_id)
    form, at = _form_of(build, contents), _one_draw(draw, contents)
    wanted = _wanted_tiller(want, contents)
    told = tillered(form, build, contents.events.get(build.id, ()), at, contents.materials, wanted)
    if isinstance(told, Refusal):
        raise StopError(f"no tiller of {build.id}: {told.reason} ({told.where})", FINDINGS)
    if as_json:
        sys.stdout.write(told.model_dump_json(indent=2) + "\n")
    else:
        show_tiller(told, _units(contents, units), console())
    return FINE if told.stiff is None else FINDINGS


def _wanted_tiller(text: str | None, contents: Contents) -> tuple[float, float]:
    """Return the lowest and highest tiller wanted: as typed, the shop's own, or the usual ones."""
    if text is None:
        own = (contents.shop.tiller_low_in, contents.shop.tiller_high_in)
        low, high = (
            usual if noted is None else noted.inch for usual, noted in zip(SPLIT_FINGER_IN, own, strict=True)
        )
    else:
        first, _, second = text.partition(",")
        try:
            low, high = (
                notation.read(part.strip(), notation.Quantity.TILLER) for part in (first, second or first)
            )
        except notation.NotationError as error:
            raise StopError(str(error)) from None
    if low > high:
        raise StopError(
            f"wanted the lower tiller first, got {low:g} to {high:g} in; write it such as 1/8,1/4"
        )
    return low, high


@app.command("plan")
def _plan(
    context: typer.Context,
    build_id: BuildArgument,
    target: Annotated[
        str | None, typer.Option("--target", help='promised weight and draw, such as "50#@28"')
    ] = None,
    shots: Annotated[
        str | None, typer.Option("--shots", help="arrows after which it must hold (default: 500)")
    ] = None,
    tolerance: Annotated[
        str | None, typer.Option("--tolerance", help="pounds either way (default: the shop's)")
    ] = None,
    scale: Annotated[
        str | None, typer.Option("--scale", help="scale on which it is judged (default: the true force)")
    ] = None,
    untrained: Annotated[bool, typer.Option("--untrained", help="ignore what training has learned")] = False,
    as_json: JsonOption = False,
    units: UnitsOption = None,
) -> int:
    """Plan what to take off a kit, down to its promised weight.

    Without a target its order counts. Ask again after each weighing: it changes the rest of the plan.

    Example: drawweight plan K-014 --target "50#@28" --shots 500
    """
    with ShopBook.open(context.obj.book) as book:
        contents = book.contents()
        model = None if untrained else _trained_model(book)
    build = _find_build(contents, build_id)
    order = None if target else _order_of(build, contents)
    promised = _promised(target, order, _given(tolerance_lbf=tolerance, shots=shots, scale=scale), contents)
    try:
        promise = layup.promise_of(promised, contents.shop)
    except ValueError as error:
        raise StopError(str(error)) from None
    told = plan_for(
        contents, _form_of(build, contents), build, promise, model, _wanted_tiller(None, contents)
    )
    if isinstance(told, Refusal):
        raise StopError(f"no plan for {build.id}: {told.reason} ({told.where})", FINDINGS)
    if as_json:
        sys.stdout.write(told.model_dump_json(indent=2) + "\n")
    else:
        show_plan(told, _units(contents, units), console())
    return FINDINGS if told.too_light or told.least_lbf is not None else FINE


def _order_of(build: Build, contents: Contents) -> str:
    """Return the open order that a build is to keep."""
    mine = [
        name for name, order in contents.orders.items() if order.build == build.id and not order.delivered
    ]
    if len(mine) != 1:
        raise StopError(f"wanted one open order of {build.id}, got {len(mine)}; add --target, such as 50#@28")
    return mine[0]


@app.command("schema")
def _schema(
    kind: Annotated[Kind | None, typer.Argument(help="kind of record (default: all)")] = None,
    page: Annotated[bool, typer.Option("--page", help="print the reference page in Markdown")] = False,
) -> int:
    """Print the JSON Schema of the records, or their reference page.

    Example: drawweight schema build
    """
    text = reference.page() if page else reference.schema_json(kind) + "\n"
    sys.stdout.write(text)
    return FINE


def _readable(raw: RawRecord, contents: Contents, corrects: str | None) -> Record:
    """Return a record as it would be kept; what is wrong with it is told, and ends the command."""
    record_id = corrects or (_next_event(raw.data["build"], contents) if "build" in raw.data else None)
    outcome = read_record(raw.kind, {**_given(id=record_id), **raw.data}, contents)
    if outcome.record is None or outcome.refused:
        for mistake in adding.told([raw], [outcome]).mistakes:
            note(adding.one_line(mistake, TYPED))
        raise StopError("nothing was kept")
    return outcome.record


def _next_event(build_id: str, contents: Contents) -> str:
    """Return an id that stands last among a build's events of one day."""
    numbers = [int(event.id.split("/")[1]) for event in contents.events.get(build_id, ())]
    return f"{build_id}/{max(numbers, default=0) + 1}"


def _ask_about_far(compared: Sequence[expectation.Compared], units: Units, call: _Call, *, yes: bool) -> None:
    """Ask before a reading far from what is expected is kept; where nobody can answer, keep nothing."""
    far = [one for one in compared if one.far]
    for one in far:
        note(show.far_in_words(one, units))
    if far:
        _ask_to_keep(call, yes=yes)


def _ask_to_keep(call: _Call, *, yes: bool) -> None:
    """Ask whether what was told as far off is kept; where nobody can answer, keep nothing."""
    if yes:
        return
    if not sys.stdin.isatty():
        again = shlex.join(["drawweight", *call.argv, "--yes"])
        raise StopError(f"nothing was kept; if the reading is right: {again}", FINDINGS)
    if not typer.confirm("Keep it?", default=False, err=True):
        raise StopError("nothing was kept; measure again", FINDINGS)


def _keep(book: ShopBook, raw: RawRecord, corrects: str | None, because: str | None) -> Outcome:
    if corrects is not None:
        return book.correct(corrects, raw, because or "")
    (outcome,) = book.add([raw])
    return outcome


def _units(contents: Contents, asked: UnitSystem | None) -> Units:
    return Units(contents.shop.units if asked is None else asked.value)


def _find_build(contents: Contents, build_id: str) -> Build:
    build = contents.builds.get(build_id.upper())
    if build is None:
        last = ", ".join(list(contents.builds)[-3:]) or "none yet"
        raise StopError(
            f"wanted a build of the book (the last ones: {last}), got {shortened(build_id)}; see: drawweight show"
        )
    return build


def _find_form(contents: Contents, form_id: str) -> Form:
    forms = {f"{name}/{revision}": form for (name, revision), form in contents.forms.items()}
    latest = {form.id: form for form in sorted(forms.values(), key=lambda form: form.revision)}
    known = latest | forms
    if form_id not in known:
        do = nearest(form_id, known) if known else "add one with: drawweight form --add FILE"
        raise StopError(f"wanted a form of the book, got {shortened(form_id)}; {do}")
    return known[form_id]


def _build_to_predict(what: str, contents: Contents) -> tuple[Build, Contents]:
    """Return the build of an id or a file, and the book with whatever else the file holds."""
    if what.upper() in contents.builds:
        return contents.builds[what.upper()], contents
    if what != adding.STDIN and not _is_there(what):
        if "." not in what and "/" not in what:
            _find_build(contents, what)
        raise StopError(
            f"wanted a file or a build's id, got {shortened(what)}, which is neither; check the path"
        )
    content = sys.stdin.buffer.read() if what == adding.STDIN else None
    reading = adding.read_text(what, content, "build")
    outcomes = []
    for raw in sorted(reading.records, key=lambda raw: raw.kind == "build"):
        # A plan unless it says otherwise: its dimensions then count with a plan's tolerances.
        data = {"planned": True, **raw.data} if raw.kind == "build" else raw.data
        outcome = read_record(raw.kind, data, contents)
        outcomes.append((raw, outcome))
        if outcome.record is not None and not outcome.refused and raw.kind != "build":
            contents = contents.plus(outcome.record)
    added = adding.told([raw for raw, _ in outcomes], [outcome for _, outcome in outcomes], reading.mistakes)
    for mistake in added.mistakes:
        note(adding.one_line(mistake, what))
    for oddity in added.oddities:
        note(f"odd: {adding.one_line(oddity, what)}")
    builds = [outcome.record for _, outcome in outcomes if isinstance(outcome.record, Build)]
    if added.mistakes or len(builds) != 1:
        raise StopError(
            f"wanted one build without mistakes in {adding.source_name(what)}, got {len(builds)} readable; "
            "mend the text"
        )
    return builds[0], contents


def _is_there(path: str) -> bool:
    try:
        return Path(path).exists()
    except OSError:  # too long to be the name of a file
        return False


def _draws(text: str | None, contents: Contents) -> tuple[DrawLength, ...]:
    if text is None:
        return expectation.usual_draws(contents)
    draws = []
    for part in text.split(","):
        try:
            inch, zero = notation.read_zeroed(part.strip(), notation.Quantity.DRAW)
        except notation.NotationError as error:
            raise StopError(str(error)) from None
        draws.append(
            DrawLength.model_validate({"inch": inch, "zero": zero or contents.shop.draw_zero, "typed": part})
        )
    return tuple(draws)


def _last_stage(contents: Contents, build_id: str) -> Stage:
    stage = expectation.last_stage(contents, contents.builds[build_id])
    if stage is None:
        raise StopError(
            f"wanted the stage of the first weighing, got none; add --stage, one of {', '.join(Stage)}"
        )
    return stage


def _reading(text: str) -> dict[str, str]:
    try:
        mark = notation.read_pair(text)
    except notation.NotationError as error:
        raise StopError(str(error)) from None
    return {"draw": mark.draw_typed, "weight": mark.weight_typed}


def _load(text: str, *, by_rule: bool) -> dict[str, Any]:
    try:
        load, deflection = notation.read_load(text)
    except notation.NotationError as error:
        raise StopError(str(error)) from None
    return {"load": load, "deflection_in": {"typed": deflection, "taken": "rule"} if by_rule else deflection}


def _cut(text: str) -> dict[str, str]:
    place, sign, amount = text.partition("=")
    if not sign or not place or not amount:
        raise StopError(
            f"wanted a place with its amount, got {text!r}; write it such as fade=1/16 or 12=1/16"
        )
    return {"at": place, "amount_in": amount}


def _gaps(text: str | None) -> dict[str, str]:
    if text is None:
        return {}
    upper, sign, lower = text.partition(",")
    if not sign or "," in lower:
        raise StopError(f'wanted the upper and the lower gap, got {text!r}; write them such as "7 1/8,7"')
    return {"gap_upper_in": upper.strip(), "gap_lower_in": lower.strip()}


def _quantity(field: str, text: str | None, quantity: notation.Quantity) -> dict[str, float]:
    if text is None:
        return {}
    try:
        return {field: notation.read(text, quantity)}
    except notation.NotationError as error:
        raise StopError(str(error)) from None


def _given(**fields: str | None) -> dict[str, str]:
    return {name: value for name, value in fields.items() if value is not None}
