"""Brace and draw of a bow whose two limbs differ, on a rigid riser that turns about the hand.

Everything is seen from the riser: x from the plane of its back toward the string, y along it toward the upper
limb. Each limb is held by its half of the string as in `predictor.statics`, in its own mirror, outward positive;
`side` is +1 for the upper limb and −1 for the lower one. A half string leans back from the riser's long axis by

    lean = angle of the limb to the string at the root − root angle

What is left is one angle of the riser. At brace the string is straight and its tilt is such that both limbs pull
with one tension. At draw the nocking point is fixed on the string, so the halves may pull differently; the hand
is a pivot without moment, so the resultant passes through pivot and nocking point, and the riser turns until

    sum over both limbs of side × tension × cos(lean − side × turn) = 0

Draw length is the straight distance from the hand's pivot to the nocking point, on which the force lies: the
draw length of the Archery Manufacturers Organization, "from the nocking point on the string to the pivot point
of the bow grip" (from memory), less its constant 1 3/4 in. To speak of the same draw as `predictor.statics`, it
is counted from the riser's back: the pivot's depth is added. Brace height is the distance of the string from the
pivot, square to the string, and counted in the same way. Any consistent units will do.
"""

from dataclasses import dataclass, fields, replace
from typing import Protocol, TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

from predictor import statics
from predictor.batch import Array, Batch, Flags, solve_pairs
from predictor.contact import Hold, Sight, sight
from predictor.continuation import Places, Track, follow
from predictor.elastica import LimbGrid
from predictor.equilibrium import Equations, settled
from predictor.lift_off import moved
from predictor.statics import MOST_STRETCH, Shape, Status, nocking_point, shape

Values = TypeVar("Values", bound=np.generic)

_ROUNDS = 10
_CLOSE = 1e-7
_TOUCH = 1e-9


@dataclass(frozen=True, eq=False)
class TwoLimbs(Batch):
    """A batch of n bows, each of two limbs on a rigid riser.

    Attributes:
        upper: Upper limbs.
        lower: Lower limbs, as seen in their mirror: outward positive; with as many steps as the upper ones.
        string_stiffness: EA of the string, without end for one that does not stretch, shape (n,) [force].
        pivot_distance: The hand's pivot along the riser from the bow's centre, toward the upper limb, (n,).
        pivot_depth: The hand's pivot from the plane of the riser's back toward the string, (n,).
        nocking_height: Nocking point above the foot of the perpendicular that is dropped from the bow's centre
            on the braced string, (n,).
    """

    upper: LimbGrid
    lower: LimbGrid
    string_stiffness: Array
    pivot_distance: Array
    pivot_depth: Array
    nocking_height: Array

    def __post_init__(self) -> None:
        """Check that every bow has both limbs and every number."""
        if self.lower.step.shape != self.upper.step.shape:
            raise ValueError(
                f"lower: wanted limbs and steps {self.upper.step.shape} as of the upper ones, got "
                f"{self.lower.step.shape}; grid both with the same number of steps"
            )
        bows = self.upper.root_angle.shape
        for field in fields(self)[2:]:
            value = np.asarray(getattr(self, field.name), dtype=np.float64)
            object.__setattr__(self, field.name, value)
            if value.shape != bows:
                raise ValueError(f"{field.name}: wanted one for each bow, shape {bows}, got {value.shape}")


@dataclass(frozen=True, eq=False)
class Braced(Batch):
    """Strung bows; numbers are nan where the status is not OK. The upper limb comes first in the last axis.

    Attributes:
        status: A `Status` each, shape (n,).
        height: Brace height, shape (n,).
        hold: How the string holds the limbs, shape (n, 2) each.
        tilt: Angle of the string to the riser's long axis, positive if its upper end leans back, shape (n,).
        half_string: Slack length of each half string from nocking point to nock, shape (n, 2).
        draw: Draw at which the nocking point rests, shape (n,). It is a little above the brace height where the
            nocking point is not opposite the pivot.
        turn: As in `Drawn`, shape (n,).
        fault: Distance from the nock of a limb's hollow if the status is HOLLOW, else nan, shape (n, 2).
    """

    status: NDArray[np.int8]
    height: Array
    hold: Hold
    tilt: Array
    half_string: Array
    draw: Array
    turn: Array
    fault: Array


