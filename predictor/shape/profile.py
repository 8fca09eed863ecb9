"""A limb's unstrung shape, from offsets that were read off a straight edge.

The straight edge lies along the riser's back. A reading is the distance along it from the bow's centre and
the offset of the limb's back: positive toward the back (reflex), negative toward the string. Inside, shapes
are held as the limb's neutral axis: `distance` along the straight edge and `depth` from it toward the
string; curvature is positive where the limb is bent toward the string. Lengths in inches (any one unit will
do), angles in radians.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import BSpline

from predictor.shape.back import CELLS, DEGREE, GAUSS, Back, Basis, Solution, cell_edges
from predictor.shape.bad_readings import UNSUSPECTED, Suspicion, suspect
from predictor.shape.likely_shapes import likely_curves
from predictor.shape.profile_doubts import (
    Finding,
    Verdict,
    doubts_about_places,
    doubts_about_readings,
    verdict,
)

Array = NDArray[np.float64]
Reading = tuple[float, float]

RULE_TOLERANCE = 1 / 32
"""What a reading with a rule is good to, inches: common practice, no source."""

_ROUNDS = 4


@dataclass(frozen=True, eq=False)
class Profile:
    """An unstrung limb: its curvature along the neutral axis, and how its root stands on the riser.

    Attributes:
        length: Length of the limb from the fade to the nock, along the neutral axis.
        bend: Curvature over the distance from the fade; beyond its ends the end values hold.
        breakpoints: Distances from the fade at which curvature may jump.
        root_distance: Neutral axis at the fade, from the bow's centre along the riser.
        root_depth: Neutral axis at the fade, from the plane of the riser's back toward the string.
        root_angle: Angle of the limb to the riser's back at the fade, positive if it leans toward the string.
        residuals: Each used reading less the fitted back, square to it and positive toward the back.
        findings: Why this profile may not be trusted.
    """

    length: float
    bend: BSpline
    breakpoints: tuple[float, ...]
    root_distance: float
    root_depth: float
    root_angle: float
    residuals: tuple[float, ...] = ()
    findings: tuple[Finding, ...] = ()

    def curvature(self, station: ArrayLike) -> Array:
        """Unstrung curvature at distances from the fade [1 / length]."""
        return np.asarray(self.bend(self._within(station)), dtype=np.float64)

    def angle(self, station: ArrayLike) -> Array:
        """Angle of the neutral axis to the riser's back at distances from the fade [radian]."""
        inside = self._within(station)
        beyond = np.asarray(station, dtype=np.float64) - inside
        turn = self.bend.antiderivative()
        bent = turn(inside) - turn(0.0) + beyond * self.bend(inside)
        return np.asarray(self.root_angle + bent, dtype=np.float64)

    def path(self, stations: ArrayLike) -> tuple[Array, Array]:
        """Distance and depth of the neutral axis at distances from the fade, in ascending order."""
        at = np.atleast_1d(np.asarray(stations, dtype=np.float64))
        edges = np.unique(
            np.concatenate([cell_edges(max(float(at[-1]), self.length), self.breakpoints), [0.0], at])
        )
        half = np.diff(edges)[:, None] / 2
        angle = self.angle(edges[:-1, None] + half * (1 + GAUSS))
        along, toward = (np.cumsum((half * f(angle)).sum(axis=1)) for f in (np.cos, np.sin))
        pick = np.searchsorted(edges, at)
        return (
            self.root_distance + np.concatenate([[0.0], along])[pick],
            self.root_depth + np.concatenate([[0.0], toward])[pick],
        )

    @property
    def verdict(self) -> Verdict:
        """Whether to build on this profile."""
        return verdict(self.findings)

    @property
    def tip(self) -> tuple[float, float]:
        """Distance and depth of the neutral axis at the nock."""
        distance, depth = self.path(self.length)
        return float(distance[0]), float(depth[0])

    def _within(self, station: ArrayLike) -> Array:
        return np.clip(np.asarray(station, dtype=np.float64), self.bend.t[0], self.bend.t[-1])


def with_follow(profile: Profile, follow: float) -> Profile:
    """Return a profile whose nock has come toward the string by `follow` (away from it if negative).

    The change is an even curvature along the whole limb: set is nearly proportional to strain, and a limb is
    tapered to strain evenly. One that bends mostly in one place takes its set there, which this does not
    show.
    """
    changed = profile
    added = 0.0
    stations = np.linspace(0.0, profile.length, CELLS + 1)
    target = profile.tip[1] + follow
    for _ in range(10):
        missing = target - changed.tip[1]
        if abs(missing) < 1e-12 * profile.length:
            break
        added += missing / float(np.trapezoid(stations * np.cos(changed.angle(stations)), stations))
        bend = BSpline(profile.bend.t, profile.bend.c + added, profile.bend.k)
        changed = replace(profile, bend=bend)
    return changed


