"""Whether errors of left-out builds have shifted in the course of time, and which lots and scales may be behind it."""

from collections import defaultdict
from collections.abc import Sequence
from datetime import date
from statistics import fmean

import numpy as np
from matplotlib.axes import Axes
from pydantic import Field

from datasets.record import Record
from predictor.model import level_name
from predictor.posterior import Posterior
from predictor.scatter import LOTS_OF_GLASS, LOTS_OF_WOOD, SCALES
from reports.blocks import Block, Graph, Grid, Paragraph, grid, span
from reports.graphs import BAND, BLUE, GREY, VERMILION, label
from reports.numbers import fixed
from reports.printing import Units, named_once
from reports.sources import Basis, Sources, basis_of, tell_basis
from training.control_chart import (
    BUILDS_A_FALSE_ALARM,
    EWMA_SHARE,
    Alarm,
    alarms,
    moving_average,
    sd_by_moving_range,
)
from training.left_out_builds import LeftOutBuild

FEWEST_FOR_RULES = 8
"""The longest run rule looks at so many."""

FEWEST_OF_A_LEVEL = 2
"""Builds of a lot or a scale from which it is a candidate."""

CANDIDATES_SHOWN = 8


class Point(Record):
    """One build on the chart."""

    build: str
    weighed_on: date
    score: float = Field(description="reading less prediction in predictive standard deviations")
    average: float = Field(description="exponentially weighted, up to this build")
    limit: float = Field(description="of that average, to either side")


class RaisedAlarm(Record):
    """A run rule that was broken, and what the builds in question share that not all others have."""

    rule: str
    builds: tuple[str, ...]
    on: date
    mean_score: float
    shared: tuple[str, ...]


class Candidate(Record):
    """A lot or a scale: what the model has learned of it, and how its builds fare when they are left out."""

    what: str
    builds: int
    first: date
    last: date
    effect_percent: float = Field(description="on the modulus of a lot, on the reading of a scale")
    effect_sd_percent: float
    mean_score: float


class DriftReport(Record):
    """Chart, alarms and candidates. Builds that look like a mistake are left out of it."""

    basis: Basis
    points: tuple[Point, ...]
    sd: float | None = Field(description="of the scores about 0; 1 is promised")
    sd_by_moving_range: float | None = Field(description="from one build to the next")
    alarms: tuple[RaisedAlarm, ...]
    candidates: tuple[Candidate, ...] = Field(description="the most telling first")


def make(sources: Sources, _words: Sequence[str]) -> DriftReport:
    """Make the report."""
    builds = sources.left_out.sound().builds if sources.left_out else ()
    scores = [build.score for build in builds]
    average = moving_average(scores)
    belief = sources.trained.model.belief() if sources.trained else None
    return DriftReport(
        basis=basis_of(sources),
        points=tuple(
            Point(
                build=build.build, weighed_on=build.weighed_on, score=build.score, average=value, limit=limit
            )
            for build, value, limit in zip(
                builds, average.value.tolist(), average.limit.tolist(), strict=True
            )
        ),
        sd=float(np.sqrt(np.mean(np.square(scores)))) if scores else None,
        sd_by_moving_range=sd_by_moving_range(scores),
        alarms=tuple(_raised(alarm, builds) for alarm in alarms(scores)),
        candidates=_candidates(builds, belief) if belief else (),
    )


def _levels(build: LeftOutBuild) -> tuple[str, ...]:
    """Return the lots and the scale of a build, as candidates are called."""
    return (*(f"lot {lot}" for lot in build.lots), f"scale {build.scale}")


def _raised(alarm: Alarm, builds: Sequence[LeftOutBuild]) -> RaisedAlarm:
    behind = [builds[place] for place in alarm.places]
    shared = set(_levels(behind[0])).intersection(*map(_levels, behind)) if len(behind) > 1 else set()
    of_all = set(_levels(builds[0])).intersection(*map(_levels, builds))
    return RaisedAlarm(
        rule=alarm.rule.told,
        builds=tuple(build.build for build in behind),
        on=behind[-1].weighed_on,
        mean_score=fmean(build.score for build in behind),
        shared=tuple(sorted(shared - of_all)),
    )


def _candidates(builds: Sequence[LeftOutBuild], belief: Posterior) -> tuple[Candidate, ...]:
    having: dict[str, list[LeftOutBuild]] = defaultdict(list)
    for build in builds:
        for level in _levels(build):
            having[level].append(build)
    effects = _effects(belief)
    found = [
        Candidate(
            what=what,
            builds=len(mine),
            first=mine[0].weighed_on,
            last=mine[-1].weighed_on,
            effect_percent=100 * effects[what][0],
            effect_sd_percent=100 * effects[what][1],
            mean_score=fmean(build.score for build in mine),
        )
        for what, mine in having.items()
        if len(mine) >= FEWEST_OF_A_LEVEL and what in effects
    ]
    return tuple(sorted(found, key=lambda one: -abs(one.effect_percent / one.effect_sd_percent)))


def _effects(belief: Posterior) -> dict[str, tuple[float, float]]:
    """Return mean and sd of the learned effect of each lot and scale, by what candidates are called."""
    means = belief.weights @ belief.means
    inner = np.einsum("k,kii->i", belief.weights, belief.covariances)
    sds = np.sqrt(inner + belief.weights @ (belief.means - means) ** 2)
    called = {}
    for group, word in ((LOTS_OF_WOOD, "lot"), (LOTS_OF_GLASS, "lot"), (SCALES, "scale")):
        start = level_name(group, "")
        for name, mean, sd in zip(belief.effects, means.tolist(), sds.tolist(), strict=True):
            if name.startswith(start):
                called[f"{word} {name.removeprefix(start)}"] = (mean, sd)
    return called


def tell(report: DriftReport, _units: Units) -> tuple[Block, ...]:
    """Tell the report; nothing in it has a unit of weight."""
    told: list[Block] = list(tell_basis(report.basis))
    if not report.points:
        return (*told, Paragraph("No build has been left out, so nothing can have drifted."))
    told.append(Paragraph(_verdict(report)))
    if len(report.points) < FEWEST_FOR_RULES:
        told.append(Paragraph(f"With fewer than {FEWEST_FOR_RULES} builds not all run rules can speak."))
    if report.sd is not None and report.sd_by_moving_range is not None:
        told.append(
            Paragraph(
                f"Scores scatter by {fixed(report.sd, 2)} about 0, where 1 is promised, and by "
                f"{fixed(report.sd_by_moving_range, 2)} from one build to the next; drift makes the first larger."
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
    by_luck = f"independent errors alone raise one in {BUILDS_A_FALSE_ALARM} builds, those of one lot more"
    if not raised:
        return f"No run rule is broken in {count} build{'s' if count > 1 else ''}; {by_luck}."
    return f"Run rules are broken {raised} time{'s' if raised > 1 else ''} in {count} builds; {by_luck}."


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
    heads = ["candidate", "builds", "weighed", "learned, ± sd", "left out, sd"]
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
        alternative=f"Errors of {len(points)} left-out builds in predictive standard deviations over time, with a "
        f"moving average that gives the newest {EWMA_SHARE:.0%}; it ends at {points[-1].average:+.2f} and leaves its "
        f"usual range at {len(out)} builds. Lines stand at 3 sd to either side.",
        draw=draw,
        height_in=3.0,
    )