@dataclass(frozen=True, eq=False)
class Drawn:
    """Drawn bows, n of them at d draws; numbers are nan where the status is not OK. Upper before lower limb.

    Attributes:
        status: A `Status` each, shape (n, d).
        draw: The draw that was asked for, (n, d).
        reached: How far the bow was followed: the draw itself if the status is OK, (n, d).
        force: Draw weight: force on the nocking point along the line from the pivot, (n, d).
        slope: d force / d draw, (n, d).
        turn: Angle of the line from pivot to nocking point to the perpendicular of the riser's long axis, (n, d);
            positive if the line points up the riser: held level, the riser has its upper end toward the archer.
        lean: Angle by which each half string leans back from the riser's long axis, (n, d, 2).
        tension: Tension of each half string, (n, d, 2).
        tip_angle: Angle of each limb to the string at the nock; no meaning where there is contact, (n, d, 2).
        lift_off: Distance from the nock at which the string leaves each limb, (n, d, 2).
        fault: Distance from the nock of a limb's hollow if the status is HOLLOW, else nan, (n, d, 2).
    """

    status: NDArray[np.int8]
    draw: Array
    reached: Array
    force: Array
    slope: Array
    turn: Array
    lean: Array
    tension: Array
    tip_angle: Array
    lift_off: Array
    fault: Array

    def hold(self, column: int) -> Hold:
        """How the string holds the limbs at one of the draws, shape (n, 2) each."""
        return Hold(self.tip_angle[:, column], self.tension[:, column], self.lift_off[:, column])


def brace(bow: TwoLimbs, height: ArrayLike) -> Braced:
    """String bows to a brace height.

    Each limb is strung by itself, as if the other were its twin; then the string is tilted until both tensions
    are one. A bow is refused of which one limb cannot be strung by itself, or whose string would not stay: which
    would go to another height, or turn over in the hand.

    Args:
        bow: The bows, n of them.
        height: Distance of the pivot from the string, plus the pivot's depth, shape (n,) or one for all.
    """
    bows = len(bow.nocking_height)
    height = np.array(np.broadcast_to(np.asarray(height, dtype=np.float64), (bows,)))
    alone, track = statics.strung(_Halves.of(bow).limbs, np.tile(height, 2))
    status = _paired(alone).max(axis=1)
    fault = _paired(np.where(alone == Status.HOLLOW, track.fault, np.nan))
    rows = np.nonzero(status == Status.OK)[0]
    straight = _Straight(_Halves.of(bow.take(rows)), (height - bow.pivot_depth)[rows])
    even = _even(straight, track.hold.take(_both(rows, bows)), np.zeros(len(rows)))
    hollow = np.any(~np.isnan(even.fault), axis=1)
    strung = _strung(straight, height[rows], even)
    rest = _at_brace(bow.take(rows), strung)
    stays = rest.steady & (rest.slope > 0)
    status[rows] = np.select(
        [even.found & stays, even.found, hollow],
        [Status.OK, Status.UNSTABLE, Status.HOLLOW],
        Status.NO_BRACE,
    )
    fault[rows] = even.fault
    good = status[rows] == Status.OK
    return _unstrung(status, height, fault).put(rows[good], strung.take(good))


