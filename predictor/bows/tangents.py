"""How weights change with whatever makes a bow: one Newton step from the solved bow, exact to first order.

A drawn bow solves r(q, p) = 0, where q is how its string holds the limb and p stands for all of its dimensions, brace
height and string included. So a bow whose p differs a little has q' = q - (dr/dq)⁻¹ r(q, p'): the implicit function
theorem, with r and its derivatives from one integration along the changed limb. The half string keeps its slack length
while it is drawn, and that length comes from the changed bow at brace, by the same step. Any consistent units will do.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from predictor.mechanics.batch import Array, solve_pairs
from predictor.mechanics.contact import Hold, sight
from predictor.mechanics.elastica import LimbGrid
from predictor.mechanics.statics import nocking_point

Rows = NDArray[np.intp]


@dataclass(frozen=True, eq=False)
class Neighbours:
    """Bows that differ a little from solved ones, k of them.

    Attributes:
        limb: their limbs, cut into steps as those of the solved bows.
        height: brace heights, shape (k,).
        string_stiffness: EA of their strings [force], shape (k,).
    """

    limb: LimbGrid
    height: Array
    string_stiffness: Array


def half_strings(near: Neighbours, hold: Hold) -> Array:
    """Return the slack half strings that bows near strung ones have at their brace heights, shape (k,).

    Args:
        near: the bows.
        hold: how the string holds the limb of the strung bow that each is near to.
    """
    limb = near.limb
    seen = sight(limb, hold)
    off = [seen.angle - limb.root_angle, seen.distance + limb.root_depth - near.height]
    change = -solve_pairs(seen.slopes[:, :2], np.stack(off, axis=-1))
    reach = seen.reach + (seen.slopes[:, 2] * change).sum(axis=1)
    tension = hold.tension + change[:, 1]
    return np.asarray((limb.root_distance + reach) / (1 + tension / near.string_stiffness))


def forces(near: Neighbours, half_string: Array, hold: Hold, draw: Array) -> Array:
    """Return the weights of bows near solved ones, shape (k,).

    Both this and the solved bow's own weight by this function differ from a solution by what is of second order in the
    distance, so that their difference is right to first order.

    Args:
        near: the bows.
        half_string: their slack half strings.
        hold: how the string holds the limb of the solved bow that each is near to, at this draw.
        draw: distance of the nocking point from the plane of the riser's back, shape (k,).
    """
    limb = near.limb
    seen = sight(limb, hold)
    place, slopes = nocking_point(limb, hold.tension, seen, half_string, half_string / near.string_stiffness)
    change = -solve_pairs(slopes, place - np.stack([draw, np.zeros_like(draw)], axis=-1))
    tension = hold.tension + change[:, 1]
    string_angle = seen.angle - limb.root_angle + (seen.slopes[:, 0] * change).sum(axis=1)
    return np.asarray(2 * tension * np.sin(string_angle))
