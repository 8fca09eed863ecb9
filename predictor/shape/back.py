"""The back of a limb as a smooth curve near readings: penalised least squares for its curvature.

Stations and offsets are those of `predictor.shape.profile`; lengths in inches (any one unit will do), angles in
radians.
"""

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import BSpline

Array = NDArray[np.float64]

SMOOTHNESS = tuple(10.0 ** np.arange(9.0, 0.9, -0.5))
"""Weights tried on ∫ (dκ/ds)² ds, against readings in units of their tolerance [inch³]."""

DEGREE = 3
CELLS = 128
GAUSS = np.array([-1.0, 1.0]) / math.sqrt(3.0)
_SPANS = 16


def cell_edges(span: float, breakpoints: Sequence[float]) -> Array:
    """Ends of about `CELLS` cells from 0 to the span, of which some end at each breakpoint."""
    pieces = [0.0, *(b for b in breakpoints if 0.0 < b < span), span]
    return np.concatenate(
        [
            np.linspace(a, b, max(2, math.ceil(CELLS * (b - a) / span)), endpoint=False)
            for a, b in itertools.pairwise(pieces)
        ]
        + [[span]]
    )


class Basis:
    """The curvature's spline basis along the limb, integrated once: turning, and roughness."""

    def __init__(
        self,
        span: float,
        breakpoints: tuple[float, ...],
        neutral_depth: tuple[float, float],
        length: float,
    ) -> None:
        self.breakpoints = breakpoints
        self.knots = _knots(span, breakpoints)
        self.edges = cell_edges(span, breakpoints)
        self.half = np.diff(self.edges)[:, None] / 2
        self.inside = self.edges[:-1, None] + self.half * (1 + GAUSS)
        self.count = len(self.knots) - DEGREE - 1
        splines = BSpline(self.knots, np.eye(self.count), DEGREE)
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
    knots: list[float] = [0.0] * DEGREE
    for start, end in itertools.pairwise(pieces):
        spans = max(1, round(_SPANS * (end - start) / span))
        knots += [start, *np.linspace(start, end, spans + 1)[1:-1].tolist()]
        knots += [end] * DEGREE
    return np.array([*knots, span])


@dataclass(frozen=True)
class Solution:
    """A fitted back: root offset and angle, spline coefficients, residuals, and the readings' feet on it."""

    offset: float
    angle: float
    bend: Array
    residuals: Array
    feet: Array


class Back:
    """The limb's back against readings, for any smoothness."""

    def __init__(self, basis: Basis, fade: float, points: Array, tolerance: float) -> None:
        self.basis = basis
        self.fade = fade
        self.points = points
        self.tolerance = tolerance
        count = len(points)
        self.free = np.array([True, count > 2] + [count > 1] * basis.count)

    def start(self, smoothness: float) -> Solution:
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

    def best(self) -> Solution:
        """The fit at the smoothness of least expected error; of equals, the smoothest."""
        solution = self.start(SMOOTHNESS[0])
        fits = []
        for smoothness in SMOOTHNESS:
            solution = self._fit(solution, smoothness)
            misfit = float(np.sum(solution.residuals**2)) / self.tolerance**2
            fits.append((misfit + 2 * self._freedom(solution, smoothness), solution))
        return min(fits, key=lambda fit: fit[0])[1]

    def _freedom(self, solution: Solution, smoothness: float) -> float:
        """Trace of the matrix that turns readings into fitted values."""
        rows = self.jacobian(solution)[:, self.free] / self.tolerance
        triangle = np.linalg.qr(np.vstack([rows, self._rough(smoothness)[:, self.free]])).R
        spread = np.linalg.lstsq(triangle.T, rows.T, rcond=1e-13)[0]
        return float(np.sum(spread**2))

    def _rough(self, smoothness: float) -> Array:
        roughness = math.sqrt(smoothness) * self.basis.roughness
        return np.hstack([np.zeros((len(roughness), 2)), roughness])

    def _fit(self, begin: Solution, smoothness: float) -> Solution:
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

    def _better(self, solution: Solution, step: Array, smoothness: float) -> Solution | None:
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

    def _cost(self, solution: Solution, smoothness: float) -> float:
        misfit = float(np.sum(solution.residuals**2)) / self.tolerance**2
        return misfit + smoothness * float(np.sum((self.basis.roughness @ solution.bend) ** 2))

    def _solve(self, design: Array, wanted: Array, bend: Array, smoothness: float) -> Array:
        """Least squares with the roughness of the whole bend (not of its step) held down."""
        rough = self._rough(smoothness)
        right = np.concatenate([wanted, -rough[:, 2:] @ bend])
        step = np.zeros(len(self.free))
        step[self.free] = np.linalg.lstsq(np.vstack([design, rough])[:, self.free], right, rcond=1e-13)[0]
        return step

    def at(self, offset: float, angle: float, bend: Array) -> Solution:
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
        return Solution(offset, angle, bend, residuals, basis.edges[nearest] + slide)

    def _back(self, offset: float, angle: float, bend: Array, angles: Array) -> tuple[Array, Array]:
        """Distance and height (offset) of the back at the cells' ends."""
        basis = self.basis
        inside = angle + basis.turn_inside @ bend
        along, toward = (_running((basis.half * f(inside)).sum(axis=1)) for f in (np.cos, np.sin))
        depth, root = basis.depth, basis.depth[0]
        distance = self.fade + along + depth * np.sin(angles) - root * math.sin(angle)
        height = offset - toward + depth * np.cos(angles) - root * math.cos(angle)
        return distance, height

    def jacobian(self, solution: Solution) -> Array:
        """Movement of the back, square to itself at the feet, with root offset, root angle and bend."""
        basis = self.basis
        turned = np.concatenate([np.ones((*basis.inside.shape, 1)), basis.turn_inside], axis=-1)
        angles = self._angles(solution)
        moved = self._moved(solution, turned)
        moved[:, 0] -= basis.depth[0] * np.sin(angles - solution.angle)
        return np.hstack([np.cos(angles)[:, None], moved])

    def turned_at(self, solution: Solution, cells: NDArray[np.intp]) -> Array:
        """Movement of the back, square to itself at the feet, with a sharp turn where each of some cells begins."""
        beyond = np.arange(len(self.basis.half))[:, None, None] >= cells
        return self._moved(solution, np.repeat(beyond, len(GAUSS), axis=1).astype(np.float64))

    def _moved(self, solution: Solution, turned: Array) -> Array:
        """Movement of the back, square to itself at the feet, with turnings inside the cells."""
        basis = self.basis
        inside = solution.angle + basis.turn_inside @ solution.bend
        weighted = turned * basis.half[..., None]
        sines = _running((weighted * np.sin(inside)[..., None]).sum(axis=1))
        cosines = _running((weighted * np.cos(inside)[..., None]).sum(axis=1))
        cell = self._cells(solution)
        angles = self._angles(solution)[:, None]
        return np.asarray(-np.sin(angles) * sines[cell] - np.cos(angles) * cosines[cell])

    def _cells(self, solution: Solution) -> NDArray[np.intp]:
        return np.asarray(np.abs(solution.feet[:, None] - self.basis.edges).argmin(axis=1))

    def _angles(self, solution: Solution) -> Array:
        """Angles of the back at the feet."""
        return np.asarray(solution.angle + self.basis.turn[self._cells(solution)] @ solution.bend)


def _running(parts: Array) -> Array:
    """Running sum over the first axis, from nought."""
    return np.concatenate([np.zeros_like(parts[:1]), np.cumsum(parts, axis=0)])