def draw(bow: TwoLimbs, braced: Braced, draws: ArrayLike) -> Drawn:
    """Draw strung bows, each draw followed from the one before it.

    Args:
        bow: The bows that were braced, n of them.
        braced: What `brace` gave for them.
        draws: Distance from pivot to nocking point, plus the pivot's depth, shape (n, d) or (d,).
    """
    bows = len(braced.height)
    wanted = np.broadcast_to(np.asarray(draws, dtype=np.float64), (bows, np.shape(draws)[-1]))
    order = np.argsort(wanted, axis=1)

    def stride(rows: Places, before: _Standing, ahead: Array) -> tuple[Flags, _Standing]:
        nocked = _Nocked(
            _Halves.of(bow.take(rows)), _flat(braced.half_string[rows]), ahead - bow.pivot_depth[rows]
        )
        length = ahead - before.position
        hold = moved(
            nocked.halves.limbs,
            _flat_hold(before.hold),
            _flat(before.hold_rate) * np.tile(length, 2)[:, None],
        )
        even = _even(nocked, hold, before.turn + length * before.turn_rate)
        after = nocked.standing(ahead, even.hold, even.angle)
        whole = np.all(after.hold.tension <= MOST_STRETCH * bow.string_stiffness[rows, None], axis=1)
        found = even.found & after.steady & (after.force > 0) & whole
        return found, replace(before.put(found, after.take(found)), fault=even.fault)

    track, alive = _at_brace(bow, braced), braced.status == Status.OK
    results = []
    for column in order.T:
        target = np.take_along_axis(wanted, column[:, None], axis=1)[:, 0]
        track = follow(stride, track, np.where(alive, target, np.nan))
        results.append(_drawn(braced, track, target))
        alive &= track.position >= target
    return _in_order(results, np.argsort(order, axis=1))


def shapes(bow: TwoLimbs, braced: Braced, hold: Hold) -> tuple[Shape, Shape]:
    """Return the bent upper and lower limbs, for a hold that `brace` or `draw` gave; where it is nan, so are they.

    They are seen from the riser, so that y is below nought on the lower limb. Each has the energy of its own limb
    and its own half of the string.
    """
    upper, lower = (
        _own_half(
            bow, braced, limb, at, Hold(hold.tip_angle[:, at], hold.tension[:, at], hold.lift_off[:, at])
        )
        for at, limb in enumerate((bow.upper, bow.lower))
    )
    return upper, replace(lower, y=-lower.y)


def tiller(bow: TwoLimbs, braced: Braced, belly: ArrayLike = 0.0) -> Array:
    """Return upper less lower distance between string and belly at the fades, square to the string, shape (n,).

    Positive where the upper gap is the larger, which is where the lower limb is the stiffer.

    Args:
        bow: The bows, n of them.
        braced: What `brace` gave for them.
        belly: Distance of the belly from the neutral axis at each root, square to the limb, shape (n, 2) or one
            for all.
    """
    straight = _Straight(_Halves.of(bow), braced.height - bow.pivot_depth)
    root_angle = _paired(straight.halves.limbs.root_angle + straight.halves.side * np.tile(braced.tilt, 2))
    gap = _paired(straight.distance(braced.tilt)) - np.asarray(belly, dtype=np.float64) * np.cos(root_angle)
    return np.asarray(gap[:, 0] - gap[:, 1])


@dataclass(frozen=True, eq=False)
class _Halves:
    """Bows by their 2n halves, the upper ones first, each in its own mirror: outward positive; all of shape (2n,)."""

    limbs: LimbGrid
    side: Array
    pivot_depth: Array
    pivot_distance: Array
    nocking_height: Array
    string_stiffness: Array

    @classmethod
    def of(cls, bow: TwoLimbs) -> "_Halves":
        pairs = (
            (getattr(bow.upper, field.name), getattr(bow.lower, field.name)) for field in fields(LimbGrid)
        )
        side = np.repeat([1.0, -1.0], len(bow.nocking_height))
        depth, distance, height, stiffness = (
            np.tile(values, 2)
            for values in (bow.pivot_depth, bow.pivot_distance, bow.nocking_height, bow.string_stiffness)
        )
        limbs = LimbGrid(*(np.concatenate(pair) for pair in pairs))
        return cls(limbs, side, depth, side * distance, side * height, stiffness)


@dataclass(frozen=True, eq=False)
class _Uneven:
    """By how much two limbs fail to balance on the riser, and what its angle does to that and to their holds.

    Attributes:
        off: What ought to be nought, shape (n,).
        by_angle: Its derivative by the angle, shape (n,).
        hold_by_angle: Derivatives of each limb's (start, tension) by the angle, shape (2n, 2).
    """

    off: Array
    by_angle: Array
    hold_by_angle: Array


