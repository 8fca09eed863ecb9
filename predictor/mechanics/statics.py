"""A symmetric bow strung and drawn: tension, string angle and draw weight from its limb.

The riser is rigid. `x` is measured from the plane of the riser's back toward the string, `y` along the bow
from its centre. At brace the string is straight and as high as asked; that fixes its slack length. A drawn
string makes the string angle with the bow's long axis, and the draw weight is 2 × tension × sin(angle).

A small residual is no proof of a bow: folded shapes solve the equations too. So the shape at brace is
followed from a limb that is as high as the brace with no string at all, and each draw from the one before
it; what is found must hold the string taut and keep clear of it. A brace at which the energy is not least is
none: the string would leave it by itself, to another height, or with one limb taking the bend of the other.
What cannot be had is said in `status`. Any consistent units will do.
"""

from dataclasses import dataclass, fields, replace
from enum import IntEnum

import numpy as np
from numpy.typing import ArrayLike, NDArray

from predictor.mechanics.batch import Array, Flags, solve_pairs
from predictor.mechanics.contact import Hold, Sight, bent
from predictor.mechanics.continuation import Places, follow
from predictor.mechanics.elastica import LimbGrid
from predictor.mechanics.equilibrium import Solution, settled
from predictor.mechanics.held_track import HeldTrack, Trial, at_rest, strides

MOST_STRETCH = 0.25
"""Strain of a string beyond which no draw is believed: polyester fibre breaks at about half of it (from memory)."""


class Status(IntEnum):
    """What became of a bow at its brace height, or at one draw."""

    OK = 0
    SLACK = 1
    NO_BRACE = 2
    NO_DRAW = 3
    BELOW_BRACE = 4
    HOLLOW = 5
    UNSTABLE = 6

    @property
    def reason(self) -> str:
        """Say it in words."""
        return _REASONS[self]


_REASONS = {
    Status.OK: "solved",
    Status.SLACK: "the unstrung limb already reaches the brace height: the string would be slack",
    Status.NO_BRACE: "the limb cannot be braced so high",
    Status.NO_DRAW: "the bow cannot be drawn so far",
    Status.BELOW_BRACE: "the draw is shorter than the brace height",
    Status.HOLLOW: "the string would pass through the limb, or lie on both sides of a hollow in it",
    Status.UNSTABLE: "the string would not stay at this brace height: the bow would change its shape by itself",
}


@dataclass(frozen=True, eq=False)
class Braced:
    """Strung bows; numbers are nan where the status is not OK. All of shape (n,).

    Attributes:
        status: A `Status` each.
        height: Brace height, the string's x.
        hold: How the string holds the limb.
        half_string: Slack length of the string from its middle to the nock.
        string_stiffness: EA of the string [force].
        fault: Distance from the nock of the hollow if the status is HOLLOW, else nan.
    """

    status: NDArray[np.int8]
    height: Array
    hold: Hold
    half_string: Array
    string_stiffness: Array
    fault: Array


@dataclass(frozen=True, eq=False)
class Drawn:
    """Drawn bows, n of them at d draws; numbers are nan where the status is not OK. All of shape (n, d).

    Attributes:
        status: A `Status` each.
        draw: The nocking point's x that was asked for.
        reached: How far the bow was followed: the draw itself if the status is OK.
        force: Draw weight.
        slope: Change of draw weight with draw, d force / d draw.
        string_angle: Angle of each half of the string to the bow's long axis.
        tension: String tension.
        tip_angle: Angle of the limb to the string at the nock; without meaning where there is contact.
        lift_off: Distance from the nock at which the string leaves the limb.
        fault: Distance from the nock of the hollow if the status is HOLLOW, else nan.
    """

    status: NDArray[np.int8]
    draw: Array
    reached: Array
    force: Array
    slope: Array
    string_angle: Array
    tension: Array
    tip_angle: Array
    lift_off: Array
    fault: Array

    def hold(self, column: int) -> Hold:
        """How the string holds the limbs at one of the draws."""
        return Hold(self.tip_angle[:, column], self.tension[:, column], self.lift_off[:, column])


