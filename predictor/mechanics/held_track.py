"""Limbs held by their strings, followed along a parameter: each stride starts where the last ones point."""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from predictor.mechanics.batch import Array, Flags
from predictor.mechanics.contact import Hold, Sight
from predictor.mechanics.continuation import Places, Track
from predictor.mechanics.equilibrium import Solution, unseen

_TELLING_STRIDE = 1e-4
"""Part of the way so far below which a stride is too short to tell how the rates change."""

Trial = Callable[[Places, Array, Hold], tuple[Solution, Array]]
"""From rows, the parameter's value and a guess: the solution and its rate by the parameter (n, 2)."""


@dataclass(frozen=True, eq=False)
class HeldTrack(Track):
    """Where a batch stands on its way along one parameter, and how the way goes on.

    Attributes:
        hold: How the string holds the limbs there.
        sight: The roots as seen there.
        rate: Derivatives of (start, tension) by the parameter, shape (n, 2).
        bend: Their estimated second derivatives, shape (n, 2).
        fault: What was wrong with the last stride, as in `Solution`, shape (n,).
    """

    hold: Hold
    sight: Sight
    rate: Array
    bend: Array
    fault: Array


def at_rest(hold: Hold, position: Array) -> HeldTrack:
    """Return where a batch stands before its first stride, of rates unknown."""
    limbs = len(position)
    still = np.zeros((limbs, 2))
    return HeldTrack(position, hold, unseen(limbs), still, still, np.full(limbs, np.nan))


def strides(trial: Trial) -> Callable[[Places, HeldTrack, Array], tuple[Flags, HeldTrack]]:
    """Return the stride for `continuation.follow` that starts its trial where the last one points."""

    def stride(rows: Places, before: HeldTrack, ahead: Array) -> tuple[Flags, HeldTrack]:
        length = (ahead - before.position)[:, None]
        change = length * (before.rate + length / 2 * before.bend)
        solution, rate = trial(rows, ahead, _guess(before.hold, change))
        found, hold = solution.found, solution.hold
        smooth = np.any(before.rate, axis=1) & (before.hold.contact == hold.contact)
        long = length > _TELLING_STRIDE * ahead[:, None]
        second = np.divide(rate - before.rate, length, out=before.bend.copy(), where=long)
        bend = np.where(smooth[:, None], second, 0.0)
        arrived = HeldTrack(ahead, hold, solution.sight, rate, bend, solution.fault)
        return found, replace(before.put(found, arrived.take(found)), fault=solution.fault)

    return stride


def _guess(hold: Hold, change: Array) -> Hold:
    start = np.where(hold.contact, hold.lift_off, hold.tip_angle) + change[:, 0]
    lift_off = np.where(hold.contact, np.maximum(start, 0.1 * hold.lift_off), 0.0)
    return Hold(np.where(hold.contact, 0.0, start), hold.tension + change[:, 1], lift_off)
