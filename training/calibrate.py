"""Scores of builds left out of the fit one at a time, and with all builds of their lots.

Exact at the fit's scales and its judgement of mistakes, which a build left out has still had its part in. Against
training anew without each build that flatters: on the invented shop's demo of 50 builds the CRPS by 2.1 % of itself
(3.06 against 3.12 % of weight), the mean absolute error by 2.8 % (2.06 against 2.12 lb); a stretch made from them is
short by as little. `tests.training.test_calibrate` bounds what a score moves by.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import groupby

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array, hstack

from predictor.calibration import BuildScore, Calibration
from predictor.columns import DRAW_SHAPE
from predictor.scatter import FORMS, LOTS_OF_GLASS, LOTS_OF_WOOD
from training.evidence import Evidence
from training.hierarchy import Fit
from training.leave_out import cut_told, without_set
from training.readings import Readings

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
    as_new = _as_new_lots(fit, mains)
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


def _as_new_lots(fit: Fit, mains: list[Main]) -> Mapping[str, float]:
    """Return scores of the first build of each set of lots, with all builds left out that share one of its lots."""
    lots = _lots(fit.readings)
    first: dict[tuple[int, ...], int] = {}
    for number in range(len(mains)):
        first.setdefault(tuple(np.flatnonzero(lots[number].toarray())), number)
    own, cut = _own_covariances(fit), _cut(fit.readings)
    scores = {}
    for number in list(first.values())[-MOST_LOT_SETS:]:
        sharing = np.flatnonzero((lots @ lots[number]).toarray())
        out = without_set(fit.problem, fit.state, sharing, number)
        expected = out.of_effects + own[number]
        residual, variance = out.residual, np.diagonal(expected)
        if cut[number]:
            residual, variance = cut_told(residual, expected, variance)
        at = mains[number].place
        scores[mains[number].build] = float(residual[at] / np.sqrt(variance[at]))
    return scores


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


def _own_covariances(fit: Fit) -> dict[int, NDArray[np.float64]]:
    """Return the covariance of each build's rows given the effects, mistakes aside, by its number."""
    return {
        int(number): sound - np.diag(blind)
        for block, sums in zip(fit.problem.blocks, fit.state.sums, strict=True)
        for number, sound, blind in zip(block.builds, sums.sound, block.blind, strict=True)
    }