@dataclass(frozen=True, eq=False)
class Shape:
    """Bent limbs of n bows and what they store.

    Attributes:
        x: Neutral axis at the step ends, from the plane of the riser's back, nock first, shape (n, m + 1).
        y: The same, from the bow's centre along the bow, shape (n, m + 1).
        lean: Angle of the outward tangent to the long axis, positive toward the string, shape (n, m + 1).
        bend: Change of curvature from the unstrung limb at the nodes of the steps, shape (n, m, 3).
        bending_energy: Energy in the bending of both limbs, shape (n,).
        string_energy: Energy in the stretch of the whole string, shape (n,).
    """

    x: Array
    y: Array
    lean: Array
    bend: Array
    bending_energy: Array
    string_energy: Array


def brace(limb: LimbGrid, height: ArrayLike, string_stiffness: ArrayLike = np.inf) -> Braced:
    """String bows to a brace height.

    Args:
        limb: One limb of each bow, n of them.
        height: Distance of the string from the plane of the riser's back, shape (n,) or one for all.
        string_stiffness: EA of the string [force]; without end for a string that does not stretch.
    """
    limbs = limb.step.shape[0]
    height, stiffness = (
        np.broadcast_to(np.asarray(v, np.float64), (limbs,)) for v in (height, string_stiffness)
    )
    status, track = strung(limb, height)
    half = (limb.root_distance + track.sight.reach) / (1 + track.hold.tension / stiffness)
    stays = _stays(limb, track, half, half / stiffness)
    status[(status == Status.OK) & ~stays] = Status.UNSTABLE
    good = status == Status.OK
    return Braced(
        status=status,
        height=np.array(height),
        hold=_only(good, track.hold),
        half_string=np.where(good, half, np.nan),
        string_stiffness=np.array(stiffness),
        fault=np.where(status == Status.HOLLOW, track.fault, np.nan),
    )


def strung(limb: LimbGrid, height: Array) -> tuple[NDArray[np.int8], HeldTrack]:
    """Return limbs held by a straight string at brace heights, (n,), and what became of each.

    The status says nothing of whether the string would stay there.
    """
    limbs = len(height)
    turn, possible = arc_to(limb, height)
    bend = turn / limb.station[:, -1]

    def limbs_at(rows: Places, part: Array) -> LimbGrid:
        some = limb.take(rows)
        if np.all(part == 1):
            return some
        own = part[:, None, None] * some.unstrung_curvature
        return replace(some, unstrung_curvature=own + ((1 - part) * bend[rows])[:, None, None])

    def equations(rows: Places, some: LimbGrid, _tension: Array, seen: Sight) -> tuple[Array, Array]:
        off = [seen.angle - some.root_angle, seen.distance + some.root_depth - height[rows]]
        return np.stack(off, axis=-1), seen.slopes[:, :2]

    def trial(rows: Places, part: Array, guess: Hold) -> tuple[Solution, Array]:
        some = limbs_at(rows, part)
        solution = settled(some, lambda at, *now: equations(rows[at], *now), guess)
        upright = np.abs(solution.hold.tip_angle) < np.pi / 2
        return replace(solution, found=solution.found & upright), np.zeros((len(rows), 2))

    start = Hold(limb.root_angle + turn, np.zeros(limbs), np.zeros(limbs))
    track = follow(strides(trial), at_rest(start, np.zeros(limbs)), np.where(possible, 1.0, 0.0))
    arrived = track.position == 1
    status = np.full(limbs, Status.OK, dtype=np.int8)
    status[track.hold.tension <= 0] = Status.SLACK
    status[~arrived] = np.where(np.isnan(track.fault), Status.NO_BRACE, Status.HOLLOW)[~arrived]
    return status, track


