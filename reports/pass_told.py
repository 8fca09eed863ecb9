"""One pass of a removal plan in words for the bench: a small table, the weighing after it, and how it is noted."""

from collections.abc import Iterator, Sequence
from itertools import groupby

from rich.table import Table

from datasets.exercise import ENOUGH_DRAWS
from datasets.notation import inches, millimetres, thousandths
from datasets.record import Dimension, Side
from datasets.schema import Cut, Method, Removal
from predictor.planning.awaited import LEAST_PAST_BRACE_IN, Awaited
from predictor.planning.plan import Plan
from predictor.planning.plan_parts import Pass
from reports.printing import Units, table

COMMAND = "  drawweight "
"""Begin of a line that is to be copied whole."""

_WAYS = {
    Method.SIDES: "sides: the same share all along down to the least widths, half off either edge",
    Method.EDGES: "edges: round all four corners to the radius",
    Method.TRAP: "trap: narrow the back, half off either edge, the belly as it is",
    Method.BELLY_GLASS: "belly glass: sand it alike all along, never to the core",
}
_WHOLE_64THS = (
    "sides: the same share all along, but in whole 64ths and down to the least widths, half off either edge"
)
"""Where that is nothing at some places."""

_SIZES = {
    Method.SIDES: "width",
    Method.EDGES: "radius",
    Method.TRAP: "width of the back",
    Method.BELLY_GLASS: "glass",
}


def pass_in_words(number: int, one: Pass, units: Units) -> str:
    """Return how a pass is taken and what it takes, before its table."""
    takes = f"{units.tenths_of_weight(one.loss_lbf)} {units.weight}"
    return f"Pass {number}, {_how(one)}; takes {takes} of the settled weight:"


def table_of(one: Pass, units: Units) -> Table:
    """Return the sizes of a pass, before and after it."""
    heads = ["limb", "from the fade", _SIZES[one.method], "new"]
    return table(heads, list(_rows(one, units)), right=(1, 2, 3))


def weighing_in_words(one: Pass, told: Plan, units: Units) -> str:
    """Return the weighing after a pass, at the draw to weigh at."""
    weighing = one.weighing
    if weighing is None:
        return f"It is then still too heavy to be drawn: {too_heavy(told, units)}."
    if weighing.draw == told.draw:
        return f"Then {ENOUGH_DRAWS} full draws, and weigh, {expecting(weighing, told, units)}."
    full = f"{units.tenths_of_weight(one.reading_lbf)} {units.weight} at {units.draw(told.draw)}"
    return (
        f"Then {ENOUGH_DRAWS} draws to {units.draw(weighing.draw)}, no further, and weigh there, "
        f"{expecting(weighing, told, units)}. It would pass the target with {full}: "
        f"{stop_early(told, units)}."
    )


def expecting(weighing: Awaited, told: Plan, units: Units) -> str:
    """Return what a weighing is expected to read."""
    reading = weighing.reading
    ((middle, low, high),) = units.expected([(reading.lbf, reading.low_lbf, reading.high_lbf)])
    scale = "" if told.read_on is None else f" on {told.read_on}"
    return f"expecting {middle} {units.weight}{scale} ({low} to {high})"


def stop_early(told: Plan, units: Units) -> str:
    """Return what to do where a kit comes to its target weight before the draw that it is weighed at."""
    target = f"{units.tenths_of_weight(told.target_lbf)} {units.weight}"
    return f"should the scale show {target} sooner, stop and note that draw"


def too_heavy(told: Plan, units: Units) -> str:
    """Return why a kit is not drawn at all."""
    past, target = units.length(LEAST_PAST_BRACE_IN), units.tenths_of_weight(told.target_lbf)
    return f"no draw, down to {past} past its brace, is expected to keep within {target} {units.weight}"


def _how(one: Pass) -> str:
    way, run_out = _WAYS[one.method], ""
    if _leaves_places(one):
        way = _WHOLE_64THS if one.method is Method.SIDES else way
        run_out = (
            f"; cut only where a new {_SIZES[one.method]} stands and let it run out evenly to nothing at each place to "
            "leave"
        )
    to_a_line = "stop short of the line, " if one.method in (Method.SIDES, Method.TRAP) else ""
    by_hand = f", by hand: {to_a_line}measure often" if one.by_hand else ""
    return f"{way}{by_hand}{run_out}"


def _leaves_places(one: Pass) -> bool:
    """Return whether a limb that is cut is left as it is at some of its places.

    What the pass takes, and what is noted of it, then counts each cut as running straight out to there.
    """
    found = {(cut.limb, cut.new_size_in == cut.size_in) for cut in one.cuts}
    return any({(limb, True), (limb, False)} <= found for limb, _ in found)


def _rows(one: Pass, units: Units) -> Iterator[list[str]]:
    """Yield the places of a pass, or one row for a limb that gets one size all along."""
    for limb, of_limb in groupby(one.cuts, key=lambda cut: cut.limb):
        cuts = list(of_limb)
        alike = len({(cut.size_in, cut.new_size_in) for cut in cuts}) == 1
        for cut in cuts[:1] if alike else cuts:
            size, new = (_size(inch, one.method, units) for inch in (cut.size_in, cut.new_size_in))
            where = "all along" if alike else units.length(cut.from_fade_in)
            yield [limb.value, where, size, "leave" if cut.new_size_in == cut.size_in else new]


def _size(inch: float, method: Method, units: Units) -> str:
    """Return a size as it is measured: in 64ths, but glass and a radius between two of them in thousandths."""
    glass = method is Method.BELLY_GLASS
    fine = glass or (method is Method.EDGES and not (64 * inch).is_integer())
    sizes = (f"{thousandths(inch) if fine else inches(inch)} in", millimetres(inch, 2 if glass else 1))
    first, second = sizes if units.system == "inch" else reversed(sizes)
    return f"{first} ({second})"


def what_to_do(first: Pass, build: str) -> Iterator[str]:
    """Yield what to do about the first pass, and the lines that note it."""
    yield (
        "Do pass 1 only, weigh, note both and ask again: each weighing changes the rest. If the reading is outside its "
        f"range: stop, {ENOUGH_DRAWS} more draws, weigh again, check scale and brace. To note pass 1 "
        "(without --planned if you give what you measured afterwards):"
    )
    for removal in first.removals:
        places = " ".join(_marks(removal, first.method))
        limb = "" if removal.limb is Side.BOTH else f" --limb {removal.limb.value}"
        yield f"{COMMAND}reduce {build} {removal.method.value} {places}{limb} --planned"


def _marks(removal: Removal, method: Method) -> Sequence[str]:
    """Return the amounts of a removal as they are typed, with their places unless it is alike all along."""
    amounts = [_amount(cut, method) for cut in removal.planned]
    if len({cut.amount_in.inch for cut in removal.planned}) == 1 and method is not Method.SHORTEN:
        return amounts[:1]
    return [f"{_place(cut)}={amount}" for cut, amount in zip(removal.planned, amounts, strict=True)]


def _place(cut: Cut) -> str:
    return f"{cut.at.inch:g}" if isinstance(cut.at, Dimension) else cut.at


def _amount(cut: Cut, method: Method) -> str:
    """Return an amount as it is typed: in 64ths if it is whole ones, else in thousandths."""
    inch = cut.amount_in.inch
    in_64ths = method is not Method.BELLY_GLASS and (64 * inch).is_integer()
    return inches(inch) if in_64ths else thousandths(inch)
