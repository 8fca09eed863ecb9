"""A limb's unstrung shape, from offsets that were read off a straight edge.

The straight edge lies along the riser's back. A reading is the distance along it from the bow's centre and
the offset of the limb's back: positive toward the back (reflex), negative toward the string. Inside, shapes
are held as the limb's neutral axis: `distance` along the straight edge and `depth` from it toward the
string; curvature is positive where the limb is bent toward the string. Lengths in inches (any one unit will
do), angles in radians.
"""

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import BSpline

Array = NDArray[np.float64]
Reading = tuple[float, float]

RULE_TOLERANCE = 1 / 32
"""What a reading with a rule is good to, inches: common practice, no source."""

SMOOTHNESS = tuple(10.0 ** np.arange(9.0, 0.9, -0.5))
"""Weights tried on ∫ (dκ/ds)² ds, against readings in units of their tolerance [inch³]."""

SLIP_DEVIATIONS = 6.0
"""How many standard deviations from the others' line make a reading a slip: a choice, rare without one."""

ENOUGH_READINGS = 5
"""Readings that leave one to spare beside the root's offset, its angle and an evenly changing curvature."""

MUCH_TURN = math.radians(10)
"""Turning along a limb that fewer readings than enough can't be trusted to follow: a choice, no source."""

_DEGREE = 3
_CELLS = 128
_SPANS = 16
_GAUSS = np.array([-1.0, 1.0]) / math.sqrt(3.0)


class Doubt(StrEnum):
    """Why a fitted profile may not be trusted."""

    FEW = "too few readings"
    SPARSE = "readings too far apart for the bend"
    ORDER = "readings out of order"
    SHORT = "readings stop short of the nock"
    ROOT = "no reading at the fade"
    OFF = "reading off the curve"
    SLIP = "one reading disagrees with the rest"


@dataclass(frozen=True)
class Finding:
    """One doubt about a profile: what, where along the straight edge, and in words."""

    doubt: Doubt
    station: float
    message: str


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
            np.concatenate([_edges(max(float(at[-1]), self.length), self.breakpoints), [0.0], at])
        )
        half = np.diff(edges)[:, None] / 2
        angle = self.angle(edges[:-1, None] + half * (1 + _GAUSS))
        along, toward = (np.cumsum((half * f(angle)).sum(axis=1)) for f in (np.cos, np.sin))
        pick = np.searchsorted(edges, at)
        return (
            self.root_distance + np.concatenate([[0.0], along])[pick],
            self.root_depth + np.concatenate([[0.0], toward])[pick],
        )

    @property
    def tip(self) -> tuple[float, float]:
        """Distance and depth of the neutral axis at the nock."""
        distance, depth = self.path(self.length)
        return float(distance[0]), float(depth[0])

    def _within(self, station: ArrayLike) -> Array:
        return np.clip(np.asarray(station, dtype=np.float64), self.bend.t[0], self.bend.t[-1])


def arc_profile(
    length: float,
    curvature: float = 0.0,
    *,
    root_distance: float,
    root_depth: float = 0.0,
    root_angle: float = 0.0,
) -> Profile:
    """Return a limb of even curvature; of none at all, a straight one."""
    bend = BSpline(np.array([0.0, length]), np.array([float(curvature)]), 0)
    return Profile(length, bend, (), root_distance, root_depth, root_angle)


