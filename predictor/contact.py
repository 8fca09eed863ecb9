"""How a string holds a limb: at the nock alone, or lying on the belly of a recurved limb.

The string lies on the belly without friction, at its constant offset e from the neutral axis, from the nock to
the lift-off, and leaves along the limb's tangent. There the moment is tension × e throughout, so the curvature
is kappa0 + tension × e / EI, and the string presses on the limb where this is negative (the limb turns away
from the string). Where it is positive at the nock, as on a straight ear, the string spans that hollow from the
nock to a touch-down, which it meets along the tangent too. Hollows farther in are found and refused.

This is the obstacle problem of a taut string on a limb: gap and pressure are never negative, and one of them is
nought everywhere. Any consistent units will do.
"""

from dataclasses import dataclass

import numpy as np

from predictor.batch import Array, Batch, Flags, solve_pairs
from predictor.elastica import LimbGrid, Path, pieces, shoot, trace

TOUCH = 1e-6
"""Part of the limb's length by which the string may seem to lie in the limb."""

GRAZE = 1e-4
"""The same where the string grazes a bend so short that it is about to leave it: the steps' ends tell no finer."""

_SPAN_STEPS = 40
_SETTLED = 1e-11
_SHORTEST_FIRST_CONTACT = 1e-3


@dataclass(frozen=True, eq=False)
class Hold(Batch):
    """How the string holds n limbs: where it leaves each limb, and its tension. All of shape (n,).

    Attributes:
        tip_angle: Angle of the limb to the string at the nock; no meaning where there is contact.
        tension: String tension.
        lift_off: Distance from the nock at which the string leaves the limb; nought if it leaves at the nock.
    """

    tip_angle: Array
    tension: Array
    lift_off: Array

    @property
    def contact(self) -> Flags:
        """Whether the string lies on the limb."""
        return self.lift_off > 0


@dataclass(frozen=True, eq=False)
class Sight(Batch):
    """The root seen from the free string, with derivatives by (start, tension) along the last axis.

    The start is the tip angle, or the lift-off where there is contact.

    Attributes:
        angle: Angle of the limb to the string at the root, shape (n,).
        distance: Distance of the root from the string's line, shape (n,).
        reach: Length of string from the nock to the foot of the root on the string's line, shape (n,).
        slopes: Derivatives of (angle, distance, reach), shape (n, 3, 2).
        clearance: As in `Shot`, shape (n,).
    """

    angle: Array
    distance: Array
    reach: Array
    slopes: Array
    clearance: Array


@dataclass(frozen=True, eq=False)
class Span(Batch):
    """String over the hollow at the nock, all of shape (n,); noughts where there is no hollow.

    Attributes:
        tip_angle: Angle of the limb to the string at the nock.
        touch_down: Distance from the nock at which the string meets the limb; nan if nowhere.
        length: Length of string from the nock to the touch-down.
        by_tension: Derivative by tension of the string's length to a fixed place beyond the touch-down, as far
            as the span has a part in it.
    """

    tip_angle: Array
    touch_down: Array
    length: Array
    by_tension: Array


def sight(limb: LimbGrid, hold: Hold) -> Sight:
    """Return the root as seen from the string that holds the limb."""
    rows = np.nonzero(hold.contact)[0]
    shot = shoot(limb, hold.tip_angle, hold.tension, hold.lift_off if rows.size else None)
    slopes = shot.jacobian[:, :, :2].copy()
    slopes[:, :, 0] += shot.jacobian[:, :, 2]
    reach = shot.along.copy()
    if rows.size:
        length, by = _wrapped(limb.take(rows), hold.take(rows))
        reach[rows] += length
        slopes[rows, 2] += by
    return Sight(shot.angle, shot.distance, reach, slopes, shot.clearance)


def held_curvature(limb: LimbGrid, tension: Array) -> Array:
    """Return the curvature at the nodes that the limb has wherever the string lies on it, shape (n, m, 3)."""
    moment = (tension * limb.nock_offset)[:, None, None]
    return limb.unstrung_curvature + moment * limb.flexibility


def node_stations(limb: LimbGrid) -> Array:
    """Return the distance of the nodes from the nock, shape (n, m, 3)."""
    ends = limb.station
    return np.stack([ends[:, :-1], (ends[:, :-1] + ends[:, 1:]) / 2, ends[:, 1:]], axis=-1)


