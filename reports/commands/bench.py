"""Commands at the bench: weigh, reduce and strip keep what was measured and say what was expected."""

import sys
from datetime import date
from typing import Annotated, Any

import typer

from datasets import notation
from datasets.book import ShopBook
from datasets.mistakes import RawRecord
from datasets.record import Side
from datasets.schema import Method, Removal, Stage, StripTest, Support, WeighIn
from predictor.bows.bow import Refusal
from reports import (
    adding,
    big_cuts,
    expectation,
    show,
    strips,
)
from reports.commands.ending import FINDINGS, FINE, stopping_at
from reports.commands.found import find_build, last_stage, model_if_whole, units_of
from reports.commands.keeping import (
    arrows_back,
    ask_to_keep,
    days_to_come,
    far_in_words,
    keep,
    readable,
    tell_added,
    told_before,
)
from reports.commands.options import (
    BecauseOption,
    BuildArgument,
    CorrectsOption,
    JsonOption,
    LotOption,
    NoteOption,
    OnOption,
)
from reports.commands.typed import (
    TYPED,
    cut_typed,
    gaps_typed,
    given,
    load_typed,
    quantity_typed,
    reading_typed,
)
from reports.cuts_typed import in_full
from reports.printing import console, note, table
from reports.worth import TAKING_OFF, worth_in_words


