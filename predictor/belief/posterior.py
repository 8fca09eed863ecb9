"""What a fit believes of its effects, and what follows for the readings of one build.

A posterior is a mixture over a few sets of scales, each with a normal distribution of the effects, so the doubt about
the scales widens a prediction's tails. It is a plain value: numbers and names that go to JSON and come back equal.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_factor, cho_solve

from predictor.belief.mixture import JointMixture, NormalMixture

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Posterior:
    """A fit's belief.

    Attributes:
        effects: names of the effects: common ones, then the levels of each group in turn.
        groups: names of the groups; their scales come first in `scales`.
        build_columns: names of the effects that each build has of its own; their scales follow; phi is the last.
        weights: of the sets of scales, shape (K,).
        scales: shape (K, groups + build columns + 1).
        means: of the effects, shape (K, effects).
        covariances: shape (K, effects, effects).
    """

    effects: tuple[str, ...]
    groups: tuple[str, ...]
    build_columns: tuple[str, ...]
    weights: Array
    scales: Array
    means: Array
    covariances: Array

    def __post_init__(self) -> None:
        counts = (len(self.weights), len(self.effects), len(self.groups) + len(self.build_columns) + 1)
        k, p, m = counts
        wanted = {"scales": (k, m), "means": (k, p), "covariances": (k, p, p)}
        for name, shape in wanted.items():
            array = getattr(self, name)
            if array.shape != shape:
                raise ValueError(f"wanted {name} of shape {shape}, got {array.shape}: train again")
        for array in (self.weights, self.scales, self.means, self.covariances):
            if not np.all(np.isfinite(array)):
                raise ValueError("wanted finite numbers in the fit, got others: train again")
            array.setflags(write=False)

    def scale(self, name: str) -> Array:
        """Return the scale of a group or a build column in each set, or phi for "noise", shape (K,).

        Raises:
            ValueError: there is no such scale.
        """
        names = (*self.groups, *self.build_columns, "noise")
        if name not in names:
            raise ValueError(f"wanted a scale of {', '.join(names)}, got {name!r}")
        column: Array = self.scales[:, names.index(name)]
        return column

    def effect(self, name: str) -> NormalMixture:
        """Return what is believed of one effect.

        Raises:
            ValueError: there is no such effect.
        """
        place = self.effects.index(name)
        sds = np.sqrt(self.covariances[:, place, place])
        return NormalMixture(self.weights[:, None], self.means[:, place, None], sds[:, None])

    def to_json(self) -> dict[str, Any]:
        """Return the posterior as plain lists and names; of each covariance the lower triangle."""
        lower = np.tril_indices(len(self.effects))
        return {
            "effects": list(self.effects),
            "groups": list(self.groups),
            "build_columns": list(self.build_columns),
            "weights": self.weights.tolist(),
            "scales": self.scales.tolist(),
            "means": self.means.tolist(),
            "covariances": [covariance[lower].tolist() for covariance in self.covariances],
        }

    @classmethod
    def from_json(cls, stored: Mapping[str, Any]) -> "Posterior":
        """Return the posterior that `to_json` wrote.

        Raises:
            ValueError: shapes do not fit together, or a number is not finite.
        """
        count, size = len(stored["weights"]), len(stored["effects"])
        row, column = np.tril_indices(size)
        covariances = np.zeros((count, size, size))
        covariances[:, row, column] = np.array(stored["covariances"], dtype=float).reshape(count, len(row))
        covariances[:, column, row] = covariances[:, row, column]
        return cls(
            effects=tuple(stored["effects"]),
            groups=tuple(stored["groups"]),
            build_columns=tuple(stored["build_columns"]),
            weights=np.array(stored["weights"], dtype=float),
            scales=np.array(stored["scales"], dtype=float),
            means=np.array(stored["means"], dtype=float).reshape(count, size),
            covariances=covariances,
        )


@dataclass(frozen=True)
class Rows:
    """Readings of one build, taken or imagined, by the columns that explain them.

    Attributes:
        effects: columns of the effects that the fit knows, shape (n, effects).
        unseen: for a group, columns of levels that the fit has never met, shape (n, levels).
        build: columns of the effects that the build has of its own, shape (n, build columns); zeros for what has none,
            such as a strip of one lot bent on the bench.
        tolerances: what one sd of each recorded dimension does, shape (n, tolerances).
        sd: known reading sd, shape (n,); zeros for what a perfect scale would read.
    """

    effects: Array
    unseen: Mapping[str, Array]
    build: Array
    tolerances: Array
    sd: Array

    def part(self, some: slice) -> "Rows":
        """Return some of the rows."""
        return Rows(
            effects=self.effects[some],
            unseen={group: columns[some] for group, columns in self.unseen.items()},
            build=self.build[some],
            tolerances=self.tolerances[some],
            sd=self.sd[some],
        )


def predict(
    posterior: Posterior, wanted: Rows, own: Rows | None = None, own_values: Array | None = None
) -> JointMixture:
    """Predict readings of a build, given what it has already shown of itself.

    Args:
        posterior: the belief.
        wanted: what to predict, n rows.
        own: rows already read, with the same unseen levels and tolerances in the same order.
        own_values: what they read, offsets taken off.

    Returns:
        The distribution of the wanted rows, offsets to be added.
    """
    rows = wanted if own is None else _stacked(own, wanted)
    expected = _expected(posterior, rows)
    if own_values is None:
        return expected
    return _conditioned(expected.weights, expected.means, expected.covariances, own_values)


def without(posterior: Posterior, rows: Rows, values: Array, doubts: Array | None = None) -> Posterior:
    """Return what is believed without some of the readings that a belief has learned from.

    With C the covariance of the effects, A the columns of the readings and R the readings' covariance given the
    effects, that before them is C + C A'(R - A C A')^-1 A C (Woodbury's identity for taking rows out of a least
    squares fit; Golub and Van Loan, Matrix Computations, section 2.1.4 and 6.5, from memory). Exact at each set of
    scales; the sets' weights are divided by how well each expected the readings.

    Args:
        posterior: that has learned from the readings.
        rows: of the readings, all of one build.
        values: what they read, offsets taken off.
        doubts: covariance that suspected mistakes added to theirs in the fit, shape (n, n).

    Raises:
        ValueError: the belief cannot have learned from these readings.
    """
    own = _own_covariances(posterior, rows) + (0.0 if doubts is None else doubts)
    columns = posterior.covariances @ rows.effects.T
    apart = own - rows.effects @ columns
    if np.linalg.eigvalsh(apart).min() <= 0:
        raise ValueError("wanted readings that taught the belief, got others: train again")
    gain = np.swapaxes(np.linalg.solve(apart, np.swapaxes(columns, 1, 2)), 1, 2)
    error = values - posterior.means @ rows.effects.T
    means = posterior.means - np.einsum("kpn,kn->kp", gain, error)
    covariances = posterior.covariances + gain @ np.swapaxes(columns, 1, 2)
    before = replace(posterior, means=means, covariances=(covariances + np.swapaxes(covariances, 1, 2)) / 2)
    expected = rows.effects @ before.covariances @ rows.effects.T + own
    log_weights = np.log(posterior.weights) - log_density(values - means @ rows.effects.T, expected)
    weights = np.exp(log_weights - log_weights.max())
    return replace(before, weights=weights / weights.sum())


def with_effects(posterior: Posterior, variances: Mapping[str, Array]) -> Posterior:
    """Return a belief that also knows some effects, each apart from all others and with mean zero.

    Args:
        posterior: that may know some of them; those stay as they are.
        variances: of each effect by name, shape (K,) each.
    """
    new = {name: variance for name, variance in variances.items() if name not in posterior.effects}
    size, more = len(posterior.effects), len(new)
    covariances = np.pad(posterior.covariances, ((0, 0), (0, more), (0, more)))
    for place, variance in enumerate(new.values(), size):
        covariances[:, place, place] = variance
    return replace(
        posterior,
        effects=(*posterior.effects, *new),
        means=np.pad(posterior.means, ((0, 0), (0, more))),
        covariances=covariances,
    )


def observed(posterior: Posterior, design: Array, values: Array, variances: Array) -> Posterior:
    """Return a belief that has also seen sums of its effects, such as what a lot's modulus or a scale's bias is.

    At each set of scales this is what a fit to all readings together gives; sets that expected the values better gain
    weight.

    Args:
        posterior: that has seen none of them.
        design: columns of the effects, shape (n, effects).
        values: what was seen, shape (n,).
        variances: of each value about the sum of effects, shape (n,).
    """
    log_weights, means, covariances = np.log(posterior.weights), [], []
    for place, (mean, covariance) in enumerate(zip(posterior.means, posterior.covariances, strict=True)):
        factor = cho_factor(design @ covariance @ design.T + np.diag(variances), lower=True)
        gain = cho_solve(factor, design @ covariance).T
        error = values - design @ mean
        means.append(mean + gain @ error)
        left = covariance - gain @ design @ covariance
        covariances.append((left + left.T) / 2)
        log_weights[place] -= error @ cho_solve(factor, error) / 2 + np.log(np.diag(factor[0])).sum()
    weights = np.exp(log_weights - log_weights.max())
    return replace(
        posterior,
        weights=weights / weights.sum(),
        means=np.array(means),
        covariances=np.array(covariances),
    )


def log_density(errors: Array, covariances: Array) -> Array:
    """Return the logarithm of normal densities up to a constant, shape (...,).

    Args:
        errors: from their means, shape (..., n).
        covariances: shape (..., n, n).
    """
    solved = np.linalg.solve(covariances, errors[..., None])[..., 0]
    density: Array = -(np.linalg.slogdet(covariances).logabsdet + np.sum(errors * solved, axis=-1)) / 2
    return density


def _expected(posterior: Posterior, rows: Rows) -> JointMixture:
    covariances = rows.effects @ posterior.covariances @ rows.effects.T + _own_covariances(posterior, rows)
    return JointMixture(posterior.weights, posterior.means @ rows.effects.T, covariances)


def _stacked(first: Rows, second: Rows) -> Rows:
    return Rows(
        effects=np.vstack([first.effects, second.effects]),
        unseen={name: np.vstack([first.unseen[name], second.unseen[name]]) for name in second.unseen},
        build=np.vstack([first.build, second.build]),
        tolerances=np.vstack([first.tolerances, second.tolerances]),
        sd=np.concatenate([first.sd, second.sd]),
    )


def _own_covariances(posterior: Posterior, rows: Rows) -> Array:
    """Return the covariance of what no effect of the fit explains, for each set of scales, shape (K, n, n)."""
    total = np.repeat((rows.tolerances @ rows.tolerances.T)[None], len(posterior.weights), axis=0)
    for name, columns in rows.unseen.items():
        total += posterior.scale(name)[:, None, None] ** 2 * (columns @ columns.T)
    for name, column in zip(posterior.build_columns, rows.build.T, strict=True):
        total += posterior.scale(name)[:, None, None] ** 2 * np.outer(column, column)
    return total + posterior.scale("noise")[:, None, None] ** 2 * np.diag(rows.sd**2)


def _conditioned(weights: Array, means: Array, covariances: Array, values: Array) -> JointMixture:
    """Condition on the first rows; sets of scales that expected them better gain weight."""
    n = len(values)
    log_weights, new_means, new_covariances = np.log(weights), [], []
    for k, (mean, covariance) in enumerate(zip(means, covariances, strict=True)):
        factor = cho_factor(covariance[:n, :n], lower=True)
        gain = cho_solve(factor, covariance[:n, n:]).T
        error = values - mean[:n]
        new_means.append(mean[n:] + gain @ error)
        new_covariances.append(covariance[n:, n:] - gain @ covariance[:n, n:])
        log_weights[k] -= error @ cho_solve(factor, error) / 2 + np.log(np.diag(factor[0])).sum()
    updated = np.exp(log_weights - log_weights.max())
    return JointMixture(updated / updated.sum(), np.array(new_means), np.array(new_covariances))