def with_follow(profile: Profile, follow: float) -> Profile:
    """Return a profile whose nock has come toward the string by `follow` (away from it if negative).

    The change is an even curvature along the whole limb: set is nearly proportional to strain, and a limb is
    tapered to strain evenly. One that bends mostly in one place takes its set there, which this does not
    show.
    """
    changed = profile
    added = 0.0
    stations = np.linspace(0.0, profile.length, _CELLS + 1)
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
) -> Profile:
    """Fit the smoothest curvature whose limb back passes the readings within their tolerance.

    The curvature is a cubic spline that minimises Σ (residual / tolerance)² + λ ∫ (dκ/ds)² ds over the
    spline, the root's offset and its angle; residuals are square to the back, so that a tip may turn past a
    right angle. λ is the one of `SMOOTHNESS` with the least Σ (residual / tolerance)² + 2 × (readings'
    worth of freedom): the criterion of Mallows, which takes the tolerance as known (Craven and Wahba,
    Numerische Mathematik 31 (1979) 377, as "true mean square error"; from memory). Two readings give an
    even bend that leaves the riser along its back, one gives a straight limb. Bends sharper than the
    readings' spacing are not seen.

    Args:
        readings: Station along the straight edge and offset, in order from the fade outward.
        fade: Station of the fade, where the limb begins to bend.
        length: Length of the limb from the fade to the nock.
        neutral_depth: Depth of the neutral axis below the back at fade and nock; straight in between.
        tolerance: Standard deviation of a reading.
        breakpoints: Distances from the fade along the limb where curvature may jump: a sharp bend's ends.

    Returns:
        The profile, with what speaks against trusting it among its findings.

    Raises:
        ValueError: No reading lies on the limb.
    """
    points = _on_limb(readings, fade)
    span = max(length, 1.02 * float(np.hypot(*np.diff(points, axis=0).T).sum()))
    inner = tuple(sorted(b for b in breakpoints if 0.0 < b < span))
    basis = _Basis(span, inner, neutral_depth, length)
    solution, _ = _Back(basis, fade, points, tolerance).best()
    profile = Profile(
        length=length,
        bend=BSpline(basis.knots, solution.bend, _DEGREE),
        breakpoints=inner,
        root_distance=fade - neutral_depth[0] * math.sin(solution.angle),
        root_depth=neutral_depth[0] * math.cos(solution.angle) - solution.offset,
        root_angle=solution.angle,
        residuals=tuple(solution.residuals.tolist()),
    )
    return replace(profile, findings=_doubts(profile, points, solution.feet, fade, tolerance))


def slip(
    readings: Sequence[Reading],
    fade: float,
    length: float,
    *,
    tolerance: float = RULE_TOLERANCE,
    breakpoints: Sequence[float] = (),
) -> Finding | None:
    """Find the reading that the others contradict most, if they do so plainly; arguments as of `fit_profile`.

    Each reading but the first and the last is held against the fit of the others. The distance must be over
    `SLIP_DEVIATIONS` of its own standard deviations, by the others' smoothness, and over five tolerances.
    Of fewer than five readings none can be told.
    """
    points = _on_limb(readings, fade)
    span = max(length, 1.02 * float(np.hypot(*np.diff(points, axis=0).T).sum()))
    basis = _Basis(span, tuple(sorted(b for b in breakpoints if 0.0 < b < span)), (0.0, 0.0), length)
    found, largest = None, SLIP_DEVIATIONS
    for index in range(1, len(points) - 1 if len(points) >= 5 else 0):
        away, deviation = _against_others(basis, fade, points, index, tolerance)
        if abs(away) > max(largest * deviation, 5 * tolerance):
            largest = abs(away) / deviation
            text = f"this reading is {away:+.2f} in off the line of the others; read it again"
            found = Finding(Doubt.SLIP, float(points[index, 0]), text)
    return found


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


def _edges(span: float, breakpoints: Sequence[float]) -> Array:
    """Ends of about `_CELLS` cells from 0 to the span, of which some end at each breakpoint."""
    pieces = [0.0, *(b for b in breakpoints if 0.0 < b < span), span]
    return np.concatenate(
        [
            np.linspace(a, b, max(2, math.ceil(_CELLS * (b - a) / span)), endpoint=False)
            for a, b in itertools.pairwise(pieces)
        ]
        + [[span]]
    )