class _Balance(Protocol):
    """What must hold of two limbs on a riser, of which one angle is unknown."""

    @property
    def halves(self) -> _Halves:
        """The bows."""

    def equations(self, angle: Array) -> Equations:
        """What each limb must meet by itself at this angle."""

    def uneven(self, hold: Hold, seen: Sight, angle: Array) -> _Uneven:
        """What both must meet together."""


@dataclass(frozen=True, eq=False)
class _Straight:
    """A string at brace, which may tilt; `reach` is the pivot's distance from it, shape (n,)."""

    halves: _Halves
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
        lean, distance = self.halves.side * np.tile(angle, 2), self.distance(angle)

        def equations(at: Places, some: LimbGrid, _tension: Array, seen: Sight) -> tuple[Array, Array]:
            off = [seen.angle - some.root_angle - lean[at], seen.distance - distance[at]]
            return np.stack(off, axis=-1), seen.slopes[:, :2]

        return equations

    def uneven(self, hold: Hold, seen: Sight, angle: Array) -> _Uneven:
        """Tensions that differ."""
        halves, lean = self.halves, self.halves.side * np.tile(angle, 2)
        depth = (halves.limbs.root_depth - halves.pivot_depth) * np.sin(lean)
        by_lean = depth + (halves.pivot_distance - halves.limbs.root_distance) * np.cos(lean)
        by_angle = halves.side[:, None] * np.stack([np.ones_like(lean), by_lean], axis=-1)
        hold_by = solve_pairs(seen.slopes[:, :2], by_angle)
        return _Uneven(_sum(halves.side * hold.tension), _sum(halves.side * hold_by[:, 1]), hold_by)


