"""What a prediction looks like: a table for people."""

from collections.abc import Iterator, Sequence

from rich.console import Console
from rich.markup import escape

from datasets.arrows import UNFINISHED
from datasets.notation import millimetres
from datasets.schema import Stage
from predictor.bows.margins import Strained
from predictor.prediction.on_the_way import Step, Way
from predictor.prediction.predict import DrawPrediction, Prediction
from reports.changes import change_in_words, weight_in_words
from reports.marking import Marking, marking_in_words
from reports.numbers import counted, fixed
from reports.printing import Units, table

SHARES_SHOWN = 5

CAUTION = (
    "Caution: wear eye protection at first draws, keep out of the line of the limb tips, and never draw past "
    "the target weight or the draw that is tillered."
)

STRAIN_CAUTION = (
    "Strain limits are handbook values of small clear samples, without knots, fatigue or age: a margin is no "
    "promise. That of a wood is its bending strength over its stiffness; in compression none is published."
)


def show_prediction(
    prediction: Prediction,
    stage: Stage,
    units: Units,
    out: Console,
    way: Way | None = None,
    *,
    shots: int | None = None,
    marked: Marking | None = None,
) -> None:
    """Print a bow's expected weights with intervals, the reasons for their width, and what they rest on.

    What is strained over its limit stands above all else.

    Args:
        prediction: what is expected.
        stage: the stage it is expected at.
        units: what to print in.
        out: where to.
        way: weights from now to settled, where they are asked for.
        shots: arrows shot by then; nothing where nobody said.
        marked: when to weigh and mark the bow, and with what, where that is told.
    """
    for caution in over_limit_in_words(prediction.over_limit, units):
        out.print(escape(caution), style="bold")
    counts = shots is not None and (shots > 0 or stage not in UNFINISHED)
    after = f" after {counted(shots or 0, 'shot')}" if counts else ""
    state = "as planned" if prediction.planned else "as it stands"
    what = f"{state}: expected draw weight in {units.weight}, weighed as {stage}{after}"
    out.print(f"[bold]{escape(prediction.build)}[/] {what}")
    levels = [f"{interval.level:.0%} of such bows" for interval in prediction.draws[0].intervals]
    out.print(
        table(
            ["draw", units.weight, *levels, f"{units.weight} per {_step(units)}"],
            _rows(prediction.draws, units),
            right=(1, 2, 3, 4),
        )
    )
    out.print(_force(prediction, units))
    if way is not None:
        _show_way(way, units, out)
    out.print(
        f"Why so wide, in {units.weight} (one standard deviation) at {units.draw(prediction.main_draw)}:"
    )
    for share in prediction.shares[:SHARES_SHOWN]:
        out.print(f"  {units.tenths_of_weight(share.sd_lbf):>4}  {escape(share.source)}")
    rest = len(prediction.shares) - SHARES_SHOWN
    if rest > 0:
        out.print(f"  and {rest} smaller ones (--json has them all)")
    for place in prediction.strain:
        out.print(escape(_strain(place, units)))
    told = (f"Basis: {prediction.basis}.", f"Intervals: {prediction.interval_basis}.")
    marking = () if marked is None else (marking_in_words(marked, units),)
    for remark in (*told, *prediction.notes, *marking, STRAIN_CAUTION, CAUTION):
        out.print(escape(remark))


def _force(prediction: Prediction, units: Units) -> str:
    interval = prediction.force.interval
    ((middle, low, high),) = units.expected(
        [(prediction.force.weight_lbf, interval.low_lbf, interval.high_lbf)]
    )
    return escape(
        f"The table is what {_scale(prediction.scale)} reads; "
        f"the force itself at {units.draw(prediction.main_draw)} is {middle} {units.weight} ({low} to {high})."
    )


def _show_way(way: Way, units: Units, out: Console) -> None:
    """Print what the bow weighs now, finished and settled, and what it loses on the way."""
    out.print(f"The way there at {units.draw(way.draw)}, each with the range of 90% of such bows:")
    now = f"now, as {_scale(way.scale)} reads"
    rows = [[now, weight_in_words(way.reading, units), ""]]
    rows += [
        [_stop(step, place), weight_in_words(step.weight, units), _lost(step, units)]
        for place, step in enumerate(way.steps)
    ]
    out.print(table(["", "weight", "on the way"], rows))


def _stop(step: Step, place: int) -> str:
    after = "" if step.shots is None else f" after {counted(step.shots, 'shot')}"
    return f"now, {step.stage}{after}: the force itself" if place == 0 else f"{step.stage}{after}"


def _lost(step: Step, units: Units) -> str:
    if step.change is None:
        return ""
    return f"{step.by} {change_in_words(step.change, units)}"


def _scale(name: str | None) -> str:
    return "a scale that nobody noted" if name is None else f"the scale {name}"


def over_limit_in_words(places: Sequence[Strained], units: Units) -> Iterator[str]:
    """Yield a caution for each material that is over its limit, with its place."""
    for place in places:
        told = place.in_words(_station(place, units), units.draw(place.draw))
        yield f"Caution, over its limit: {told}: do not draw so far."


def _station(place: Strained, units: Units) -> str:
    return f"{place.from_fade_in:.1f} in" if units.system == "inch" else millimetres(place.from_fade_in)


def _strain(place: Strained, units: Units) -> str:
    margin = "margin not known" if place.margin is None else f"margin {fixed(place.margin, 2)}"
    return f"Strain: {place.in_words(_station(place, units), units.draw(place.draw))}, {margin}"


def _step(units: Units) -> str:
    return "in" if units.system == "inch" else "cm"


def _rows(draws: Sequence[DrawPrediction], units: Units) -> list[list[str]]:
    by_level = [
        units.expected([(draw.weight_lbf, interval.low_lbf, interval.high_lbf) for draw, interval in column])
        for column in zip(*([(draw, interval) for interval in draw.intervals] for draw in draws), strict=True)
    ]
    rows = []
    for draw, *told in zip(draws, *by_level, strict=True):
        per_step = draw.per_inch_lbf if units.system == "inch" else draw.per_inch_lbf / 2.54
        spans = [f"{low} to {high}" for _, low, high in told]
        rows.append([units.draw(draw.draw), told[0][0], *spans, units.tenths_of_weight(per_step)])
    return rows
