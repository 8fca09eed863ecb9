"""Predictions of readings from all other builds, without fitting again.

For readings y with covariance V given the effects, residual r and H C H' = M from the fit that has seen them, the fit
that has not seen them leaves the residual V (V - M)^-1 r, and the effects' part of its covariance is
M + M (V - M)^-1 M: the block form of Rasmussen and Williams, Gaussian Processes for Machine Learning (2006),
eqs. 5.10 to 5.12 (from memory). Exact at the given scales and doubts.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from predictor.belief.mixture import NormalMixture
from predictor.belief.own_history import NOT_WEIGHED
from training.engine.readings import Block, Problem, Readings
from training.engine.restricted_likelihood import (
    BuildSums,
    Doubts,
    State,
    evaluate,
    gathered,
    residuals,
)

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

    What the build itself was cut by is told, as it is of any finished bow. Sets of scales are weighted anew without
    the build's readings, by the identity p(scales | others) proportional to
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
    k, n = len(weights), readings.weighed
    log_weights, means, sds = np.zeros((k, n)), np.zeros((k, n)), np.zeros((k, n))
    for index, point in enumerate(scales):
        state = evaluate(problem, point, doubts)
        for block, sums in zip(problem.blocks, state.sums, strict=True):
            out = without_build(block, sums, state)
            for told in with_cuts_told(block, out, sums):
                log_weights[index, told.rows] = np.log(weights[index]) - told.log_density[:, None]
                means[index, told.rows] = readings.values[told.rows] - told.residual
                sds[index, told.rows] = np.sqrt(told.variance)
    shares = np.exp(log_weights - log_weights.max(axis=0))
    return NormalMixture(shares / shares.sum(axis=0), means, sds)


@dataclass(frozen=True)
class Told:
    """Readings of some builds of a block, left out, given what each build was cut by.

    Attributes:
        rows: of the readings, shape (J, n).
        residual: readings less their prediction, shape (J, n).
        variance: of the prediction, the reading's own without doubts included, shape (J, n).
        log_density: of each build's readings, up to a constant, shape (J,).
    """

    rows: Integers
    residual: Array
    variance: Array
    log_density: Array


def with_cuts_told(block: Block, out: LeftOut, sums: BuildSums) -> Iterator[Told]:
    """Yield the readings of a block's builds: of those whose cut nobody knows, and of those whose cut is told.

    A cut is told as a sound one: doubts about it were raised by the very readings that are left out.
    """
    sound = sums.sound + out.of_effects
    variance = np.diagonal(sound, axis1=1, axis2=2)
    density = _log_normal(out.residual, sums.covariance + out.of_effects)
    is_cut = block.weighing[:, -1] == NOT_WEIGHED
    if not is_cut.all():
        yield Told(block.rows[~is_cut], out.residual[~is_cut], variance[~is_cut], density[~is_cut])
    if is_cut.any():
        residual, left = cut_told(out.residual[is_cut], sound[is_cut], variance[is_cut])
        of_cut = _log_normal(out.residual[is_cut, -1:], sound[is_cut, -1:, -1:])
        yield Told(block.rows[is_cut, :-1], residual, left, density[is_cut] - of_cut)


def cut_told(residual: Array, covariance: Array, variance: Array) -> tuple[Array, Array]:
    """Return what is left of residuals and variances of a build's readings once its last row, the cut, is told.

    Args:
        residual: shape (..., n).
        covariance: that the residuals are expected to have, shape (..., n, n).
        variance: of the prediction before, shape (..., n).
    """
    along, spread = covariance[..., :-1, -1], covariance[..., -1:, -1]
    return (
        residual[..., :-1] - along / spread * residual[..., -1:],
        variance[..., :-1] - along**2 / spread,
    )


def _log_normal(residual: Array, covariance: Array) -> Array:
    """Return the log density of each build's residual, up to a constant, shape (J,)."""
    solved = np.linalg.solve(covariance, residual[:, :, None])[:, :, 0]
    density: Array = -(np.linalg.slogdet(covariance).logabsdet + np.sum(residual * solved, axis=1)) / 2
    return density


