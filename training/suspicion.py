"""How likely each build and each reading is a mistake of the pencil, judged from all other builds.

A sound reading scatters as the model says. A mistake shifts it by an unknown amount of standard deviation
`GrossErrors.sd`, either all readings of a build together (a unit slip, a layer not noted) or one reading alone.
Which of these happened is weighed by Bayes' rule against the prediction from the other builds: the mixture of Box and
Tiao, Biometrika 55 (1968), 119-129 (from memory), taken one build at a time, with at most one mistake a build.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from training.leave_out import without_build
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


def suspect(problem: Problem, state: State, gross: GrossErrors) -> Suspicion:
    """Return the probability of a mistake in each build and reading."""
    build = np.zeros_like(_all_builds(problem))
    reading = np.zeros(sum(block.rows.size for block in problem.blocks))
    anything = build.copy()
    for block, sums in zip(problem.blocks, state.sums, strict=True):
        out = without_build(block, sums, state)
        inverse = np.linalg.inv(sums.sound + out.of_effects)
        error = (inverse @ out.residual[:, :, None])[:, :, 0]
        together = _log_factor(inverse.sum(axis=(1, 2)), error.sum(axis=1), gross.sd)
        alone = _log_factor(np.diagonal(inverse, axis1=1, axis2=2), error, gross.sd)
        odds = np.column_stack([together + _logit(gross.build_share), alone + _logit(gross.reading_share)])
        top = np.maximum(odds.max(axis=1, keepdims=True), 0)
        parts = np.exp(odds - top)
        total = np.exp(-top) + parts.sum(axis=1, keepdims=True)
        shares = parts / total
        build[block.builds], reading[block.rows] = shares[:, 0], shares[:, 1:]
        anything[block.builds] = shares.sum(axis=1)
    return Suspicion(build, reading, anything)


def doubts_from(problem: Problem, state: State, suspicion: Suspicion, gross: GrossErrors) -> Doubts:
    """Return the variance that suspected mistakes add: precisions averaged over being sound and being a mistake."""
    build, reading = np.zeros_like(suspicion.build), np.zeros_like(suspicion.reading)
    for block, sums in zip(problem.blocks, state.sums, strict=True):
        inverse = np.linalg.inv(sums.sound)
        level = 1 / inverse.sum(axis=(1, 2))
        alone = 1 / np.diagonal(inverse, axis1=1, axis2=2)
        build[block.builds] = _added(level, suspicion.build[block.builds], gross.sd)
        reading[block.rows] = _added(alone, suspicion.reading[block.rows], gross.sd)
    return Doubts(build, reading)


def no_doubts(problem: Problem) -> Doubts:
    """Return that nothing is suspected."""
    return Doubts(_all_builds(problem), np.zeros(sum(block.rows.size for block in problem.blocks)))


def _all_builds(problem: Problem) -> Array:
    return np.zeros(sum(len(block.builds) for block in problem.blocks))


def _log_factor(information: Array, score: Array, sd: float) -> Array:
    """Return the log Bayes factor of a shift with this sd, by the rank-one change of the covariance."""
    widened = 1 + sd**2 * information
    factor: Array = (sd**2 * score**2 / widened - np.log(widened)) / 2
    return factor


def _logit(share: float) -> float:
    return float(np.log(share) - np.log1p(-share))


def _added(variance: Array, probability: Array, sd: float) -> Array:
    precision = (1 - probability) / variance + probability / (variance + sd**2)
    added: Array = 1 / precision - variance
    return np.maximum(added, 0.0)
