"""The equations of a bent limb: an inextensible elastica pulled by a string.

All is seen from the string. A limb runs inward from its nock; `angle` is the limb's angle to the string,
positive where the limb, going inward, leaves the string toward the back; `distance` is that of the neutral
axis from the string's line, and `along` the distance along this line, inward from the point where the string
leaves the limb. With the string's tension K and arc length s inward,

    d angle = -(kappa0 + K distance / EI) ds,   d distance = sin(angle) ds,   d along = cos(angle) ds

(the elastica of Euler with an unstrung curvature kappa0; Love, A Treatise on the Mathematical Theory of
Elasticity, 4th ed., chapter 19, from memory). The string is held at a constant offset e from the neutral
axis, on the belly side. Without contact it leaves the limb at the nock; with contact it lies on the belly
from the nock to the lift-off station and leaves there along the limb's tangent. Any consistent units will do.
"""

from collections.abc import Iterator
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import ArrayLike, NDArray

from predictor.mechanics.batch import Array, Batch

Nodes = tuple[Array, Array, Array]
State = tuple[Array, Array, Array, Array, Array, Array]
"""Angle, distance, along, each (n,); then their derivatives by start and tension, each (2, n)."""

_STAGES = ((0, 0.0), (1, 0.5), (1, 0.5), (2, 1.0))
"""Classical Runge-Kutta: node of the step, and part of the step to it; weights 1, 2, 2, 1."""


@dataclass(frozen=True, eq=False)
class LimbGrid(Batch):
    """A batch of n limbs, each cut in m steps that run from the nock to the root, where the riser holds it.

    Flexibility and curvature are given at the outer end, the middle and the inner end of each step, as seen
    from inside the step: they may jump only from one step to the next.

    Attributes:
        step: Length of each step along the neutral axis, shape (n, m); zero for an empty step.
        flexibility: 1/EI, shape (n, m, 3) [1 / (force × length²)].
        unstrung_curvature: Curvature of the unstrung limb, positive where bent toward the string, (n, m, 3).
        nock_offset: Distance of the string from the neutral axis on the belly side, the same all along, (n,).
        root_distance: Distance of the root from the bow's centre along the bow's long axis, (n,).
        root_depth: Neutral axis at the root, from the plane of the riser's back toward the string, (n,).
        root_angle: Outward tangent at the root to the long axis, positive if it leans to the string, (n,).
    """

    step: Array
    flexibility: Array
    unstrung_curvature: Array
    nock_offset: Array
    root_distance: Array
    root_depth: Array
    root_angle: Array

    def __post_init__(self) -> None:
        """Lay the limbs next to one another in memory: the integration takes one step of all of them."""
        for field in fields(self):
            value = np.asarray(getattr(self, field.name), dtype=np.float64, order="F")
            object.__setattr__(self, field.name, value)
        limbs, steps = self.step.shape
        wanted = {"flexibility": (limbs, steps, 3), "unstrung_curvature": (limbs, steps, 3)}
        for field in fields(self)[1:]:
            shape = wanted.get(field.name, (limbs,))
            if getattr(self, field.name).shape != shape:
                raise ValueError(f"{field.name}: wanted shape {shape}, got {getattr(self, field.name).shape}")

    @property
    def station(self) -> Array:
        """Distance of the step ends from the nock along the limb, shape (n, m + 1)."""
        station = np.zeros((self.step.shape[0], self.step.shape[1] + 1), order="F")
        np.cumsum(self.step, axis=1, out=station[:, 1:])
        return station

    def at(self, station: ArrayLike) -> tuple[Array, Array]:
        """Return the unstrung curvature and the flexibility at a distance from the nock each, (n,)."""
        ends = self.station
        wanted = np.clip(station, 0.0, ends[:, -1])
        rows = np.arange(len(ends))
        place = np.minimum((ends[:, 1:] < wanted[:, None]).sum(axis=1), self.step.shape[1] - 1)
        step = self.step[rows, place]
        part = np.divide(wanted - ends[rows, place], step, out=np.zeros_like(step), where=step > 0)
        curvature = _parabola(_nodes(self.unstrung_curvature, rows, place), part)
        flexibility = _parabola(_nodes(self.flexibility, rows, place), part)
        return curvature, flexibility


@dataclass(frozen=True, eq=False)
class Piece:
    """One step of all limbs, or what a begin and an end leave of it, with the values at its three nodes."""

    step: Array
    curvature: Nodes
    flexibility: Nodes


