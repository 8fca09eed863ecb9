"""What bows lose by being shot in: each bow that was weighed again, the law with its band, when to weigh and mark."""

from collections import defaultdict
from collections.abc import Sequence

from matplotlib.axes import Axes
from pydantic import Field

from datasets.record import Record
from predictor.belief.shot_in import Left, SettlingCurve, ShotReading, settling_curve
from reports.blocks import Block, Caution, Graph, Paragraph, grid, span
from reports.graphs import BAND, BLUE, VERMILION, label
from reports.marking import little_to_go, moment_in_words, most_to_go_percent
from reports.numbers import fixed
from reports.printing import Units
from reports.sources import Basis, Sources, basis_of, tell_basis

OF_LBF = 50.0
"""The weight that losses are told of."""


class ToGo(Record):
    """What a bow will still lose after some shots, until the last shots that the law is told for."""

    shots: int
    percent: float = Field(description="median")
    most_percent: float = Field(description="for a bow that loses as much as the band's lower end")


class SettlingReport(Record):
    """The shop's settling."""

    basis: Basis
    curve: SettlingCurve
    to_go: tuple[ToGo, ...]
    mark_at_shots: int = Field(description="fewest of these after which little is still to go")


def make(sources: Sources, _words: Sequence[str]) -> SettlingReport:
    """Make the report."""
    curve = settling_curve(sources.contents, sources.trained.model if sources.trained else None)
    to_go = tuple(_to_go(left, curve.band[-1]) for left in curve.band)
    return SettlingReport(
        basis=basis_of(sources), curve=curve, to_go=to_go, mark_at_shots=little_to_go(curve.band)
    )


def _to_go(now: Left, last: Left) -> ToGo:
    return ToGo(
        shots=now.shots,
        percent=100 * (1 - last.middle / now.middle),
        most_percent=most_to_go_percent(now, last),
    )


def tell(report: SettlingReport, units: Units) -> tuple[Block, ...]:
    """Tell the report."""
    curve = report.curve
    told: list[Block] = list(tell_basis(report.basis))
    if not curve.bows:
        told.append(
            Caution(
                "No bow has been weighed again after shooting: what is told here is a wide default of the trade. Weigh "
                "finished bows again, and note the shots."
            )
        )
    told += [
        Paragraph(_law(curve)),
        _band_table(report, units),
        Paragraph(moment_in_words(report.mark_at_shots)),
    ]
    told.append(_graph(curve))
    if curve.readings:
        told.append(_bows(curve.readings, units))
    return tuple(told)


def _law(curve: SettlingCurve) -> str:
    words = curve.law.in_words()
    return (
        f"{words[0].upper()}{words[1:]}. Loss counts from the weight once finished, at like brace and string."
    )


def _band_table(report: SettlingReport, units: Units) -> Block:
    rows = [
        [
            str(left.shots),
            fixed(100 * left.middle, 1),
            span(fixed(100 * left.low, 1), fixed(100 * left.high, 1)),
            units.tenths_of_weight(OF_LBF * (1 - left.middle)),
            fixed(to_go.most_percent, 1),
        ]
        for left, to_go in zip(report.curve.band, report.to_go, strict=True)
    ]
    (of,) = units.read_weights([OF_LBF])
    band = f"{report.curve.level:.0%} of bows, %"
    heads = ["shots", "left, %", band, f"lost of {of}, {units.weight}", "to go at most, %"]
    return grid("What is left of the finished weight", heads, rows)


def _bows(readings: Sequence[ShotReading], units: Units) -> Block:
    (of,) = units.read_weights([OF_LBF])
    heads = ["build", "shots", "left, % ± sd", f"lost of {of}, {units.weight}"]
    rows = [
        [
            one.build,
            str(one.shots),
            f"{100 * one.share:.1f} ± {100 * one.log_sd:.1f}",
            units.tenths_of_weight(OF_LBF * (1 - one.share)),
        ]
        for one in readings
    ]
    if any(one.first_weighings + one.weighings > 2 for one in readings):
        heads.append("weighings, first and then")
        for row, one in zip(rows, readings, strict=True):
            row.append(f"{one.first_weighings}, {one.weighings}")
    return grid("Bows weighed again", heads, rows)


def _graph(curve: SettlingCurve) -> Graph:
    by_bow: dict[str, list[ShotReading]] = defaultdict(list)
    for reading in curve.readings:
        by_bow[reading.build].append(reading)

    def draw(axes: Axes) -> None:
        shots = [left.shots for left in curve.band]
        low, high = (
            [100 * end for end in ends] for ends in zip(*((b.low, b.high) for b in curve.band), strict=True)
        )
        axes.fill_between(shots, low, high, color=BAND, linewidth=0)
        for mine in by_bow.values():
            axes.plot(
                [0, *(one.shots for one in mine)],
                [100, *(100 * one.share for one in mine)],
                "o-",
                color=BLUE,
                linewidth=0.8,
                alpha=0.6,
            )
        axes.plot(shots, [100 * left.middle for left in curve.band], color=VERMILION, linewidth=2.2)
        words = f"thick: the law; grey: {curve.level:.0%} of bows"
        bottom, top = axes.get_ylim()
        axes.set_ylim(bottom, top + (top - bottom) / 8)
        label(axes, words, (shots[-1], top), VERMILION, "right")
        axes.set_xlabel("arrows shot")
        axes.set_ylabel("left of the finished weight, %")

    last = curve.band[-1]
    return Graph(
        title="Settling against shots",
        alternative=f"What is left of the finished weight against arrows shot, {curve.bows} bows as thin lines and the "
        f"law as a thick one: {100 * last.middle:.1f}% after {last.shots} shots, {100 * last.low:.1f} to "
        f"{100 * last.high:.1f}% for {curve.level:.0%} of bows.",
        draw=draw,
        height_in=3.0,
    )
