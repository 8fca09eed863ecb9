"""The removal plan of a kit in words for the bench: one small table a pass, and what to do between passes."""

from collections.abc import Iterator, Sequence
from itertools import groupby

from rich.console import Console
from rich.markup import escape

from datasets.contents import Contents
from datasets.notation import inches, millimetres, thousandths
from datasets.record import Dimension, Side
from datasets.schema import Build, Cut, Form, Method, Removal, Shop
from predictor.blanks import least_widths, widths_of
from predictor.bow import Refusal
from predictor.kit_state import Kit
from predictor.model import Model
from predictor.passes import Step
from predictor.plan import Plan, plan
from predictor.planned_passes import Pass
from predictor.prospects import Knowledge, Promise
from predictor.stakes import Stakes
from predictor.ways import Limits
from reports.numbers import fixed
from reports.printing import Units, table

DONE_LBF = 0.01
"""A bow that finish sanding is expected to cost less than this is finished."""

USUAL_RADIUS_IN = 1 / 8
"""Largest radius that corners are rounded to where the shop sets none. Common practice, no source."""

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
    stakes = Stakes.of(shop, promise.tolerance_lbf)
    limits = _limits(shop, form, build, tiller_in)
    layered = {layer.material for layer in build.layers}
    strips = tuple(strip for strip in contents.strips.values() if strip.material in layered)
    kit = Kit(form, build, tuple(contents.events.get(build.id, ())))
    return plan(kit, promise, stakes, limits, Knowledge(contents.materials, model, strips))


def _limits(shop: Shop, form: Form, build: Build, tiller_in: tuple[float, float]) -> Limits:
    radius, trap, glass = shop.edge_radius_limit_in, shop.trap_limit_in, shop.glass_off_limit_in
    return Limits(
        least_widths_in=least_widths(shop, widths_of(form, build)),
        strain=shop.strain_limit,
        tiller_in=tiller_in,
        most_radius_in=USUAL_RADIUS_IN if radius is None else radius.inch,
        most_trap_in=0.0 if trap is None else trap.inch,
        most_glass_off_in=0.0 if glass is None else glass.inch,
    )


def show_plan(told: Plan, units: Units, out: Console) -> None:
    """Print a plan: where the kit stands, each pass, how it is likely to end, and cautions."""
    for line in _standing(told, units):
        out.print(escape(line))
    for number, one in enumerate(told.passes, 1):
        if one.once_finished and not any(before.once_finished for before in told.passes[: number - 1]):
            out.print(escape(_finish_first(told)))
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
    finishing = f"edges and finish sanding {weigh(told.kept_for_finishing_lbf)}, for "
    unfinished = told.kept_for_finishing_lbf >= DONE_LBF
    yield (
        f"Now {weigh(told.now_lbf)} {units.weight}. Kept back for {finishing if unfinished else ''}shooting in "
        f"{weigh(told.kept_for_shooting_lbf)}: with nothing more taken off it settles at {weigh(told.settled_lbf)} "
        f"(± {weigh(told.can_tell_lbf)} that weighings can tell, ± {weigh(told.after_lbf)} of "
        f"{'finishing and ' if unfinished else ''}shooting in, one standard deviation each)."
    )


def _show_pass(number: int, one: Pass, told: Plan, units: Units, out: Console) -> None:
    weigh = units.tenths_of_weight
    out.print(
        escape(
            f"Pass {number}, {_how(one)}; takes {weigh(one.loss_lbf)} {units.weight} of the settled weight:"
        )
    )
    heads = ["limb", "from the fade", _SIZES[one.method], "new"]
    out.print(table(heads, list(_rows(one, units)), right=(1, 2, 3)))
    ((middle, low, high),) = units.expected([(one.reading_lbf, one.low_lbf, one.high_lbf)])
    scale = "" if told.read_on is None else f" on {told.read_on}"
    out.print(
        escape(f"Then 30 full draws, and weigh: {middle} {units.weight}{scale} expected ({low} to {high}).")
    )


_WAYS = {
    Method.SIDES: "sides: the same share all along down to the least widths, half off either edge",
    Method.EDGES: "edges: round all four corners to the radius",
    Method.TRAP: "trap: narrow the back, half off either edge, the belly as it is",
    Method.BELLY_GLASS: "belly glass: sand it alike all along, never to the core",
}
_SIZES = {
    Method.SIDES: "width",
    Method.EDGES: "radius",
    Method.TRAP: "width of the back",
    Method.BELLY_GLASS: "glass",
}


def _how(one: Pass) -> str:
    to_a_line = "stop short of the line, " if one.method in (Method.SIDES, Method.TRAP) else ""
    return f"{_WAYS[one.method]}{f', by hand: {to_a_line}measure often' if one.by_hand else ''}"


