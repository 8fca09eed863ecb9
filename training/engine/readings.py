"""Readings and the columns that explain them, as plain arrays cut into one block a build.

Every reading i of build j follows

    y_i = x_i a + sum over groups z_gi u_g + w_i b_j + v_i l_j + e_i

with a ~ N(common_mean, common_sd^2), u_g ~ N(0, tau_g^2) for each column of group g, one b of sd tau_c for each
build and build column (and one of sd tau_g for each of its own columns of group g), l ~ N(0, 1) (what the tolerances
of a build's recorded dimensions do to all its readings together), and e_i ~ N(0, (phi sd_i)^2). The columns are
arbitrary numbers: sensitivities from the physics, indicators, basis functions.

The build effects of an intercept and a slope are independent here. Any covariance of the two is had by choosing where
the slope is counted from, since an intercept at another place is a combination of both.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import solve_triangular
from scipy.sparse import csr_array, hstack

from predictor.belief.own_history import NOT_WEIGHED
from training.engine.scale_priors import ScalePrior

Array = NDArray[np.float64]
Integers = NDArray[np.intp]


@dataclass(frozen=True)
class Group:
    """Effects that share one scale, such as the lots of one kind of wood.

    Attributes:
        name: what the group is called.
        levels: the name of each column.
        columns: shape (readings, levels).
        prior: of the scale.
        alone: columns of further effects of this scale that each build has of its own, such as lots that nobody noted,
            shape (readings, any). They are integrated out with the build, so the work does not grow with their number.
    """

    name: str
    levels: tuple[str, ...]
    columns: csr_array
    prior: ScalePrior
    alone: Array | None = None


@dataclass(frozen=True)
class BuildColumn:
    """An effect that each build has of its own: ones for the build effect, a covariate for a slope."""

    name: str
    column: Array
    prior: ScalePrior


@dataclass(frozen=True)
class Readings:
    """All that a fit needs to know; offsets are already taken off the values.

    Attributes:
        values: shape (readings,).
        sd: known standard deviation of each reading, shape (readings,), up to the common factor phi.
        build: number of each reading's build, 0 to builds - 1, shape (readings,).
        common: columns of the common effects a, shape (readings, common effects).
        common_names: one name a column.
        common_mean: prior means.
        common_sd: prior standard deviations; infinite where the prior is flat.
        groups: effects with a scale that is learned.
        build_columns: effects of one build each.
        tolerances: shape (readings, tolerances), in units of one standard deviation of the input.
        noise_prior: of phi.
        weighing: number of each reading's weighing, shape (readings,); without it each reading is one by itself.
            `NOT_WEIGHED` for rows that tell of a build but are no readings of it; they stand last.
    """

    values: Array
    sd: Array
    build: Integers
    common: Array
    common_names: tuple[str, ...]
    common_mean: Array
    common_sd: Array
    groups: tuple[Group, ...]
    build_columns: tuple[BuildColumn, ...]
    tolerances: Array
    noise_prior: ScalePrior
    weighing: Integers | None = None

    @property
    def priors(self) -> tuple[ScalePrior, ...]:
        """Priors of the scales: groups, then build columns, then phi."""
        return (*(g.prior for g in self.groups), *(c.prior for c in self.build_columns), self.noise_prior)

    @property
    def weighed(self) -> int:
        """How many rows are readings; they stand first."""
        return len(self.values) if self.weighing is None else int(np.sum(self.weighing != NOT_WEIGHED))

    @property
    def builds(self) -> int:
        """How many builds there are."""
        return int(self.build.max()) + 1


@dataclass(frozen=True)
class Block:
    """All builds that have the same number of readings n, each with the c columns that it touches.

    Attributes:
        builds: numbers of the builds, shape (J,).
        rows: their readings, shape (J, n).
        weighing: number of each reading's weighing, shape (J, n).
        columns: which effects each build touches, shape (J, c), padded with 0 where the design is zero.
        places: where the products of each two of these columns belong in the flattened matrix over all effects, shape
            (J, c, c).
        design: shape (J, n, c).
        own: columns of effects that each build has of its own, shape (J, n, q).
        tolerances: covariance of the readings by the tolerances, shape (J, n, n).
        values: shape (J, n).
        variance: squared reading sd, shape (J, n).
    """

    builds: Integers
    rows: Integers
    weighing: Integers
    columns: Integers
    places: Integers
    design: Array
    own: Array
    tolerances: Array
    values: Array
    variance: Array


@dataclass(frozen=True)
class Problem:
    """Readings in the coordinates in which they are fitted.

    The common columns stand as orthonormal combinations of themselves (a Householder QR of the columns over the reading
    sd, with the prior as further rows), so the cross products lose no digits to columns that are nearly alike. With R
    its triangle, the fitted common effects are R (a - common_mean).

    Attributes:
        blocks: readings by build.
        triangle: R, shape (k, k).
        precision: prior precision of all fitted effects at unit scales, shape (p, p).
        group_of: number of each effect's group, -1 for a common effect, shape (p,).
        own_scale: which of the scales each of a build's own columns has, shape (q,): those of the build columns, then
            those of the groups that further columns of theirs stand for.
        constant: what minus twice the log restricted likelihood adds whatever the scales.
    """

    blocks: tuple[Block, ...]
    triangle: Array
    precision: Array
    group_of: Integers
    groups: int
    own_scale: Integers
    constant: float


def prepare(readings: Readings) -> Problem:
    """Bring readings into the coordinates of the fit.

    Raises:
        ValueError: the common columns are linearly dependent and no prior separates them, or a shape is wrong.
    """
    _check(readings)
    orthonormal, triangle, common_precision = _orthonormal(readings)
    parts = [csr_array(orthonormal), *(group.columns for group in readings.groups)]
    design = (
        csr_array(hstack(parts))
        if orthonormal.shape[1] or readings.groups
        else csr_array((len(readings.sd), 0))
    )
    k, p = len(triangle), design.shape[1]
    precision = np.eye(p)
    precision[:k, :k] = common_precision
    sizes = [k, *(group.columns.shape[1] for group in readings.groups)]
    proper = np.isfinite(readings.common_sd)
    diagonal = np.abs(np.diag(triangle))
    constant = (len(readings.values) - int((~proper).sum())) * np.log(2 * np.pi)
    constant += 2 * np.log(diagonal).sum() + 2 * np.log(readings.common_sd[proper]).sum()
    return Problem(
        blocks=tuple(_blocks(readings, design)),
        triangle=triangle,
        precision=precision,
        group_of=np.repeat(np.arange(-1, len(readings.groups)), sizes),
        groups=len(readings.groups),
        own_scale=_own_scale(readings),
        constant=float(constant),
    )


def _own_columns(readings: Readings) -> Array:
    """Return the columns of effects that each build has of its own, shape (readings, q)."""
    of_builds = [column.column[:, None] for column in readings.build_columns]
    of_groups = [group.alone for group in readings.groups if group.alone is not None]
    return np.hstack([np.zeros((len(readings.values), 0)), *of_builds, *of_groups])


def _own_scale(readings: Readings) -> Integers:
    """Return the place of each of these columns' scale, shape (q,)."""
    first = len(readings.groups)
    of_groups = [
        np.full(group.alone.shape[1], place)
        for place, group in enumerate(readings.groups)
        if group.alone is not None
    ]
    return np.concatenate([np.arange(first, first + len(readings.build_columns)), *of_groups])


