"""The restricted likelihood of the scales, its gradient, and the effects given the scales.

Build effects are integrated out build by build, so the work grows with the number of builds, and one dense system
remains whose size is the number of common and group effects. For a build with readings y, columns H of the effects,
and covariance V = D + W W' (D the reading variances, W the build's own columns times their scales), the sums over
builds of H'V^-1 H, H'V^-1 y, y'V^-1 y and log|V| hold all that the readings say.

Source: Harville, Journal of the American Statistical Association 72 (1977), 320-338 (restricted likelihood and its
derivatives, from memory); the formulas are checked here against the dense normal density.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_factor
from scipy.linalg.lapack import dpotri

from training.engine.readings import Block, Problem

Array = NDArray[np.float64]


Doubts = tuple[Array, ...]
"""Covariance that suspected mistakes add to the readings of each build, one array of shape (J, n, n) a block."""


@dataclass(frozen=True)
class BuildSums:
    """One block at given scales.

    Attributes:
        sound: V of each build without doubts, shape (J, n, n).
        covariance: V with doubts, shape (J, n, n).
        inverse: V^-1, shape (J, n, n).
        own: the build's own columns times their scales, shape (J, n, q).
        weighted: V^-1 H, shape (J, n, c).
    """

    sound: Array
    covariance: Array
    inverse: Array
    own: Array
    weighted: Array


@dataclass(frozen=True)
class State:
    """What follows from one set of scales.

    Attributes:
        scales: groups, build columns, phi.
        value: minus twice the log likelihood (restricted or full).
        mean: of the effects, in the coordinates of the problem, shape (p,).
        covariance: shape (p, p).
        log_determinant_inverse: Q, the matrix with d log|P| = tr(Q dP), in unscaled effects, shape (p, p).
        shrunk: 1 - (posterior variance + squared mean) / scale^2, for each effect, shape (p,).
        sums: one for each block.
    """

    scales: Array
    value: float
    mean: Array
    covariance: Array
    log_determinant_inverse: Array
    shrunk: Array
    sums: tuple[BuildSums, ...]


def evaluate(problem: Problem, scales: Array, doubts: Doubts, *, restricted: bool = True) -> State:
    """Return the likelihood of the scales and the effects given them.

    Args:
        problem: the readings.
        scales: groups, build columns, phi; groups and build columns may be zero.
        doubts: covariance added by suspected mistakes.
        restricted: integrate the common effects out of the likelihood; otherwise they stand at their best values
            (the full likelihood, which has a meaning for flat priors only).

    Raises:
        numpy.linalg.LinAlgError: the scales leave a reading without variance.
    """
    p = len(problem.precision)
    right = np.zeros(p)
    value = problem.constant
    sums = []
    flat = np.zeros(p * p)
    for block, added in zip(problem.blocks, doubts, strict=True):
        found = _build_sums(problem, block, scales, added)
        sums.append(found)
        products = np.swapaxes(block.design, 1, 2) @ found.weighted
        flat += np.bincount(block.places.ravel(), products.ravel(), p * p)
        weighted_values = found.inverse @ block.values[:, :, None]
        right += np.bincount(
            block.columns.ravel(), (np.swapaxes(block.design, 1, 2) @ weighted_values).ravel(), p
        )
        value += float(np.sum(block.values[:, :, None] * weighted_values))
        value += _log_determinants(found.covariance)
    return _solve(problem, scales, flat.reshape(p, p), right, value, tuple(sums), restricted)


def _build_sums(problem: Problem, block: Block, scales: Array, added: Array) -> BuildSums:
    own = block.own * scales[problem.own_scale]
    diagonal = np.arange(block.rows.shape[1])
    sound = own @ np.swapaxes(own, 1, 2) + block.tolerances
    sound[:, diagonal, diagonal] += scales[-1] ** 2 * block.variance
    covariance = sound + added
    inverse = np.asarray(np.linalg.inv(covariance), dtype=np.float64)
    return BuildSums(sound, covariance, inverse, own, inverse @ block.design)


def _log_determinants(covariance: Array) -> float:
    """Return the sum of the log determinants of positive definite matrices, shape (J, n, n)."""
    factors = np.linalg.cholesky(covariance)
    return 2 * float(np.log(np.diagonal(factors, axis1=1, axis2=2)).sum())


def _solve(
    problem: Problem,
    scales: Array,
    cross: Array,
    right: Array,
    value: float,
    sums: tuple[BuildSums, ...],
    restricted: bool,
) -> State:
    """Solve for effects in units of their scales, so that a scale may be zero and a prior flat."""
    units = units_of(problem, scales)
    information = units[:, None] * cross * units + problem.precision
    factor = cho_factor(information, lower=True)
    inverse = _inverse(factor[0])
    mean = inverse @ (units * right)
    value -= float(mean @ (units * right))
    fixed = problem.group_of < 0
    if restricted:
        trace_matrix = inverse
        value += 2 * float(np.log(np.diag(factor[0])).sum())
    else:
        trace_matrix = np.zeros_like(inverse)
        trace_matrix[np.ix_(~fixed, ~fixed)] = np.linalg.inv(information[np.ix_(~fixed, ~fixed)])
        value += float(np.linalg.slogdet(information[np.ix_(~fixed, ~fixed)]).logabsdet)
        value += float(fixed.sum()) * np.log(2 * np.pi)
        value -= 2 * float(np.log(np.abs(np.diag(problem.triangle))).sum())
    covariance = units[:, None] * inverse * units
    return State(
        scales=scales,
        value=value,
        mean=units * mean,
        covariance=covariance,
        log_determinant_inverse=covariance if restricted else units[:, None] * trace_matrix * units,
        shrunk=1 - np.diag(trace_matrix) - mean**2,
        sums=sums,
    )


def units_of(problem: Problem, scales: Array) -> Array:
    """Return what each effect is counted in units of: its group's scale, or one, shape (p,)."""
    units: Array = np.append(scales[: problem.groups], 1.0)[problem.group_of]
    return units