def _rows(one: Pass, units: Units) -> Iterator[list[str]]:
    """Yield the places of a pass, or one row for a limb that gets one size all along."""
    for limb, of_limb in groupby(one.cuts, key=lambda cut: cut.limb):
        cuts = list(of_limb)
        alike = len({(cut.size_in, cut.new_size_in) for cut in cuts}) == 1
        for cut in cuts[:1] if alike else cuts:
            size, new = (_size(inch, one.method) for inch in (cut.size_in, cut.new_size_in))
            where = "all along" if alike else units.length(cut.from_fade_in)
            yield [limb.value, where, size, "leave" if cut.new_size_in == cut.size_in else new]


def _size(inch: float, method: Method) -> str:
    """Return a size as it is measured: in 64ths, but glass and a radius between two of them in thousandths."""
    if method is Method.BELLY_GLASS:
        return f"{thousandths(inch)} in ({millimetres(inch, 2)})"
    if method is Method.EDGES and not (64 * inch).is_integer():
        return f"{thousandths(inch)} in ({millimetres(inch)})"
    return f"{inches(inch)} in ({millimetres(inch)})"


def _ending(told: Plan, units: Units) -> Iterator[str]:
    if told.out_of_reach:
        yield from _out_of_reach(told, units)
    elif told.too_light:
        yield from _too_light(told, units)
    elif told.next_step is Step.WEIGH:
        yield (
            "Too little is known of it to take anything off safely: weigh again after 30 full draws, on another scale "
            "if there is one, and ask for the plan again."
        )
    elif not told.passes:
        yield _nothing_more(told)
    elif told.next_step is Step.FINISH:
        yield "Do that first, and ask again: each weighing changes the rest."
    else:
        yield from _what_to_do(told.passes[0], told.build)
    chances = (
        f"under {fixed(100 * told.under, 0)} %, within {fixed(100 * told.within, 0)} %, over "
        f"{fixed(100 * told.over, 0)} %"
    )
    if told.next_step is Step.STOP:
        yield f"As it is: {chances}."
    else:
        yield f"If followed to its end: {chances}; about {fixed(told.expected_passes, 1)} passes."
    yield (
        f"A pound under counts {told.under_to_over:g} times a pound over, a pass {told.pass_cost_lbf:g} lb, ending "
        f"outside the tolerance at all {told.miss_cost_lbf:g} lb (it decides between plans that cost nearly the same); "
        f"ending under at most {told.most_under:.0%} likely over all passes."
    )


def _what_to_do(first: Pass, build: str) -> Iterator[str]:
    yield (
        "Do pass 1 only, weigh, note both and ask again: each weighing changes the rest. If the reading is outside its "
        "range: stop, 30 more draws, weigh again, check scale and brace. To note pass 1 (without --planned if you give "
        "what you measured afterwards):"
    )
    for removal in first.removals:
        places = " ".join(f"{_place(cut)}={_amount(cut, first.method)}" for cut in _marked(removal))
        limb = "" if removal.limb is Side.BOTH else f" --limb {removal.limb.value}"
        yield f"  drawweight reduce {build} {removal.method.value} {places}{limb} --planned"


def _marked(removal: Removal) -> Sequence[Cut]:
    """Return the places of a removal, or one where it is alike all along."""
    alike = len({cut.amount_in.inch for cut in removal.planned}) == 1
    return removal.planned[:1] if alike else removal.planned


def _place(cut: Cut) -> str:
    return f"{cut.at.inch:g}" if isinstance(cut.at, Dimension) else cut.at


def _amount(cut: Cut, method: Method) -> str:
    """Return an amount as it is typed: in 64ths if it is whole ones, else in thousandths."""
    inch = cut.amount_in.inch
    in_64ths = method is not Method.BELLY_GLASS and (64 * inch).is_integer()
    return inches(inch) if in_64ths else thousandths(inch)


def _out_of_reach(told: Plan, units: Units) -> Iterator[str]:
    *alone, together = told.out_of_reach
    yield (
        f"The target is out of reach within the shop's limits, so take nothing off for it: all that they allow still "
        f"leaves about {units.tenths_of_weight(together.settled_lbf)} {units.weight} settled. Each way alone:"
    )
    for one in alone:
        if one.method is not None:
            leaves = f"{units.tenths_of_weight(one.settled_lbf)} {units.weight}"
            yield f"- {_LIMITS[one.method]}: {leaves}"
    yield "Promise a weight that can be reached, or change the limits: drawweight shop"


_LIMITS = {
    Method.SIDES: "sides at the least widths",
    Method.EDGES: "edges at the largest radius",
    Method.TRAP: "trap at its limit",
    Method.BELLY_GLASS: "belly glass at its limit",
}


def _nothing_more(told: Plan) -> str:
    """Return what comes next; before finish sanding much of the doubt is what it will take."""
    if told.next_step is Step.STOP:
        return "Nothing more to take off: it is done."
    return f"{_finish_first(told)} A last pass by hand may then bring it nearer."


def _finish_first(told: Plan) -> str:
    """Return what is done before the last passes, as most of what is kept back shows in the weighing after it."""
    sand = "" if told.kept_for_finishing_lbf < DONE_LBF else "finish-sand it, "
    return (
        f"Before any more comes off: {sand}shoot {told.first_shots} arrows, weigh it (--stage settled --shots "
        f"{told.first_shots}) and ask again."
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