def draw(limb: LimbGrid, braced: Braced, draws: ArrayLike) -> Drawn:
    """Draw strung bows.

    Args:
        limb: The limbs that were braced, n of them.
        braced: What `brace` gave for them.
        draws: The nocking point's distance from the plane of the riser's back, shape (n, d) or (d,).
    """
    limbs = limb.step.shape[0]
    wanted = np.broadcast_to(np.asarray(draws, dtype=np.float64), (limbs, np.shape(draws)[-1]))
    order = np.argsort(wanted, axis=1)
    track = at_rest(braced.hold, braced.height)
    alive = braced.status == Status.OK
    results = []
    for column in order.T:
        target = np.take_along_axis(wanted, column[:, None], axis=1)[:, 0]
        track = follow(strides(_draw_trial(limb, braced)), track, np.where(alive, target, -np.inf))
        results.append(_drawn(limb, braced, track, target))
        alive &= track.position >= target
    back = np.argsort(order, axis=1)
    columns = (np.stack([getattr(one, field.name) for one in results], axis=1) for field in fields(Drawn))
    return Drawn(*(np.take_along_axis(column, back, axis=1) for column in columns))


def shape(limb: LimbGrid, braced: Braced, hold: Hold) -> Shape:
    """Return the bent limbs, for a hold that `brace` or `draw` gave; where it is nan, so is the shape."""
    path = bent(limb, hold)
    string_angle = path.angle[:, -1:] - limb.root_angle[:, None]
    along, away = path.along - path.along[:, -1:], path.distance - path.distance[:, -1:]
    sine, cosine = np.sin(string_angle), np.cos(string_angle)
    return Shape(
        x=limb.root_depth[:, None] + along * sine - away * cosine,
        y=limb.root_distance[:, None] - along * cosine - away * sine,
        lean=path.angle - string_angle,
        bend=path.moment * limb.flexibility,
        bending_energy=2 * path.energy,
        string_energy=hold.tension**2 * braced.half_string / braced.string_stiffness,
    )


def _draw_trial(limb: LimbGrid, braced: Braced) -> Trial:
    def trial(rows: Places, target: Array, guess: Hold) -> tuple[Solution, Array]:
        def equations(at: Places, some: LimbGrid, tension: Array, seen: Sight) -> tuple[Array, Array]:
            place, slopes = nocking_point(some, tension, seen, half[at], stretch[at])
            return place - np.stack([target[at], np.zeros(len(at))], axis=-1), slopes

        half, stretch = braced.half_string[rows], (braced.half_string / braced.string_stiffness)[rows]
        some = limb.take(rows)
        solution = settled(some, equations, guess)
        hold, seen = solution.hold, solution.sight
        rate = _rate(some, hold.tension, seen, half, stretch)
        pulled = (hold.tension > 0) & (seen.angle > some.root_angle)
        whole = hold.tension <= MOST_STRETCH * braced.string_stiffness[rows]
        return replace(solution, found=solution.found & pulled & whole), rate

    return trial


def nocking_point(
    limb: LimbGrid, tension: Array, seen: Sight, half: Array, stretch: Array
) -> tuple[Array, Array]:
    """Place (x, y) of the string's middle, (n, 2), and its derivatives by (start, tension), (n, 2, 2)."""
    string_angle = seen.angle - limb.root_angle
    sine, cosine = np.sin(string_angle), np.cos(string_angle)
    left = half + stretch * tension - seen.reach
    place = [
        limb.root_depth + left * sine + seen.distance * cosine,
        limb.root_distance - left * cosine + seen.distance * sine,
    ]
    turning = [left * cosine - seen.distance * sine, left * sine + seen.distance * cosine]
    angle_by, distance_by, reach_by = (seen.slopes[:, row] for row in range(3))
    left_by = np.stack([np.zeros_like(stretch), stretch], axis=-1) - reach_by
    slopes = [
        left_by * sine[:, None] + distance_by * cosine[:, None] + turning[0][:, None] * angle_by,
        -left_by * cosine[:, None] + distance_by * sine[:, None] + turning[1][:, None] * angle_by,
    ]
    return np.stack(place, axis=-1), np.stack(slopes, axis=-2)