def _check(readings: Readings) -> None:
    count = len(readings.values)
    parts = {"sd": len(readings.sd), "build": len(readings.build), "common": len(readings.common)}
    parts |= {"tolerances": len(readings.tolerances)}
    parts |= {group.name: group.columns.shape[0] for group in readings.groups}
    parts |= {f"{g.name} of one build": len(g.alone) for g in readings.groups if g.alone is not None}
    parts |= {column.name: len(column.column) for column in readings.build_columns}
    for name, length in parts.items():
        if length != count:
            raise ValueError(f"wanted {count} rows in {name}, one a reading, got {length}")
    if count == 0:
        raise ValueError("wanted at least one reading, got none: predict from the priors instead")
    if not (np.all(readings.sd > 0) and np.all(np.isfinite(readings.values))):
        raise ValueError("wanted finite readings with a positive sd: leave out the reading that has none")
    if len(np.unique(readings.build)) != readings.builds:
        raise ValueError(f"wanted builds numbered 0 to {readings.builds - 1} without gaps: renumber them")


def _orthonormal(readings: Readings) -> tuple[Array, Array, Array]:
    """Return the common columns in orthonormal combinations, R, and the prior precision in those coordinates."""
    k = readings.common.shape[1]
    rows = np.vstack([readings.common / readings.sd[:, None], np.diag(1 / readings.common_sd)])
    q, triangle = np.linalg.qr(rows)
    size = np.linalg.norm(rows, axis=0)
    if np.any(np.abs(np.diag(triangle)) <= 4 * np.finfo(float).eps * size):
        raise ValueError(
            "wanted common columns that can be told apart, got dependent ones: give one of them a prior"
        )
    prior = q[-k:] if k else q
    return q[: len(readings.values)] * readings.sd[:, None], triangle, prior.T @ prior


