"""Bows followed along a parameter, all in one batch and each in strides of its own.

Newton's method finds a solution near its start, and a bow has others besides the shape that it takes at the bench.
So a shape is followed in strides from one that is known (numerical continuation: Allgower and Georg, Introduction to
Numerical Continuation Methods, chapter 2; from memory).
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from predictor.mechanics.batch import Array, Batch, Flags

Places = NDArray[np.intp]

_SMALLEST_PART = 1 / 16384


@dataclass(frozen=True, eq=False)
class Track(Batch):
    """Where bows stand on their way; what describes them there is added by who walks.

    Attributes:
        position: The parameter there, shape (n,).
    """

    position: Array


AnyTrack = TypeVar("AnyTrack", bound=Track)


def follow(
    stride: Callable[[Places, AnyTrack, Array], tuple[Flags, AnyTrack]], track: AnyTrack, target: Array
) -> AnyTrack:
    """Go from where the bows stand to a target, in one stride if it succeeds.

    A bow that fails a stride tries a fourth of it, and gives up where it stands when 1/16384 of its way fails.

    Args:
        stride: From rows of the batch, where they stand and the parameter to get to, shape (k,), to who got
            there and where all of them stand then.
        track: Where the bows stand.
        target: Where they are to arrive, shape (n,); a bow that is there or farther, or has nan, stays.
    """
    way = target - track.position
    length = way.copy()
    while (rows := np.nonzero((track.position < target) & (length > _SMALLEST_PART * way))[0]).size:
        before = track.take(rows)
        ahead = np.minimum(before.position + length[rows], target[rows])
        ahead = np.where(target[rows] - ahead < _SMALLEST_PART * way[rows], target[rows], ahead)
        found, after = stride(rows, before, ahead)
        track = track.put(rows, after)
        length[rows] = np.where(found, 2 * length[rows], length[rows] / 4)
    return track