def _stays(limb: LimbGrid, track: HeldTrack, half: Array, stretch: Array) -> Flags:
    """Whether a push on the nocking point, toward the hand or along the bow, is resisted by straight strings.

    The energy is least if so: its second derivatives by the nocking point's place are the forces' first ones, and
    the mixed one is nought, as the limbs are alike. Along the bow it is the difference of the halves' tensions.
    """
    _, slopes = nocking_point(limb, track.hold.tension, track.sight, half, stretch)
    outward, along = (solve_pairs(slopes, np.tile(way, (len(half), 1))) for way in np.eye(2))
    return (_turning(track.sight, outward) > 0) & (along[:, 1] < 0)


def _rate(limb: LimbGrid, tension: Array, seen: Sight, half: Array, stretch: Array) -> Array:
    """Change of (start, tension) with the draw, (n, 2)."""
    _, slopes = nocking_point(limb, tension, seen, half, stretch)
    return solve_pairs(slopes, np.tile([1.0, 0.0], (len(tension), 1)))


def _turning(seen: Sight, rate: Array) -> Array:
    """Change of the string angle with the draw, (n,)."""
    return np.asarray(np.einsum("nk,nk->n", seen.slopes[:, 0], rate))


def _drawn(limb: LimbGrid, braced: Braced, track: HeldTrack, target: Array) -> Drawn:
    """What there is to say of one draw of each bow."""
    hold, seen = track.hold, track.sight
    angle = seen.angle - limb.root_angle
    force = 2 * hold.tension * np.sin(angle)
    slope = 2 * (track.rate[:, 1] * np.sin(angle) + hold.tension * np.cos(angle) * _turning(seen, track.rate))
    stuck = np.where(np.isnan(track.fault), Status.NO_DRAW, Status.HOLLOW)
    status = np.where(track.position >= target, Status.OK, stuck)
    status[target < braced.height] = Status.BELOW_BRACE
    status = np.where(braced.status == Status.OK, status, braced.status).astype(np.int8)
    good = status == Status.OK
    reached = np.where(good, target, np.where(braced.status == Status.OK, track.position, np.nan))
    force, slope, angle = (np.where(good, number, np.nan) for number in (force, slope, angle))
    hold = _only(good, hold)
    fault = np.where(braced.status == Status.OK, track.fault, braced.fault)
    return Drawn(
        status=status,
        draw=target,
        reached=reached,
        force=force,
        slope=slope,
        string_angle=angle,
        tension=hold.tension,
        tip_angle=hold.tip_angle,
        lift_off=hold.lift_off,
        fault=np.where(status == Status.HOLLOW, fault, np.nan),
    )


def arc_to(limb: LimbGrid, height: Array) -> tuple[Array, Flags]:
    """Return the even turn of a limb that without tension is as high as the brace, and whether there is one.

    Its distance from the string grows with the turn up to where it is largest, so bisection finds it.
    """
    length = limb.station[:, -1]
    root, wanted = limb.root_angle, height - limb.root_depth
    low, high = -0.5 * np.pi - root, 2.0 - root

    def distance(turn: Array) -> Array:
        chord = length * np.sinc(turn / (2 * np.pi)) * np.sin(root + turn / 2)
        return np.asarray(limb.nock_offset * np.cos(root + turn) + chord)

    possible = (distance(low) < wanted) & (distance(high) > wanted)
    for _ in range(60):
        middle = (low + high) / 2
        over = distance(middle) > wanted
        low, high = np.where(over, low, middle), np.where(over, middle, high)
    return (low + high) / 2, possible


def _only(good: Flags, hold: Hold) -> Hold:
    return Hold(*(np.where(good, getattr(hold, field.name), np.nan) for field in fields(hold)))