class _Basis:
    """The curvature's spline basis along the limb, integrated once: turning, and roughness."""

    def __init__(
        self,
        span: float,
        breakpoints: tuple[float, ...],
        neutral_depth: tuple[float, float],
        length: float,
    ) -> None:
        self.knots = _knots(span, breakpoints)
        self.edges = _edges(span, breakpoints)
        self.half = np.diff(self.edges)[:, None] / 2
        self.inside = self.edges[:-1, None] + self.half * (1 + _GAUSS)
        self.count = len(self.knots) - _DEGREE - 1
        splines = BSpline(self.knots, np.eye(self.count), _DEGREE)
        turn = splines.antiderivative()
        self.value = splines(self.edges)
        self.turn = turn(self.edges) - turn(0.0)
        self.turn_inside = turn(self.inside) - turn(0.0)
        change = splines(self.inside, nu=1) * np.sqrt(self.half)[..., None]
        jumps = np.reshape([splines(b) - splines(b - 1e-9 * span) for b in breakpoints], (-1, self.count))
        rough = np.vstack([change.reshape(-1, self.count), 1e-3 * jumps])
        self.roughness: Array = np.linalg.qr(rough).R
        self.depth_slope = (neutral_depth[1] - neutral_depth[0]) / length
        self.depth = neutral_depth[0] + self.depth_slope * self.edges


def _knots(span: float, breakpoints: tuple[float, ...]) -> Array:
    """Knots of the curvature's spline: even spans, and at a breakpoint as many as let it jump."""
    pieces = [0.0, *breakpoints, span]
    knots: list[float] = [0.0] * _DEGREE
    for start, end in itertools.pairwise(pieces):
        spans = max(1, round(_SPANS * (end - start) / span))
        knots += [start, *np.linspace(start, end, spans + 1)[1:-1].tolist()]
        knots += [end] * _DEGREE
    return np.array([*knots, span])


@dataclass(frozen=True)
class _Solution:
    """A fitted back: root offset and angle, spline coefficients, residuals, and the readings' feet on it."""

    offset: float
    angle: float
    bend: Array
    residuals: Array
    feet: Array


