"""What a bow's tiller looks like: which limb is the stiffer, what to take off it, and what that costs."""

from rich.console import Console
from rich.markup import escape

from datasets.record import Side
from predictor.bows.tiller import Tillered
from reports.printing import Units, table

HOW_TO = (
    "Narrow the sides first, then the edges, then flat-sand its glass; never try to stiffen the other limb.",
    "Caution: dust of wood and glass harms the lungs; wear a respirator, and draw no farther than is tillered.",
)


def show_tiller(told: Tillered, units: Units, out: Console) -> None:
    """Print a bow's tiller, the stiffer limb, and the cuts that set it right."""
    low, high = (units.length(inch) for inch in told.wanted_in)
    measured = "not measured" if told.measured_in is None else f"measured {units.length(told.measured_in)}"
    out.print(
        f"[bold]{escape(told.build)}[/] tiller, upper less lower gap: {units.length(told.tiller_in)} "
        f"(± {units.length(told.tiller_sd_in)}, one standard deviation); {measured}, "
        f"by its dimensions {units.length(told.from_records_in)}; wanted {low} to {high}"
    )
    if told.measured_in is not None:
        than_said = "stiffer" if told.difference >= 0 else "softer"
        out.print(
            f"So the upper limb is {abs(told.difference):.1%} (± {told.difference_sd:.1%}) {than_said} against the "
            "lower one than the records say."
        )
    if told.stiff is not None:
        _show_cuts(told, units, out)
    elif told.measured_in is not None:
        out.print("The tiller is as wanted: leave it.")
    for remark in told.notes:
        out.print(escape(f"{remark[:1].upper()}{remark[1:]}."))


def _show_cuts(told: Tillered, units: Units, out: Console) -> None:
    """Print which limb is cut where, and what comes of it."""
    other = Side.LOWER if told.stiff is Side.UPPER else Side.UPPER
    lost = told.weight_lbf - told.weight_after_lbf
    out.print(f"The {told.stiff} limb is too stiff for the {other} one. Off its whole width:")
    heads = ["from the fade", "width now", "take off"]
    rows = [
        [units.length(cut.from_fade_in), units.length(cut.width_in), units.length(cut.amount_in)]
        for cut in told.cuts
    ]
    out.print(table(heads, rows, right=(0, 1, 2)))
    out.print(
        f"Then: tiller {units.length(told.after_in)}, and {units.tenths_of_weight(lost)} {units.weight} "
        f"({lost / told.weight_lbf:.1%}) less draw weight at {units.draw(told.draw)}."
    )
    for advice in HOW_TO:
        out.print(advice)
