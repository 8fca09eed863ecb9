"""The removal plan of a kit in words for the bench: one small table a pass, and what to do between passes."""

from collections.abc import Iterator

from rich.console import Console
from rich.markup import escape

from datasets.contents import Contents
from datasets.notation import inches, millimetres
from datasets.schema import Build, Form
from predictor.blanks import least_widths, widths_of
from predictor.bow import Refusal
from predictor.kit_state import Kit
from predictor.model import Model
from predictor.plan import Limits, Pass, Plan, plan
from predictor.prospects import Knowledge, Promise
from predictor.stakes import Stakes
from reports.numbers import fixed
from reports.printing import Units, table

DONE_LBF = 0.01
"""A bow that finish sanding is expected to cost less than this is finished."""

SAFETY = (
    "Dust of glass and wood harms the lungs: respirator and extraction on, gloves and long sleeves for glass.",
    "Saw and sander: eye and ear protection, both hands on the limb, guards on, stop before measuring; keep to local "
    "rules and the maker's sheets.",
    "An untested bow may break: eye protection, nobody in line with the limbs, draw it a little further each time.",
    "Never draw past the target weight or the draw that is tillered.",
    "Stop at a tick, a white or raised line in the glass, a lifting lam or an opening glue line: unstring it.",
)
"""Common practice, no source."""


def plan_for(
    contents: Contents,
    form: Form,
    build: Build,
    promise: Promise,
    model: Model | None,
    tiller_in: tuple[float, float],
) -> Plan | Refusal:
    """Return the plan of one build of the book, under the shop's settings, or why there is none.

    Args:
        contents: the book.
        form: that the build was pressed on.
        build: the kit.
        promise: to be kept.
        model: what the shop's builds have taught; nothing before training.
        tiller_in: lowest and highest wanted.
    """
    shop = contents.shop
    stakes = Stakes(
        promise.tolerance_lbf, shop.under_to_over_cost, shop.pass_cost_lbf, shop.most_under_chance
    )
    limits = Limits(least_widths(shop, widths_of(form, build)), shop.strain_limit, tiller_in)
    layered = {layer.material for layer in build.layers}
    strips = tuple(strip for strip in contents.strips.values() if strip.material in layered)
    kit = Kit(form, build, tuple(contents.events.get(build.id, ())))
    return plan(kit, promise, stakes, limits, Knowledge(contents.materials, model, strips))


def show_plan(told: Plan, units: Units, out: Console) -> None:
    """Print a plan: where the kit stands, each pass, how it is likely to end, and cautions."""
    for line in _standing(told, units):
        out.print(escape(line))
    for number, one in enumerate(told.passes, 1):
        _show_pass(number, one, told, units, out)
    for line in (*_ending(told, units), *_remarks(told), *(f"Caution: {line}" for line in SAFETY)):
        out.print(escape(line))


def _standing(told: Plan, units: Units) -> Iterator[str]:
    judged = "in true force" if told.scale is None else f"on {told.scale}"
    weigh = units.tenths_of_weight
    yield (
        f"{told.build}: {weigh(told.target_lbf)} ± {weigh(told.tolerance_lbf)} {units.weight} at "
        f"{units.draw(told.draw)} after {told.shots} shots, {judged}"
    )
    yield (
        f"Now {weigh(told.now_lbf)} {units.weight}. Kept back for edges and finish sanding "
        f"{weigh(told.kept_for_finishing_lbf)}, for shooting in {weigh(told.kept_for_shooting_lbf)}: with nothing more "
        f"taken off it settles at {weigh(told.settled_lbf)} (± {weigh(told.can_tell_lbf)} that weighings can tell, "
        f"± {weigh(told.after_lbf)} of finishing and shooting in, one standard deviation each)."
    )


def _show_pass(number: int, one: Pass, told: Plan, units: Units, out: Console) -> None:
    how = (
        "by hand: scrape or sand, measuring often"
        if one.by_hand
        else "sides, equal share of the width all along"
    )
    weigh = units.tenths_of_weight
    out.print(escape(f"Pass {number}, {how}; takes {weigh(one.loss_lbf)} {units.weight}:"))
    rows = [
        [
            cut.limb.value,
            units.length(cut.from_fade_in),
            f"{inches(cut.width_in)} in ({millimetres(cut.width_in)})",
            f"{inches(cut.new_width_in)} in ({millimetres(cut.new_width_in)})",
        ]
        for cut in one.cuts
    ]
    out.print(table(["limb", "from the fade", "width", "new width"], rows, right=(1, 2, 3)))
    ((middle, low, high),) = units.expected([(one.reading_lbf, one.low_lbf, one.high_lbf)])
    scale = "" if told.read_on is None else f" on {told.read_on}"
    out.print(
        escape(f"Then 30 full draws, and weigh: {middle} {units.weight}{scale} expected ({low} to {high}).")
    )


def _ending(told: Plan, units: Units) -> Iterator[str]:
    weigh = units.tenths_of_weight
    if told.least_lbf is not None:
        yield (
            f"The target is out of reach: narrowed to the least widths it still settles at about "
            f"{weigh(told.least_lbf)} {units.weight}. Lower the least widths, or promise that weight."
        )
    elif told.too_light:
        yield from _too_light(told, units)
    elif told.weigh_again:
        yield (
            "Too little is known of it to take anything off safely: weigh again after 30 full draws, on another scale "
            "if there is one, and ask for the plan again."
        )
    elif not told.passes:
        yield _nothing_more(told)
    else:
        yield (
            "If a reading is outside: stop, 30 more draws, weigh again, check scale and brace. Note the cuts and the "
            "weighing (reduce, weigh), and ask for the plan again: it changes with each weighing."
        )
    yield (
        f"If followed to its end: under {fixed(100 * told.under, 0)} %, within {fixed(100 * told.within, 0)} %, over "
        f"{fixed(100 * told.over, 0)} %; about {fixed(told.expected_passes, 1)} passes."
    )
    yield (
        f"A pound under counts {told.under_to_over:g} times a pound over, a pass {told.pass_cost_lbf:g} lb; ending "
        f"under at most {told.most_under:.0%} likely over all passes."
    )


def _nothing_more(told: Plan) -> str:
    """Return what comes next; before finish sanding much of the doubt is what it will take."""
    if told.kept_for_finishing_lbf < DONE_LBF:
        return "Nothing more to take off: shoot it in."
    return (
        "Nothing more to take off before finish sanding: finish-sand it, weigh it (--stage finished) and ask again; "
        "then a last pass by hand may bring it nearer."
    )


def _too_light(told: Plan, units: Units) -> Iterator[str]:
    yield "It is too light, or too likely to end so: take nothing off. What can be done:"
    for one in told.shortened:
        by = units.length(one.each_end_in)
        effect = one.refused or f"about {units.tenths_of_weight(one.settled_lbf)} {units.weight} settled"
        yield f"- shorten both nock ends by {by}: {effect}"
    yield f"- sell it as it is: {units.tenths_of_weight(told.settled_lbf)} {units.weight} settled"
    mark = f"{told.target_lbf:g}#@{told.draw.inch:g}"
    yield f'- press another: drawweight layup --like {told.build} --target "{mark}"'


def _remarks(told: Plan) -> Iterator[str]:
    for remark in told.notes:
        yield f"{remark[:1].upper()}{remark[1:]}."