class _Back:
    """The limb's back against readings, for any smoothness."""

    def __init__(self, basis: _Basis, fade: float, points: Array, tolerance: float) -> None:
        self.basis = basis
        self.fade = fade
        self.points = points
        self.tolerance = tolerance
        count = len(points)
        self.free = np.array([True, count > 2] + [count > 1] * basis.count)

    def start(self, smoothness: float) -> _Solution:
        """Fit the angles of the chords between readings: linear, and near enough to begin with."""
        basis, points = self.basis, self.points
        chords = np.diff(points, axis=0)
        lengths = np.hypot(chords[:, 0], chords[:, 1])
        angles = np.unwrap(np.arctan2(-chords[:, 1], chords[:, 0]))
        at = np.cumsum(lengths) - lengths / 2
        turn = np.stack([np.interp(at, basis.edges, column) for column in basis.turn.T], axis=-1)
        weight = lengths[:, None] / (math.sqrt(2.0) * self.tolerance)
        design = np.hstack([np.zeros((len(at), 1)), np.ones((len(at), 1)), turn]) * weight
        step = self._solve(design, weight[:, 0] * angles, np.zeros(basis.count), smoothness)
        return self.at(float(points[0, 1]), float(step[1]), step[2:])

    def best(self) -> tuple[_Solution, float]:
        """The fit at the smoothness of least expected error (of equals, the smoothest), and that one."""
        solution = self.start(SMOOTHNESS[0])
        fits = []
        for smoothness in SMOOTHNESS:
            solution = self.fit(solution, smoothness)
            misfit = float(np.sum(solution.residuals**2)) / self.tolerance**2
            fits.append((misfit + 2 * self._freedom(solution, smoothness), solution, smoothness))
        _, solution, smoothness = min(fits, key=lambda fit: fit[0])
        return solution, smoothness

    def _freedom(self, solution: _Solution, smoothness: float) -> float:
        """Trace of the matrix that turns readings into fitted values."""
        rows = self.jacobian(solution)[:, self.free] / self.tolerance
        triangle = np.linalg.qr(np.vstack([rows, self.rough(smoothness)[:, self.free]])).R
        spread = np.linalg.lstsq(triangle.T, rows.T, rcond=1e-13)[0]
        return float(np.sum(spread**2))

    def rough(self, smoothness: float) -> Array:
        roughness = math.sqrt(smoothness) * self.basis.roughness
        return np.hstack([np.zeros((len(roughness), 2)), roughness])

    def fit(self, begin: _Solution, smoothness: float) -> _Solution:
        """Gauss-Newton steps from a near solution, halved until they improve it."""
        solution = begin
        for _ in range(30):
            step = self._solve(
                self.jacobian(solution) / self.tolerance,
                solution.residuals / self.tolerance,
                solution.bend,
                smoothness,
            )
            turned = float(np.abs(self.basis.turn @ step[2:] + step[1]).max())
            better = self._better(solution, step * min(1.0, 0.5 / max(turned, 1e-300)), smoothness)
            if better is None:
                break
            solution = better
            if abs(step[0]) + turned < 1e-9:
                break
        return solution

    def _better(self, solution: _Solution, step: Array, smoothness: float) -> _Solution | None:
        """A solution along the step that costs no more, or nothing if there is none within a short way."""
        cost = self._cost(solution, smoothness)
        for part in 0.5 ** np.arange(8):
            trial = self.at(
                solution.offset + part * step[0],
                solution.angle + part * step[1],
                solution.bend + part * step[2:],
            )
            if self._cost(trial, smoothness) <= cost:
                return trial
        return None

    def _cost(self, solution: _Solution, smoothness: float) -> float:
        misfit = float(np.sum(solution.residuals**2)) / self.tolerance**2
        return misfit + smoothness * float(np.sum((self.basis.roughness @ solution.bend) ** 2))

    def _solve(self, design: Array, wanted: Array, bend: Array, smoothness: float) -> Array:
        """Least squares with the roughness of the whole bend (not of its step) held down."""
        rough = self.rough(smoothness)
        right = np.concatenate([wanted, -rough[:, 2:] @ bend])
        step = np.zeros(len(self.free))
        step[self.free] = np.linalg.lstsq(np.vstack([design, rough])[:, self.free], right, rcond=1e-13)[0]
        return step

    def at(self, offset: float, angle: float, bend: Array) -> _Solution:
        """Residuals of the readings at their feet on the back, and the feet's cells."""
        basis = self.basis
        angles = angle + basis.turn @ bend
        distance, height = self._back(offset, angle, bend, angles)
        away = self.points[:, None, :] - np.stack([distance, height], axis=-1)
        nearest = np.argmin((away**2).sum(axis=-1), axis=1)
        gap = away[np.arange(len(nearest)), nearest]
        sine, cosine = np.sin(angles[nearest]), np.cos(angles[nearest])
        slide = gap[:, 0] * cosine - gap[:, 1] * sine
        curvature = basis.value[nearest] @ bend
        square = gap[:, 0] * sine + gap[:, 1] * cosine
        residuals = square - slide * basis.depth_slope + curvature * slide**2 / 2
        return _Solution(offset, angle, bend, residuals, basis.edges[nearest] + slide)

    def _back(self, offset: float, angle: float, bend: Array, angles: Array) -> tuple[Array, Array]:
        """Distance and height (offset) of the back at the cells' ends."""
        basis = self.basis
        inside = angle + basis.turn_inside @ bend
        along, toward = (_running((basis.half * f(inside)).sum(axis=1)) for f in (np.cos, np.sin))
        depth, root = basis.depth, basis.depth[0]
        distance = self.fade + along + depth * np.sin(angles) - root * math.sin(angle)
        height = offset - toward + depth * np.cos(angles) - root * math.cos(angle)
        return distance, height

    def jacobian(self, solution: _Solution) -> Array:
        """Movement of the back, square to itself at the feet, with root offset, root angle and bend."""
        basis = self.basis
        inside = solution.angle + basis.turn_inside @ solution.bend
        turned = np.concatenate([np.ones((*inside.shape, 1)), basis.turn_inside], axis=-1)
        weighted = turned * basis.half[..., None]
        sines = _running((weighted * np.sin(inside)[..., None]).sum(axis=1))
        cosines = _running((weighted * np.cos(inside)[..., None]).sum(axis=1))
        cell = np.abs(solution.feet[:, None] - basis.edges).argmin(axis=1)
        angles = solution.angle + basis.turn[cell] @ solution.bend
        sine, cosine = np.sin(angles)[:, None], np.cos(angles)[:, None]
        moved = -sine * sines[cell] - cosine * cosines[cell]
        moved[:, 0] -= basis.depth[0] * np.sin(angles - solution.angle)
        return np.hstack([cosine, moved])


