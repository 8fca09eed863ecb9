"""Whether intervals have held as often as they say, on builds that the model had not seen."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from pydantic import Field

from datasets.record import Record
from predictor.belief.mixture import NormalMixture
from predictor.belief.model import prior_belief
from reports.grouping import groups
from reports.numbers import counted
from reports.sources import Basis, Sources, basis_of, how_left_out
from training.checking.coverage import Bar, Count, bars, count, inside
from training.checking.left_out_builds import LeftOutBuild, LeftOutBuilds
from training.checking.questions import answers

Array = NDArray[np.float64]

LEVELS = (0.5, 0.6, 0.7, 0.8, 0.9, 0.95, 0.99)
TOLD_LEVEL = 0.9
"""Of the verdict and of the groups."""

FEWEST_FOR_A_VERDICT = 50
"""Below so many builds luck alone moves nine in ten by more than anybody would call good or bad."""


class Coverage(Record):
    """How many readings lay in intervals of one level, and how wide these were."""

    level: float
    builds: int
    inside: int
    share_low: float = Field(description="of the share inside, by Wilson's interval")
    share_high: float
    usual_low: int = Field(description="fewest that luck leaves usual if the level is true")
    usual_high: int
    width_lbf: float | None = Field(description="median, from end to end; nothing without builds")


class GroupCoverage(Record):
    """The coverage of some builds."""

    by: str
    group: str
    coverage: Coverage


class PitBar(Record):
    """Builds whose reading had been given a probability between two ends for a lower one."""

    start: float
    end: float
    builds: int
    usual_low: int
    usual_high: int


class Sharpness(Record):
    """How narrow predictions are, in per cent of the weight."""

    sd_percent: float = Field(description="median of the predictive standard deviations")
    handbook_sd_percent: float = Field(description="the same of the handbook alone, for the same builds")


class CalibrationReport(Record):
    """Coverage, probabilities given to what came, and sharpness of left-out builds.

    Builds that look like a mistake are in `with_doubtful` only: intervals promise to hold for readings without one.
    """

    basis: Basis
    how_left_out: str = Field(description="what the builds left out have had no part in")
    levels: tuple[Coverage, ...]
    with_doubtful: Coverage = Field(description="at 90 %, the builds that look like a mistake counted too")
    groups: tuple[GroupCoverage, ...]
    bars: tuple[PitBar, ...] = Field(description="none where builds are too few for a histogram")
    sharpness: Sharpness | None
    builds: tuple[LeftOutBuild, ...]
    verdict: str


def make(sources: Sources, _words: Sequence[str]) -> CalibrationReport:
    """Make the report."""
    every = sources.left_out
    if every is None:
        none = _coverage(np.zeros(0), np.zeros(0), TOLD_LEVEL)
        return CalibrationReport(
            basis=basis_of(sources),
            how_left_out="",
            levels=(),
            with_doubtful=none,
            groups=(),
            bars=(),
            sharpness=None,
            builds=(),
            verdict=_verdict(none),
        )
    sound = every.sound()
    levels = tuple(_covered(sound, level) for level in LEVELS)
    return CalibrationReport(
        basis=basis_of(sources),
        how_left_out=how_left_out(every),
        levels=levels,
        with_doubtful=_covered(every, TOLD_LEVEL),
        groups=tuple(
            GroupCoverage(by=by, group=name, coverage=_covered(sound.rows(places), TOLD_LEVEL))
            for by, name, places in groups(sound.builds)
        ),
        bars=tuple(PitBar(**_fields(bar)) for bar in bars(_below(sound))),
        sharpness=_sharpness(sound),
        builds=sound.builds,
        verdict=_verdict(levels[LEVELS.index(TOLD_LEVEL)]),
    )


def _fields(bar: Bar) -> dict[str, float]:
    return {name: getattr(bar, name) for name in PitBar.model_fields}


def _below(builds: LeftOutBuilds) -> Array:
    return np.array([build.below for build in builds.builds])


def _covered(builds: LeftOutBuilds, level: float) -> Coverage:
    return _coverage(_below(builds), widths_lbf(builds.predicted, level), level)


def widths_lbf(predicted: NormalMixture, level: float) -> Array:
    """Return the widths of the central intervals of a level, shape (n,), of predicted logarithms of pounds."""
    low, high = predicted.quantile((1 - level) / 2), predicted.quantile((1 + level) / 2)
    width: Array = np.exp(high) - np.exp(low)
    return width


def _coverage(below: Array, widths: Array, level: float) -> Coverage:
    held: Count = count(int(inside(below, level).sum()), len(below), level)
    return Coverage(
        level=level,
        builds=held.of,
        inside=held.held,
        share_low=held.low,
        share_high=held.high,
        usual_low=held.usual_low,
        usual_high=held.usual_high,
        width_lbf=float(np.median(widths)) if len(widths) else None,
    )


def _sharpness(builds: LeftOutBuilds) -> Sharpness | None:
    if not builds.builds:
        return None
    return Sharpness(
        sd_percent=float(np.median([build.sd_percent for build in builds.builds])),
        handbook_sd_percent=float(100 * np.median(answers(prior_belief(), builds.asked).sd)),
    )


def _verdict(told: Coverage) -> str:
    """Return what the count says, and no more than so many builds bear out."""
    if not told.builds:
        return "No build has been left out, so nothing is known of how often intervals hold."
    their = "its" if told.inside == 1 else "their"
    usual = f"{told.usual_low} to {told.usual_high}"
    said = (
        f"Of {counted(told.builds, 'build')}, {told.inside} fell in {their} {told.level:.0%} interval; "
        f"{usual} would be usual."
    )
    if told.usual_low == 0:
        return f"{said} Any count would, so this tells nothing yet."
    if told.builds < FEWEST_FOR_A_VERDICT:
        return f"{said} From {FEWEST_FOR_A_VERDICT} builds on more than that can be said."
    if told.inside < told.usual_low:
        return f"{said} Intervals are too narrow: trust them less than they say."
    if told.inside > told.usual_high:
        return f"{said} Intervals are wider than they need be."
    low, high = f"{told.share_low:.0%}", f"{told.share_high:.0%}"
    return f"{said} Nothing speaks against them; with 95% confidence the true share lies between {low} and {high}."
