"""Readings drawn from the regression's own model, with every kind of column in it and builds of unlike size."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array

from tests.half_t import HalfT
from training.engine.readings import BuildColumn, Group, Readings

Array = NDArray[np.float64]

PRIORS = {
    "lot": HalfT(0.04),
    "form": HalfT(0.015),
    "build": HalfT(0.02),
    "slope": HalfT(0.005),
    "noise": HalfT(1.0, df=20),
}
COMMON_SD = np.array([0.05, 0.02, 0.1])
READING_SD = 0.004


@dataclass(frozen=True)
class Drawn:
    """Readings and the truth behind them: scales in the order of the fit, and all effects."""

    readings: Readings
    scales: Array
    effects: Array


def draw(rng: np.random.Generator, builds: int, builds_a_lot: int = 5, scales: Array | None = None) -> Drawn:
    """Draw a shop's readings; without scales these are drawn from their priors too."""
    if scales is None:
        scales = np.array([prior.quantile(rng.uniform()) for prior in PRIORS.values()])
    sizes = rng.integers(1, 5, builds)
    build = np.repeat(np.arange(builds), sizes)
    count = len(build)
    draws = rng.uniform(-1, 1, count)
    sensitivity = (0.7 + 0.05 * rng.standard_normal(builds))[build]
    common = np.column_stack([np.ones(count), draws, sensitivity])
    lot, form = build // builds_a_lot, rng.integers(0, 3, builds)[build]
    rows = np.arange(count)
    lots = csr_array((sensitivity, (rows, lot)), shape=(count, int(lot.max()) + 1))
    forms = csr_array((np.ones(count), (rows, form)), shape=(count, 3))
    tolerances = 0.006 * rng.standard_normal((builds, 2))[build] * (1 + 0.1 * draws[:, None])
    effects = np.concatenate(
        [
            COMMON_SD * rng.standard_normal(3),
            scales[0] * rng.standard_normal(lots.shape[1]),
            scales[1] * rng.standard_normal(3),
        ]
    )
    values = np.hstack([common, lots.toarray(), forms.toarray()]) @ effects
    values += (scales[2] * rng.standard_normal(builds))[build]
    values += (scales[3] * rng.standard_normal(builds))[build] * draws
    values += np.sum(tolerances * rng.standard_normal((builds, 2))[build], axis=1)
    values += scales[4] * READING_SD * rng.standard_normal(count)
    readings = Readings(
        values=values,
        sd=np.full(count, READING_SD),
        build=build,
        common=common,
        common_names=("level", "draw", "modulus"),
        common_mean=np.zeros(3),
        common_sd=COMMON_SD,
        groups=(
            Group("lot", tuple(str(k) for k in range(lots.shape[1])), lots, PRIORS["lot"]),
            Group("form", ("A", "B", "C"), forms, PRIORS["form"]),
        ),
        build_columns=(
            BuildColumn("build", np.ones(count), PRIORS["build"]),
            BuildColumn("slope", draws, PRIORS["slope"]),
        ),
        tolerances=tolerances,
        noise_prior=PRIORS["noise"],
    )
    return Drawn(readings, scales, effects)


def subset(readings: Readings, keep: NDArray[np.bool_]) -> Readings:
    """Return some of the readings, with the columns of all effects; whole builds are kept or left out."""
    return Readings(
        values=readings.values[keep],
        sd=readings.sd[keep],
        build=np.unique(readings.build[keep], return_inverse=True)[1],
        common=readings.common[keep],
        common_names=readings.common_names,
        common_mean=readings.common_mean,
        common_sd=readings.common_sd,
        groups=tuple(Group(g.name, g.levels, g.columns[keep], g.prior) for g in readings.groups),
        build_columns=tuple(BuildColumn(c.name, c.column[keep], c.prior) for c in readings.build_columns),
        tolerances=readings.tolerances[keep],
        noise_prior=readings.noise_prior,
    )


def design(readings: Readings) -> Array:
    """Return the columns of all effects, dense."""
    return np.hstack([readings.common, *(group.columns.toarray() for group in readings.groups)])


def prior_variances(readings: Readings, scales: Array) -> Array:
    """Return the prior variance of every effect."""
    groups = [np.full(g.columns.shape[1], s**2) for g, s in zip(readings.groups, scales, strict=False)]
    return np.concatenate([readings.common_sd**2, *groups])


def own_covariance(readings: Readings, scales: Array) -> Array:
    """Return the covariance of the readings given the effects, dense."""
    same = readings.build[:, None] == readings.build[None, :]
    total = readings.tolerances @ readings.tolerances.T
    first = len(readings.groups)
    for column, scale in zip(readings.build_columns, scales[first:], strict=False):
        total += scale**2 * np.outer(column.column, column.column)
    return same * total + np.diag((scales[-1] * readings.sd) ** 2)