@dataclass(frozen=True, eq=False)
class Shot(Batch):
    """Where the root comes to lie, seen from the string.

    Attributes:
        angle: Angle of the limb to the string at the root, shape (n,).
        distance: Distance of the root's neutral axis from the string's line, shape (n,).
        along: Distance of the root along the string's line from where the string leaves the limb, shape (n,).
        jacobian: Derivatives of (angle, distance, along), by (tip angle, tension, lift-off), shape (n, 3, 3).
            With contact the column of the tip angle is zero, without it that of the lift-off station.
        clearance: Least distance between the free string's line and the belly at the ends of the steps, but
            for the first; below zero where the string would pass through the limb, shape (n,).
    """

    angle: Array
    distance: Array
    along: Array
    jacobian: Array
    clearance: Array


@dataclass(frozen=True, eq=False)
class Path(Batch):
    """A bent limb at the ends of its steps, from the nock (first) to the root (last), shape (n, m + 1).

    Attributes:
        station: Distance from the nock along the limb.
        angle: Angle of the limb to the free string, as in `Shot`.
        distance: Distance of the neutral axis from the line of the free string.
        along: Distance along this line, inward from where the string leaves the limb.
        moment: Bending moment at the nodes of the steps, positive where it bends the limb toward the string,
            shape (n, m, 3).
        energy: Energy stored by bending the limb, ½ ∫ moment² / EI ds, shape (n,).
    """

    station: Array
    angle: Array
    distance: Array
    along: Array
    moment: Array
    energy: Array


def shoot(
    limb: LimbGrid,
    tip_angle: ArrayLike,
    tension: ArrayLike,
    lift_off: ArrayLike | None = None,
    until: ArrayLike | None = None,
) -> Shot:
    """Integrate inward from where the string leaves the limb, together with the variational equations.

    Classical Runge-Kutta of fourth order, one of its steps on each step of the grid; the step in which the
    lift-off lies is taken from there on, with the parabola through its three nodes.

    Args:
        limb: The limbs, n of them.
        tip_angle: Angle of the limb to the string at the nock, shape (n,); no effect where there is contact.
        tension: String tension, shape (n,).
        lift_off: Distance from the nock at which the string leaves the limb; at zero and below it leaves at
            the nock, with the tip angle. Shape (n,), or nothing where no limb has contact.
        until: Distance from the nock at which to stop instead of at the root, shape (n,).

    Returns:
        The state at the root, or where the integration stopped.
    """
    tension = np.asarray(tension, dtype=np.float64)
    state = _start(limb, np.asarray(tip_angle, dtype=np.float64), tension, lift_off)
    clearance = np.full_like(tension, np.inf)
    for piece in pieces(limb, lift_off, until):
        if not piece.step.any():
            continue
        state = _advance(state, piece, tension)
        gap = state[1] - limb.nock_offset * np.cos(state[0])
        clearance = np.minimum(clearance, gap)
    angle, distance, along, *variations = state
    jacobian = np.zeros((len(angle), 3, 3))
    contact = False if lift_off is None else np.asarray(lift_off) > 0
    for row, (by_start, by_tension) in enumerate(variations):
        jacobian[:, row, 0] = np.where(contact, 0.0, by_start)
        jacobian[:, row, 1] = by_tension
        jacobian[:, row, 2] = np.where(contact, by_start, 0.0)
    return Shot(angle, distance, along, jacobian, clearance)


def trace(
    limb: LimbGrid,
    tip_angle: ArrayLike,
    tension: ArrayLike,
    lift_off: ArrayLike | None = None,
    until: ArrayLike | None = None,
) -> Path:
    """Return the bent limb on the way of `shoot`, for the same arguments.

    Stations that the way does not touch, outboard of the lift-off or beyond the end, get the way's first or
    last state. For the energy, the moment half-way through a step follows from its ends and their slopes
    (cubic through both), which keeps the order of the integration.
    """
    tension = np.asarray(tension, dtype=np.float64)
    state = _start(limb, np.asarray(tip_angle, dtype=np.float64), tension, lift_off)
    ends, energy = [state[:3]], np.zeros_like(tension)
    for piece in pieces(limb, lift_off, until):
        outer, state = state, _advance(state, piece, tension)
        energy += _energy(piece, outer, state, tension)
        ends.append(state[:3])
    angle, distance, along = (np.stack(part, axis=1) for part in zip(*ends, strict=True))
    outer_lever, inner_lever = distance[:, :-1], distance[:, 1:]
    bulge = limb.step * (np.sin(angle[:, :-1]) - np.sin(angle[:, 1:])) / 8
    lever = np.stack([outer_lever, (outer_lever + inner_lever) / 2 + bulge, inner_lever], axis=-1)
    return Path(limb.station, angle, distance, along, tension[:, None, None] * lever, energy)


def _energy(piece: Piece, outer: State, inner: State, tension: Array) -> Array:
    """Bending energy of one step from the states at its ends."""
    middle = (outer[1] + inner[1]) / 2 + piece.step * (np.sin(outer[0]) - np.sin(inner[0])) / 8
    first, second, third = piece.flexibility
    density = outer[1] ** 2 * first + 4 * middle**2 * second + inner[1] ** 2 * third
    return np.asarray(tension**2 * piece.step / 12 * density)