def weigh_bow(
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
        build_id = find_build(contents, build_id).id
        data: dict[str, Any] = {
            "build": build_id,
            "on": date.today().isoformat() if on is None else on,
            "readings": [reading_typed(text) for text in readings],
            **given(pulls=pulls, shots=shots, scale=scale, by=by, brace=brace, note=remark),
            **gaps_typed(gaps),
            **quantity_typed("temperature_f", temp, notation.Quantity.TEMPERATURE),
            **quantity_typed("humidity_pct", humidity, notation.Quantity.HUMIDITY),
            "stage": stage or last_stage(contents, build_id),
        }
        raw = RawRecord("weigh_in", data, 0)
        weigh_in = readable(raw, contents, corrects)
        compared = (
            expectation.compare(contents, weigh_in, model_if_whole(book))
            if isinstance(weigh_in, WeighIn)
            else None
        )
        units = units_of(contents, None)
        doubts = [
            *days_to_come(weigh_in, contents),
            *arrows_back(weigh_in, contents),
            *far_in_words(compared, units),
        ]
        ask_to_keep(doubts, "the reading", context.obj, yes=yes)
        outcome = keep(book, raw, corrects, because)
    code = tell_added(adding.told([raw], [outcome]), TYPED, said=doubts)
    if isinstance(compared, Refusal):
        note(f"no expectation: {compared.reason} ({compared.where})")
        return max(code, FINDINGS)
    if compared is not None and outcome.kept:
        heads = ["draw", f"read, {units.weight}", f"expected, {units.weight} (99% of such bows)"]
        console().print(table(heads, show.compared_rows(compared, units), right=(1,)))
    return code


def reduce_bow(
    context: typer.Context,
    build_id: BuildArgument,
    method: Annotated[Method, typer.Argument(help="how stock is taken off")],
    cuts: Annotated[
        list[str],
        typer.Argument(
            metavar="AMOUNT|PLACE=AMOUNT...", help="such as 1/32 all along, or fade=1/16 nock=1/32"
        ),
    ],
    limb: Annotated[Side, typer.Option("--limb", help="the limb worked on")] = Side.BOTH,
    planned: Annotated[
        bool, typer.Option("--planned", help="the amounts are a plan, not measured afterwards")
    ] = False,
    on: OnOption = None,
    remark: NoteOption = None,
    yes: Annotated[bool, typer.Option("--yes", help="keep also what is much at once")] = False,
    corrects: CorrectsOption = None,
    because: BecauseOption = None,
) -> int:
    """Keep what was taken off a bow, and say what it is worth.

    Amounts are off the whole width (sides), off the back's width (trap), the corner radius reached (edges),
    off the thickness (belly-glass, back-glass), or off each nock end (shorten). An amount by itself is
    for the whole limb; at one place alone, such as nock=1/32, it runs out to nothing at the measured places beside
    it (fade, mid, nock). What is much at once, or leaves less than the shop's least widths, is asked about. Caution:
    wear a respirator, for the dust of glass and wood harms the lungs, and nothing can be put back.

    Example: drawweight reduce K-014 sides fade=1/16 nock=1/32
    """
    with ShopBook.open(context.obj.book) as book:
        contents = book.contents()
        build = find_build(contents, build_id)
        past = [event for event in contents.events.get(build.id, ()) if event.id != corrects]
        with stopping_at(ValueError):
            placed = in_full(method, [cut_typed(text) for text in cuts], build, past, contents)
        data: dict[str, Any] = {
            "build": build.id,
            "on": date.today().isoformat() if on is None else on,
            "method": method,
            "limb": limb,
            "planned" if planned else "done": placed,
            **given(note=remark),
        }
        raw = RawRecord("removal", data, 0)
        removal = readable(raw, contents, corrects)
        worth = (
            expectation.worth(contents, removal, model_if_whole(book))
            if isinstance(removal, Removal)
            else None
        )
        units = units_of(contents, None)
        much = (
            big_cuts.doubts(contents, removal, worth, units)
            if isinstance(removal, Removal) and worth is not None
            else ()
        )
        doubts = [*days_to_come(removal, contents), *much]
        ask_to_keep(doubts, "what was typed", context.obj, yes=yes)
        outcome = keep(book, raw, corrects, because)
    code = tell_added(adding.told([raw], [outcome]), TYPED, said=doubts)
    if isinstance(worth, Refusal):
        note(f"no expectation: {worth.reason} ({worth.where})")
        return max(code, FINDINGS)
    if isinstance(removal, Removal) and worth is not None and outcome.kept:
        console().print(worth_in_words(show.describe(removal, units), worth, units))
        console().print(TAKING_OFF)
    return code


def bend_strip(
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
    lot: LotOption = None,
    support: Annotated[
        Support, typer.Option("--support", help="on two edges, or clamped at one end")
    ] = Support.THREE_POINT,
    by_rule: Annotated[
        bool, typer.Option("--rule", help="deflections were read on a rule, not by dial or caliper")
    ] = False,
    thickness_sd: Annotated[
        str | None,
        typer.Option("--thickness-sd", help="how well the thickness is known, in inches, if by micrometer"),
    ] = None,
    on: OnOption = None,
    remark: NoteOption = None,
    yes: Annotated[bool, typer.Option("--yes", help="keep also a strip told twice, or far off")] = False,
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
        with stopping_at(LookupError):
            material, lot = strips.lot_of(what, lot, contents)
        data: dict[str, Any] = {
            "material": material,
            "on": date.today().isoformat() if on is None else on,
            "support": support,
            "span_in": span,
            "width_in": width,
            "thickness_in": thickness,
            "loads": [load_typed(text, by_rule=by_rule) for text in loads],
            **given(lot=lot, note=remark, thickness_sd_in=thickness_sd),
        }
        raw = RawRecord("strip", data, 0)
        test = readable(raw, contents, corrects)
        told = strips.tell(contents, test, model_if_whole(book)) if isinstance(test, StripTest) else None
        far = [strips.far_in_words(told)] if told is not None and told.far else []
        doubts = [*days_to_come(test, contents), *told_before(test, contents), *far]
        ask_to_keep(doubts, "the reading", context.obj, yes=yes)
        outcome = keep(book, raw, corrects, because)
    if told is None or not outcome.kept:
        return tell_added(adding.told([raw], [outcome]), TYPED, said=doubts)
    if as_json:
        code = FINDINGS if outcome.findings else FINE
        sys.stdout.write(strips.strip_json(told) + "\n")
    else:
        code = tell_added(adding.told([raw], [outcome]), TYPED, said=doubts)
        strips.show_strip(told, console())
    return max(code, FINDINGS if told.misfits else FINE)
