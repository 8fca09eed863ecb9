"""Roots of many smooth rising functions side by side."""

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

MOST_STEPS = 12
FIRST_STEP = 0.1
"""Share of the span between the bounds."""


def solved(
    value: Callable[[Array], Array],
    wanted: Array,
    low: Array,
    high: Array,
    close: float = 1e-6,
) -> Array:
    """Return where rising functions reach what is wanted, by the secant rule within bounds.

    Args:
        value: of all functions at one place each, shape (n,) to (n,); not a number where there is none.
        wanted: values to be reached, shape (n,).
        low: least places, shape (n,).
        high: greatest places, shape (n,).
        close: difference from the wanted value that is small enough.

    Returns:
        The nearest places found, shape (n,): a bound where the value wanted lies beyond it, not a number where a
        function had no value on the way.
    """
    before = (low + high) / 2
    at_before = value(before)
    side = np.nan_to_num(np.sign(wanted - at_before))  # a function without a value is asked no further
    place = np.clip(before + side * FIRST_STEP * (high - low), low, high)
    slope = np.full_like(place, np.nan)
    best, least_gap = before, np.abs(wanted - at_before)
    for _ in range(MOST_STEPS):
        at_place = value(place)
        gap = wanted - at_place
        nearer = ~(np.abs(gap) >= least_gap)
        best, least_gap = np.where(nearer, place, best), np.where(nearer, np.abs(gap), least_gap)
        np.divide(at_place - at_before, place - before, out=slope, where=place != before)
        step = np.divide(gap, slope, out=np.zeros_like(gap), where=slope > 0)
        following = np.where(least_gap < close, place, np.clip(place + step, low, high))
        if np.all((following == place) | np.isnan(least_gap)):
            break
        before, at_before, place = place, at_place, following
    return np.where(np.isnan(least_gap), np.nan, best)
