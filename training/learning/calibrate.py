"""Scores of builds left out of the fit one at a time, and with all builds of their lots.

Exact at the fit's scales and its judgement of mistakes, which a build left out has still had its part in. Against
training anew without each build that flatters: on the invented shop's demo of 50 builds the CRPS by 2.1 % of itself
(3.06 against 3.12 % of weight), the mean absolute error by 2.8 % (2.06 against 2.12 lb); a stretch made from them is
short by as little. `tests.training.learning.test_calibrate` bounds what a score moves by.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array, hstack

from predictor.belief.calibration import BuildScore, Calibration
from predictor.belief.columns import DRAW_SHAPE
from predictor.belief.mixture import NormalMixture
from predictor.belief.posterior import log_density
from predictor.belief.scatter import FORMS, LOTS_OF_GLASS, LOTS_OF_WOOD
from training.engine.hierarchy import Fit
from training.engine.leave_out import cut_told, without_set
from training.engine.readings import Readings
from training.engine.restricted_likelihood import State, evaluate
from training.learning.evidence import Evidence

Array = NDArray[np.float64]

MOST_LOT_SETS = 200
"""So many sets of lots are left out, the newest: enough to judge by, and quick in a book of thousands of builds."""


@dataclass(frozen=True)
class Main:
    """A build by its main reading: of its last weighing the one nearest to 28 in.

    Attributes:
        build: id.
        form: form and revision.
        row: of the reading among all readings.
        place: of the reading among the build's own.
    """

    build: str
    form: str
    row: int
    place: int


def main_readings(evidence: Evidence) -> list[Main]:
    """Return the main reading of each build, in the order of the fit's builds."""
    found, start = [], 0
    for build, group in groupby(evidence.weighings, key=lambda weighing: weighing.build):
        mine = list(group)
        counts = [len(weighing.log_weight) for weighing in mine]
        place = sum(counts[:-1]) + int(np.argmin(np.abs(mine[-1].columns.common[DRAW_SHAPE])))
        (form,) = mine[-1].columns.groups[FORMS]
        found.append(Main(build, form, start + place, place))
        start += sum(counts)
    return found


def calibrate(fit: Fit, evidence: Evidence, set_aside: frozenset[str] = frozenset()) -> Calibration:
    """Return the scores of a fit's builds.

    Args:
        fit: of the evidence.
        evidence: what was fitted.
        set_aside: builds without a score, such as those that look like a mistake: intervals promise to hold for
            readings without one.
    """
    mains = main_readings(evidence)
    left_out = fit.leave_builds_out()
    scores = left_out.normal_score(fit.readings.values[: fit.readings.weighed])
    as_new = _as_new_lots(fit, mains, scores)
    return Calibration(
        builds=tuple(
            BuildScore(
                build=main.build,
                form=main.form,
                score=float(scores[main.row]),
                as_new_lots=as_new.get(main.build),
            )
            for main in mains
            if main.build not in set_aside
        )
    )


def _as_new_lots(fit: Fit, mains: list[Main], scores: Array) -> Mapping[str, float]:
    """Return scores of the first build of each set of lots, with all builds left out that share one of its lots.

    A lot that nobody noted is that of one build, so a build without any noted lot has its ordinary score.
    """
    lots, unnoted = _lots(fit.readings), _unnoted(fit.readings)
    first: dict[tuple[int, ...], int] = {}
    for number in range(len(mains)):
        own = (lots.shape[1] + number,) if unnoted[number] else ()
        first.setdefault((*np.flatnonzero(lots[number].toarray()).tolist(), *own), number)
    sets = list(first.values())
    noted = [number for number in sets if lots[number].nnz][-MOST_LOT_SETS:]
    foretold = _without_their_lots(fit, mains, lots, noted)
    found = {mains[number].build: float(scores[mains[number].row]) for number in sets if not lots[number].nnz}
    of_noted = foretold.normal_score(np.zeros(len(noted))).tolist()
    return found | {mains[number].build: score for number, score in zip(noted, of_noted, strict=True)}


def _without_their_lots(
    fit: Fit, mains: Sequence[Main], lots: csr_array, numbers: Sequence[int]
) -> NormalMixture:
    """Return how far above its main reading each of some builds is expected by those that share no lot with it.

    As when a build is left out alone, each set of scales counts as much as it would without what is left out, and what
    the build was cut by is told.
    """
    posterior, cut = fit.posterior, _cut(fit.readings)
    sharing = [np.flatnonzero((lots @ lots[number]).toarray()) for number in numbers]
    shape = (len(posterior.weights), len(numbers))
    log_weights, means, sds = np.zeros(shape), np.zeros(shape), np.zeros(shape)
    for point, scales in enumerate(posterior.scales if numbers else ()):
        state = evaluate(fit.problem, scales, fit.doubts)
        own = _own_covariances(fit, state)
        for place, (number, others) in enumerate(zip(numbers, sharing, strict=True)):
            out = without_set(fit.problem, state, others, number)
            residual, expected = out.left.residual, out.left.of_effects + own[number]
            variance, density = np.diagonal(expected), out.log_density
            if cut[number]:
                density -= float(log_density(residual[-1:], expected[-1:, -1:]))
                residual, variance = cut_told(residual, expected, variance)
            at = mains[number].place
            log_weights[point, place] = np.log(posterior.weights[point]) - density
            means[point, place], sds[point, place] = -residual[at], np.sqrt(variance[at])
    weights = np.exp(log_weights - log_weights.max(axis=0))
    return NormalMixture(weights / weights.sum(axis=0), means, sds)


def _cut(readings: Readings) -> NDArray[np.bool_]:
    """Return for each build whether it is known what it was cut by, shape (builds,)."""
    return np.isin(np.arange(readings.builds), readings.build[readings.weighed :])


def _lots(readings: Readings) -> csr_array:
    """Return which lots of wood and glass each build, or whatever else is a build to the fit, has; 1 or 0."""
    kinds = [group.columns for group in readings.groups if group.name in (LOTS_OF_WOOD, LOTS_OF_GLASS)]
    rows, lots = hstack(kinds).nonzero()
    shape = (readings.builds, sum(kind.shape[1] for kind in kinds))
    pairs = np.unique(np.stack([readings.build[rows], lots]), axis=1)
    return csr_array((np.ones(pairs.shape[1]), (pairs[0], pairs[1])), shape)


def _unnoted(readings: Readings) -> NDArray[np.bool_]:
    """Return for each build whether it has a lot of wood or glass that nobody noted, shape (builds,)."""
    rows = np.zeros(len(readings.values), dtype=bool)
    for group in readings.groups:
        if group.name in (LOTS_OF_WOOD, LOTS_OF_GLASS) and group.alone is not None:
            rows |= np.any(group.alone != 0, axis=1)
    return np.isin(np.arange(readings.builds), readings.build[rows])


def _own_covariances(fit: Fit, state: State) -> dict[int, Array]:
    """Return the covariance of each build's rows given the effects, mistakes aside, by its number."""
    return {
        int(number): sound
        for block, sums in zip(fit.problem.blocks, state.sums, strict=True)
        for number, sound in zip(block.builds, sums.sound, strict=True)
    }
