"""Where a lift-off comes to lie after a step of Newton's method, and how contact begins and ends at the nock.

The lift-off is a poor unknown where the limb's curvature is uneven: on a bend a small move turns the limb much, on
a straight stretch a long one not at all. So a step is measured by how much the limb turns. Any consistent units
will do.
"""

import numpy as np

from predictor.mechanics.batch import Array
from predictor.mechanics.contact import Hold
from predictor.mechanics.elastica import LimbGrid
from predictor.mechanics.outer_span import held_curvature, node_stations

_STRAIGHT = 1e-9
_LONGEST_FIRST_CONTACT = 0.2


def moved(limb: LimbGrid, hold: Hold, change: Array) -> Hold:
    """Return the hold after a change of (start, tension), shape (n, 2), handed over at the nock.

    At the nock a small tip angle and a small lift-off do the same to the free string where the angle is the
    turn of the limb up to the lift-off, so that a step may pass from one to the other. On a stretch that is
    quite straight the string lies and lifts off as a whole.
    """
    contact = hold.contact
    start = np.where(contact, hold.lift_off, hold.tip_angle) + change[:, 0]
    tension = hold.tension + change[:, 1]
    at_nock = limb.unstrung_curvature[:, 0, 0] + tension * limb.nock_offset * limb.flexibility[:, 0, 0]
    turning = np.minimum(at_nock, 0.0)
    onto = ~contact & (start < 0) & (turning < 0)
    longest = _LONGEST_FIRST_CONTACT * limb.station[:, -1]
    lift_off = np.where(onto, np.minimum(start / np.where(onto, turning, -1.0), longest), 0.0)
    lift_off = np.where(contact, np.maximum(start, 0.0), lift_off)
    rows = np.nonzero(lift_off)[0]
    if rows.size:
        lift_off[rows] = _landed(limb.take(rows), tension[rows], hold.lift_off[rows], lift_off[rows])
    off = contact & (lift_off <= 0)
    tip_angle = np.where(off, np.minimum(start, 0.0) * turning, np.where(contact | onto, 0.0, start))
    return Hold(tip_angle, tension, lift_off)


def _landed(limb: LimbGrid, tension: Array, before: Array, after: Array) -> Array:
    """Return where lift-offs come to lie that would move so far if the limb's curvature stayed the same.

    Where it does not, the lift-off moves by as much turn of the limb instead, and no farther than half-way to
    the end of its bend. It is nought where it would come to lie on a straight stretch.
    """
    here, there = _turning(limb, tension, before), _turning(limb, tension, after)
    straight = np.abs(there) < _STRAIGHT / limb.station[:, -1]
    after = np.where(straight & (after <= before), 0.0, after)
    uneven = (here < 0) & (after > 0) & ~((0.8 * here > there) & (there > 1.25 * here))
    rows = np.nonzero(uneven)[0]
    if rows.size:
        turn = here[rows] * (before - after)[rows]
        after[rows] = _turned(limb.take(rows), tension[rows], before[rows], turn)
    return after


def _turned(limb: LimbGrid, tension: Array, before: Array, turn: Array) -> Array:
    """Return the place on the same bend up to which a limb turns by so much more than up to another, (n,).

    Half-way to the end of the bend if it does not turn so much.
    """
    nodes, curvature = node_stations(limb), held_curvature(limb, tension)
    outside = curvature > -_STRAIGHT / limb.station[:, -1:, None]
    here = before[:, None, None]
    outward = np.max(np.where(outside & (nodes <= here), nodes, 0.0), axis=(1, 2))
    inward = np.min(np.where(outside & (nodes >= here), nodes, np.inf), axis=(1, 2))
    ends = np.stack([outward, np.minimum(inward, limb.station[:, -1])], axis=1)
    half = limb.step[:, :, None] / 4 * (curvature[:, :, :-1] + curvature[:, :, 1:])
    turned = np.cumsum(-half.reshape(len(before), -1), axis=1)
    turned = np.concatenate([np.zeros((len(before), 1)), turned], axis=1)
    places = np.concatenate([nodes[:, :, :-1].reshape(len(before), -1), nodes[:, -1:, -1]], axis=1)
    wanted = _between(before, places, turned) + turn
    first, last = (_between(end, places, turned) for end in ends.T)
    bend = np.where(places < ends[:, :1], -np.inf, np.where(places > ends[:, 1:], np.inf, turned))
    edge = np.where(turn < 0, ends[:, 0], ends[:, 1])
    within = (first < wanted) & (wanted < last)
    return np.where(within, _between(wanted, bend, places), (before + edge) / 2)


def _between(wanted: Array, given: Array, values: Array) -> Array:
    """Linear interpolation in each row, (n,), between values (n, k) given in ascending order."""
    rows = np.arange(len(wanted))
    place = np.clip((given < wanted[:, None]).sum(axis=1), 1, given.shape[1] - 1)
    low, high = given[rows, place - 1], given[rows, place]
    finite = np.isfinite(low) & np.isfinite(high) & (high > low)
    part = np.divide(wanted - low, high - low, out=np.zeros_like(wanted), where=finite)
    return np.asarray(values[rows, place - 1] + part * (values[rows, place] - values[rows, place - 1]))


def _turning(limb: LimbGrid, tension: Array, station: Array) -> Array:
    """Curvature that a limb has where the string lies on it, at a distance from the nock, (n,)."""
    curvature, flexibility = limb.at(station)
    return np.asarray(curvature + tension * limb.nock_offset * flexibility)