def _inverse(lower: Array) -> Array:
    """Return the inverse of a matrix from its lower Cholesky factor."""
    below: Array = np.tril(dpotri(lower, lower=True)[0])
    whole: Array = below + below.T
    whole[np.diag_indices(len(whole))] /= 2
    return whole


def gradient(problem: Problem, state: State) -> Array:
    """Return the derivatives of `state.value` with respect to the logarithms of the scales.

    With dV/dlog(scale) = 2 U U', where U is a latent column or the square root of the reading variances, the derivative
    is 2 [tr(U'V^-1 U) - |U'V^-1 r|^2 - tr(U'V^-1 H Q H'V^-1 U)], r being the residual at the best effects.
    """
    latent_part = np.zeros(len(problem.own_scale))
    noise_part = 0.0
    for block, sums in zip(problem.blocks, state.sums, strict=True):
        weighted = sums.inverse @ residuals(block, state)[:, :, None]
        matrix = gathered(state.log_determinant_inverse, block)
        own = sums.own
        latent = np.swapaxes(own, 1, 2)
        effects = latent @ sums.weighted
        latent_part += np.sum(own * (sums.inverse @ own), axis=(0, 1))
        latent_part -= np.sum((latent @ weighted) ** 2, axis=(0, 2))
        latent_part -= np.sum((effects @ matrix) * effects, axis=(0, 2))
        of_readings = np.diagonal(sums.inverse, axis1=1, axis2=2) - weighted[:, :, 0] ** 2
        of_readings = of_readings - np.sum((sums.weighted @ matrix) * sums.weighted, axis=2)
        noise_part += float(state.scales[-1] ** 2 * np.sum(block.variance * of_readings))
    parts = np.zeros(len(state.scales))
    for group in range(problem.groups):
        parts[group] = state.shrunk[problem.group_of == group].sum()
    np.add.at(parts, problem.own_scale, latent_part)
    parts[-1] = noise_part
    return 2 * parts


def residuals(block: Block, state: State) -> Array:
    """Return the block's values less the best effects, shape (J, n)."""
    return block.values - (block.design @ state.mean[block.columns][:, :, None])[:, :, 0]


def gathered(matrix: Array, block: Block) -> Array:
    """Return the part of a matrix over all effects that each build touches, shape (J, c, c)."""
    part: Array = matrix.ravel().take(block.places)
    return part
