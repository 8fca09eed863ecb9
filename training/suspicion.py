"""How likely each build and each reading is a mistake of the pencil, judged from all other builds.

A sound reading scatters as the model says. A mistake shifts it by an unknown amount of standard deviation
`GrossErrors.sd`, either all readings of a build together (a unit slip, a layer not noted) or one reading alone.
Which of these happened is weighed by Bayes' rule against the prediction from the other builds: the mixture of Box and
Tiao, Biometrika 55 (1968), 119-129 (from memory), taken one build at a time, with at most one mistake a build.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from training.leave_out import LeftOut, without_build
from training.readings import Problem
from training.restricted_likelihood import Doubts, State

Array = NDArray[np.float64]


@dataclass(frozen=True)
class GrossErrors:
    """What mistakes look like before any is seen.

    Attributes:
        build_share: of builds with all readings shifted.
        reading_share: of readings that are wrong by themselves.
        sd: standard deviation of the shift, in the unit of the values.
    """

    build_share: float = 0.03
    reading_share: float = 0.01
    sd: float = 0.25


@dataclass(frozen=True)
class Suspicion:
    """Probabilities of a mistake.

    Attributes:
        build: in all readings of a build, shape (builds,).
        reading: in one reading alone, shape (readings,).
        any: of either kind in a build, shape (builds,).
    """

    build: Array
    reading: Array
    any: Array


def suspect(problem: Problem, state: State, gross: GrossErrors) -> tuple[Suspicion, Doubts]:
    """Return the probability of a mistake in each build and reading, and what it adds to their covariance.

    A build's covariance with doubts is the inverse of its precision averaged over what may have happened, so readings
    that contradict each other share their pull until others decide between them.
    """
    build = np.zeros(sum(len(block.builds) for block in problem.blocks))
    reading = np.zeros(sum(block.rows.size for block in problem.blocks))
    sound = build.copy()
    doubts = []
    for block, sums in zip(problem.blocks, state.sums, strict=True):
        shares = _shares(without_build(block, sums, state), sums.sound, gross)
        build[block.builds], reading[block.rows] = shares[:, 0], shares[:, 1:]
        sound[block.builds] = 1 - shares.sum(axis=1)
        doubts.append(_added(sums.sound, shares, gross.sd))
    return Suspicion(build, reading, 1 - sound), tuple(doubts)


def no_doubts(problem: Problem) -> Doubts:
    """Return that nothing is suspected."""
    return tuple(np.zeros((*block.rows.shape, block.rows.shape[1])) for block in problem.blocks)


def _directions(size: int) -> Array:
    """Return what a mistake shifts: all readings together, then each alone, shape (n, 1 + n)."""
    return np.hstack([np.ones((size, 1)), np.eye(size)])


def _shares(out: LeftOut, sound: Array, gross: GrossErrors) -> Array:
    """Return the probability of each mistake, shape (J, 1 + n), by the rank-one change that it makes."""
    size = sound.shape[1]
    shifts = _directions(size)
    solved = np.linalg.solve(sound + out.of_effects, np.broadcast_to(shifts, (len(sound), *shifts.shape)))
    widened = 1 + gross.sd**2 * np.sum(shifts * solved, axis=1)
    score = np.sum(out.residual[:, :, None] * solved, axis=1)
    odds = np.array([_logit(gross.build_share), *[_logit(gross.reading_share)] * size])
    odds = odds + (gross.sd**2 * score**2 / widened - np.log(widened)) / 2
    top = np.maximum(odds.max(axis=1, keepdims=True), 0.0)
    parts = np.exp(odds - top)
    shares: Array = parts / (np.exp(-top) + parts.sum(axis=1, keepdims=True))
    return shares


def _logit(share: float) -> float:
    return float(np.log(share) - np.log1p(-share))


def _added(sound: Array, shares: Array, sd: float) -> Array:
    """Return the covariance with doubts less the one without."""
    shifts = _directions(sound.shape[1])
    solved = np.linalg.solve(sound, np.broadcast_to(shifts, (len(sound), *shifts.shape)))
    lost = shares * sd**2 / (1 + sd**2 * np.sum(shifts * solved, axis=1))
    precision = np.linalg.inv(sound) - (solved * lost[:, None, :]) @ np.swapaxes(solved, 1, 2)
    return np.asarray(np.linalg.inv(precision), dtype=np.float64) - sound