@dataclass(frozen=True, eq=False)
class _Nocked:
    """A nocking point at its distance from the pivot, `reach`, shape (n,), on a line to which the riser turns."""

    halves: _Halves
    half_string: Array
    reach: Array

    @property
    def stretch(self) -> Array:
        """How much longer a pull makes the half strings, per unit of force."""
        return self.half_string / self.halves.string_stiffness

    def equations(self, angle: Array) -> Equations:
        halves, (along, _) = self.halves, self._directions(angle)
        pivot = np.stack([halves.pivot_depth, halves.pivot_distance], axis=-1)
        place = pivot + np.tile(self.reach, 2)[:, None] * along

        def equations(at: Places, some: LimbGrid, tension: Array, seen: Sight) -> tuple[Array, Array]:
            found, slopes = nocking_point(some, tension, seen, self.half_string[at], self.stretch[at])
            return found - place[at], slopes

        return equations

    def uneven(self, hold: Hold, seen: Sight, angle: Array) -> _Uneven:
        """A resultant of the pulls beside the line."""
        pull = self._pull(hold, seen, angle)
        _, across = self._directions(angle)
        hold_by = solve_pairs(pull.slopes, np.tile(self.reach, 2)[:, None] * across)
        beside, _ = pull.changes(hold_by, -self.halves.side)
        return _Uneven(pull.beside, beside, hold_by)

    def standing(self, position: Array, hold: Hold, turn: Array) -> "_Standing":
        """What there is to say of bows that are in balance."""
        seen = sight(self.halves.limbs, hold)
        pull = self._pull(hold, seen, turn)
        along, _ = self._directions(turn)
        uneven = self.uneven(hold, seen, turn)
        hold_by_draw = solve_pairs(pull.slopes, along)
        beside, _ = pull.changes(hold_by_draw, np.zeros_like(pull.lean))
        turn_rate = -beside / uneven.by_angle
        hold_rate = hold_by_draw + np.tile(turn_rate, 2)[:, None] * uneven.hold_by_angle
        _, slope = pull.changes(hold_rate, -self.halves.side * np.tile(turn_rate, 2))
        return _Standing(
            position=position,
            hold=_paired_hold(hold),
            hold_rate=_paired(hold_rate),
            turn=turn,
            turn_rate=turn_rate,
            force=pull.force,
            slope=slope,
            lean=_paired(pull.lean),
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
        return _sum(self.tension * np.sin(self.to_line))

    @property
    def beside(self) -> Array:
        """Resultant across the line, shape (n,)."""
        return _sum(self.side * self.tension * np.cos(self.to_line))

    def changes(self, hold_by: Array, to_line_by: Array) -> tuple[Array, Array]:
        """Derivatives of `beside` and `force` by something that changes (start, tension) and line so, (n,) each."""
        sine, cosine = np.sin(self.to_line), np.cos(self.to_line)
        angle_by = (self.lean_by * hold_by).sum(axis=1) + to_line_by
        beside = cosine * hold_by[:, 1] - self.tension * sine * angle_by
        return _sum(self.side * beside), _sum(sine * hold_by[:, 1] + self.tension * cosine * angle_by)


@dataclass(frozen=True, eq=False)
class _Standing(Track):
    """Where bows stand on their way from brace to full draw, and what there is to say of them there.

    Attributes:
        hold: How the string holds the limbs, shape (n, 2) each.
        hold_rate: Derivatives of (start, tension) by the draw, shape (n, 2, 2).
        turn: As in `Drawn`, shape (n,).
        turn_rate: Its derivative by the draw, shape (n,).
        force: Draw weight, shape (n,).
        slope: Its derivative by the draw, shape (n,).
        lean: As in `Drawn`, shape (n, 2).
        steady: Whether a riser that is turned a little comes back, shape (n,).
        fault: What was wrong with the last stride, as in `Drawn`, shape (n, 2).
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
class _Even:
    """Bows whose limbs balance, or fail to.

    Attributes:
        found: Whether they do, shape (n,).
        hold: How the string holds the 2n limbs.
        angle: The riser's angle, shape (n,).
        fault: What is wrong with a limb, as in `Drawn`, shape (n, 2).
    """

    found: Flags
    hold: Hold
    angle: Array
    fault: Array


def _even(balance: _Balance, hold: Hold, angle: Array) -> _Even:
    """Find the angle at which the limbs balance by Newton's method, with the limbs solved anew at each.

    The last step is so small that the holds may follow it along their derivatives: the error is of its square.
    There are two rounds at least, as the first may leave the limbs less well solved.
    """
    for trial in range(_ROUNDS):
        solution = settled(balance.halves.limbs, balance.equations(angle), hold)
        uneven = balance.uneven(solution.hold, solution.sight, angle)
        step = -uneven.off / uneven.by_angle
        angle = angle + step
        hold = moved(balance.halves.limbs, solution.hold, np.tile(step, 2)[:, None] * uneven.hold_by_angle)
        close = np.abs(step) < _CLOSE
        if trial and np.all(close | np.isnan(step)):
            break
    return _Even(close & _paired(solution.found).all(axis=1), hold, angle, _paired(solution.fault))


def _unstrung(status: NDArray[np.int8], height: Array, fault: Array) -> Braced:
    """Bows of which nothing is known but why."""
    bows = len(height)
    one, two = np.full(bows, np.nan), np.full((bows, 2), np.nan)
    return Braced(status, height, Hold(two, two, two), one, two, one, one, fault)


def _strung(straight: _Straight, height: Array, even: _Even) -> Braced:
    """What there is to say of strung bows."""
    hold, tilt = even.hold, even.angle
    halves, lean = straight.halves, straight.halves.side * np.tile(tilt, 2)
    limbs, seen = halves.limbs, sight(halves.limbs, hold)
    half = (
        seen.reach
        + limbs.root_distance * np.cos(lean)
        - limbs.root_depth * np.sin(lean)
        - halves.nocking_height
    )
    half = half / (1 + hold.tension / halves.string_stiffness)
    bows = len(height)
    up = halves.nocking_height + halves.pivot_depth * np.sin(lean) - halves.pivot_distance * np.cos(lean)
    up = up[:bows]
    return Braced(
        status=np.full(bows, Status.OK, dtype=np.int8),
        height=height,
        hold=_paired_hold(hold),
        tilt=tilt,
        half_string=_paired(half),
        draw=np.hypot(straight.reach, up) + halves.pivot_depth[:bows],
        turn=tilt + np.arctan2(up, straight.reach),
        fault=np.full((bows, 2), np.nan),
    )


def _at_brace(bow: TwoLimbs, braced: Braced) -> _Standing:
    """Where strung bows stand before they are drawn."""
    nocked = _Nocked(_Halves.of(bow), _flat(braced.half_string), braced.draw - bow.pivot_depth)
    return nocked.standing(braced.draw, _flat_hold(braced.hold), braced.turn)


def _drawn(braced: Braced, track: _Standing, target: Array) -> Drawn:
    """What there is to say of one draw of each bow."""
    stuck = np.where(np.isnan(track.fault).all(axis=1), Status.NO_DRAW, Status.HOLLOW)
    status = np.where(track.position >= target, Status.OK, stuck)
    status[target < braced.draw * (1 - _TOUCH)] = Status.BELOW_BRACE
    status = np.where(braced.status == Status.OK, status, braced.status).astype(np.int8)
    good = status == Status.OK
    fault = np.where((braced.status == Status.OK)[:, None], track.fault, braced.fault)
    return Drawn(
        status=status,
        draw=target,
        reached=np.where(good, target, track.position),
        force=_only(good, track.force),
        slope=_only(good, track.slope),
        turn=_only(good, track.turn),
        lean=_only(good, track.lean),
        tension=_only(good, track.hold.tension),
        tip_angle=_only(good, track.hold.tip_angle),
        lift_off=_only(good, track.hold.lift_off),
        fault=_only(status == Status.HOLLOW, fault),
    )


def _in_order(results: list[Drawn], order: Places) -> Drawn:
    """Put draws side by side in the order in which they were asked for."""
    columns = (np.stack([getattr(one, field.name) for one in results], axis=1) for field in fields(Drawn))
    return Drawn(*(np.take_along_axis(column, _beside(order, column), axis=1) for column in columns))


def _own_half(bow: TwoLimbs, braced: Braced, limb: LimbGrid, at: int, hold: Hold) -> Shape:
    """One limb as a symmetric bow has it, with its own half of the energies."""
    alone = statics.Braced(
        status=braced.status,
        height=braced.height,
        hold=hold,
        half_string=braced.half_string[:, at],
        string_stiffness=bow.string_stiffness,
        fault=braced.fault[:, at],
    )
    both = shape(limb, alone, hold)
    return replace(both, bending_energy=both.bending_energy / 2, string_energy=both.string_energy / 2)


def _both(rows: Places, bows: int) -> Places:
    """Rows of both halves of some bows, of all `bows`."""
    return np.concatenate([rows, rows + bows])


def _paired(values: NDArray[Values]) -> NDArray[Values]:
    """Lay both halves of each bow side by side: from (2n, ...) to (n, 2, ...)."""
    return np.stack(np.split(values, 2), axis=1)


def _flat(values: Array) -> Array:
    """From (n, 2, ...) back to (2n, ...)."""
    return np.concatenate([values[:, 0], values[:, 1]])


def _paired_hold(hold: Hold) -> Hold:
    return Hold(_paired(hold.tip_angle), _paired(hold.tension), _paired(hold.lift_off))


def _flat_hold(hold: Hold) -> Hold:
    return Hold(_flat(hold.tip_angle), _flat(hold.tension), _flat(hold.lift_off))


def _sum(values: Array) -> Array:
    """Sum over both halves of each bow, from (2n,) to (n,)."""
    upper, lower = np.split(values, 2)
    return np.asarray(upper + lower)


def _only(good: Flags, values: Array) -> Array:
    """Values of some bows, and nan for the others."""
    return np.where(_beside(good, values), values, np.nan)


def _beside(rows: NDArray[Values], values: Array) -> NDArray[Values]:
    """Shape what there is once a row so that it goes with all of that row's values."""
    return rows.reshape(rows.shape + (1,) * (values.ndim - rows.ndim))
