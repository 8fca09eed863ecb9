"""Bows by their halves: each limb in its own mirror, outward positive, and the upper limbs before the lower ones."""

from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from predictor.mechanics.batch import Array
from predictor.mechanics.contact import Hold
from predictor.mechanics.elastica import LimbGrid

Values = TypeVar("Values", bound=np.generic)


@dataclass(frozen=True, eq=False)
class Halves:
    """n bows by their 2n halves; all of shape (2n,).

    Attributes:
        limbs: The limbs.
        side: +1 for upper halves, −1 for lower ones.
        pivot_depth: The hand's pivot from the plane of the riser's back toward the string.
        pivot_distance: The pivot from the bow's centre, outward.
        nocking_height: Nocking point from the foot of the perpendicular that is dropped from the bow's centre on the
            braced string, outward.
        string_stiffness: EA of the string [force].
    """

    limbs: LimbGrid
    side: Array
    pivot_depth: Array
    pivot_distance: Array
    nocking_height: Array
    string_stiffness: Array


def paired(values: NDArray[Values]) -> NDArray[Values]:
    """Lay both halves of each bow side by side: from (2n, ...) to (n, 2, ...)."""
    return np.stack(np.split(values, 2), axis=1)


def flat(values: Array) -> Array:
    """Undo `paired`: from (n, 2, ...) back to (2n, ...)."""
    return np.concatenate([values[:, 0], values[:, 1]])


def paired_hold(hold: Hold) -> Hold:
    """Lay both halves' holds of each bow side by side, as `paired` does."""
    return Hold(paired(hold.tip_angle), paired(hold.tension), paired(hold.lift_off))


def flat_hold(hold: Hold) -> Hold:
    """Undo `paired_hold`."""
    return Hold(flat(hold.tip_angle), flat(hold.tension), flat(hold.lift_off))


def summed(values: Array) -> Array:
    """Return the sum over both halves of each bow, from (2n,) to (n,)."""
    upper, lower = np.split(values, 2)
    return np.asarray(upper + lower)
