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

from predictor.mechanics.batch import Array, Batch, Flags
from predictor.mechanics.elastica import LimbGrid, Path, pieces, shoot, trace
from predictor.mechanics.outer_span import held_curvature, integrals, node_stations, outer_span, simpson

TOUCH = 1e-6
"""Part of the limb's length by which the string may seem to lie in the limb."""

GRAZE = 1e-4
"""The same where the string grazes a bend so short that it is about to leave it: the steps' ends tell no finer."""

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
    moment = integrals(limb, lever * held_curvature(limb, hold.tension)).sum(axis=1)
    angle = np.maximum(moment / hold.lift_off, 0.0)
    return Hold(angle, hold.tension, np.zeros_like(hold.tension))


def bent(limb: LimbGrid, hold: Hold) -> Path:
    """Return the bent limb that the string holds, whole, in the frame of the free string."""
    free = trace(limb, hold.tip_angle, hold.tension, hold.lift_off)
    rows = np.nonzero(hold.contact)[0]
    if not rows.size:
        return free
    return free.put(rows, _on_belly(limb.take(rows), hold.take(rows), free.take(rows)))


def _wrapped(limb: LimbGrid, hold: Hold) -> tuple[Array, Array]:
    """Length of string from the nock to the lift-off, (n,), and its derivatives by (lift-off, tension), (n, 2)."""
    span = outer_span(limb, hold.tension, hold.lift_off)
    spans = ~np.isnan(span.touch_down)
    begin = np.where(spans, span.touch_down, 0.0)
    unstrung = softness = np.zeros_like(begin)
    for piece in pieces(limb, begin, hold.lift_off):
        unstrung = unstrung + simpson(piece.step, *piece.curvature)
        softness = softness + simpson(piece.step, *piece.flexibility)
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
        outer = angle + simpson(piece.step, one, two, three)
        distance = distance - simpson(piece.step, np.sin(angle), np.sin(middle), np.sin(outer))
        along = along - simpson(piece.step, np.cos(angle), np.cos(middle), np.cos(outer))
        angle = outer
        energy += moment**2 / 2 * simpson(piece.step, *piece.flexibility)
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
