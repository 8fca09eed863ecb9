"""Bending stiffness of a limb's cross-section: layers, trapped sides, rounded edges and glue lines.

Depth is counted from the back face (the side away from the archer) toward the belly, and layers run in the
same order. All functions take any leading batch shape; the layer axis is last. Any consistent units will do.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]
Moments = tuple[Array, Array, Array]


@dataclass(frozen=True)
class Section:
    """Bending properties of cross-sections, each field with the batch shape in front.

    Attributes:
        stiffness: EI about the neutral axis [force × length²].
        neutral_axis: Depth of the neutral axis below the back face [length].
        shares: Each layer's share of EI, layer axis last; the sum is 1. As EI is stationary in the depth of
            its axis, the share is exactly d log EI / d log E of that layer.
        faces: Depths of the layers' faces, one more than layers; the last is the whole thickness [length].
    """

    stiffness: Array
    neutral_axis: Array
    shares: Array
    faces: Array

    @property
    def thickness(self) -> Array:
        """Whole thickness, back face to belly face [length]."""
        return np.asarray(self.faces[..., -1])


def bending_stiffness(
    thickness: ArrayLike,
    modulus: ArrayLike,
    width_back: ArrayLike,
    width_belly: ArrayLike,
    edge_radius: ArrayLike = 0.0,
) -> Section:
    """Bending stiffness of a layered trapezoid with its four corners rounded, in closed form.

    Each layer contributes E ∫ w (z − z₀)² dz, with the neutral axis z₀ where Σ E ∫ w (z − z₀) dz = 0 (the
    transformed section of composite beams: Gere, Mechanics of Materials, chapter 6). The width w goes in a
    straight line from back to belly, less a quarter circle at each corner. On trapped (sloping) sides the
    quarter circle is taken off the width at its depth, that is, sheared along with the side.

    Does not hold for sections that twist, nor for layers that slip on one another. A radius that the section
    cannot hold is taken as the largest that it can: half the thickness or half the narrower face.

    Args:
        thickness: Layer thicknesses, back to belly, shape (..., L); zero for an absent layer [length].
        modulus: Young's modulus of the layers along the limb, shape (..., L) [force / length²].
        width_back: Width at the back face before rounding, shape (...) [length].
        width_belly: Width at the belly face before rounding, shape (...) [length].
        edge_radius: Radius of the four corners, shape (...) [length].

    Returns:
        The section's stiffness, neutral axis, layer shares and layer faces.
    """
    thickness = np.asarray(thickness, dtype=np.float64)
    shape = np.broadcast_shapes(thickness.shape, np.shape(modulus))
    layers_first = np.moveaxis(np.broadcast_to(thickness, shape), -1, 0)
    moduli = np.moveaxis(np.broadcast_to(np.asarray(modulus, dtype=np.float64), shape), -1, 0)
    faces = np.zeros((shape[-1] + 1, *shape[:-1]))
    np.cumsum(layers_first, axis=0, out=faces[1:])
    area, first, second = _width_moments(faces, width_back, width_belly, edge_radius)
    neutral_axis = (moduli * first).sum(axis=0) / (moduli * area).sum(axis=0)
    parts = moduli * (second - neutral_axis * (2 * first - neutral_axis * area))
    stiffness = parts.sum(axis=0)
    return Section(stiffness, neutral_axis, np.moveaxis(parts / stiffness, 0, -1), np.moveaxis(faces, 0, -1))


def with_glue_lines(
    thickness: ArrayLike,
    modulus: ArrayLike,
    glue_thickness: ArrayLike,
    glue_modulus: ArrayLike,
    present: ArrayLike | None = None,
) -> tuple[Array, Array]:
    """Put a glue line between every two neighbouring layers.

    Args:
        thickness: Layer thicknesses, back to belly, shape (..., L) [length].
        modulus: Layer moduli, shape (..., L) [force / length²].
        glue_thickness: Thickness of one glue line, shape (...) [length].
        glue_modulus: Young's modulus of the adhesive, shape (...) [force / length²].
        present: Which layers exist, shape (..., L); those of a thickness above zero if not given.

    Returns:
        Thickness and modulus with 2L − 1 layers: lams at even places, glue lines at odd ones. An absent lam
        takes no glue line: the place after a lam is filled where it exists and another lies nearer the belly.
    """
    thickness = np.asarray(thickness, dtype=np.float64)
    there = thickness > 0 if present is None else np.asarray(present, dtype=bool)
    later = np.flip(np.logical_or.accumulate(np.flip(there, axis=-1), axis=-1), axis=-1)[..., 1:]
    shape = np.broadcast_shapes(thickness.shape, np.shape(modulus), there.shape)
    stack = np.zeros((*shape[:-1], 2 * shape[-1] - 1))
    moduli = np.zeros_like(stack)
    stack[..., ::2] = thickness
    moduli[..., ::2] = modulus
    stack[..., 1::2] = np.where(there[..., :-1] & later, np.asarray(glue_thickness)[..., None], 0.0)
    moduli[..., 1::2] = np.asarray(glue_modulus)[..., None]
    return stack, moduli


def strain(curvature_change: ArrayLike, neutral_axis: ArrayLike, depth: ArrayLike) -> Array:
    """Strain along the limb at a depth, tension positive, for a change of curvature toward the string.

    A positive change stretches the back and squeezes the belly. Plane sections stay plane; holds while the
    thickness is small against the radius of curvature.

    Args:
        curvature_change: Curvature less unstrung curvature, positive toward the string [1 / length].
        neutral_axis: Depth of the neutral axis below the back face [length].
        depth: Depth of the fibre below the back face [length].
    """
    arm = np.asarray(neutral_axis, dtype=np.float64) - np.asarray(depth, dtype=np.float64)
    return np.asarray(curvature_change, dtype=np.float64) * arm


def _width_moments(
    faces: Array, width_back: ArrayLike, width_belly: ArrayLike, edge_radius: ArrayLike
) -> Moments:
    """Integrals of w, w z and w z² through each layer: w the rounded width, z the depth, layer axis first."""
    whole = faces[-1]
    back = np.asarray(width_back, dtype=np.float64)
    belly = np.asarray(width_belly, dtype=np.float64)
    radius = np.asarray(edge_radius, dtype=np.float64)
    slope = (belly - back) / whole
    square = faces * faces
    area = back * faces + slope / 2 * square
    first = (back / 2 + slope / 3 * faces) * square
    second = (back / 3 + slope / 4 * faces) * square * faces
    if np.any(radius):
        radius = np.minimum(radius, np.minimum(whole, np.minimum(back, belly)) / 2)
        for corners in (
            corner_moments(np.minimum(faces, radius), radius),
            counted_from_back(corner_moments(np.minimum(whole - faces, radius), radius), whole),
        ):
            area, first, second = area - corners[0], first - corners[1], second - corners[2]
    return np.diff(area, axis=0), np.diff(first, axis=0), np.diff(second, axis=0)


def corner_moments(depth: Array, radius: Array) -> Moments:
    """Return integrals of c, c y and c y² from 0 to the depth: c is the width that two rounded corners take at y.

    Most faces lie beyond the corners, where the integrals are those of whole corners: computed once a section.
    """
    inside = depth < radius
    whole = _corner_antiderivatives(radius, radius)
    moments = tuple(np.broadcast_to(value, depth.shape).copy() for value in whole)
    within = _corner_antiderivatives(depth[inside], np.broadcast_to(radius, depth.shape)[inside])
    for value, part in zip(moments, within, strict=True):
        value[inside] = part
    zeroth, first, second = moments
    return zeroth, first, second


def _corner_antiderivatives(depth: Array, radius: Array) -> Moments:
    """The same integrals to a depth up to the radius.

    With u = r − y, c = 2 (r − √(r² − u²)); the antiderivatives of √(r² − u²) uᵖ are elementary.
    """
    u = radius - depth
    root_square = depth * (radius + u)
    root = np.sqrt(root_square)
    turn = radius * radius * np.arctan2(root, u)
    zeroth = (turn - u * root) / 2
    cube = root_square * root / 3
    first = radius * zeroth - cube
    second = radius * (first - cube) + (radius * radius * turn - u * (u * u - root_square) * root) / 8
    return (
        2 * (radius * depth - zeroth),
        radius * depth * depth - 2 * first,
        radius * depth * depth * depth * (2 / 3) - 2 * second,
    )


def counted_from_back(from_belly: Moments, whole: Array) -> Moments:
    """Return moments counted from the belly face as ones from the back to there, less a constant."""
    zeroth, first, second = from_belly
    return -zeroth, first - whole * zeroth, whole * (2 * first - whole * zeroth) - second