def _running(parts: Array) -> Array:
    """Running sum over the first axis, from nought."""
    return np.concatenate([np.zeros_like(parts[:1]), np.cumsum(parts, axis=0)])


def _against_others(
    basis: _Basis, fade: float, points: Array, index: int, tolerance: float
) -> tuple[float, float]:
    """Distance of one reading from the fit of the others, and its standard deviation by that fit."""
    others, smoothness = _Back(basis, fade, np.delete(points, index, axis=0), tolerance).best()
    back = _Back(basis, fade, points, tolerance)
    there = back.at(others.offset, others.angle, others.bend)
    rows = back.jacobian(there)
    known = np.delete(rows, index, axis=0) / tolerance
    rough = back.rough(smoothness)
    information = known.T @ known + rough.T @ rough
    spread = float(rows[index] @ np.linalg.lstsq(information, rows[index], rcond=1e-12)[0])
    return float(there.residuals[index]), math.sqrt(tolerance**2 + spread)


def _doubts(
    profile: Profile, points: Array, feet: Array, fade: float, tolerance: float
) -> tuple[Finding, ...]:
    """What speaks against trusting a fitted profile."""
    headings = np.arctan2(*np.diff(points, axis=0).T[::-1])
    turns = np.abs((np.diff(headings) + math.pi) % (2 * math.pi) - math.pi)
    doubts = [
        (Doubt.ORDER, int(index) + 1, "the readings double back here; note them from the fade outward")
        for index in np.flatnonzero(turns > math.pi / 2)
    ]
    doubts += [
        (Doubt.SPARSE, int(index), "the limb turns by over 35 degrees to the next reading; read in between")
        for index in np.flatnonzero(np.abs(np.diff(profile.angle(feet))) > math.radians(35))
    ]
    if len(points) < 3:
        doubts.append(
            (Doubt.FEW, 0, f"{len(points)} can't tell a bend from the root's angle; read 6 or more")
        )
    elif len(points) < ENOUGH_READINGS and (turn := float(np.ptp(profile.angle(feet)))) > MUCH_TURN:
        text = f"{len(points)} can't show where a limb that turns by {math.degrees(turn):.0f} degrees bends"
        doubts.append((Doubt.FEW, 0, f"{text}; read 6 or more"))
    if points[0, 0] > fade + 0.75:
        doubts.append((Doubt.ROOT, 0, f"the first lies beyond the fade at {fade:g} in; read there too"))
    missing = profile.length - feet[-1]
    if missing > max(1.0, 0.06 * profile.length):
        doubts.append(
            (Doubt.SHORT, len(points) - 1, f"the last is {missing:.1f} in short of the nock; read there")
        )
    worst = int(np.argmax(np.abs(profile.residuals)))
    if abs(profile.residuals[worst]) > 3 * tolerance:
        off = profile.residuals[worst]
        doubts.append(
            (Doubt.OFF, worst, f"this reading is {off:+.3f} in off the fitted curve; read it again")
        )
    return tuple(Finding(doubt, float(points[index, 0]), text) for doubt, index, text in doubts)
