"""Fits the hierarchy of effects: scales by penalised restricted likelihood, mistakes weighed down, doubt carried on.

The scales are found in the coordinate of their logarithms, where a quasi-Newton search with the exact gradient takes a
few tens of evaluations. Rounds of that search alternate with a judgement of which builds and readings are mistakes;
the first judgement is made at the prior medians, so one gross record cannot first inflate the scales and then hide.
What is not known of the scales is carried on as a small fixed set of scale points with weights.
"""

from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize
from scipy.special import ndtri
from scipy.stats import qmc

from predictor.belief.mixture import NormalMixture
from predictor.belief.own_history import Slips
from predictor.belief.posterior import Posterior
from training.engine.leave_out import leave_builds_out
from training.engine.readings import Problem, Readings, natural, prepare
from training.engine.restricted_likelihood import Doubts, State, evaluate, gradient
from training.engine.scale_priors import Flat, penalty
from training.engine.suspicion import Suspicion, no_doubts, suspect

Array = NDArray[np.float64]

ROUNDS = 8
"""At most so many rounds of judging mistakes and searching scales."""

SETTLED = 0.01
"""Rounds end when no probability of a mistake moves by more."""

WELL_ENOUGH = (1e-8, 1e-4)
"""Where a search ends whose scales are only to judge mistakes by: tolerances of criterion and gradient."""

WELL = (1e-11, 1e-5)
"""Where the last search ends."""

SEARCH_WIDTH = 5.0
"""How far the logarithm of a scale may go from where it starts."""

SURELY_KNOWN = 0.05
"""A direction of the log scales known to this sd is not spread: it would add 0.03 to the kurtosis of a prediction."""

LONGEST_SPREAD = 1.5
"""Cap of the sd of a direction of the log scales that the readings say nothing of."""

MOST_SCALE_POINTS_LOG2 = 4
"""Two to this power is the largest number of scale points; each direction that is not known doubles them up to it."""

AS_LONG = 1 - 1e-6
"""Share of a direction's longest part from which another is as long: which of them is longer is then rounding."""

CURVATURE_STEP = 0.02
"""Step in a log scale for the differences of the gradient."""


@dataclass(frozen=True, eq=False)
class Fit:
    """The outcome of a fit.

    Attributes:
        posterior: what is believed; the value that is stored.
        state: everything at the best scales.
        criterion: minus twice the log likelihood at the best scales, without the penalty.
        boundary: names of the scales that are best at zero, or that the search left at the edge of its range; a prior
            keeps a scale from both.
        suspicion: of mistakes, or None where none were looked for.
        evaluations: how often the likelihood was computed.
        problem: the readings as fitted.
        doubts: covariance added by suspected mistakes.
    """

    posterior: Posterior
    state: State
    criterion: float
    boundary: tuple[str, ...]
    suspicion: Suspicion | None
    evaluations: int
    readings: Readings
    problem: Problem
    doubts: Doubts

    def leave_builds_out(self) -> NormalMixture:
        """Predict every reading from the other builds: exact at each scale point, the points weighted anew."""
        posterior = self.posterior
        return leave_builds_out(self.readings, self.problem, posterior.scales, posterior.weights, self.doubts)


class _Search:
    """The penalised criterion over the free log scales, counting its evaluations."""

    def __init__(self, readings: Readings, problem: Problem, restricted: bool) -> None:
        self.priors = readings.priors
        self.problem = problem
        self.restricted = restricted
        self.evaluations = 0

    def state(self, scales: Array, doubts: Doubts) -> State:
        """Return the likelihood's state and count it."""
        self.evaluations += 1
        return evaluate(self.problem, scales, doubts, restricted=self.restricted)

    def penalised(self, scales: Array, doubts: Doubts) -> tuple[float, Array]:
        """Return the criterion with its penalty, and the gradient over all log scales."""
        state = self.state(scales, doubts)
        value, slopes = penalty(self.priors, _logs(scales))
        return state.value + value, gradient(self.problem, state) + np.array(slopes)

    def best(
        self,
        scales: Array,
        free: NDArray[np.bool_],
        doubts: Doubts,
        until: tuple[float, float] = WELL,
    ) -> Array:
        """Return the scales with the free ones at their best."""
        if not free.any():
            return scales
        centre = np.log([prior.start for prior in self.priors])[free]
        found = minimize(
            partial(self._free_part, scales, free, doubts),
            np.log(scales[free]),
            jac=True,
            method="L-BFGS-B",
            bounds=[(float(start) - SEARCH_WIDTH, float(start) + SEARCH_WIDTH) for start in centre],
            options={"ftol": until[0], "gtol": until[1]},
        )
        return _with(scales, free, found.x)

    def _free_part(
        self, scales: Array, free: NDArray[np.bool_], doubts: Doubts, logs: Array
    ) -> tuple[float, Array]:
        value, slope = self.penalised(_with(scales, free, logs), doubts)
        return value, slope[free]


