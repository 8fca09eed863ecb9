"""The string's span over a hollow of the limb at the nock, as of a straight ear: from the nock to its touch-down.

Where a limb with the string on it would turn toward the string, the string does not lie on it. At the nock it
then passes freely to a touch-down, which it meets along the limb's tangent. Any consistent units will do.
"""

from dataclasses import dataclass

import numpy as np

from predictor.mechanics.batch import Array, Batch, solve_pairs
from predictor.mechanics.elastica import LimbGrid, shoot

_SPAN_STEPS = 40
_SETTLED = 1e-11


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


def held_curvature(limb: LimbGrid, tension: Array) -> Array:
    """Return the curvature at the nodes that the limb has wherever the string lies on it, shape (n, m, 3)."""
    moment = (tension * limb.nock_offset)[:, None, None]
    return limb.unstrung_curvature + moment * limb.flexibility


def node_stations(limb: LimbGrid) -> Array:
    """Return the distance of the nodes from the nock, shape (n, m, 3)."""
    ends = limb.station
    return np.stack([ends[:, :-1], (ends[:, :-1] + ends[:, 1:]) / 2, ends[:, 1:]], axis=-1)


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
    moment = np.cumsum(integrals(limb, curvature * nodes), axis=1)
    turn = np.cumsum(integrals(limb, curvature), axis=1)
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


def integrals(limb: LimbGrid, values: Array) -> Array:
    """Return the integral over each step of values at its nodes, shape (n, m)."""
    return np.asarray(simpson(limb.step, values[..., 0], values[..., 1], values[..., 2]))


def simpson(step: Array, outer: Array, middle: Array, inner: Array) -> Array:
    """Return the integral over steps of values at their ends and middles, by Simpson's rule."""
    return np.asarray(step / 6 * (outer + 4 * middle + inner))
