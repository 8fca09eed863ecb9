"""What stacks for a promise look like: a table for people, and equal-weight swaps."""

from collections.abc import Iterator, Sequence

from rich.console import Console
from rich.markup import escape

from datasets.notation import millimetres, thousandths
from datasets.schema import Build, Layer, Part
from predictor.bows.margins import Strained, notes_on_margins
from predictor.prediction.ranged import HELD, Ranged
from predictor.pressing.extremes import Extremes
from predictor.pressing.layup import Choice
from predictor.pressing.swaps import Swapped
from reports.layup import Told
from reports.numbers import counted, fixed
from reports.prediction import CAUTION, STRAIN_CAUTION
from reports.printing import Units, table

DUST_CAUTION = (
    "Caution: the dust of glass and wood harms the lungs: grind and sand with extraction and a respirator, wear "
    "gloves and eye protection, and keep to the glue maker's sheet."
)

REFUSALS_SHOWN = 3


def show_layup(told: Told, units: Units, out: Console) -> None:
    """Print the stacks for a promise, the best first, with what they were chosen under."""
    scale = "in true force" if told.scale is None else f"on {told.scale}"
    tolerance = units.tenths_of_weight(told.tolerance_lbf)
    out.print(
        f"Stacks on [bold]{told.form}[/] for {units.tenths_of_weight(told.target_lbf)} ± {tolerance} {units.weight} at "
        f"{units.draw(told.draw)} after {counted(told.shots, 'shot')}, {escape(scale)}; "
        "thickness at the butt, back to belly:"
    )
    for number, choice in enumerate(told.layup.choices, 1):
        out.print(escape(f"{number}: {stack_in_words(choice.layers, choice.ground)}"))
    if told.layup.choices:
        out.print(_choices(told.layup.choices, units))
    for remark in _remarks(told, units):
        out.print(escape(remark))


def stack_in_words(layers: Sequence[Layer], ground: bool) -> str:
    """Return a stack from back to belly: what is ground or otherwise planned in inches and millimetres."""
    return ", ".join(_lam(layer) for layer in layers) + ("" if ground else " (nothing to grind)")


def _lam(layer: Layer) -> str:
    inch = layer.butt_in.inch
    lot = f" of lot {layer.lot}" if layer.lot else ""
    part = "" if layer.part in (Part.GLASS, Part.CORE) else f"{layer.part} "
    taper = f", taper {thousandths(layer.taper_per_in)} per in" if layer.taper_per_in else ""
    return f"{part}{layer.material}{lot} {thousandths(inch)} in ({millimetres(inch, 2)}{taper})"


def _choices(choices: Sequence[Choice], units: Units) -> object:
    heads = ["", "first strung", f"settled, {units.weight}", f"{HELD:.0%} of such bows", "to take off"]
    rows = [
        [
            str(number),
            units.tenths_of_weight(choice.first.lbf),
            *_range(choice.settled, units),
            units.tenths_of_weight(choice.excess_lbf),
            f"{choice.reach:.0%}",
            f"{choice.chance:.0%}",
            _least_margin(choice.strain),
        ]
        for number, choice in enumerate(choices, 1)
    ]
    return table([*heads, "heavy enough", "can be met", "strain margin"], rows, right=(1, 2, 4, 5, 6))


def _range(weight: Ranged, units: Units) -> tuple[str, str]:
    ((middle, low, high),) = units.expected([(weight.lbf, weight.low_lbf, weight.high_lbf)])
    return middle, f"{low} to {high}"


def _least_margin(strain: Sequence[Strained]) -> str:
    """Return the margin of the material that falls shortest of the one wanted, which stands first."""
    known = [place for place in strain if place.margin is not None]
    return f"{fixed(known[0].margin or 0.0, 2)} {known[0].material}" if known else "not known"