@dataclass(frozen=True)
class SetOut:
    """What the builds outside of a set say of one build of it.

    Attributes:
        left: of the readings of the one build.
        log_density: of all readings of the set as the builds outside predict them, up to a constant that hangs on the
            set alone.
    """

    left: LeftOut
    log_density: float


def without_set(problem: Problem, state: State, builds: Integers, wanted: int) -> SetOut:
    """Predict one build of a set from all builds outside of the set, such as those of other lots as if its were new.

    What the set says is taken off what is known of the effects that it has a part in, by the matrix inversion lemma
    (Woodbury 1950, from memory): the work hangs on these effects alone, however many others there are.

    Args:
        problem: the readings; no prior of a common effect is flat.
        state: at the scales wanted, by the restricted likelihood.
        builds: numbers of the builds of the set.
        wanted: number of the one to predict.

    Returns:
        What is left of its readings, and how well the others expected the set. To the covariance of the prediction
        belongs `sound` of the build besides.
    """
    said = _said_by(problem, state, builds)
    mean, covariance = state.mean[said.effects], state.covariance[np.ix_(said.effects, said.effects)]
    told = np.eye(len(mean)) - covariance @ said.cross
    by_others, known = np.split(np.linalg.solve(told, np.column_stack([mean, covariance])), [1], axis=1)
    by_others = by_others[:, 0]
    design, values = _rows_of(problem, wanted, said.effects)
    outside = float(np.linalg.slogdet(told).logabsdet) - said.misfit
    outside -= float(
        mean @ said.cross @ by_others - 2 * said.right @ by_others + said.right @ known @ said.right
    )
    left = LeftOut(values - design @ (by_others - known @ said.right), design @ known @ design.T)
    return SetOut(left, outside / 2)


@dataclass(frozen=True)
class _Said:
    """What some builds say, over the q effects that they have a part in.

    Attributes:
        effects: numbers of these, in order, shape (q,).
        cross: sum of H'V^-1 H, shape (q, q).
        right: sum of H'V^-1 y, shape (q,).
        misfit: sum of y'V^-1 y + log|V|.
    """

    effects: Integers
    cross: Array
    right: Array
    misfit: float


def _said_by(problem: Problem, state: State, builds: Integers) -> _Said:
    some = [
        (block, sums, there)
        for block, sums in zip(problem.blocks, state.sums, strict=True)
        if (there := np.flatnonzero(np.isin(block.builds, builds))).size
    ]
    effects = np.unique(np.concatenate([block.columns[there].ravel() for block, _, there in some]))
    q, misfit = len(effects), 0.0
    cross, right = np.zeros((q, q)), np.zeros(q)
    for block, sums, there in some:
        own = np.searchsorted(effects, block.columns[there])
        weighted = np.swapaxes(sums.weighted[there], 1, 2)
        values = block.values[there][:, :, None]
        np.add.at(cross, (own[:, :, None], own[:, None, :]), weighted @ block.design[there])
        np.add.at(right, own, (weighted @ values)[:, :, 0])
        misfit += float(np.sum(values * (sums.inverse[there] @ values)))
        misfit += float(np.linalg.slogdet(sums.covariance[there]).logabsdet.sum())
    return _Said(effects, cross, right, misfit)


def _rows_of(problem: Problem, build: int, effects: Integers) -> tuple[Array, Array]:
    """Return a build's rows over some effects, its own among them, shape (n, q), and its values."""
    block, place = next(
        (block, int(place)) for block in problem.blocks for place in np.flatnonzero(block.builds == build)
    )
    design = np.zeros((block.rows.shape[1], len(effects)))
    np.add.at(design.T, np.searchsorted(effects, block.columns[place]), block.design[place].T)
    return design, block.values[place]
