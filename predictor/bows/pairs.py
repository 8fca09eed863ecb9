"""Whole bows solved with their two limbs as they are: tiller, weight, how they lie, and how much they are bent."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import cos, sin

import numpy as np
from numpy.typing import NDArray

from datasets.history import BowAt
from predictor.bows.bow import Moduli, Refusal, limb_of, refusal, two_limbs, unbraced
from predictor.mechanics.elastica import LimbGrid
from predictor.mechanics.limb import Limb, limb_sections
from predictor.mechanics.statics import Shape
from predictor.mechanics.unlike import Braced, Drawn, TwoLimbs, brace, draw, shapes, tiller

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Pair:
    """A bow and the moduli of each of its limbs.

    Attributes:
        difference: logarithm of the upper limb's stiffness over the lower one's, beyond dimensions and moduli.
    """

    bow: BowAt
    upper: Moduli
    lower: Moduli
    difference: float = 0.0


@dataclass(frozen=True, eq=False)
class Balanced:
    """Bows in balance: tiller at brace in inches, upper less lower, and weight in pounds, shape (n,) each."""

    tiller_in: Array
    weight_lbf: Array


def balanced(pairs: Sequence[Pair], draw_in: float) -> Balanced | Refusal:
    """Solve bows on their rigid risers, held at the pivot and drawn at the nocking point.

    Args:
        pairs: the bows.
        draw_in: inches from the back of the riser.

    Returns:
        Their tillers and weights, or why one of them has none.
    """
    two, belly = _two_limbs(pairs)
    braced = brace(two, np.array([pair.bow.brace for pair in pairs]))
    drawn = draw(two, braced, [draw_in])
    refused = _refusal(braced, drawn)
    return refused or Balanced(tiller(two, braced, belly), drawn.force[:, 0])


def tillers(pairs: Sequence[Pair]) -> Array | Refusal:
    """Return the tillers of strung bows in inches, upper less lower, shape (n,), or why one of them has none."""
    two, belly = _two_limbs(pairs)
    braced = brace(two, np.array([pair.bow.brace for pair in pairs]))
    found = (unbraced(braced, row) for row in range(len(pairs)))
    return next((refused for refused in found if refused), None) or tiller(two, braced, belly)


@dataclass(frozen=True, eq=False)
class Outline:
    """A strung bow seen from its riser, in inches: x from the back of the riser toward the string, y up along it.

    Attributes:
        upper: x and y of the upper limb's neutral axis, nock first, shape (2, m + 1).
        lower: the same of the lower limb.
        upper_seat: where the string lies if it touches the upper limb, nock first, shape (2, m + 1).
        lower_seat: the same of the lower limb.
        nocking_point: x and y.
    """

    upper: Array
    lower: Array
    upper_seat: Array
    lower_seat: Array
    nocking_point: tuple[float, float]


def outlines(pair: Pair, draw_in: float) -> tuple[Outline, Outline] | Refusal:
    """Return a bow at brace and at a draw in inches from the back of the riser, or why it cannot be had."""
    two, _ = _two_limbs([pair])
    braced = brace(two, pair.bow.brace)
    drawn = draw(two, braced, [draw_in])
    refused = _refusal(braced, drawn)
    if refused is not None:
        return refused
    at_brace = _outline(two, shapes(two, braced, braced.hold), braced.draw[0], braced.turn[0])
    at_draw = _outline(two, shapes(two, braced, drawn.hold(0)), draw_in, drawn.turn[0, 0])
    return at_brace, at_draw


def bends(pair: Pair, draws_in: Sequence[float]) -> tuple[Array, Array] | Refusal:
    """Return how much a bow's limbs are bent on its riser, or why it cannot be braced or drawn so far.

    Args:
        pair: the bow.
        draws_in: d of them, inches from the back of the riser.

    Returns:
        Change of curvature of the upper and of the lower limb at brace and then at each draw, positive toward the
        string, per inch, shape (1 + d, m, 3) each, at the nodes of `limb_sections` of both limbs.
    """
    two, _ = _two_limbs([pair])
    braced = brace(two, pair.bow.brace)
    drawn = draw(two, braced, draws_in)
    refused = _refusal(braced, drawn)
    if refused is not None:
        return refused
    holds = [braced.hold, *(drawn.hold(column) for column in range(len(draws_in)))]
    states = [shapes(two, braced, hold) for hold in holds]
    return np.stack([upper.bend[0] for upper, _ in states]), np.stack([lower.bend[0] for _, lower in states])


def _outline(two: TwoLimbs, bent: tuple[Shape, Shape], draw_in: float, turn: float) -> Outline:
    """Return one state; the nocking point is on the line from the pivot that makes the angle with the riser."""
    (upper, upper_seat), (lower, lower_seat) = (
        _axis_and_seat(limb, grid.nock_offset[0], side)
        for limb, grid, side in zip(bent, (two.upper, two.lower), (1, -1), strict=True)
    )
    depth, above = two.pivot_depth[0], two.pivot_distance[0]
    reach = draw_in - depth
    nocking_point = (depth + reach * cos(turn), above + reach * sin(turn))
    return Outline(upper, lower, upper_seat, lower_seat, nocking_point)


def _axis_and_seat(limb: Shape, offset: float, side: int) -> tuple[Array, Array]:
    """Return a limb's neutral axis, and the line on which the string lies, at its distance from the axis."""
    axis, lean = np.stack([limb.x[0], limb.y[0]]), limb.lean[0]
    return axis, axis + offset * np.stack([np.cos(lean), -side * np.sin(lean)])


def _refusal(braced: Braced, drawn: Drawn) -> Refusal | None:
    """Return why some bow was not solved at some draw; nothing if all were."""
    found = (refusal(braced, drawn, row) for row in range(len(braced.height)))
    return next((refused for refused in found if refused), None)


def _two_limbs(pairs: Sequence[Pair]) -> tuple[TwoLimbs, Array]:
    """Return the bows for the statics, and how far their bellies are from the neutral axes at the fades, (n, 2)."""
    uppers = [limb_of(pair.bow, pair.bow.upper, pair.upper) for pair in pairs]
    lowers = [limb_of(pair.bow, pair.bow.lower, pair.lower) for pair in pairs]
    halves = [pair.difference / 2 for pair in pairs]
    grid, belly = _limbs([*uppers, *lowers], [*halves, *(-half for half in halves)])
    places = np.arange(2 * len(pairs)).reshape(2, -1)
    bows = [pair.bow for pair in pairs]
    return two_limbs(bows, grid.take(places[0]), grid.take(places[1])), belly[places].T


def _limbs(limbs: Sequence[Limb], stiffer: Sequence[float]) -> tuple[LimbGrid, Array]:
    """Return limbs, each stiffer by a logarithm, and how far their bellies are from the neutral axis at the fade."""
    sections = limb_sections(limbs)
    factor = np.exp(np.array(stiffer))[:, None, None]
    grid = replace(sections.grid, flexibility=sections.grid.flexibility / factor)
    return grid, (sections.thickness - sections.neutral_axis)[:, -1, 2]