def _with(scales: Array, free: NDArray[np.bool_], logs: Array) -> Array:
    changed = scales.copy()
    changed[free] = np.exp(logs)
    return changed


def fit(readings: Readings, slips: Slips | None = None, *, restricted: bool = True) -> Fit:
    """Fit the effects and their scales.

    Args:
        readings: what was read and the columns that explain it.
        slips: what mistakes look like; None takes every reading as sound.
        restricted: restricted likelihood of the scales; otherwise the full one.

    Raises:
        ValueError: the readings do not fit together, see `prepare`.
    """
    problem = prepare(readings)
    search = _Search(readings, problem, restricted)
    free = np.array([prior.free for prior in readings.priors])
    scales = np.array([prior.start for prior in readings.priors])
    doubts, suspicion = no_doubts(problem), None
    if slips is not None:
        scales, doubts, suspicion = _settle_mistakes(search, scales, free, slips)
    scales = search.best(scales, free, doubts)
    scales, on_zero = _boundary(search, scales, free, doubts)
    starts = np.array([prior.start for prior in readings.priors])
    on_edge = np.abs(np.log(np.where(on_zero, starts, scales) / starts)) > SEARCH_WIDTH - SETTLED
    points, squared = _scale_points(search, scales, free & ~on_zero, doubts)
    names = _scale_names(readings)
    state = search.state(scales, doubts)
    return Fit(
        posterior=_posterior(readings, search, points, squared, doubts),
        state=state,
        criterion=state.value,
        boundary=tuple(name for name, zero in zip(names, on_zero | on_edge, strict=True) if zero),
        suspicion=suspicion,
        evaluations=search.evaluations,
        readings=readings,
        problem=problem,
        doubts=doubts,
    )


def _scale_names(readings: Readings) -> tuple[str, ...]:
    groups = (group.name for group in readings.groups)
    return (*groups, *(column.name for column in readings.build_columns), "noise")


def _settle_mistakes(
    search: _Search, scales: Array, free: NDArray[np.bool_], slips: Slips
) -> tuple[Array, Doubts, Suspicion]:
    """Alternate between judging mistakes and searching scales until the judgement stands still."""
    doubts = no_doubts(search.problem)
    before = None
    for _ in range(ROUNDS):
        state = search.state(scales, doubts)
        suspicion, doubts = suspect(search.problem, state, slips)
        if before is not None and np.max(np.abs(suspicion.any - before.any)) < SETTLED:
            break
        before = suspicion
        scales = search.best(scales, free, doubts, WELL_ENOUGH)
    return scales, doubts, suspicion


def _boundary(
    search: _Search, scales: Array, free: NDArray[np.bool_], doubts: Doubts
) -> tuple[Array, NDArray[np.bool_]]:
    """Put each scale without a prior on zero where that is no worse, and search the others again."""
    on_zero = np.zeros(len(scales), dtype=bool)
    for index, prior in enumerate(search.priors[:-1]):
        if not isinstance(prior, Flat):
            continue
        without = scales.copy()
        without[index] = 0.0
        if search.state(without, doubts).value <= search.state(scales, doubts).value + 1e-9:
            on_zero[index] = True
            scales = search.best(without, free & ~on_zero, doubts)
    return scales, on_zero


