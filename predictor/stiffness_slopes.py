"""How a limb's stiffness changes with its dimensions, in closed form.

EI = ∫ E w (z − z₀)² dz does not change to first order with the place z₀ of its own neutral axis. So a face between two
layers that moves adds the difference of their moduli times w (z − z₀)² there, and what changes the width w adds the
integral of the change. Lengths in any one unit.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from predictor.batch import Array
from predictor.limb import Limb, Polyline, stacks, values
from predictor.section import Moments, Section, corner_moments, counted_from_back


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
    return np.asarray((moduli * np.diff((faces - axis) ** 3, axis=0)).sum(axis=0) / 3)


def _growing_width(faces: Array, axis: Array, moduli: Array) -> Array:
    """Integral of E z (z − z₀)²."""
    arm = faces - axis
    return np.asarray((moduli * np.diff(arm**4 / 4 + axis * arm**3 / 3, axis=0)).sum(axis=0))


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
        changed: limbs with other dimensions than those, but of the same length and the same lams.
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
    curves = [(of_lams[..., place], [_lam_curves(pair, place) for pair in pairs]) for place in range(lams)]
    curves.append((slopes.width_back, [(old.width_back, new.width_back) for old, new in pairs]))
    curves.append((slopes.width_belly, [(old.width_belly, new.width_belly) for old, new in pairs]))
    curves.append((slopes.edge_radius, [(old.edge_radius, new.edge_radius) for old, new in pairs]))
    for slope, both in curves:
        places = [place for place, (old, new) in enumerate(both) if old != new]
        if places:
            at = np.array(rows)[places]
            before, after = (values([both[place][one] for place in places], station[at]) for one in (0, 1))
            total[places] += slope[at] * (after - before)
    return total


def _lam_curves(pair: tuple[Limb, Limb], place: int) -> tuple[Polyline, Polyline]:
    """Return the thickness of one lam of a limb and of the changed one; that of no lam is nought."""
    none: Polyline = ((0.0,), (0.0,))
    old, new = (limb.layers[place].thickness if place < len(limb.layers) else none for limb in pair)
    return old, new
