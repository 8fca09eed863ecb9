"""Two limbs and their half strings in balance on a rigid riser, of which one angle is unknown.

A half string leans back from the riser's long axis by

    lean = angle of the limb to the string at the root − root angle

At brace the string is straight, and its tilt is such that both limbs pull with one tension. At draw the nocking
point is fixed on the string, so the halves may pull differently; the hand is a pivot without moment, so the
resultant passes through pivot and nocking point, and the riser turns until

    sum over both limbs of side × tension × cos(lean − side × turn) = 0

with side +1 for the upper limb and −1 for the lower one. Both follow from the balance of forces and moments on
the riser. Any consistent units will do.
"""

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from predictor.mechanics.batch import Array, Flags, solve_pairs
from predictor.mechanics.contact import Hold, Sight, sight
from predictor.mechanics.continuation import Places, Track
from predictor.mechanics.elastica import LimbGrid
from predictor.mechanics.equilibrium import Equations, settled
from predictor.mechanics.halves import Halves, paired, paired_hold, summed
from predictor.mechanics.lift_off import moved
from predictor.mechanics.statics import nocking_point

_ROUNDS = 10
_CLOSE = 1e-7
_MOST_TURN = 0.1
"""Angle by which one step turns a riser at most [rad]: with ears at an angle, a longer one may leave the balance
that is near for none."""


@dataclass(frozen=True, eq=False)
class Uneven:
    """By how much two limbs fail to balance on the riser, and what its angle does to that and to their holds.

    Attributes:
        off: What ought to be nought, shape (n,).
        by_angle: Its derivative by the angle, shape (n,).
        hold_by_angle: Derivatives of each limb's (start, tension) by the angle, shape (2n, 2).
    """

    off: Array
    by_angle: Array
    hold_by_angle: Array


class Balance(Protocol):
    """What must hold of two limbs on a riser, of which one angle is unknown."""

    @property
    def halves(self) -> Halves:
        """The bows."""

    def equations(self, angle: Array) -> Equations:
        """What each limb must meet by itself at this angle."""

    def uneven(self, hold: Hold, seen: Sight, angle: Array) -> Uneven:
        """What both must meet together."""


@dataclass(frozen=True, eq=False)
class Straight:
    """A string at brace, which may tilt; `reach` is the pivot's distance from it, shape (n,)."""

    halves: Halves
    reach: Array

    def distance(self, tilt: Array) -> Array:
        """Distance of the roots from the string, shape (2n,)."""
        halves, lean = self.halves, self.halves.side * np.tile(tilt, 2)
        depth = (halves.pivot_depth - halves.limbs.root_depth) * np.cos(lean)
        return (
            np.tile(self.reach, 2)
            + depth
            + (halves.pivot_distance - halves.limbs.root_distance) * np.sin(lean)
        )

    def equations(self, angle: Array) -> Equations:
        """Each root at its distance from the string, and at its angle to it."""
        lean, distance = self.halves.side * np.tile(angle, 2), self.distance(angle)

        def equations(at: Places, some: LimbGrid, _tension: Array, seen: Sight) -> tuple[Array, Array]:
            off = [seen.angle - some.root_angle - lean[at], seen.distance - distance[at]]
            return np.stack(off, axis=-1), seen.slopes[:, :2]

        return equations

    def uneven(self, hold: Hold, seen: Sight, angle: Array) -> Uneven:
        """Tensions that differ."""
        halves, lean = self.halves, self.halves.side * np.tile(angle, 2)
        depth = (halves.limbs.root_depth - halves.pivot_depth) * np.sin(lean)
        by_lean = depth + (halves.pivot_distance - halves.limbs.root_distance) * np.cos(lean)
        by_angle = halves.side[:, None] * np.stack([np.ones_like(lean), by_lean], axis=-1)
        hold_by = solve_pairs(seen.slopes[:, :2], by_angle)
        return Uneven(summed(halves.side * hold.tension), summed(halves.side * hold_by[:, 1]), hold_by)


@dataclass(frozen=True, eq=False)
class Nocked:
    """A nocking point at its distance from the pivot, `reach`, shape (n,), on a line to which the riser turns."""

    halves: Halves
    half_string: Array
    reach: Array

    @property
    def stretch(self) -> Array:
        """How much longer a pull makes the half strings, per unit of force."""
        return self.half_string / self.halves.string_stiffness

    def equations(self, angle: Array) -> Equations:
        """Both halves' nocking points where the line has it."""
        halves, (along, _) = self.halves, self._directions(angle)
        pivot = np.stack([halves.pivot_depth, halves.pivot_distance], axis=-1)
        place = pivot + np.tile(self.reach, 2)[:, None] * along

        def equations(at: Places, some: LimbGrid, tension: Array, seen: Sight) -> tuple[Array, Array]:
            found, slopes = nocking_point(some, tension, seen, self.half_string[at], self.stretch[at])
            return found - place[at], slopes

        return equations

    def uneven(self, hold: Hold, seen: Sight, angle: Array) -> Uneven:
        """A resultant of the pulls beside the line."""
        pull = self._pull(hold, seen, angle)
        _, across = self._directions(angle)
        hold_by = solve_pairs(pull.slopes, np.tile(self.reach, 2)[:, None] * across)
        beside, _ = pull.changes(hold_by, -self.halves.side)
        return Uneven(pull.beside, beside, hold_by)

    def standing(self, position: Array, hold: Hold, turn: Array) -> "Standing":
        """What there is to say of bows that are in balance, with the nocking point at a draw, the position, (n,)."""
        seen = sight(self.halves.limbs, hold)
        pull = self._pull(hold, seen, turn)
        along, _ = self._directions(turn)
        uneven = self.uneven(hold, seen, turn)
        hold_by_draw = solve_pairs(pull.slopes, along)
        beside, _ = pull.changes(hold_by_draw, np.zeros_like(pull.lean))
        turn_rate = -beside / uneven.by_angle
        hold_rate = hold_by_draw + np.tile(turn_rate, 2)[:, None] * uneven.hold_by_angle
        _, slope = pull.changes(hold_rate, -self.halves.side * np.tile(turn_rate, 2))
        return Standing(
            position=position,
            hold=paired_hold(hold),
            hold_rate=paired(hold_rate),
            turn=turn,
            turn_rate=turn_rate,
            force=pull.force,
            slope=slope,
            lean=paired(pull.lean),
            steady=uneven.by_angle < 0,
            fault=np.full((len(position), 2), np.nan),
        )

    def _directions(self, turn: Array) -> tuple[Array, Array]:
        """Along the line, and across it where the nocking point goes if the turn grows; in each half's mirror."""
        sine, cosine = np.tile(np.sin(turn), 2), np.tile(np.cos(turn), 2)
        side = self.halves.side
        return np.stack([cosine, side * sine], axis=-1), np.stack([-sine, side * cosine], axis=-1)

    def _pull(self, hold: Hold, seen: Sight, turn: Array) -> "_Pull":
        limbs, side = self.halves.limbs, self.halves.side
        _, slopes = nocking_point(limbs, hold.tension, seen, self.half_string, self.stretch)
        lean = seen.angle - limbs.root_angle
        return _Pull(side, hold.tension, lean, lean - side * np.tile(turn, 2), seen.slopes[:, 0], slopes)


