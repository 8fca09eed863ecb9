"""Young's modulus of a strip that is bent on the bench by hung weights.

A strip is clamped at one end and loaded at the other (cantilever), or lies on two edges and is loaded in the middle
(three-point). Thin strips bend far, so the exact elastica takes the place of the small-deflection formulas, which are
its limits. The strip's own weight bends it before the first reading and drops out with the zero of the deflections, to
first order; the friction of the edges is left out, and so is shear, which counts as doubt. Any consistent units will
do.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import brentq

from datasets.schema import MOST_DEFLECTION, Support

Array = NDArray[np.float64]

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(40)


def _integral(of: Callable[[Array], Array], end: float) -> float:
    """Integrate a smooth function from zero."""
    return float(end / 2 * np.sum(_WEIGHTS * of(end / 2 * (_NODES + 1))))


def _cantilever(rotation: float) -> tuple[float, float]:
    """Return deflection over length and load P L²/EI of a cantilever whose tip has turned.

    Bisshopp and Drucker, "Large deflection of cantilever beams", Quart. Appl. Math. 3 (1945), 272-275 (pages from
    memory): ds = dφ / sqrt(2 P/EI (sin θ − sin φ)), here integrated over u with φ = θ − u², which is smooth.
    """

    def way(u: Array) -> Array:
        return np.asarray(u / np.sqrt(np.cos(rotation - u**2 / 2) * np.sin(u**2 / 2)))

    end = np.sqrt(rotation)
    length = _integral(way, end)
    return _integral(lambda u: np.sin(rotation - u**2) * way(u), end) / length, length**2


def _three_point(rotation: float) -> tuple[float, float]:
    """Return deflection over span and load P S²/EI of a strip that has turned at its edges.

    The strip slides over edges without friction, which push square to it: with R the push, EI φ'' = R cos φ counted
    from the edge, so ½ EI φ'² = R sin φ and a half strip reaches sqrt(2 sin θ EI/R) along the tangent at its edge and
    ∫ sqrt(sin φ) dφ sqrt(EI / 2R) across it (Timoshenko and Gere, Theory of Elastic Stability, section 2.7, gives the
    elastica; its use here is worked out anew).
    """
    along = np.sqrt(2 * np.sin(rotation))
    across = _integral(lambda u: 2 * u * np.sqrt(np.sin(u**2)), np.sqrt(rotation)) / np.sqrt(2)
    half_span = along * np.cos(rotation) + across * np.sin(rotation)
    deflection = along * np.sin(rotation) - across * np.cos(rotation)
    return float(deflection / (2 * half_span)), float(8 * np.cos(rotation) * half_span**2)


@dataclass(frozen=True)
class _Case:
    """A way of bending.

    Attributes:
        bent: deflection and load without dimension, by rotation.
        stiffness: the deflection is P L³ / (stiffness × EI) where the strip bends little.
        most_rotation: beyond that of the largest deflection that is read.
        shear: k_s/k_b of the Wood Handbook, FPL-GTR-282 (2021), Table 9-1.
    """

    bent: Callable[[float], tuple[float, float]]
    stiffness: float
    most_rotation: float
    shear: float


_CASES = MappingProxyType(
    {
        Support.THREE_POINT: _Case(_three_point, 48.0, 0.75, 12.0),
        Support.CANTILEVER: _Case(_cantilever, 3.0, 1.2, 3.0),
    }
)


def load_number(support: Support, deflection: ArrayLike) -> Array:
    """Return P L²/EI, the load without dimension that bends a strip to a deflection.

    Args:
        support: how the strip is held.
        deflection: over the span or the free length L, shape (n,); from 0 to 0.2 of the span between edges, to 0.6
            of the length of a cantilever.

    Raises:
        ValueError: the strip is bent further, or the other way.
    """
    most = MOST_DEFLECTION[support]
    wanted = np.atleast_1d(np.asarray(deflection, dtype=np.float64))
    if not np.all((wanted >= 0) & (wanted <= most)):
        worst = wanted[np.argmax(np.abs(wanted - most / 2))]
        raise ValueError(
            f"wanted a deflection of 0 to {most:g} of the span, got {worst:.3g}; "
            "use less load or a longer span"
        )
    case = _CASES[support]
    return np.array([case.bent(_rotation(case, ratio))[1] if ratio else 0.0 for ratio in wanted.tolist()])


def _rotation(case: _Case, ratio: float) -> float:
    """Return the rotation that goes with a deflection above zero."""
    return float(brentq(lambda turn: case.bent(turn)[0] - ratio, 1e-9, case.most_rotation, xtol=1e-15))


def _steepness(case: _Case, ratio: float) -> float:
    """Return d log load / d log deflection at a deflection above zero: one where a strip bends little."""
    rotation = _rotation(case, ratio)
    (less, light), (more, heavy) = (case.bent(rotation * (1 + side * 1e-4)) for side in (-1, 1))
    return float(np.log(heavy / light) / np.log(more / less))


@dataclass(frozen=True)
class Bent:
    """A strip with its loads and deflections, in any consistent units.

    Attributes:
        support: how it is held.
        span: between the edges, or from the clamp to the load.
        width: of the strip.
        thickness: of the strip.
        loads: shape (n,).
        deflections: under the loads, from where the unloaded strip lies, shape (n,).
    """

    support: Support
    span: float
    width: float
    thickness: float
    loads: Array
    deflections: Array


@dataclass(frozen=True)
class Tolerances:
    """Standard deviations of what was measured of a strip.

    Attributes:
        span: of the span, in its unit.
        width: likewise.
        thickness: likewise.
        load: of all loads together, as a share of them.
        deflection: of each deflection by itself.
        seating: of the place of the unloaded strip, which the first load seats.
        modulus_over_shear: E/G; what shear adds to the deflection counts as one standard deviation.
    """

    span: float
    width: float
    thickness: float
    load: float
    deflection: float
    seating: float
    modulus_over_shear: float


@dataclass(frozen=True)
class Found:
    """A strip's modulus.

    Attributes:
        modulus: Young's modulus, force over length squared.
        reading_sd: standard deviation of its logarithm from reading the deflections.
        dimension_sds: the same from each dimension and from the loads, by name.
        seating: by how much the deflections are larger than the loads explain, all alike.
        misfits: what is left of each deflection, over its standard deviation, shape (n,).
    """

    modulus: float
    reading_sd: float
    dimension_sds: Mapping[str, float]
    seating: float
    misfits: Array

    @property
    def log_sd(self) -> float:
        """Standard deviation of the logarithm of the modulus."""
        return float(np.hypot.reduce([self.reading_sd, *self.dimension_sds.values()]))


def modulus(bent: Bent, tolerances: Tolerances) -> Found:
    """Return the modulus of a strip.

    Each deflection is turned into the one that the same load would cause if the strip bent little; these rise in a
    straight line with the load, and the line's slope gives EI. The line is fitted by weighted least squares, with an
    offset common to all deflections that is nought but for the seating.

    Raises:
        ValueError: the strip is bent too far, or deflections do not grow with the load.
    """
    case = _CASES[bent.support]
    ratios = bent.deflections / bent.span
    straight = bent.span * load_number(bent.support, ratios) / case.stiffness
    steepness = np.array([_steepness(case, ratio) for ratio in ratios.tolist()])
    rate = steepness * straight / bent.deflections
    sd = rate * tolerances.deflection
    columns = np.stack([bent.loads, rate], axis=1) / sd[:, None]
    precision = columns.T @ columns + np.diag([0.0, tolerances.seating**-2])
    covariance = np.linalg.inv(precision)
    slope, seating = covariance @ columns.T @ (straight / sd)
    if slope <= 0:
        raise ValueError("wanted deflections that grow with the load, got others; check loads and readings")
    bending = bent.span**3 / (case.stiffness * slope)
    return Found(
        modulus=float(12 * bending / (bent.width * bent.thickness**3)),
        reading_sd=float(np.sqrt(covariance[0, 0]) / slope),
        dimension_sds=MappingProxyType(
            {
                "span": (2 + float(steepness[ratios.argmax()])) * tolerances.span / bent.span,
                "width": tolerances.width / bent.width,
                "thickness": 3 * tolerances.thickness / bent.thickness,
                "loads": tolerances.load,
                "shear": shear_share(bent.support, bent.span / bent.thickness, tolerances.modulus_over_shear),
            }
        ),
        seating=float(seating),
        misfits=straight / sd - columns @ np.array([slope, seating]),
    )


def shear_share(support: Support, slenderness: float, modulus_over_shear: float) -> float:
    """Return by what share shear adds to the deflection, which makes a strip look softer.

    Wood Handbook FPL-GTR-282 (2021), Eq. 9-2 with A' = 5/6 b h: k_s/k_b (E/G) I / (A' L²), with k_s/k_b = 12 between
    edges and 3 for a cantilever (Table 9-1).

    Args:
        support: how the strip is held.
        slenderness: span over thickness.
        modulus_over_shear: E/G.
    """
    return _CASES[support].shear * modulus_over_shear / (10 * slenderness**2)