def fit_profile(
    readings: Sequence[Reading],
    fade: float,
    length: float,
    *,
    neutral_depth: tuple[float, float] = (0.0, 0.0),
    tolerance: float = RULE_TOLERANCE,
    breakpoints: Sequence[float] = (),
    forgiving: bool = True,
) -> Profile:
    """Fit the smoothest curvature whose limb back passes the sound readings within their tolerance.

    The curvature is a cubic spline that minimises Σ (residual / tolerance)² + λ ∫ (dκ/ds)² ds over the
    spline, the root's offset and its angle; residuals are square to the back, so that a tip may turn past a
    right angle. λ is the one of `SMOOTHNESS` with the least Σ (residual / tolerance)² + 2 × (readings'
    worth of freedom): the criterion of Mallows, which takes the tolerance as known (Craven and Wahba,
    Numerische Mathematik 31 (1979) 377, as "true mean square error"; from memory). Two readings give an
    even bend that leaves the riser along its back, one gives a straight limb. Bends sharper than the
    readings' spacing are not seen.

    Readings that the others contradict are left out, and where the readings scatter by more than their
    tolerance the scatter takes its place (`predictor.shape.bad_readings`); both only where the readings are
    doubted, and told. By simulation, with readings good to 1/32 in (tests/predictor/shape/test_profile_doubts.py):
    3 of 500 sound profiles are doubted; with one to three of 8, 10 or 12 readings a quarter inch off 345 of 360
    straight and reflex-deflex limbs are, but of working recurves with one off only 12, 15 and 18 of 20, as a hook
    hides it. An eighth of scatter in all of 8 readings is seen in a straight limb, and in a recurve every other time.

    Args:
        readings: Station along the straight edge and offset, in order from the fade outward.
        fade: Station of the fade, where the limb begins to bend.
        length: Length of the limb from the fade to the nock.
        neutral_depth: Depth of the neutral axis below the back at fade and nock; straight in between.
        tolerance: Standard deviation of a reading.
        breakpoints: Distances from the fade along the limb where curvature may jump: a sharp bend's ends.
        forgiving: Whether readings may be doubted; if not, all are followed as their tolerance says.

    Returns:
        The profile, with what speaks against trusting it among its findings.

    Raises:
        ValueError: No reading lies on the limb.
    """
    points = _on_limb(readings, fade)
    span = max(length, 1.02 * float(np.hypot(*np.diff(points, axis=0).T).sum()))
    inner = tuple(sorted(b for b in breakpoints if 0.0 < b < span))
    back = Back(Basis(span, inner, neutral_depth, length), fade, points, tolerance)
    solution, suspicion = _sifted(back) if forgiving else (back.best(), UNSUSPECTED)
    used = np.delete(np.arange(len(points)), suspicion.named)
    profile = Profile(
        length=length,
        bend=BSpline(back.basis.knots, solution.bend, DEGREE),
        breakpoints=inner,
        root_distance=fade - neutral_depth[0] * math.sin(solution.angle),
        root_depth=neutral_depth[0] * math.cos(solution.angle) - solution.offset,
        root_angle=solution.angle,
        residuals=tuple(solution.residuals[used].tolist()),
    )
    angles = profile.angle(solution.feet)
    places = doubts_about_places(points, angles, fade, float(solution.feet[-1]), length)
    doubts = doubts_about_readings(points, solution.residuals, angles, suspicion, tolerance)
    return replace(profile, findings=(*places, *doubts))


def _sifted(back: Back) -> tuple[Solution, Suspicion]:
    """The fit of what is sound among readings, against all of them, and what is thought of them.

    What is thought is linear about a fit, and the first fit follows wrong readings: so it is thought again about
    the fit without them, until the same ones are named.
    """
    solution = followed = back.best()
    named: list[int] | None = None
    for _ in range(_ROUNDS):
        suspicion = suspect(*likely_curves(back, solution), back.tolerance)
        if not suspicion.doubted:
            return followed, suspicion
        if suspicion.named.tolist() == named:
            break
        named = suspicion.named.tolist()
        sound = np.delete(back.points, named, axis=0)
        fitted = Back(back.basis, back.fade, sound, suspicion.noise * back.tolerance).best()
        solution = back.at(fitted.offset, fitted.angle, fitted.bend)
    return solution, suspicion


def _on_limb(readings: Sequence[Reading], fade: float) -> Array:
    """Readings from the fade outward as points; one that was noted twice counts once."""
    points: list[Reading] = []
    for station, offset in readings:
        if station >= fade - 0.5 and (not points or points[-1] != (station, offset)):
            points.append((float(station), float(offset)))
    if not points:
        raise ValueError(
            f"wanted profile readings at the fade ({fade:g} in) and beyond, got none; read the limb's offsets"
        )
    return np.array(points)