def _start(limb: LimbGrid, tip_angle: Array, tension: Array, lift_off: ArrayLike | None) -> State:
    """State where the string leaves the limb; with a lift-off farther in, the limb has turned more."""
    offset = limb.nock_offset
    sine, cosine = np.sin(tip_angle), np.cos(tip_angle)
    still = np.zeros_like(tip_angle)
    start = (tip_angle, offset * cosine, -offset * sine)
    by_start = (still + 1, -offset * sine, -offset * cosine)
    if lift_off is not None:
        contact = np.asarray(lift_off) > 0
        curvature, flexibility = limb.at(lift_off)
        turn = curvature + tension * offset * flexibility
        start = _choose(contact, (still, offset, still), start)
        by_start = _choose(contact, (turn, still, still - 1), by_start)
    angle_by, distance_by, along_by = (np.stack([by, still]) for by in by_start)
    return (*start, angle_by, distance_by, along_by)


def _choose(where: NDArray[np.bool_], one: Nodes, other: Nodes) -> Nodes:
    first, second, third = (np.where(where, a, b) for a, b in zip(one, other, strict=True))
    return first, second, third


def pieces(limb: LimbGrid, begin: ArrayLike | None = None, end: ArrayLike | None = None) -> Iterator[Piece]:
    """Yield the steps from the nock inward, cut to what lies between two distances from the nock.

    Args:
        limb: The limbs.
        begin: Where each limb begins, shape (n,); at the nock if nothing.
        end: Where each limb ends, shape (n,); at the root if nothing.
    """
    station = limb.station
    first = -np.inf if begin is None else np.asarray(begin, dtype=np.float64)
    last = np.inf if end is None else np.asarray(end, dtype=np.float64)
    # Refused limbs have nan for either; the others must be cut all the same.
    whole_from = np.fmax.reduce(np.ravel(first), initial=-np.inf)
    whole_to = np.fmin.reduce(np.ravel(last), initial=np.inf)
    for place in range(limb.step.shape[1]):
        step, outer, inner = limb.step[:, place], station[:, place], station[:, place + 1]
        curvature = _nodes(limb.unstrung_curvature, slice(None), place)
        flexibility = _nodes(limb.flexibility, slice(None), place)
        if np.min(outer, initial=np.inf) < whole_from or np.max(inner, initial=-np.inf) > whole_to:
            per_length = np.divide(1.0, step, out=np.zeros_like(step), where=step > 0)
            start = np.clip((first - outer) * per_length, 0.0, 1.0)
            stop = np.maximum(start, np.clip((last - outer) * per_length, 0.0, 1.0))
            curvature, flexibility = _cut(curvature, start, stop), _cut(flexibility, start, stop)
            step = step * (stop - start)
        yield Piece(step, curvature, flexibility)


def _nodes(values: Array, rows: slice | NDArray[np.intp], place: int | NDArray[np.intp]) -> Nodes:
    return values[rows, place, 0], values[rows, place, 1], values[rows, place, 2]


def _cut(nodes: Nodes, start: Array, stop: Array) -> Nodes:
    return _parabola(nodes, start), _parabola(nodes, (start + stop) / 2), _parabola(nodes, stop)


def _parabola(nodes: Nodes, part: Array) -> Array:
    """Value at a part (0 to 1) of a step, on the parabola through its outer end, middle and inner end."""
    outer, middle, inner = nodes
    return outer + part * (4 * middle - 3 * outer - inner + part * (2 * outer + 2 * inner - 4 * middle))


def _advance(state: State, piece: Piece, tension: Array) -> State:
    """Take one Runge-Kutta step of the limb and of its derivatives by start and tension."""
    slopes: list[State] = []
    for node, reach in _STAGES:
        angle, distance, _, angle_by, distance_by, _ = state
        if reach:
            lag = reach * piece.step
            turn, rise, _, turn_by, rise_by, _ = slopes[-1]
            angle, distance = angle + lag * turn, distance + lag * rise
            angle_by, distance_by = angle_by + lag * turn_by, distance_by + lag * rise_by
        sine, cosine = np.sin(angle), np.cos(angle)
        flexibility = piece.flexibility[node]
        pull = tension * flexibility
        turn_by = -pull * distance_by
        turn_by[1] -= flexibility * distance
        turn = -(piece.curvature[node] + pull * distance)
        slopes.append((turn, sine, cosine, turn_by, cosine * angle_by, -sine * angle_by))
    sixth = piece.step / 6
    angle, distance, along, angle_by, distance_by, along_by = (
        value + sixth * (first + 2 * (second + third) + fourth)
        for value, first, second, third, fourth in zip(state, *slopes, strict=True)
    )
    return angle, distance, along, angle_by, distance_by, along_by
