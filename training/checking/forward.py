"""Each build foretold from the builds before it, in order of time.

With a right model such errors are independent of one another, as errors of builds left out are not: a build left out is
foretold with the help of later ones, which have learned of a shift already. Scales are those believed on earlier
builds; they are learned anew each time the past has grown by `GROWTH`, and in between only the effects are.
"""

from collections.abc import Collection, Sequence
from dataclasses import replace
from math import log1p
from typing import TypeVar

import numpy as np
from threadpoolctl import threadpool_limits

from predictor.belief.own_history import Slips
from predictor.belief.weighings import Weighing
from training.checking.evaluate import Learned, learned
from training.checking.questions import Question
from training.engine.hierarchy import fit
from training.engine.readings import Array, Readings
from training.engine.scale_priors import LogNormal
from training.learning.cuts import with_cuts
from training.learning.evidence import readings
from training.progress import Track

FEWEST_BEFORE = 3
"""Builds that the first one on the chart is foretold from."""

MOST_FORETOLD = 200
"""So many builds are foretold, the newest."""

GROWTH = 1.25
"""Growth of the past from which its scales are learned anew."""

PAST_A_BLOCK = 50
"""Builds that are foretold from the same past are at most one to so many of that past."""


def first_foretold(builds: int) -> int:
    """Return the number of the first of some builds that is foretold from those before it."""
    return min(builds, max(FEWEST_BEFORE, builds - MOST_FORETOLD))


def foretold(weighings: Sequence[Weighing], asked: Sequence[Question], track: Track) -> Array:
    """Return the error of each build in predictive standard deviations, foretold from those before it.

    Args:
        weighings: of all builds.
        asked: one reading a build, in order of time.
        track: goes through the blocks of builds and tells how far it has come.

    Returns:
        Scores of the builds from number `first_foretold` on; none where there are too few builds.
    """
    builds = [question.build for question in asked]
    scores: list[float] = []
    known, learned_from = learned((), ()), 0
    with threadpool_limits(limits=1, user_api="blas"):
        for block in track(_blocks(len(asked)), "foretelling builds from those before"):
            past = builds[: block.start]
            if block.start >= GROWTH * learned_from:
                known, learned_from = learned(weighings, past), block.start
            else:
                known = _taught_on(known, weighings, past)
            mine = asked[block.start : block.stop]
            read = np.array([question.log_weight for question in mine])
            scores += known.answers(mine).normal_score(read).tolist()
    return np.array(scores)


def _blocks(builds: int) -> list[range]:
    """Return the numbers of builds that are foretold from the same past."""
    found, start = [], first_foretold(builds)
    while start < builds:
        found.append(range(start, min(builds, start + max(1, start // PAST_A_BLOCK))))
        start = found[-1].stop
    return found


def _taught_on(known: Learned, weighings: Sequence[Weighing], builds: Sequence[str]) -> Learned:
    """Return what some builds teach at the scales that are believed already."""
    if known.fit is None:
        raise ValueError("wanted what builds have taught, got a prior; learn from one build at least")
    past = frozenset(builds)
    mine = with_cuts([weighing for weighing in weighings if weighing.build in past], known.usual)
    fitted = fit(_at_scales(readings(mine), known.fit.state.scales), Slips())
    return replace(known, builds=past, belief=fitted.posterior)


def _at_scales(laid_out: Readings, scales: Array) -> Readings:
    """Return readings whose scales are taken as known."""
    known = [LogNormal(float(scale), 1.0, free=False) for scale in scales]
    of_groups, of_columns = known[: len(laid_out.groups)], known[len(laid_out.groups) : -1]
    groups = zip(laid_out.groups, of_groups, strict=True)
    columns = zip(laid_out.build_columns, of_columns, strict=True)
    return replace(
        laid_out,
        groups=tuple(replace(group, prior=prior) for group, prior in groups),
        build_columns=tuple(replace(column, prior=prior) for column, prior in columns),
        noise_prior=known[-1],
    )


Read = TypeVar("Read", Weighing, Question)


def raised(read: Sequence[Read], builds: Collection[str], percent: float) -> tuple[Read, ...]:
    """Return weighings or questions as if all readings of some builds had been higher by so many per cent."""
    step = log1p(percent / 100)
    return tuple(
        replace(one, log_weight=one.log_weight + step) if one.build in builds else one for one in read
    )
