"""How likely each build, each weighing and each reading is a mistake of the pencil, judged from all other builds.

A sound reading scatters as the model says. A mistake shifts it by an unknown amount of standard deviation
`Slips.sd`: all readings of a build together (a layer not noted), those of one weighing (a scale that was not
set to zero, a wrong zero of the draw), or one reading alone. Which of these happened is weighed by Bayes' rule against
the prediction from the other builds: the mixture of Box and Tiao, Biometrika 55 (1968), 119-129 (from memory), taken
one build at a time, with at most one mistake a build.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from predictor.belief.own_history import NOT_WEIGHED, Slips
from training.engine.leave_out import LeftOut, without_build
from training.engine.readings import Integers, Problem
from training.engine.restricted_likelihood import Doubts, State

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Suspicion:
    """Probabilities of a mistake. That a bow was cut for other reasons than its weight is none.

    Where a weighing has one reading, or a build one weighing, a mistake of the two is the same shift; it counts as the
    reading's, or the build's.

    Attributes:
        build: in all readings of a build, shape (builds,).
        weighing: in all readings of the weighing that a reading belongs to, shape (readings,).
        reading: in one reading alone, shape (readings,).
        any: of any kind in a build, shape (builds,).
    """

    build: Array
    weighing: Array
    reading: Array
    any: Array


@dataclass(frozen=True)
class _Shifts:
    """What mistakes can shift in each build of a block.

    Attributes:
        columns: all readings, those of each reading's weighing, each reading alone, shape (J, n, 1 + 2 n).
        log_odds: before anything is seen, shape (J, 1 + 2 n); a weighing stands at its first reading only.
    """

    columns: Array
    log_odds: Array


def suspect(problem: Problem, state: State, slips: Slips) -> tuple[Suspicion, Doubts]:
    """Return the probability of a mistake in each build, weighing and reading, and what it adds to their covariance.

    A build's covariance with doubts is the inverse of its precision averaged over what may have happened, so readings
    that contradict each other share their pull until others decide between them.
    """
    build = np.zeros(sum(len(block.builds) for block in problem.blocks))
    reading = np.zeros(sum(block.rows.size for block in problem.blocks))
    weighing, sound = reading.copy(), build.copy()
    doubts = []
    for block, sums in zip(problem.blocks, state.sums, strict=True):
        size = block.rows.shape[1]
        shifts = _shifts(block.weighing, slips)
        shares = _shares(without_build(block, sums, state), sums.sound, shifts, slips.sd)
        of_weighing = shifts.columns[:, :, 1 : 1 + size] @ shares[:, 1 : 1 + size, None]
        read = block.weighing != NOT_WEIGHED
        build[block.builds], reading[block.rows] = shares[:, 0], shares[:, 1 + size :] * read
        weighing[block.rows] = of_weighing[:, :, 0]
        sound[block.builds] = 1 - shares[:, : 1 + size].sum(axis=1) - reading[block.rows].sum(axis=1)
        doubts.append(_added(sums.sound, shares, shifts.columns, slips.sd))
    return Suspicion(build, weighing, reading, 1 - sound), tuple(doubts)


def no_doubts(problem: Problem) -> Doubts:
    """Return that nothing is suspected."""
    return tuple(np.zeros((*block.rows.shape, block.rows.shape[1])) for block in problem.blocks)


def _shifts(weighing: Integers, slips: Slips) -> _Shifts:
    """Return what mistakes can shift, given the weighing of each reading, shape (J, n)."""
    size = weighing.shape[1]
    read = weighing != NOT_WEIGHED
    together = (weighing[:, :, None] == weighing[:, None, :]) & read[:, :, None] & read[:, None, :]
    count = together.sum(axis=1)
    first = read & (np.argmax(together, axis=1) == np.arange(size))
    whole, alone = count == read.sum(axis=1, keepdims=True), count == 1
    build = slips.build_share + slips.weighing_share * whole[:, :1]
    of_weighing = slips.weighing_share * (first & ~whole & ~alone)
    reading = np.where(read, slips.reading_share + slips.weighing_share * (alone & ~whole), slips.cut_share)
    share = np.hstack([build, of_weighing, reading])
    with np.errstate(divide="ignore"):
        log_odds = np.log(share) - np.log1p(-share)
    everything, single = 1.0 * read[:, :, None], np.broadcast_to(np.eye(size), together.shape)
    return _Shifts(np.concatenate([everything, together, single], axis=2), log_odds)


def _shares(out: LeftOut, sound: Array, shifts: _Shifts, sd: float) -> Array:
    """Return the probability of each mistake, shape (J, 1 + 2 n), by the rank-one change that it makes."""
    solved = np.linalg.solve(sound + out.of_effects, shifts.columns)
    widened = 1 + sd**2 * np.sum(shifts.columns * solved, axis=1)
    score = np.sum(out.residual[:, :, None] * solved, axis=1)
    odds = shifts.log_odds + (sd**2 * score**2 / widened - np.log(widened)) / 2
    top = np.maximum(odds.max(axis=1, keepdims=True), 0.0)
    parts = np.exp(odds - top)
    shares: Array = parts / (np.exp(-top) + parts.sum(axis=1, keepdims=True))
    return shares


def _added(sound: Array, shares: Array, columns: Array, sd: float) -> Array:
    """Return the covariance with doubts less the one without."""
    solved = np.linalg.solve(sound, columns)
    lost = shares * sd**2 / (1 + sd**2 * np.sum(columns * solved, axis=1))
    precision = np.linalg.inv(sound) - (solved * lost[:, None, :]) @ np.swapaxes(solved, 1, 2)
    return np.asarray(np.linalg.inv(precision), dtype=np.float64) - sound
