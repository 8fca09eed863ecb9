"""Whether errors have shifted in the course of time, and which lots and scales may be behind it.

Each build is foretold from those before it, for a prediction that later builds had their part in has learned of a shift
already.
"""

from collections import defaultdict
from collections.abc import Collection, Sequence
from dataclasses import asdict
from datetime import date
from statistics import fmean
from typing import NamedTuple

import numpy as np
from pydantic import Field

from datasets.record import Record
from predictor.belief.posterior import Posterior
from predictor.belief.scatter import LOTS_OF_GLASS, LOTS_OF_WOOD, SCALES
from predictor.belief.seen import level_name
from reports.sources import Basis, Sources, basis_of
from training.checking.control_chart import Alarm, alarms, caught, moving_average, sd_by_moving_range
from training.checking.forward import first_foretold, foretold, raised
from training.checking.left_out_builds import LeftOutBuild

FEWEST_OF_A_LEVEL = 2
"""Builds of a lot or a scale from which it is a candidate."""

WATCHED = 15
"""Builds within which a shift ought to be seen; at most half of the chart."""

FEWEST_WATCHED = 4

STEP_PERCENT = 5.0
"""Shift that is laid upon the newest readings to see how far the chart follows; the smaller ones are in proportion."""

STEPS_PERCENT = (2.0, 4.0, 7.0, 10.0, 15.0)
"""Shifts that are told of."""


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
    """A lot or a scale: what the model has learned of it, and how its builds fare when foretold."""

    what: str
    builds: int
    first: date
    last: date
    effect_percent: float = Field(description="on the modulus of a lot, on the reading of a scale")
    effect_sd_percent: float
    mean_score: float


class StepCaught(Record):
    """How likely a shift of all readings is to raise an alarm."""

    percent: float
    chance: float = Field(description="of an alarm among the builds watched; luck included")
    half_after: int | None = Field(
        description="builds after which an alarm is as likely as not; nothing if later than those watched"
    )


class Reach(Record):
    """What the chart would have seen, had all readings gone up with the newest builds; these are foretold again."""

    since: date = Field(description="when the first of the builds watched was weighed")
    builds: int = Field(description="watched")
    first_score: float = Field(description="by which a shift of one per cent raises the first build's score")
    last_score: float = Field(description="the last one's: the model has learned of most of it by then")
    by_luck: float = Field(description="chance of an alarm without any shift")
    steps: tuple[StepCaught, ...]


class DriftReport(Record):
    """Chart, alarms and candidates. Builds that look like a mistake are left out of it."""

    basis: Basis
    points: tuple[Point, ...]
    sd: float | None = Field(description="of the scores about 0; 1 is promised")
    sd_by_moving_range: float | None = Field(description="from one build to the next")
    alarms: tuple[RaisedAlarm, ...]
    reach: Reach | None = Field(description="nothing where builds are too few")
    candidates: tuple[Candidate, ...] = Field(description="the most telling first")


class Charted(NamedTuple):
    """A build on the chart, and its score when it is foretold from those before it."""

    build: LeftOutBuild
    score: float


def make(sources: Sources, _words: Sequence[str]) -> DriftReport:
    """Make the report."""
    charted = _charted(sources)
    scores = [score for _, score in charted]
    average = moving_average(scores)
    return DriftReport(
        basis=basis_of(sources),
        points=tuple(
            Point(build=build.build, weighed_on=build.weighed_on, score=score, average=value, limit=limit)
            for (build, score), value, limit in zip(
                charted, average.value.tolist(), average.limit.tolist(), strict=True
            )
        ),
        sd=float(np.sqrt(np.mean(np.square(scores)))) if scores else None,
        sd_by_moving_range=sd_by_moving_range(scores),
        alarms=tuple(_raised(alarm, charted) for alarm in alarms(scores)),
        reach=_reach(sources, charted),
        candidates=_candidates(charted, sources.trained.model.belief()) if sources.trained else (),
    )


def _charted(sources: Sources, raised_builds: Collection[str] = (), percent: float = 0.0) -> list[Charted]:
    """Return the builds on the chart, as if the readings of some had been higher; none that look wrong."""
    trained, every = sources.trained, sources.left_out_at_once
    if trained is None or every is None:
        return []
    weighings = raised(trained.evidence.weighings, raised_builds, percent)
    scores = foretold(weighings, raised(every.asked, raised_builds, percent), sources.track)
    builds = every.builds[first_foretold(len(every.builds)) :]
    return [
        Charted(build, score)
        for build, score in zip(builds, scores.tolist(), strict=True)
        if not build.looks_wrong
    ]


def _reach(sources: Sources, charted: Sequence[Charted]) -> Reach | None:
    """Return what the chart would have seen of shifts in the newest half of it, or in `WATCHED` builds."""
    watched = charted[len(charted) - min(WATCHED, len(charted) // 2) :]
    if len(watched) < FEWEST_WATCHED:
        return None
    again = _charted(sources, {build.build for build, _ in watched}, STEP_PERCENT)[-len(watched) :]
    by_percent = np.array([late.score - early.score for late, early in zip(again, watched, strict=True)])
    by_percent /= STEP_PERCENT
    return Reach(
        since=watched[0].build.weighed_on,
        builds=len(watched),
        first_score=by_percent[0],
        last_score=by_percent[-1],
        by_luck=caught(0 * by_percent).chance,
        steps=tuple(
            StepCaught(percent=percent, **asdict(caught(percent * by_percent))) for percent in STEPS_PERCENT
        ),
    )


def _levels(build: LeftOutBuild) -> tuple[str, ...]:
    """Return the lots and the scale of a build, as candidates are called."""
    return (*(f"lot {lot}" for lot in build.lots), f"scale {build.scale}")


def _raised(alarm: Alarm, charted: Sequence[Charted]) -> RaisedAlarm:
    behind = [charted[place] for place in alarm.places]
    levels = [set(_levels(one.build)) for one in behind]
    shared = set.intersection(*levels) if len(behind) > 1 else set()
    of_all = set.intersection(*(set(_levels(one.build)) for one in charted))
    return RaisedAlarm(
        rule=alarm.told,
        builds=tuple(one.build.build for one in behind),
        on=behind[-1].build.weighed_on,
        mean_score=fmean(one.score for one in behind),
        shared=tuple(sorted(shared - of_all)),
    )


def _candidates(charted: Sequence[Charted], belief: Posterior) -> tuple[Candidate, ...]:
    having: dict[str, list[Charted]] = defaultdict(list)
    for one in charted:
        for level in _levels(one.build):
            having[level].append(one)
    effects = _effects(belief)
    found = [
        Candidate(
            what=what,
            builds=len(mine),
            first=mine[0].build.weighed_on,
            last=mine[-1].build.weighed_on,
            effect_percent=100 * effects[what][0],
            effect_sd_percent=100 * effects[what][1],
            mean_score=fmean(one.score for one in mine),
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
