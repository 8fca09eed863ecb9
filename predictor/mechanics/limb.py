"""From a limb's dimensions to the grid on which its statics are solved.

A limb is cut into steps between the nock and the fade. Their ends lie on every place where stiffness or
unstrung curvature jumps or has a kink, since a step across one spoils the order of the integration. Stations
are distances from the fade along the neutral axis; inch and psi, or any consistent units.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from predictor.mechanics.elastica import LimbGrid
from predictor.mechanics.section import Section, bending_stiffness, with_glue_lines
from predictor.shape.profile import Profile

Array = NDArray[np.float64]

Polyline = tuple[tuple[float, ...], tuple[float, ...]]
"""Stations in ascending order and the values there: straight in between, constant beyond."""

STEPS = 48
"""Steps of a limb, enough for a drawn weight to one in a million; a limb of more kinks gets more."""

_BLOCK = 32
"""Limbs evaluated at once, so that their arrays stay in the processor's cache."""


@dataclass(frozen=True)
class Layer:
    """One lam of a limb; it is there from its first station to its last, which may lie off the limb.

    Attributes:
        thickness: Thickness at stations [length].
        modulus: Young's modulus along the limb [force / length²].
    """

    thickness: Polyline
    modulus: float


_NO_LAM = Layer(((0.0, 0.0), (0.0, 0.0)), 1.0)
"""Fills the stack of a limb that has fewer lams than others of its batch."""


@dataclass(frozen=True)
class Limb:
    """One limb by its dimensions.

    Attributes:
        length: From the fade to the nock [length].
        layers: Back to belly.
        width_back: Width of the back before its edges were rounded [length].
        width_belly: The same of the belly [length].
        edge_radius: Radius of the four corners [length].
        profile: Unstrung shape, and how the root stands on the riser.
        glue_thickness: One glue line [length].
        glue_modulus: Young's modulus of the adhesive [force / length²].
        nock_offset: The string's distance from the neutral axis at the nock, toward the belly; half the
            limb's thickness there if not given [length].
    """

    length: float
    layers: tuple[Layer, ...]
    width_back: Polyline
    width_belly: Polyline
    edge_radius: Polyline
    profile: Profile
    glue_thickness: float = 0.0
    glue_modulus: float = 1.0
    nock_offset: float | None = None


@dataclass(frozen=True)
class LimbSections:
    """Gridded limbs with their cross-sections; n limbs, m steps from the nock inward, three nodes a step.

    Attributes:
        grid: What the statics need.
        station: Distance from the fade, shape (n, m, 3).
        stiffness: EI, shape (n, m, 3).
        neutral_axis: Depth of the neutral axis below the back, shape (n, m, 3).
        thickness: Whole thickness, shape (n, m, 3).
        layer_shares: Share of each lam in EI, which is d log EI / d log E, shape (n, m, 3, L); a limb of
            fewer than L lams has noughts after its last.
        glue_share: Share of all glue lines, shape (n, m, 3).
        layer_back: Depth of each lam's face toward the back, shape (n, m, 3, L).
        layer_belly: Depth of each lam's face toward the belly, shape (n, m, 3, L).
    """

    grid: LimbGrid
    station: Array
    stiffness: Array
    neutral_axis: Array
    thickness: Array
    layer_shares: Array
    glue_share: Array
    layer_back: Array
    layer_belly: Array


def limb_grid(limbs: Sequence[Limb], steps: int = STEPS) -> LimbGrid:
    """Cut limbs into steps for the statics: `limb_sections`, of which only the grid is kept."""
    return _joined([sections.grid for sections in _blocks(limbs, steps)])


def limb_sections(limbs: Sequence[Limb], steps: int = STEPS) -> LimbSections:
    """Cut limbs into steps and give their sections at each step's ends and middle.

    Args:
        limbs: A batch of limbs.
        steps: Steps of each limb; more where the kinks of one of them part it into more pieces.

    Raises:
        ValueError: A limb has no length, or no stiffness somewhere.
    """
    blocks = list(_blocks(limbs, steps))
    rest = {
        field.name: np.concatenate([getattr(block, field.name) for block in blocks])
        for field in fields(LimbSections)
        if field.name != "grid"
    }
    return LimbSections(grid=_joined([block.grid for block in blocks]), **rest)


