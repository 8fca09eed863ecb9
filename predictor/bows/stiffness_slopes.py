"""How a limb's stiffness changes with its dimensions, in closed form.

EI = ∫ E w (z − z₀)² dz does not change to first order with the place z₀ of its own neutral axis. So a face between two
layers that moves adds the difference of their moduli times w (z − z₀)² there, and what changes the width w adds the
integral of the change. Lengths in any one unit.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from predictor.mechanics.batch import Array
from predictor.mechanics.limb import Limb, Polyline, stacks, values
from predictor.mechanics.section import Moments, Section, corner_moments, counted_from_back


@dataclass(frozen=True, eq=False)
class StiffnessSlopes:
    """Derivatives of log EI by the dimensions at the same place; each field with the batch shape in front.

    Attributes:
        thickness: by that of each layer, layer axis last.
        width_back: by the width of the back.
        width_belly: by the width of the belly.
        edge_radius: by the radius of the corners.
    """

    thickness: Array
    width_back: Array
    width_belly: Array
    edge_radius: Array


def stiffness_slopes(
    section: Section, modulus: Array, width_back: Array, width_belly: Array, edge_radius: Array
) -> StiffnessSlopes:
    """Return the derivatives of log EI; arguments as `bending_stiffness` took them to make the section.

    Where the radius is more than the section can hold, the dimension that bounds it has the radius' part too.
    """
    whole, axis = section.thickness, section.neutral_axis
    bound = np.minimum(whole, np.minimum(width_back, width_belly)) / 2
    radius = np.minimum(edge_radius, bound)
    faces = np.moveaxis(section.faces, -1, 0)
    moduli = np.moveaxis(np.broadcast_to(modulus, (*whole.shape, len(faces) - 1)), -1, 0)
    flat, leaning = _even_width(faces, axis, moduli), _growing_width(faces, axis, moduli)
    taper = (width_belly - width_back) / whole
    by_radius = _by_radius(faces, axis, moduli, radius)
    by_whole = -taper / whole * leaning + _by_belly_corner(faces, axis, moduli, radius)
    width = width_back + taper * faces - _corner(faces, radius) - _corner(whole - faces, radius)
    steps = -np.diff(moduli, axis=0, append=0.0)
    moved = steps * (width * (faces - axis) ** 2)[1:]
    by_layer = np.flip(np.cumsum(np.flip(moved, 0), axis=0), 0) + by_whole
    held = edge_radius <= bound
    part = [
        np.where(~held & (size == 2 * bound), by_radius / 2, 0.0) for size in (whole, width_back, width_belly)
    ]
    return StiffnessSlopes(
        thickness=np.moveaxis((by_layer + part[0]) / section.stiffness, 0, -1),
        width_back=(flat - leaning / whole + part[1]) / section.stiffness,
        width_belly=(leaning / whole + part[2]) / section.stiffness,
        edge_radius=np.where(held, by_radius, 0.0) / section.stiffness,
    )


def _even_width(faces: Array, axis: Array, moduli: Array) -> Array:
    """Integral of E (z − z₀)²."""
    arm = faces - axis
    return np.asarray((moduli * np.diff(arm * arm * arm, axis=0)).sum(axis=0) / 3)


def _growing_width(faces: Array, axis: Array, moduli: Array) -> Array:
    """Integral of E z (z − z₀)²."""
    arm = faces - axis
    return np.asarray((moduli * np.diff(arm * arm * arm * (arm / 4 + axis / 3), axis=0)).sum(axis=0))


def _corner(depth: Array, radius: Array) -> Array:
    """Width that two rounded corners take at a depth."""
    inside = np.minimum(depth, radius)
    return np.asarray(2 * (radius - np.sqrt(inside * (2 * radius - inside))))


def _by_belly_corner(faces: Array, axis: Array, moduli: Array, radius: Array) -> Array:
    """Change of EI as the belly's corners move on with the whole thickness, integrated by parts."""
    whole = faces[-1]
    beside = counted_from_back(corner_moments(np.minimum(whole - faces, radius), radius), whole)
    ends = np.diff(_corner(whole - faces, radius) * (faces - axis) ** 2, axis=0)
    inside = np.diff(beside[1] - axis * beside[0], axis=0)
    return np.asarray((moduli * (ends - 2 * inside)).sum(axis=0))