@dataclass(frozen=True, eq=False)
class Verdict(Batch):
    """Whether holds are what a taut string does.

    Attributes:
        true: Neither gap nor pressure is negative, shape (n,).
        again: Whether there is another hold to try, shape (n,).
        other: The hold to try instead.
        fault: Distance from the nock of what is wrong; nan if nothing, shape (n,).
    """

    true: Flags
    again: Flags
    other: Hold
    fault: Array


def judged(limb: LimbGrid, hold: Hold, seen: Sight, touch: float = TOUCH) -> Verdict:
    """Check gap and pressure, and say how the string would rather lie.

    Args:
        limb: The limbs.
        hold: How the string holds them, as solved.
        seen: The roots as seen from the string then.
        touch: Part of the limb's length that counts as touching.
    """
    fault = np.full_like(hold.tension, np.nan)
    again = np.zeros(len(fault), dtype=bool)
    other = hold
    inside = np.nonzero((seen.clearance < -touch * limb.station[:, -1]) | (hold.tip_angle < -touch))[0]
    if inside.size:
        some, held = limb.take(inside), hold.take(inside)
        fault[inside], again[inside] = _deepest(some, held), True
        least = _SHORTEST_FIRST_CONTACT * some.station[:, -1]
        pressed = Hold(np.zeros_like(least), held.tension, np.maximum(fault[inside], least))
        other = other.put(inside, pressed)
    rows = np.nonzero(hold.contact & np.isnan(fault))[0]
    if rows.size:
        some, held = limb.take(rows), hold.take(rows)
        span = outer_span(some, held.tension, held.lift_off)
        fault[rows] = np.where(np.isnan(span.touch_down), 0.0, _hollow(some, held, span.touch_down))
        lifted = np.isnan(span.touch_down)
        again[rows] = lifted
        other = other.put(rows[lifted], freed(some, held).take(lifted))
    return Verdict(np.isnan(fault), again, other, fault)


def freed(limb: LimbGrid, hold: Hold) -> Hold:
    """Return holds with contact as they would be if the string passed freely from the nock to the lift-off.

    The tip angle is that of flat theory.
    """
    lever = np.maximum(hold.lift_off[:, None, None] - node_stations(limb), 0.0)
    moment = _integrals(limb, lever * held_curvature(limb, hold.tension)).sum(axis=1)
    angle = np.maximum(moment / hold.lift_off, 0.0)
    return Hold(angle, hold.tension, np.zeros_like(hold.tension))


def bent(limb: LimbGrid, hold: Hold) -> Path:
    """Return the bent limb that the string holds, whole, in the frame of the free string."""
    free = trace(limb, hold.tip_angle, hold.tension, hold.lift_off)
    rows = np.nonzero(hold.contact)[0]
    if not rows.size:
        return free
    return free.put(rows, _on_belly(limb.take(rows), hold.take(rows), free.take(rows)))


def outer_span(limb: LimbGrid, tension: Array, lift_off: Array) -> Span:
    """Return the string's span over the hollow at the nock, by Newton's method from flat beam theory.

    Unknown are the tip angle and the touch-down; there the string meets the limb along its tangent.
    """
    blank = np.zeros_like(tension)
    span = Span(blank, blank.copy(), blank.copy(), blank.copy())
    curvature = held_curvature(limb, tension)
    rows = np.nonzero(curvature[:, 0, 0] > 0)[0]
    if not rows.size:
        return span
    angle, touch_down = _flat_span(limb.take(rows), curvature[rows])
    short = touch_down < lift_off[rows]
    span.touch_down[rows[~short]] = np.nan
    rows = rows[short]
    if rows.size:
        found = _spanned(limb.take(rows), tension[rows], angle[short], touch_down[short])
        beyond = ~(found.touch_down < lift_off[rows])
        found.touch_down[beyond] = np.nan
        span = span.put(rows, found)
    return span