def _blocks(limbs: Sequence[Limb], steps: int) -> Iterable[LimbSections]:
    if not limbs:
        raise ValueError("wanted at least one limb, got none; give the limbs to cut into steps")
    lams = max(len(limb.layers) for limb in limbs)
    steps = max(steps, *(len(_kinks(limb)) - 1 for limb in limbs))
    for start in range(0, len(limbs), _BLOCK):
        yield _sections(limbs[start : start + _BLOCK], steps, lams)


def _joined(grids: Sequence[LimbGrid]) -> LimbGrid:
    names = [field.name for field in fields(LimbGrid)]
    return LimbGrid(**{name: np.concatenate([getattr(grid, name) for grid in grids]) for name in names})


def _sections(limbs: Sequence[Limb], steps: int, lams: int) -> LimbSections:
    """Cut one block of limbs, all of them padded to the same number of lams."""
    ends = _step_ends(limbs, steps)
    outer, inner = ends[:, :0:-1], ends[:, -2::-1]
    station = np.stack([outer, (outer + inner) / 2, inner], axis=-1)
    section = stacks(limbs, station, lams).section
    tip_thickness = section.thickness[:, 0, 0]
    offset = [
        half if limb.nock_offset is None else limb.nock_offset
        for limb, half in zip(limbs, tip_thickness / 2, strict=True)
    ]
    grid = LimbGrid(
        step=outer - inner,
        flexibility=1 / section.stiffness,
        unstrung_curvature=_unstrung_curvature(limbs, station),
        nock_offset=np.array(offset),
        root_distance=np.array([limb.profile.root_distance for limb in limbs]),
        root_depth=np.array([limb.profile.root_depth for limb in limbs]),
        root_angle=np.array([limb.profile.root_angle for limb in limbs]),
    )
    return LimbSections(
        grid=grid,
        station=station,
        stiffness=section.stiffness,
        neutral_axis=section.neutral_axis,
        thickness=section.thickness,
        layer_shares=section.shares[..., ::2],
        glue_share=section.shares[..., 1::2].sum(axis=-1),
        layer_back=section.faces[..., :-1:2],
        layer_belly=section.faces[..., 1::2],
    )


@dataclass(frozen=True, eq=False)
class Stacks:
    """What n limbs consist of at their stations; glue lines lie at the odd places of the stack.

    Attributes:
        thickness: of lams and glue lines, back to belly, shape (n, m, 3, 2 L - 1).
        modulus: of the same.
        present: whether a lam is there, shape (n, m, 3, L).
        width_back: before rounding, shape (n, m, 3).
        width_belly: the same of the belly.
        edge_radius: of the four corners, shape (n, m, 3).
    """

    thickness: Array
    modulus: Array
    present: NDArray[np.bool_]
    width_back: Array
    width_belly: Array
    edge_radius: Array

    @property
    def section(self) -> Section:
        """The cross-sections."""
        return bending_stiffness(
            self.thickness, self.modulus, self.width_back, self.width_belly, self.edge_radius
        )


def stacks(limbs: Sequence[Limb], station: Array, lams: int) -> Stacks:
    """Return limbs at all stations, padded to so many lams; one is there for whole steps, as it ends where they do.

    Raises:
        ValueError: A limb has no thickness or width somewhere.
    """
    padded = [[*limb.layers, *[_NO_LAM] * (lams - len(limb.layers))] for limb in limbs]
    modulus = np.array([[layer.modulus for layer in layers] for layers in padded])[:, None, None]
    middle = station[:, :, 1:2]
    thickness = np.zeros((*station.shape, lams))
    present = np.zeros(thickness.shape, dtype=bool)
    for place, layers in enumerate(zip(*padded, strict=True)):
        curves = [layer.thickness for layer in layers]
        first, last = (np.array([stations[end] for stations, _ in curves])[:, None, None] for end in (0, -1))
        there = (first < middle) & (middle < last)
        thickness[..., place] = np.where(there, values(curves, station), 0.0)
        present[..., place] = there
    glue_thickness, glue_modulus = (
        np.array([getattr(limb, name) for limb in limbs])[:, None, None]
        for name in ("glue_thickness", "glue_modulus")
    )
    back, belly, radius = (
        values([getattr(limb, name) for limb in limbs], station)
        for name in ("width_back", "width_belly", "edge_radius")
    )
    empty = ~((thickness.sum(axis=-1) > 0) & (back > 0) & (belly > 0))
    if np.any(empty):
        where = station[empty][0]
        raise ValueError(
            f"wanted a limb of some thickness and width, got none {where:.2f} in from the fade; add it"
        )
    stack, moduli = with_glue_lines(thickness, modulus, glue_thickness, glue_modulus, present)
    return Stacks(stack, moduli, present, back, belly, radius)


