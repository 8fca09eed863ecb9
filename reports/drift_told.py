"""How the report on drift is told."""

from collections.abc import Sequence

from matplotlib.axes import Axes

from reports.blocks import Block, Graph, Grid, Paragraph, grid, span
from reports.drift_report import Candidate, DriftReport, Point, RaisedAlarm, Reach
from reports.graphs import BAND, BLUE, GREY, VERMILION, label
from reports.numbers import fixed
from reports.printing import Units, named_once
from reports.sources import tell_basis
from training.checking.control_chart import BUILDS_A_FALSE_ALARM, EWMA_SHARE
from training.checking.forward import FEWEST_BEFORE

FEWEST_FOR_RULES = 8
"""The longest run rule looks at so many."""

CANDIDATES_SHOWN = 8

LIKELY = 0.8
"""Chance from which a shift counts as likely seen."""


def tell(report: DriftReport, _units: Units) -> tuple[Block, ...]:
    """Tell the report; nothing in it has a unit of weight."""
    told: list[Block] = list(tell_basis(report.basis))
    if not report.points:
        few = (
            f"The chart begins with build number {FEWEST_BEFORE + 1}: each is foretold from those before it."
        )
        return (*told, Paragraph(few))
    told.append(Paragraph(_verdict(report)))
    if len(report.points) < FEWEST_FOR_RULES:
        told.append(Paragraph(f"With fewer than {FEWEST_FOR_RULES} builds not all run rules can speak."))
    told += _reach(report.reach)
    if report.sd is not None and report.sd_by_moving_range is not None:
        told.append(
            Paragraph(
                f"Scores scatter by {fixed(report.sd, 2)} about 0, where 1 is promised, and by "
                f"{fixed(report.sd_by_moving_range, 2)} from one build to the next. A shift that the model has not "
                "learned yet makes the first larger, not the second."
            )
        )
    if report.alarms:
        told.append(_alarm_table(report.alarms))
    told.append(_chart(report.points))
    if report.candidates:
        told += [_candidate_table(report.candidates), Paragraph(_telling(report.candidates))]
    return tuple(told)


def _verdict(report: DriftReport) -> str:
    count, raised = len(report.points), len(report.alarms)
    by_luck = f"luck alone raises the first alarm after {BUILDS_A_FALSE_ALARM} builds on average"
    builds = f"{count} build{'s' if count > 1 else ''}, each foretold from those before it"
    if not raised:
        return f"No alarm in {builds}; {by_luck}."
    return f"{raised} alarm{'s' if raised > 1 else ''} in {builds}; {by_luck}."


def _reach(reach: Reach | None) -> list[Block]:
    """Tell what the chart would see, and what sees more."""
    if reach is None:
        return [Paragraph("Builds are too few to say what shift this chart would see.")]
    rows = [
        [f"{one.percent:.0f}%", f"{one.chance:.0%}", "-" if one.half_after is None else str(one.half_after)]
        for one in reach.steps
    ]
    likely = next((one for one in reach.steps if one.chance >= LIKELY), None)
    first = (
        f"The smallest of these that is likely seen is {likely.percent:.0f}%"
        if likely
        else "None is likely seen"
    )
    return [
        grid(
            f"Had all readings gone up on {reach.since}, {reach.builds} builds ago",
            ["by", "an alarm since", "even chance after, builds"],
            [["0%, luck alone", f"{reach.by_luck:.0%}", "-"], *rows],
        ),
        Paragraph(
            f"{first} (in {LIKELY:.0%} of cases). One per cent moves the first build by "
            f"{fixed(reach.first_score, 2)} sd and the last one by {fixed(reach.last_score, 2)}: in between the model "
            "has taken most of it for stiffer wood and glass. A check weight on the scale, or one bow kept and weighed "
            "every month, shows smaller shifts at once."
        ),
    ]


def _alarm_table(raised: Sequence[RaisedAlarm]) -> Grid:
    rows = tuple(
        (
            str(one.on),
            one.rule,
            ", ".join(one.builds),
            f"{one.mean_score:+.1f}",
            ", ".join(map(named_once, one.shared)) or "-",
        )
        for one in raised
    )
    return Grid("Alarms", ("on", "rule", "builds", "mean, sd", "what these builds share"), rows, right=(3,))


def _candidate_table(candidates: Sequence[Candidate]) -> Grid:
    rows = [
        [
            named_once(one.what),
            str(one.builds),
            span(f"{one.first:%Y-%m}", f"{one.last:%Y-%m}"),
            f"{one.effect_percent:+.1f}% ± {one.effect_sd_percent:.1f}%",
            f"{one.mean_score:+.1f}",
        ]
        for one in candidates[:CANDIDATES_SHOWN]
    ]
    heads = ["candidate", "builds", "weighed", "learned, ± sd", "foretold, sd"]
    return grid("Lots and scales: stiffness or reading against the usual", heads, rows)


def _telling(candidates: Sequence[Candidate]) -> str:
    sure = [named_once(one.what) for one in candidates if abs(one.effect_percent) > 2 * one.effect_sd_percent]
    if not sure:
        return "None of them stands out by two standard deviations."
    return f"By more than two standard deviations stand out: {', '.join(sure)}."


def _chart(points: Sequence[Point]) -> Graph:
    places = range(1, len(points) + 1)
    out = [place for place, point in zip(places, points, strict=True) if abs(point.average) > point.limit]

    def draw(axes: Axes) -> None:
        limits = [point.limit for point in points]
        axes.fill_between(places, [-one for one in limits], limits, color=BAND, linewidth=0)
        axes.axhline(0, color=GREY, linestyle="--", linewidth=1)
        for limit in (-3, 3):
            axes.axhline(limit, color=GREY, linewidth=1)
        axes.plot(places, [point.score for point in points], "o", color=BLUE)
        axes.plot(places, [point.average for point in points], color=VERMILION, linewidth=2.2)
        far = max(4.2, *(1.1 * abs(point.score) for point in points))
        label(axes, "each build", (1, 3.05), BLUE)
        label(axes, "line: moving average; grey: its usual range", (1, -4.05), VERMILION)
        axes.set_ylim(-far, far)
        axes.set_xlabel(f"builds in order of time, {points[0].weighed_on} to {points[-1].weighed_on}")
        axes.set_ylabel("reading too high, in sd")

    return Graph(
        title="Errors in order of time",
        alternative=f"Errors of {len(points)} builds in order of time, foretold from those before, in predictive sd. "
        f"A moving average that gives the newest {EWMA_SHARE:.0%} ends at {points[-1].average:+.2f} and leaves its "
        f"usual range at {len(out)} builds. Lines stand at 3 sd to either side.",
        draw=draw,
        height_in=3.0,
    )