def _flat_span(limb: LimbGrid, curvature: Array) -> tuple[Array, Array]:
    """First guess of a span's tip angle and touch-down, the latter endless if the hollow does not close.

    In flat theory the gap's second derivative is the curvature, and gap and slope are nought at both ends:
    the first moment of the curvature about the nock is nought up to the touch-down.
    """
    ends, nodes = limb.station, node_stations(limb)
    moment = np.cumsum(_integrals(limb, curvature * nodes), axis=1)
    turn = np.cumsum(_integrals(limb, curvature), axis=1)
    closed = moment <= 0
    place, rows = np.argmax(closed, axis=1), np.arange(len(ends))
    before = np.where(place > 0, moment[rows, place - 1], 0.0)
    part = np.divide(
        before, before - moment[rows, place], out=np.zeros_like(before), where=closed.any(axis=1)
    )
    touch_down = ends[rows, place] + part * limb.step[rows, place]
    start = np.where(place > 0, turn[rows, place - 1], 0.0)
    angle = start + part * (turn[rows, place] - start)
    # Within the first step the curvature is taken as a straight line: it closes at 3/2 of where that is nought.
    outer, inner = curvature[:, 0, 0], curvature[:, 0, 2]
    within = (
        1.5 * limb.step[:, 0] * np.divide(outer, outer - inner, out=np.ones_like(outer), where=outer > inner)
    )
    first = closed[:, 0]
    touch_down = np.where(first, within, touch_down)
    angle = np.where(first, within * outer / 3, angle)
    return angle, np.where(closed.any(axis=1), touch_down, np.inf)


def _spanned(limb: LimbGrid, tension: Array, angle: Array, touch_down: Array) -> Span:
    """Newton's method for tip angle and touch-down; the touch-down is nan where it fails.

    A touch-down too near leaves the limb turned toward the string there, one too far turned away: a step out
    of the bracket that follows is replaced by halving it. It starts inboard of the hollow, since no span at
    all solves the equations too.
    """
    offset, length = limb.nock_offset, limb.station[:, -1]
    nodes = node_stations(limb)
    hollow = (held_curvature(limb, tension) > 0) & (nodes <= touch_down[:, None, None])
    near = np.max(np.where(hollow, nodes, 0.0), axis=(1, 2), initial=0.0)
    far = length
    for _ in range(_SPAN_STEPS):
        shot = shoot(limb, angle, tension, None, touch_down)
        curvature, flexibility = limb.at(touch_down)
        turning = curvature + tension * flexibility * shot.distance
        by_angle, by_tension = shot.jacobian[:, :, 0], shot.jacobian[:, :, 1]
        off = np.stack([shot.angle, shot.distance - offset], axis=-1)
        settled = np.abs(off).max(axis=1) < _SETTLED * np.maximum(length, 1.0)
        slack = shot.angle - by_angle[:, 0] / by_angle[:, 1] * off[:, 1]
        near, far = np.where(slack < 0, touch_down, near), np.where(slack < 0, far, touch_down)
        by_touch_down = np.stack([-turning, np.sin(shot.angle)], axis=-1)
        step = solve_pairs(np.stack([by_angle[:, :2], by_touch_down], axis=-1), -off)
        ahead = touch_down + step[:, 1]
        inside = (ahead > near) & (ahead < far)
        step[:, 1] = np.where(inside | settled, step[:, 1], (near + far) / 2 - touch_down)
        angle, touch_down = angle + step[:, 0], touch_down + step[:, 1]
        if np.all(settled):
            break
    tilt = -by_tension[:, 1] / by_angle[:, 1]
    growth = by_angle[:, 2] * tilt + by_tension[:, 2]
    turn = by_angle[:, 0] * tilt + by_tension[:, 0]
    along = shot.along + by_angle[:, 2] * step[:, 0] + step[:, 1]
    return Span(angle, np.where(settled, touch_down, np.nan), along, growth + offset * turn)


def _wrapped(limb: LimbGrid, hold: Hold) -> tuple[Array, Array]:
    """Length of string from the nock to the lift-off, (n,), and its derivatives by (lift-off, tension), (n, 2)."""
    span = outer_span(limb, hold.tension, hold.lift_off)
    spans = ~np.isnan(span.touch_down)
    begin = np.where(spans, span.touch_down, 0.0)
    unstrung = softness = np.zeros_like(begin)
    for piece in pieces(limb, begin, hold.lift_off):
        unstrung = unstrung + _simpson(piece.step, *piece.curvature)
        softness = softness + _simpson(piece.step, *piece.flexibility)
    offset = limb.nock_offset
    turn = unstrung + hold.tension * offset * softness
    curvature, flexibility = limb.at(hold.lift_off)
    by_lift_off = 1 - offset * (curvature + hold.tension * offset * flexibility)
    by_tension = np.where(spans, span.by_tension, 0.0) - offset**2 * softness
    length = np.where(spans, span.length, 0.0) + hold.lift_off - begin - offset * turn
    return length, np.stack([by_lift_off, by_tension], axis=-1)


