"""Where along the limb stiffness makes the weight: one density for all places, from the solved bow alone.

With its string's slack length fixed, a bow's shape at any draw makes its energy V least, and the weight is F = dV/dx.
So a parameter p changes the weight by d/dx of the change of V at an unchanged shape (the envelope theorem; for elastic
bodies Engesser's and Crotti's theorem: Love, A Treatise on the Mathematical Theory of Elasticity, from memory):

    stiffness at a place:  dV/d log EI(s) = EI bend²  per length, for both limbs
    string's stiffness:    dV/d log EA    = K² l / EA, for its half length l
    string's half length:  dV/dl          = -(2 K + K² / EA)

At the brace height F is nought, and stays so while the string is made longer or shorter to keep that height: this gives
the change of l with p, and by it the rest of the change of the weight. Derivatives by the draw are differences of
solved draws. Any consistent units will do.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from predictor.mechanics.elastica import LimbGrid
from predictor.mechanics.statics import Braced, Drawn, draw, shape

Array = NDArray[np.float64]

_DRAW_STEP = 1e-3
"""Step of the differences along the draw, as a part of the limb's length."""

_FROM_BRACE = np.array([-11.0, 18.0, -9.0, 2.0]) / 6
"""Weights of the derivative at the first of four even steps, right to third order."""


@dataclass(frozen=True, eq=False)
class Influence:
    """What the weights of n symmetric bows at d draws depend on, at a fixed brace height.

    The integral of the density along the limb and the string's part add up to 1, since a bow whose limbs and
    string are all stiffer by one factor weighs more by it. Numbers are nan where a bow cannot be drawn so far.

    Attributes:
        density: d log weight / d log EI per length, both limbs alike, at the nodes of the steps, (n, d, m, 3).
        string: d log weight / d log EA of the string, shape (n, d).
    """

    density: Array
    string: Array


def influence(limb: LimbGrid, braced: Braced, draws: ArrayLike) -> Influence:
    """Return what the weights of strung bows depend on.

    The string's offset from the neutral axis counts as given, and so does the unstrung shape.

    Args:
        limb: The limbs, n of them.
        braced: What `brace` gave for them.
        draws: Distance of the nocking point from the plane of the riser's back, shape (n, d) or (d,).
    """
    limbs, steps = limb.step.shape
    wanted = np.broadcast_to(np.asarray(draws, dtype=np.float64), (limbs, np.shape(draws)[-1]))
    step = _DRAW_STEP * limb.station[:, -1:]
    places = [braced.height[:, None] + step * np.arange(4), wanted - step, wanted + step, wanted]
    drawn = draw(limb, braced, np.concatenate(places, axis=1))
    states = range(drawn.draw.shape[1] - wanted.shape[1])
    slopes = np.stack([_energy_slopes(limb, braced, drawn, state) for state in states], axis=1)
    less, more = np.split(slopes[:, 4:], 2, axis=1)
    at_brace = np.einsum("k,nkp->np", _FROM_BRACE, slopes[:, :4]) / step
    at_draws = (more - less) / (2 * step[..., None])
    longer = -at_brace[:, :-1] / at_brace[:, -1:]
    gained = at_draws[..., :-1] + at_draws[..., -1:] * longer[:, None]
    relative = gained / drawn.force[:, -wanted.shape[1] :, None]
    return Influence(relative[..., :-1].reshape(limbs, -1, steps, 3), relative[..., -1])


def _energy_slopes(limb: LimbGrid, braced: Braced, drawn: Drawn, state: int) -> Array:
    """Derivatives of the bows' energy at the fixed shape of one draw, shape (n, 3 m + 2).

    They are those by log EI per length at the nodes, then by log EA, then by the slack length of the half string.
    """
    hold = drawn.hold(state)
    bend = shape(limb, braced, hold).bend
    bending = (bend**2 / limb.flexibility).reshape(len(bend), -1)
    pull = hold.tension + hold.tension**2 / (2 * braced.string_stiffness)
    stretch = hold.tension**2 * braced.half_string / braced.string_stiffness
    return np.column_stack([bending, stretch, -2 * pull])
