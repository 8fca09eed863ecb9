"""Brace and draw of a bow whose two limbs differ, on a rigid riser that turns about the hand.

Everything is seen from the riser: x from the plane of its back toward the string, y along it toward the upper limb.
Each limb is held by its half of the string as in `predictor.mechanics.statics`, in its own mirror, outward positive.
What must hold of both together on the riser is in `predictor.mechanics.riser`.

Draw length is the straight distance from the hand's pivot to the nocking point, on which the force lies: the draw
length of the Archery Manufacturers Organization, "from the nocking point on the string to the pivot point of the bow
grip" (from memory), less its constant 1 3/4 in. To speak of the same draw as `predictor.mechanics.statics`, it is
counted from the riser's back: the pivot's depth is added. Brace height is the distance of the string from the pivot,
square to the string, and counted in the same way. Any consistent units will do.
"""

from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from predictor.mechanics import statics
from predictor.mechanics.batch import Array, Batch, Flags
from predictor.mechanics.contact import Hold, sight
from predictor.mechanics.continuation import Places, follow
from predictor.mechanics.elastica import LimbGrid
from predictor.mechanics.halves import Halves, Values, flat, flat_hold, paired, paired_hold
from predictor.mechanics.lift_off import moved
from predictor.mechanics.riser import Even, Nocked, Standing, Straight, evened
from predictor.mechanics.statics import MOST_STRETCH, Shape, Status, shape

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

    @property
    def halves(self) -> Halves:
        """The bows by their halves."""
        pairs = (
            (getattr(self.upper, field.name), getattr(self.lower, field.name)) for field in fields(LimbGrid)
        )
        side = np.repeat([1.0, -1.0], len(self.nocking_height))
        depth, distance, height, stiffness = (
            np.tile(values, 2)
            for values in (self.pivot_depth, self.pivot_distance, self.nocking_height, self.string_stiffness)
        )
        limbs = LimbGrid(*(np.concatenate(pair) for pair in pairs))
        return Halves(limbs, side, depth, side * distance, side * height, stiffness)


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
    alone, track = statics.strung(bow.halves.limbs, np.tile(height, 2))
    status = paired(alone).max(axis=1)
    fault = paired(np.where(alone == Status.HOLLOW, track.fault, np.nan))
    rows = np.nonzero(status == Status.OK)[0]
    straight = Straight(bow.take(rows).halves, (height - bow.pivot_depth)[rows])
    even = evened(straight, track.hold.take(_both(rows, bows)), np.zeros(len(rows)))
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

    def stride(rows: Places, before: Standing, ahead: Array) -> tuple[Flags, Standing]:
        nocked = Nocked(bow.take(rows).halves, flat(braced.half_string[rows]), ahead - bow.pivot_depth[rows])
        length = ahead - before.position
        hold = moved(
            nocked.halves.limbs,
            flat_hold(before.hold),
            flat(before.hold_rate) * np.tile(length, 2)[:, None],
        )
        even = evened(nocked, hold, before.turn + length * before.turn_rate)
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
    straight = Straight(bow.halves, braced.height - bow.pivot_depth)
    root_angle = paired(straight.halves.limbs.root_angle + straight.halves.side * np.tile(braced.tilt, 2))
    gap = paired(straight.distance(braced.tilt)) - np.asarray(belly, dtype=np.float64) * np.cos(root_angle)
    return np.asarray(gap[:, 0] - gap[:, 1])


def _unstrung(status: NDArray[np.int8], height: Array, fault: Array) -> Braced:
    """Bows of which nothing is known but why."""
    bows = len(height)
    one, two = np.full(bows, np.nan), np.full((bows, 2), np.nan)
    return Braced(status, height, Hold(two, two, two), one, two, one, one, fault)


def _strung(straight: Straight, height: Array, even: Even) -> Braced:
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
        hold=paired_hold(hold),
        tilt=tilt,
        half_string=paired(half),
        draw=np.hypot(straight.reach, up) + halves.pivot_depth[:bows],
        turn=tilt + np.arctan2(up, straight.reach),
        fault=np.full((bows, 2), np.nan),
    )


def _at_brace(bow: TwoLimbs, braced: Braced) -> Standing:
    """Where strung bows stand before they are drawn."""
    nocked = Nocked(bow.halves, flat(braced.half_string), braced.draw - bow.pivot_depth)
    return nocked.standing(braced.draw, flat_hold(braced.hold), braced.turn)


def _drawn(braced: Braced, track: Standing, target: Array) -> Drawn:
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


def _only(good: Flags, values: Array) -> Array:
    """Values of some bows, and nan for the others."""
    return np.where(_beside(good, values), values, np.nan)


def _beside(rows: NDArray[Values], values: Array) -> NDArray[Values]:
    """Shape what there is once a row so that it goes with all of that row's values."""
    return rows.reshape(rows.shape + (1,) * (values.ndim - rows.ndim))
