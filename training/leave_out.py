"""Predictions of readings from all other builds, without fitting again.

For readings y with covariance V given the effects, residual r and H C H' = M from the fit that has seen them, the fit
that has not seen them leaves the residual V (V - M)^-1 r, and the effects' part of its covariance is
M + M (V - M)^-1 M: the block form of Rasmussen and Williams, Gaussian Processes for Machine Learning (2006),
eqs. 5.10 to 5.12 (from memory). Exact at the given scales and doubts.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import block_diag

from predictor.mixture import NormalMixture
from training.readings import Block, Problem, Readings
from training.restricted_likelihood import BuildSums, Doubts, State, evaluate, gathered, residuals

Array = NDArray[np.float64]
Integers = NDArray[np.intp]


@dataclass(frozen=True)
class LeftOut:
    """What the other builds say of some readings, at one set of scales.

    Attributes:
        residual: readings less their prediction, shape (..., n).
        of_effects: covariance of that prediction from the effects alone, shape (..., n, n).
    """

    residual: Array
    of_effects: Array


def left_out(covariance: Array, of_effects: Array, residual: Array) -> LeftOut:
    """Return what is left when readings are taken out of the fit that has seen them.

    Args:
        covariance: V, shape (..., n, n).
        of_effects: M, shape (..., n, n).
        residual: r, shape (..., n).
    """
    apart = covariance - of_effects
    solved = np.linalg.solve(apart, np.concatenate([residual[..., None], of_effects], axis=-1))
    before = (covariance @ solved[..., :1])[..., 0]
    return LeftOut(before, of_effects + of_effects @ solved[..., 1:])


def without_build(block: Block, sums: BuildSums, state: State) -> LeftOut:
    """Return what the other builds say of each build of a block."""
    of_effects = block.design @ gathered(state.covariance, block) @ np.swapaxes(block.design, 1, 2)
    return left_out(sums.covariance, of_effects, residuals(block, state))


def log_densities(problem: Problem, state: State) -> Array:
    """Return the log density of each build's readings as the other builds predict them, shape (builds,).

    Up to a constant that depends on the number of readings alone.

    Args:
        problem: the readings.
        state: at the scales wanted.
    """
    found = np.zeros(sum(len(block.builds) for block in problem.blocks))
    for block, sums in zip(problem.blocks, state.sums, strict=True):
        out = without_build(block, sums, state)
        found[block.builds] = _log_normal(out.residual, sums.covariance + out.of_effects)
    return found


def leave_builds_out(
    readings: Readings, problem: Problem, scales: Array, weights: Array, doubts: Doubts
) -> NormalMixture:
    """Predict every reading from the builds other than its own.

    Sets of scales are weighted anew without the build, by the identity p(scales | others) proportional to
    p(scales | all) / p(build | others, scales).

    Args:
        readings: as fitted.
        problem: the same, prepared.
        scales: sets of scales, shape (K, scales).
        weights: of the sets, shape (K,).
        doubts: as fitted; the prediction itself is of a reading without mistakes.

    Returns:
        A mixture for each reading, in the order of the readings.
    """
    k, n = len(weights), len(readings.values)
    log_weights, means, sds = np.zeros((k, n)), np.zeros((k, n)), np.zeros((k, n))
    for index, point in enumerate(scales):
        state = evaluate(problem, point, doubts)
        for block, sums in zip(problem.blocks, state.sums, strict=True):
            out = without_build(block, sums, state)
            expected = sums.covariance + out.of_effects
            log_weights[index, block.rows] = (
                np.log(weights[index]) - _log_normal(out.residual, expected)[:, None]
            )
            means[index, block.rows] = readings.values[block.rows] - out.residual
            right = sums.sound + out.of_effects
            sds[index, block.rows] = np.sqrt(np.diagonal(right, axis1=1, axis2=2))
    shares = np.exp(log_weights - log_weights.max(axis=0))
    return NormalMixture(shares / shares.sum(axis=0), means, sds)


def _log_normal(residual: Array, covariance: Array) -> Array:
    """Return the log density of each build's residual, up to a constant, shape (J,)."""
    solved = np.linalg.solve(covariance, residual[:, :, None])[:, :, 0]
    density: Array = -(np.linalg.slogdet(covariance).logabsdet + np.sum(residual * solved, axis=1)) / 2
    return density


def leave_sets_out(problem: Problem, state: State, sets: Sequence[Integers]) -> list[LeftOut]:
    """Predict sets of builds from all builds outside the set, such as all builds of one lot as if the lot were new.

    Args:
        problem: the readings.
        state: at the scales wanted.
        sets: numbers of the builds of each set.

    Returns:
        For each set what is left, its readings build after build as they stand in the blocks. To the covariance of a
        prediction belongs `sound` of each build besides.
    """
    places = _places(problem)
    return [_without_set(problem, state, [places[int(build)] for build in builds]) for builds in sets]


def _places(problem: Problem) -> dict[int, tuple[int, int]]:
    """Return the block of each build and its place there."""
    return {
        int(build): (number, place)
        for number, block in enumerate(problem.blocks)
        for place, build in enumerate(block.builds)
    }


def _without_set(problem: Problem, state: State, places: list[tuple[int, int]]) -> LeftOut:
    covariance = block_diag(*(state.sums[number].covariance[place] for number, place in places))
    touched = np.unique(np.concatenate([problem.blocks[number].columns[place] for number, place in places]))
    parts, residual = [], []
    for number, place in places:
        block = problem.blocks[number]
        part = np.zeros((block.rows.shape[1], len(touched)))
        np.add.at(part.T, np.searchsorted(touched, block.columns[place]), block.design[place].T)
        parts.append(part)
        residual.append(block.values[place] - part @ state.mean[touched])
    design = np.vstack(parts)
    of_effects = design @ state.covariance[np.ix_(touched, touched)] @ design.T
    return left_out(covariance, of_effects, np.concatenate(residual))