def _remarks(told: Told, units: Units) -> list[str]:
    layup, (fade, nock) = told.layup, told.least_widths_in
    remarks = [
        f"Refused: {stack_in_words(one.layers, True)}: {one.reason}" for one in layup.refused[:REFUSALS_SHOWN]
    ]
    if len(layup.refused) > REFUSALS_SHOWN:
        remarks.append(f"and {len(layup.refused) - REFUSALS_SHOWN} more refused (--json has them all)")
    if not layup.choices:
        remarks.append("No stack is left that may be pressed for this promise.")
    remarks += _reach(told.within_reach, units)
    remarks += [f"1: {remark}" for choice in layup.choices[:1] for remark in choice.notes]
    if told.like is not None:
        remarks.append(_compared(told.like, told))
    elif not told.from_stock:
        remarks.append(
            "Not from stock: lams of any thickness are taken as at hand; see: drawweight stock --help"
        )
    widths = ", ".join(units.length(width) for width in told.widths_in)
    return [
        *remarks,
        f"Blank: {units.length(told.length_in)} nock to nock, {widths} wide at fade, mid and nock when first "
        f"strung; it may be narrowed down to {units.length(fade)} and {units.length(nock)}.",
        f"Heavy enough: the chance of reaching the least promised weight after finishing and shooting in; "
        f"{told.reach_wanted:.0%} is wanted (drawweight shop reach_chance=...). "
        "Can be met: that it can also be brought down to the greatest.",
        f"Basis: {told.basis}. Stacks looked at: {layup.considered}.",
        STRAIN_CAUTION,
        DUST_CAUTION,
        CAUTION,
    ]


def _reach(reach: Extremes | None, units: Units) -> Iterator[str]:
    """Yield in words between what weights bows can be made of the lams at hand."""
    ends = (
        ()
        if reach is None
        else (
            ("The heaviest bow of these lams that is not strained too far", reach.heaviest),
            ("The lightest, at the least widths,", reach.lightest),
        )
    )
    for what, weight in ends:
        if weight is not None:
            middle, span = _range(weight, units)
            yield f"{what} is expected to settle at {middle} {units.weight} ({span})."


def _compared(like: Build, told: Told) -> str:
    """Return in words what the cores of the bow were that another is like, and what it weighs."""
    cores = [thousandths(layer.butt_in.inch) for layer in like.layers if layer.part is Part.CORE]
    counts = (
        "which counts here"
        if told.its_weighings_count
        else "which does not count beyond what training made of it: it looks like a slip, or was changed since"
    )
    read = "" if told.last_read is None else f"; it last read {told.last_read}, {counts}"
    return f"The cores of {like.id} were {' and '.join(cores)} in{read}."


def show_swap(name: str, told: Swapped, units: Units, out: Console) -> None:
    """Print the cores that keep a bow's weight, beside those that it has."""
    weight, span = _range(told.weight, units)
    out.print(
        f"Another [bold]{name}[/] of the same weight as first cut, {weight} {units.weight} settled ({span}), "
        f"{units.length(told.length_in)} nock to nock; thickness at the butt, back to belly:"
    )
    rows = [
        [
            new.part.value,
            _material(old, new),
            units.thickness(old.butt_in.inch),
            units.thickness(new.butt_in.inch),
            millimetres(new.butt_in.inch, 2),
            _more(new.butt_in.inch - old.butt_in.inch),
        ]
        for old, new in zip(told.old, told.new, strict=True)
    ]
    out.print(table(["", "material", "was", "now", "", "more, in"], rows, right=(2, 3, 4, 5)))
    for what, difference in (
        ("The change itself is known", told.by_change),
        ("One bow against one bow", told.difference),
    ):
        low, high = (units.tenths_of_weight(end) for end in (difference.low_lbf, difference.high_lbf))
        out.print(f"{what}: {low} to {high} {units.weight} apart in {HELD:.0%} of cases")
    out.print(f"Strain margin of the new bow at full draw: {_least_margin(told.strain)}.")
    for remark in (
        *notes_on_margins(told.strain),
        "Doubts that both bows share, such as that about a wood which both have, are not in these.",
        f"Grind the cores to .001 in; what is left over or short, the width makes up. {DUST_CAUTION}",
        STRAIN_CAUTION,
        CAUTION,
    ):
        out.print(escape(remark))


def _material(old: Layer, new: Layer) -> str:
    return new.material if old.material == new.material else f"{new.material} for {old.material}"


def _more(inch: float) -> str:
    text = thousandths(inch)
    return f"+{text}" if inch > 0 and text != ".000" else text