def _scale_points(
    search: _Search, scales: Array, free: NDArray[np.bool_], doubts: Doubts
) -> tuple[Array, Array]:
    """Return scale points, shape (K, scales), and the squared distance of each from the best scales in sds.

    The points are the first ones of Sobol's sequence, moved to the middle of their cells and laid over the normal
    approximation at the best scales. Scales without a prior density have no posterior density either: then the best
    scales stand alone.
    """
    spread = free & np.array([not isinstance(prior, Flat) for prior in search.priors])
    axes = _unknown_axes(search, scales, spread, doubts)
    if axes.shape[1] == 0 or bool((free & ~spread).any()):
        return scales[None], np.zeros(1)
    steps = _even_normal(axes.shape[1])
    logs = np.log(scales[spread]) + steps @ axes.T
    points = np.array([_with(scales, spread, row) for row in logs])
    return points, np.sum(steps**2, axis=1)


def _unknown_axes(search: _Search, scales: Array, spread: NDArray[np.bool_], doubts: Doubts) -> Array:
    """Return the directions of the log scales that are not surely known, times their sd, shape (free, axes)."""
    places = np.flatnonzero(spread)
    rows = []
    for place in places:
        step = np.ones(len(scales))
        step[place] = np.exp(CURVATURE_STEP)
        above, below = search.penalised(scales * step, doubts)[1], search.penalised(scales / step, doubts)[1]
        rows.append((above - below)[places] / (4 * CURVATURE_STEP))
    if not rows:
        return np.zeros((0, 0))
    curvature, directions = np.linalg.eigh((np.array(rows) + np.array(rows).T) / 2)
    sd = 1 / np.sqrt(np.maximum(curvature, LONGEST_SPREAD**-2))
    axes: Array = (_pointing_up(directions) * sd)[:, sd > SURELY_KNOWN]
    return axes


def _pointing_up(directions: Array) -> Array:
    """Return directions, in columns, each turned so that the first of its longest parts is positive.

    A direction has no sign of its own, but points laid along it that are not mirror images of each other take one.
    """
    longest = np.abs(directions) >= AS_LONG * np.abs(directions).max(axis=0)
    turned: Array = directions * np.sign(directions[longest.argmax(axis=0), np.arange(directions.shape[1])])
    return turned


def _even_normal(dimensions: int) -> Array:
    """Return points spread evenly over a standard normal, shape (points, dimensions), of unit variance."""
    cells = qmc.Sobol(dimensions, scramble=False).random_base2(min(dimensions + 1, MOST_SCALE_POINTS_LOG2))
    normal = ndtri(cells + 0.5 / len(cells))
    even: Array = normal / normal.std(axis=0)
    return even


def _posterior(
    readings: Readings, search: _Search, points: Array, squared: Array, doubts: Doubts
) -> Posterior:
    """Return the effects at each scale point, the points weighted by their posterior density over the normal one."""
    log_ratio, means, covariances = squared / 2, [], []
    for place, point in enumerate(points):
        state = search.state(point, doubts)
        log_ratio[place] -= (state.value + penalty(search.priors, _logs(point))[0]) / 2
        mean, covariance = natural(search.problem, readings, state.mean, state.covariance)
        means.append(mean)
        covariances.append((covariance + covariance.T) / 2)
    levels = (f"{group.name}: {level}" for group in readings.groups for level in group.levels)
    return Posterior(
        effects=(*readings.common_names, *levels),
        groups=tuple(group.name for group in readings.groups),
        build_columns=tuple(column.name for column in readings.build_columns),
        weights=_truncated_shares(log_ratio),
        scales=points,
        means=np.array(means),
        covariances=np.array(covariances),
    )


def _truncated_shares(log_ratio: Array) -> Array:
    """Return importance weights, none above their mean times the root of their number.

    Source: Ionides, Journal of Computational and Graphical Statistics 17 (2008), 295-311 (from memory).
    """
    ratio = np.exp(log_ratio - log_ratio.max())
    ratio = np.minimum(ratio, ratio.mean() * np.sqrt(len(ratio)))
    shares: Array = ratio / ratio.sum()
    return shares


def _logs(scales: Array) -> list[float]:
    """Return log scales, finite for a scale of zero."""
    logs: list[float] = np.log(np.maximum(scales, np.finfo(float).tiny)).tolist()
    return logs