def _unstrung_curvature(limbs: Sequence[Limb], station: Array) -> Array:
    """Unstrung curvature at all stations, a hair inside each step: at a jump the step's own side counts."""
    inside = station + 1e-9 * (station[:, :, 1:2] - station)
    return np.stack([limb.profile.curvature(at) for limb, at in zip(limbs, inside, strict=True)])


def values(curves: Sequence[Polyline], station: Array) -> Array:
    """Return the values of n polylines, each at its own row of stations (n, m, 3)."""
    longest = max(len(stations) for stations, _ in curves)
    at, value = (
        np.array([curve[part] + curve[part][-1:] * (longest - len(curve[part])) for curve in curves])
        for part in (0, 1)
    )
    rise, run = np.diff(value, axis=1), np.diff(at, axis=1)
    if np.any((run < 0) | ((run == 0) & (rise != 0))):
        raise ValueError(
            "wanted stations in strictly ascending order, got others; sort them and drop repeated ones"
        )
    slope = np.divide(rise, run, out=np.zeros_like(rise), where=run > 0)
    result = np.broadcast_to(value[:, :1, None], station.shape).copy()
    for piece in range(longest - 1):
        start = at[:, piece, None, None]
        result += slope[:, piece, None, None] * np.clip(station - start, 0.0, run[:, piece, None, None])
    return result


def _step_ends(limbs: Sequence[Limb], steps: int) -> Array:
    """Ends of each limb's steps in ascending order, shape (n, m + 1): all kinks, others spread by length."""
    kinks = [_kinks(limb) for limb in limbs]
    most = max(len(places) for places in kinks)
    places = np.array([row + row[-1:] * (most - len(row)) for row in kinks])
    pieces = np.diff(places, axis=1)
    least = (pieces > 0).astype(int)
    share = (steps - least.sum(axis=1, keepdims=True)) * pieces / pieces.sum(axis=1, keepdims=True)
    counts = least + np.floor(share).astype(int)
    left = steps - counts.sum(axis=1)
    rank = np.argsort(np.argsort(-(share % 1.0), axis=1, kind="stable"), axis=1, kind="stable")
    counts += rank < left[:, None]
    return _subdivided(places, pieces, counts, steps)


def _subdivided(places: Array, pieces: Array, counts: NDArray[np.int_], steps: int) -> Array:
    """Each piece cut into its count of even steps."""
    flat = counts.ravel()
    width = np.repeat(pieces.ravel() / np.maximum(flat, 1), flat).reshape(-1, steps)
    start = np.repeat(places[:, :-1].ravel(), flat).reshape(-1, steps)
    before = np.repeat(np.cumsum(counts, axis=1).ravel() - flat, flat).reshape(-1, steps)
    return np.hstack([start + (np.arange(steps) - before) * width, places[:, -1:]])


def _kinks(limb: Limb) -> list[float]:
    """Stations in ascending order where stiffness or unstrung curvature is not smooth, with fade and nock."""
    if not limb.length > 0:
        raise ValueError(f"wanted a limb length above zero, got {limb.length:g}; give fade to nock in inches")
    if not limb.layers:
        raise ValueError("wanted lams, got none; give the limb's layers, back to belly")
    curves = (
        limb.width_back,
        limb.width_belly,
        limb.edge_radius,
        *(layer.thickness for layer in limb.layers),
    )
    places = {place for stations, _ in curves for place in stations}
    places.update(limb.profile.breakpoints)
    return [0.0, *sorted(place for place in places if 0.0 < place < limb.length), limb.length]