def _deepest(limb: LimbGrid, hold: Hold) -> Array:
    """Where a string is deepest in the limb, or farthest behind it: there the limb turns back to the string."""
    path = trace(limb, hold.tip_angle, hold.tension, hold.lift_off)
    gap = path.distance - limb.nock_offset[:, None] * np.cos(path.angle)
    rows = np.arange(len(gap))
    deepest = 1 + np.argmin(gap[:, 1:], axis=1)
    # The angle is below nought just outboard of the deepest place, and above it just inboard.
    outer = np.where(path.angle[rows, deepest] < 0, deepest, deepest - 1)
    inner = np.minimum(outer + 1, gap.shape[1] - 1)
    one, two = path.angle[rows, outer], path.angle[rows, inner]
    part = np.divide(one, one - two, out=np.zeros_like(one), where=(one < 0) & (two > 0))
    apart = path.station[rows, inner] - path.station[rows, outer]
    return np.asarray(path.station[rows, outer] + part * apart)


def _hollow(limb: LimbGrid, hold: Hold, touch_down: Array) -> Array:
    """First place between touch-down and lift-off where the string would not press on the limb, or nan."""
    ends, nodes = limb.station, node_stations(limb)
    within = (nodes > touch_down[:, None, None]) & (nodes < hold.lift_off[:, None, None])
    hollow = within & (held_curvature(limb, hold.tension) > (TOUCH / ends[:, -1])[:, None, None])
    first = np.min(np.where(hollow, nodes, np.inf), axis=(1, 2), initial=np.inf)
    return np.where(np.isfinite(first), first, np.nan)


def _on_belly(limb: LimbGrid, hold: Hold, free: Path) -> Path:
    """Lay the limb outboard of the lift-off into paths that have it only from there inward."""
    span = outer_span(limb, hold.tension, hold.lift_off)
    touch_down = np.where(np.isnan(span.touch_down), 0.0, span.touch_down)
    moment = hold.tension * limb.nock_offset
    angle, distance, along = (np.zeros_like(moment), limb.nock_offset, np.zeros_like(moment))
    whole = [free.angle.copy(), free.distance.copy(), free.along.copy()]
    energy = free.energy.copy()
    outboard = list(pieces(limb, touch_down, hold.lift_off))
    for place in reversed(range(len(outboard))):
        piece = outboard[place]
        one, two, three = (q + moment * f for q, f in zip(piece.curvature, piece.flexibility, strict=True))
        middle = angle + piece.step / 24 * (5 * three + 8 * two - one)
        outer = angle + _simpson(piece.step, one, two, three)
        distance = distance - _simpson(piece.step, np.sin(angle), np.sin(middle), np.sin(outer))
        along = along - _simpson(piece.step, np.cos(angle), np.cos(middle), np.cos(outer))
        angle = outer
        energy += moment**2 / 2 * _simpson(piece.step, *piece.flexibility)
        for values, value in zip(whole, (angle, distance, along), strict=True):
            values[:, place] = np.where(piece.step > 0, value, values[:, place])
    over = trace(limb, span.tip_angle, hold.tension, None, touch_down)
    out, up = over.along - over.along[:, -1:], over.distance - over.distance[:, -1:]
    sine, cosine = np.sin(angle)[:, None], np.cos(angle)[:, None]
    turned = (
        angle[:, None] + over.angle,
        distance[:, None] + out * sine + up * cosine,
        along[:, None] + out * cosine - up * sine,
    )
    spanned = free.station < touch_down[:, None]
    angles, distances, alongs = (np.where(spanned, a, b) for a, b in zip(turned, whole, strict=True))
    moments = np.where(spanned[:, :-1, None], over.moment, free.moment)
    return Path(free.station, angles, distances, alongs, moments, energy + over.energy)


def _integrals(limb: LimbGrid, values: Array) -> Array:
    """Integral over each step of values at its nodes, shape (n, m)."""
    return np.asarray(_simpson(limb.step, values[..., 0], values[..., 1], values[..., 2]))


def _simpson(step: Array, outer: Array, middle: Array, inner: Array) -> Array:
    return np.asarray(step / 6 * (outer + 4 * middle + inner))