def _by_radius(faces: Array, axis: Array, moduli: Array, radius: Array) -> Array:
    whole = faces[-1]
    back = _corner_growth(np.minimum(faces, radius), radius)
    belly = counted_from_back(_corner_growth(np.minimum(whole - faces, radius), radius), whole)
    zeroth, first, second = (one + other for one, other in zip(back, belly, strict=True))
    taken = np.diff(second - axis * (2 * first - axis * zeroth), axis=0)
    return -np.asarray((moduli * taken).sum(axis=0))


def _corner_growth(depth: Array, radius: Array) -> Moments:
    """Derivatives of the corner moments by the radius: they are homogeneous in depth and radius (Euler)."""
    width = _corner(depth, radius)
    zeroth, first, second = (
        np.divide(
            (power + 2) * moment - depth ** (power + 1) * width,
            radius,
            out=np.zeros_like(moment),
            where=radius > 0,
        )
        for power, moment in enumerate(corner_moments(depth, radius))
    )
    return zeroth, first, second


def stiffness_changes(
    limbs: Sequence[Limb], station: Array, rows: Sequence[int], changed: Sequence[Limb]
) -> Array:
    """Return the change of log EI of limbs that differ a little, to first order, shape (k, m, 3).

    Args:
        limbs: the limbs that they were made from, n of them.
        station: where, shape (n, m, 3).
        rows: which of the limbs each was made from, k of them.
        changed: limbs with other dimensions than those, at the same stations of the same length and lams.
    """
    lams = max(len(limb.layers) for limb in limbs)
    stack = stacks(limbs, station, lams)
    slopes = stiffness_slopes(
        stack.section, stack.modulus, stack.width_back, stack.width_belly, stack.edge_radius
    )
    of_lams = np.where(stack.present, slopes.thickness[..., ::2], 0.0)
    of_glue = np.where(stack.thickness[..., 1::2] > 0, slopes.thickness[..., 1::2], 0.0).sum(axis=-1)
    pairs = [(limbs[row], limb) for row, limb in zip(rows, changed, strict=True)]
    glue = np.array([new.glue_thickness - old.glue_thickness for old, new in pairs])
    total: Array = glue[:, None, None] * of_glue[list(rows)]
    for place in range(lams):
        thickness = [_lam_growth(*pair, place) for pair in pairs]
        _add_growth(total, of_lams[..., place], station, rows, thickness)
    for name in ("width_back", "width_belly", "edge_radius"):
        dimension = [_growth(getattr(old, name), getattr(new, name)) for old, new in pairs]
        _add_growth(total, getattr(slopes, name), station, rows, dimension)
    return total


def _lam_growth(old: Limb, new: Limb, place: int) -> Polyline | None:
    if place >= len(old.layers):
        return None
    return _growth(old.layers[place].thickness, new.layers[place].thickness)


def _growth(old: Polyline, new: Polyline) -> Polyline | None:
    """Return by how much a dimension has grown at its stations; nothing where it is the same."""
    if old == new:
        return None
    if old[0] != new[0]:
        raise ValueError(f"wanted a dimension at the stations {old[0]}, got {new[0]}; change its values only")
    return old[0], tuple(after - before for before, after in zip(old[1], new[1], strict=True))


def _add_growth(
    total: Array, slope: Array, station: Array, rows: Sequence[int], growth: Sequence[Polyline | None]
) -> None:
    """Add to the changes of log EI what one dimension's growth makes of each."""
    grown = [(place, curve) for place, curve in enumerate(growth) if curve is not None]
    if grown:
        places = [place for place, _ in grown]
        at = np.array(rows)[places]
        total[places] += slope[at] * values([curve for _, curve in grown], station[at])
