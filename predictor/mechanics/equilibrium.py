"""A limb held by its string such that equations of the whole bow are met: Newton's method, and what a string does.

The unknowns are the tension and the start: the tip angle, or the lift-off where the string lies on the belly.
A root of the equations counts only if gap and pressure between string and limb are nowhere negative; where they
are, the string is laid or let free as it would rather lie, and the equations are solved again. Any consistent
units will do.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from predictor.mechanics.batch import Array, Batch, Flags, solve_pairs
from predictor.mechanics.contact import GRAZE, TOUCH, Hold, Sight, freed, judged, sight
from predictor.mechanics.continuation import Places
from predictor.mechanics.elastica import LimbGrid
from predictor.mechanics.lift_off import moved

_NEWTON_STEPS = 12
_CLOSE = 1e-6
_ROUNDS = 6
_TURN_LIMIT = 0.5
_LIFT_OFF_LIMIT = 0.1

_TAUTEST = 1e4
"""Tension times softness at which Newton's method has gone astray: limbs have a hundredth of it."""

Equations = Callable[[Places, LimbGrid, Array, Sight], tuple[Array, Array]]
"""From rows, their limbs, tension and sight: residuals (n, 2), and their derivatives (n, 2, 2)."""


@dataclass(frozen=True, eq=False)
class Solution(Batch):
    """Holds that solve the equations, or fail to.

    Attributes:
        found: Whether there is one, and it is what a taut string does, shape (n,).
        hold: How the string holds the limb.
        sight: The root as seen from the string.
        fault: Distance from the nock of what is wrong with one that the string would not take, else nan, (n,).
    """

    found: Flags
    hold: Hold
    sight: Sight
    fault: Array


def settled(limb: LimbGrid, equations: Equations, guess: Hold) -> Solution:
    """Solve, and where the string would rather lie otherwise on the limb, solve again with it so."""
    solution = _lying_or_free(limb, equations, guess)
    found, hold = solution.found, solution.hold
    rows = np.nonzero(found & (hold.tension > 0))[0]
    for turn in range(_ROUNDS):
        touch = TOUCH if turn < _ROUNDS / 2 else GRAZE
        verdict = judged(limb.take(rows), solution.hold.take(rows), solution.sight.take(rows), touch)
        solution.fault[rows], solution.found[rows] = verdict.fault, verdict.true
        wrong = ~verdict.true & verdict.again
        rows = rows[wrong]
        if turn == _ROUNDS - 1 or not rows.size:
            break
        some = limb.take(rows)
        found, hold, seen = _newton(
            some, lambda at, *now, of=rows: equations(of[at], *now), verdict.other.take(wrong)
        )
        solution = solution.put(rows, Solution(found, hold, seen, solution.fault[rows]))
        rows = rows[found & (hold.tension > 0)]
    return solution


def _lying_or_free(limb: LimbGrid, equations: Equations, guess: Hold) -> Solution:
    """Solve, and where it fails on the belly, as the lift-off would leave a bend, with the string free.

    A tip that would pass through the string is a failure too: such a shape is far from the guess.
    """
    found, hold, seen = _newton(limb, equations, guess)
    solution = Solution(found, hold, seen, np.full(len(found), np.nan))
    sound = found & (hold.tip_angle >= -TOUCH)
    rows = np.nonzero(~sound & guess.contact & (guess.tension > 0))[0]
    if not rows.size:
        return solution
    some = limb.take(rows)
    again = _newton(some, lambda at, *now: equations(rows[at], *now), freed(some, guess.take(rows)))
    return solution.put(rows, Solution(*again, solution.fault[rows]))


def _newton(limb: LimbGrid, equations: Equations, guess: Hold) -> tuple[Flags, Hold, Sight]:
    """Solve for (start, tension) of each bow; those that converged or went astray drop out of the work.

    The last step is small enough (1e-6 of the limb) to move the sight along its derivatives instead of
    integrating again: what this leaves out is of second order.
    """
    everyone = np.arange(len(guess.tension))
    found = np.zeros(len(everyone), dtype=bool)
    hold, seen = moved(limb, guess, np.zeros((len(everyone), 2))), unseen(len(everyone))
    rows, some = everyone, limb
    for _ in range(_NEWTON_STEPS):
        now = hold.take(rows)
        view = sight(some, now)
        off, slopes = equations(rows, some, now.tension, view)
        change = _limited(-solve_pairs(slopes, off), now, some)
        close = np.abs(off).max(axis=1) < _CLOSE * some.station[:, -1]
        hold = hold.put(rows, moved(some, now, change))
        seen = seen.put(rows, _shifted(view, change))
        found[rows] = close
        astray = np.abs(hold.tension[rows]) * _softness(some) > _TAUTEST
        left = ~close & ~astray & np.isfinite(change).all(axis=1)
        if not left.any():
            break
        if not left.all():
            some, rows = some.take(left), rows[left]
    return found, hold, seen


def _shifted(seen: Sight, change: Array) -> Sight:
    angle, distance, reach = (seen.slopes @ change[:, :, None])[:, :, 0].T
    return replace(
        seen, angle=seen.angle + angle, distance=seen.distance + distance, reach=seen.reach + reach
    )


def _limited(change: Array, hold: Hold, limb: LimbGrid) -> Array:
    """Shorten a step that turns the tip by over half a radian, or more than trebles tension or lift-off."""
    length = limb.station[:, -1]
    farthest = np.where(hold.contact, np.maximum(2 * hold.lift_off, _LIFT_OFF_LIMIT * length), _TURN_LIMIT)
    most = np.stack([farthest, 2 * np.abs(hold.tension) + 1 / _softness(limb)], axis=-1)
    part = np.min(most / np.maximum(np.abs(change), 1e-300), axis=1)
    return np.asarray(change * np.minimum(part, 1.0)[:, None])


def _softness(limb: LimbGrid) -> Array:
    """Tensions are of the size of one over this: length × turn of a limb under a constant unit of moment, (n,)."""
    return np.asarray(np.einsum("nm,nm->n", limb.step, limb.flexibility[:, :, 1]) * limb.station[:, -1])


def unseen(limbs: int) -> Sight:
    """Return the sight of limbs that nobody has looked at, all nan."""
    blank = np.full(limbs, np.nan)
    return Sight(blank, blank, blank, np.full((limbs, 3, 2), np.nan), blank)