@dataclass(frozen=True, eq=False)
class _Pull:
    """How half strings pull on nocking points, all of shape (2n,).

    Attributes:
        side: +1 for upper halves, −1 for lower ones.
        tension: Of the half string.
        lean: Its angle to the riser's long axis.
        to_line: Its angle to the perpendicular of the line from pivot to nocking point.
        lean_by: Derivatives of the lean by (start, tension), shape (2n, 2).
        slopes: Derivatives of the nocking point's place by (start, tension), shape (2n, 2, 2).
    """

    side: Array
    tension: Array
    lean: Array
    to_line: Array
    lean_by: Array
    slopes: Array

    @property
    def force(self) -> Array:
        """Resultant along the line, shape (n,)."""
        return summed(self.tension * np.sin(self.to_line))

    @property
    def beside(self) -> Array:
        """Resultant across the line, shape (n,)."""
        return summed(self.side * self.tension * np.cos(self.to_line))

    def changes(self, hold_by: Array, to_line_by: Array) -> tuple[Array, Array]:
        """Derivatives of `beside` and `force` by something that changes (start, tension) and line so, (n,) each."""
        sine, cosine = np.sin(self.to_line), np.cos(self.to_line)
        angle_by = (self.lean_by * hold_by).sum(axis=1) + to_line_by
        beside = cosine * hold_by[:, 1] - self.tension * sine * angle_by
        return summed(self.side * beside), summed(sine * hold_by[:, 1] + self.tension * cosine * angle_by)


@dataclass(frozen=True, eq=False)
class Standing(Track):
    """Where bows stand on their way from brace to full draw, and what there is to say of them there.

    Attributes:
        hold: How the string holds the limbs, shape (n, 2) each.
        hold_rate: Derivatives of (start, tension) by the draw, shape (n, 2, 2).
        turn: Angle of the line from pivot to nocking point to the perpendicular of the riser's long axis, (n,).
        turn_rate: Its derivative by the draw, shape (n,).
        force: Draw weight, shape (n,).
        slope: Its derivative by the draw, shape (n,).
        lean: Angle by which each half string leans back from the riser's long axis, shape (n, 2).
        steady: Whether a riser that is turned a little comes back, shape (n,).
        fault: What was wrong with each limb at the last stride, as in `equilibrium.Solution`, shape (n, 2).
    """

    hold: Hold
    hold_rate: Array
    turn: Array
    turn_rate: Array
    force: Array
    slope: Array
    lean: Array
    steady: Flags
    fault: Array


@dataclass(frozen=True, eq=False)
class Even:
    """Bows whose limbs balance, or fail to.

    Attributes:
        found: Whether they do, shape (n,).
        hold: How the string holds the 2n limbs.
        angle: The riser's angle, shape (n,).
        fault: What is wrong with a limb, as in `equilibrium.Solution`, shape (n, 2).
    """

    found: Flags
    hold: Hold
    angle: Array
    fault: Array


def evened(balance: Balance, hold: Hold, angle: Array) -> Even:
    """Return the angle at which the limbs balance, by Newton's method, with the limbs solved anew at each.

    The last step is so small that the holds may follow it along their derivatives: the error is of its square.
    There are two rounds at least, as the first may leave the limbs less well solved. It finds the balance near the
    guess; of others it knows nothing.

    Args:
        balance: What must hold of n bows.
        hold: A guess of how the string holds the 2n limbs.
        angle: A guess of the riser's angle, shape (n,) [rad].
    """
    for trial in range(_ROUNDS):
        solution = settled(balance.halves.limbs, balance.equations(angle), hold)
        uneven = balance.uneven(solution.hold, solution.sight, angle)
        step = np.clip(-uneven.off / uneven.by_angle, -_MOST_TURN, _MOST_TURN)
        angle = angle + step
        hold = moved(balance.halves.limbs, solution.hold, np.tile(step, 2)[:, None] * uneven.hold_by_angle)
        close = np.abs(step) < _CLOSE
        if trial and np.all(close | np.isnan(step)):
            break
    return Even(close & paired(solution.found).all(axis=1), hold, angle, paired(solution.fault))
