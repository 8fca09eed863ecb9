"""What readings that are not taken yet would teach: how much narrower the shop's usual bows could then be foretold.

A reading shrinks the doubt about the effects that it shows, whatever it will say, as long as the scales of scatter are
taken as they are believed now: given these, a normal's covariance after a reading does not depend on its value
(Lindley, Annals of Mathematical Statistics 27 (1956), 986-1005, from memory). What readings tell of the scales
themselves is left out, so the real gain is a little other.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from scipy.special import ndtri

from predictor.belief.columns import Columns
from predictor.belief.posterior import Array, Posterior
from predictor.belief.seen import level_name

LEVEL = 0.9
"""Of the interval whose half width is told."""


@dataclass(frozen=True)
class Lesson:
    """A reading of the logarithm of something, which is not taken yet.

    Attributes:
        name: what to do.
        effects: that it shows, by the names of a fit, with their columns.
        sd: of its own error, where that does not hang on the scales of scatter.
        of_bow: columns of the bow that it weighs; nothing where it weighs none.
    """

    name: str
    effects: Mapping[str, float]
    sd: float = 0.0
    of_bow: Columns | None = None


def weighing(name: str, told: Columns) -> Lesson:
    """Return the lesson of weighing a new bow.

    Args:
        name: what to do.
        told: columns of its one reading.
    """
    return Lesson(name, {effect: float(column[0]) for effect, column in _effects(told).items()}, of_bow=told)


def _effects(told: Columns) -> dict[str, Array]:
    levels = {
        level_name(group, level): column
        for group, inner in told.groups.items()
        for level, column in inner.items()
    }
    return {**told.common, **levels}


@dataclass(frozen=True)
class Doubt:
    """What a belief leaves open of every effect that some bows and lessons show, at each set of scales.

    Attributes:
        belief: whose sets of scales these are.
        places: of the effects, by name.
        covariances: shape (K, effects, effects).
    """

    belief: Posterior
    places: Mapping[str, int]
    covariances: Array = field(repr=False)

    def rows(self, lessons: Sequence[Lesson]) -> Array:
        """Return the columns of lessons, shape (lessons, effects)."""
        rows = np.zeros((len(lessons), len(self.places)))
        for row, lesson in zip(rows, lessons, strict=True):
            for name, column in lesson.effects.items():
                row[self.places[name]] = column
        return rows

    def spread(self, rows: Array) -> Array:
        """Return the variance of rows from what is left open of the effects, shape (K, rows)."""
        variance: Array = np.sum((rows @ self.covariances) * rows, axis=2)
        return variance

    def own_variance(self, lessons: Sequence[Lesson]) -> Array:
        """Return the variance of lessons that no effect explains, shape (K, lessons)."""
        return np.stack([self._own(lesson) for lesson in lessons], axis=1)

    def _own(self, lesson: Lesson) -> Array:
        variance = np.full(len(self.belief.weights), lesson.sd**2)
        bow = lesson.of_bow
        if bow is not None:
            variance += sum(float(one.column[0]) ** 2 for one in (*bow.tolerances, *bow.weighing))
            for group, lots in bow.unnoted.items():
                variance += self.belief.scale(group) ** 2 * sum(float(lot[0]) ** 2 for lot in lots.values())
            for name in self.belief.build_columns:
                variance += (self.belief.scale(name) * float(bow.build[name][0])) ** 2
            variance += (self.belief.scale("noise") * float(bow.sd[0])) ** 2
        return variance


def doubt(belief: Posterior, bows: Sequence[Columns], lessons: Sequence[Lesson] = ()) -> Doubt:
    """Return what a belief leaves open, effects that it has not met counted with their priors.

    Args:
        belief: of a fit, or the prior's.
        bows: one reading each.
        lessons: that are thought of; those that weigh no bow show effects of the bows only.
    """
    shown = [*bows, *(lesson.of_bow for lesson in lessons if lesson.of_bow is not None)]
    before: dict[str, Array] = {}
    for told in shown:
        before |= {name: np.full(len(belief.weights), told.priors[name].sd ** 2) for name in told.common}
        for group, levels in told.groups.items():
            before |= dict.fromkeys((level_name(group, one) for one in levels), belief.scale(group) ** 2)
    of_fit = {name: place for place, name in enumerate(belief.effects) if name in before}
    names = [*of_fit, *(name for name in before if name not in of_fit)]
    covariances = np.zeros((len(belief.weights), len(names), len(names)))
    fitted = list(of_fit.values())
    covariances[:, : len(fitted), : len(fitted)] = belief.covariances[:, fitted][:, :, fitted]
    for place in range(len(fitted), len(names)):
        covariances[:, place, place] = before[names[place]]
    return Doubt(belief, {name: place for place, name in enumerate(names)}, covariances)


def half_widths(left: Doubt, bows: Sequence[Columns]) -> Array:
    """Return half the widths of the bows' intervals as shares of the weight, shape (bows,)."""
    asked = [weighing("", told) for told in bows]
    rows = left.rows(asked)
    variances = left.spread(rows) + left.own_variance(asked)
    return _reach(left.belief.weights @ variances)


def _reach(variance: Array) -> Array:
    reach: Array = ndtri((1 + LEVEL) / 2) * np.sqrt(variance)
    return reach


def after_each(left: Doubt, bows: Sequence[Columns], lessons: Sequence[Lesson]) -> Array:
    """Return half the widths of the bows' intervals after each lesson by itself, shape (lessons, bows)."""
    asked = [weighing("", told) for told in bows]
    rows, taught = left.rows(asked), left.rows(lessons)
    before = left.spread(rows) + left.own_variance(asked)
    shared = rows @ left.covariances @ taught.T
    spread = left.spread(taught) + left.own_variance(lessons)
    after = before[:, None, :] - np.swapaxes(shared, 1, 2) ** 2 / spread[:, :, None]
    return _reach(np.tensordot(left.belief.weights, after, axes=1))


def after_all(left: Doubt, lessons: Sequence[Lesson]) -> Doubt:
    """Return what is left open after several lessons together, each of a bow of its own."""
    taught = left.rows(lessons)
    shared = left.covariances @ taught.T
    spread = taught @ shared
    places = np.arange(len(lessons))
    spread[:, places, places] += left.own_variance(lessons)
    gain = np.swapaxes(np.linalg.solve(spread, np.swapaxes(shared, 1, 2)), 1, 2)
    return Doubt(left.belief, left.places, left.covariances - gain @ np.swapaxes(shared, 1, 2))
