"""How far a planned bow lies from the builds that a belief rests on."""

from collections.abc import Iterator, Mapping

import numpy as np

from datasets.notation import thousandths
from predictor.belief.columns import STIFFNESS, Columns
from predictor.belief.model import Model
from predictor.belief.posterior import Array, Posterior
from predictor.belief.scatter import FORMS, LOTS_OF_GLASS, LOTS_OF_WOOD
from predictor.belief.seen import level_name

CLEARLY = 0.03
"""A dimension is told as outside of the range of the builds from this share beyond it."""


def distance(belief: Posterior, columns: Columns) -> Array:
    """Return how much of the doubt about what builds can teach is left, at each draw.

    The standard deviation of all learned effects together, moduli, lots, form, scale and the like, over what it was
    before any build: 0 for a bow that the builds settle entirely, 1 for one that they say nothing of. It is the
    square root of the bow's leverage in a regression with the same priors, as a share.

    Args:
        belief: of the fit.
        columns: of one weighing.
    """
    place = {name: index for index, name in enumerate(belief.effects)}
    known = np.zeros((len(columns.offset), len(place)))
    before = np.zeros(len(columns.offset))
    unknown = np.zeros(len(columns.offset))
    for name, column, variance in _effects(belief, columns):
        before += variance * column**2
        if name in place:
            known[:, place[name]] += column
        else:
            unknown += variance * column**2
    means = belief.means @ known.T
    within = np.einsum("ni,kij,nj->kn", known, belief.covariances, known)
    left = belief.weights @ (within + (means - belief.weights @ means) ** 2) + unknown
    ratio: Array = np.sqrt(left / before)
    return ratio


def _effects(belief: Posterior, columns: Columns) -> Iterator[tuple[str, Array, float]]:
    """Yield each effect's name in the fit, its column, and its variance before any build."""
    for name, column in columns.common.items():
        yield name, column, columns.priors[name].sd ** 2
    for group, levels in columns.groups.items():
        variance = float(belief.weights @ belief.scale(group) ** 2)
        for level, column in levels.items():
            yield level_name(group, level), column, variance
    for group, lots in columns.unnoted.items():
        variance = float(belief.weights @ belief.scale(group) ** 2)
        for material, column in lots.items():
            yield f"lot of {material} that nobody noted", column, variance


def is_new(belief: Posterior, columns: Columns, group: str) -> tuple[str, ...]:
    """Return a bow's levels of a group, such as its lots of wood, that no build had."""
    known = set(belief.effects)
    return tuple(level for level in columns.groups.get(group, {}) if level_name(group, level) not in known)


def has_new_lots(belief: Posterior, columns: Columns) -> bool:
    """Whether a bow has a lot of wood or glass that no build had, or one that nobody noted."""
    kinds = (LOTS_OF_WOOD, LOTS_OF_GLASS)
    return any(columns.unnoted.values()) or any(is_new(belief, columns, group) for group in kinds)


def notes_on_unfamiliar(model: Model, belief: Posterior, columns: Columns) -> tuple[str, ...]:
    """Return in words what about a bow no build of the book has shown; its interval allows for each."""
    return tuple(_unfamiliar(model, belief, columns))


def _unfamiliar(model: Model, belief: Posterior, columns: Columns) -> Iterator[str]:
    known = set(belief.effects)
    for name in columns.common:
        if name.startswith(STIFFNESS) and name not in known:
            yield f"no build had {name.removeprefix(STIFFNESS)} yet: its stiffness is the handbook's"
    for form in is_new(belief, columns, FORMS):
        yield f"no build was pressed on {form} yet"
    lots = [lot for group in (LOTS_OF_WOOD, LOTS_OF_GLASS) for lot in is_new(belief, columns, group)]
    if lots:
        yield f"no build had these lots yet: {'; '.join(lots)}"
    unnoted = [material for of_group in columns.unnoted.values() for material in of_group]
    if unnoted:
        yield f"no lot is noted of {' and '.join(unnoted)}, so it counts as one that no other bow has"
    for name, low, high in _outside(model.habits.seen_in, columns.sizes_in):
        yield (
            f"{name} of {thousandths(columns.sizes_in[name])} in is outside of what builds had, "
            f"{thousandths(low)} to {thousandths(high)} in: how weight goes on there is the statics' word alone, "
            "and the range is wider for it"
        )


def _outside(
    ranges: Mapping[str, tuple[float, float]], sizes: Mapping[str, float]
) -> Iterator[tuple[str, float, float]]:
    """Yield each dimension that lies clearly outside of its range, with the range."""
    for name, size in sizes.items():
        low, high = ranges.get(name, (size, size))
        if not low * (1 - CLEARLY) <= size <= high * (1 + CLEARLY):
            yield name, low, high