def _blocks(readings: Readings, design: csr_array) -> Iterator[Block]:
    order = np.argsort(readings.build, kind="stable")
    counts = np.bincount(readings.build)
    starts = np.cumsum(counts) - counts
    own = _own_columns(readings)
    common = readings.common @ readings.common_mean
    weighing = np.arange(len(order)) if readings.weighing is None else readings.weighing
    for size in np.unique(counts):
        builds = np.flatnonzero(counts == size)
        rows = order[starts[builds][:, None] + np.arange(size)]
        columns, compact = _compact(design, rows)
        tolerances = readings.tolerances[rows]
        yield Block(
            builds=builds,
            rows=rows,
            weighing=weighing[rows],
            columns=columns,
            places=columns[:, :, None] * design.shape[1] + columns[:, None, :],
            design=compact,
            own=own[rows],
            tolerances=tolerances @ np.swapaxes(tolerances, 1, 2),
            values=(readings.values - common)[rows],
            variance=readings.sd[rows] ** 2,
        )


def _compact(design: csr_array, rows: Integers) -> tuple[Integers, Array]:
    """Return the columns that each build touches, shape (J, c), and its design in them, shape (J, n, c)."""
    builds, size = rows.shape
    entries = design[rows.ravel()].tocoo()
    row, column = entries.coords
    keys, place = np.unique(row // size * design.shape[1] + column, return_inverse=True)
    owner = keys // max(design.shape[1], 1)
    touched = np.bincount(owner, minlength=builds)
    rank = np.arange(len(keys)) - (np.cumsum(touched) - touched)[owner]
    columns = np.zeros((builds, touched.max(initial=0)), dtype=np.intp)
    columns[owner, rank] = keys % max(design.shape[1], 1)
    compact = np.zeros((builds, size, columns.shape[1]))
    compact[row // size, row % size, rank[place]] = entries.data
    return columns, compact


def natural(problem: Problem, readings: Readings, mean: Array, covariance: Array) -> tuple[Array, Array]:
    """Return mean and covariance of the effects themselves from those in the coordinates of the fit."""
    k = len(problem.triangle)
    back = np.eye(len(mean))
    back[:k, :k] = solve_triangular(problem.triangle, np.eye(k))
    effects = mean.copy()
    effects[:k] = readings.common_mean + solve_triangular(problem.triangle, mean[:k])
    return effects, back @ covariance @ back.T
