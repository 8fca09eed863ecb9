"""What to do next with a heavy kit, when a weighing follows each step and nothing can be put back.

What is known of a kit is the settled weight to expect if nothing more is taken off, less the target:
N(m, p^2 + f^2), with p what a weighing can still tell and f the scatter of finishing and shooting in, which it cannot.
A pass that is meant to cost l pounds costs l more or less by the share s, so it leaves N(m - l, p'^2) with
p'^2 = p^2 + (s l)^2. A weighing that errs by w then moves the mean to m'' ~ N(m - l, p'^2 K), with
K = p'^2 / (p'^2 + w^2), and leaves p''^2 = p'^2 (1 - K). Of a bow that is finished and shot in, with n steps left at
most, the least expected cost is

    V_0(m, p) = C(m, hypot(p, f))
    V_n(m, p) = min( C(m, hypot(p, f)),  c + min over l of E V_{n-1}(m'', p'') ),

C being the cost of the settled weight and c that of a pass; one of nothing is a weighing alone. Before that, a bow does
not stop: once what is left to take off can be done by hand, it is finish-sanded and shot in a little, which brings to
light g of what p did not hold, is weighed, and goes on with hand passes and the smaller f that is left:

    U_n(m, p) = min( E V_n(m'', p'') with l = 0 and p'^2 = p^2 + g^2,  c + min over l of E U_{n-1}(m'', p'') ).

A pass may only go so deep that the chance of ending under the tolerance, if it were the last, stays within what the
shop allows. That chance is taken anew with each pass, so over all of them it adds up to more: passes are then held to a
smaller one until the whole stays within it too. All is solved backward on a grid with Gauss-Hermite quadrature, so the
same kit always gets the same plan. Source of the method: Bellman, Dynamic Programming (1957), chapter III (from
memory).
"""

from dataclasses import dataclass, replace
from enum import StrEnum
from functools import lru_cache

import numpy as np
from numpy.polynomial.hermite_e import hermegauss
from numpy.typing import NDArray
from scipy.ndimage import map_coordinates
from scipy.special import ndtr

from predictor.planning.stakes import Stakes, expected_cost, safe_aim

Array = NDArray[np.float64]

MOST_PASSES = 6
"""Steps looked ahead: passes, and weighings without one."""

NODES, NODE_WEIGHTS = hermegauss(9)
NODE_WEIGHTS = NODE_WEIGHTS / NODE_WEIGHTS.sum()
CAUTION = (1.0, 0.7, 0.5, 0.35, 0.25)
"""Shares of the allowed chance of ending under that a single pass is held to, tried in turn."""

GRID_ERROR = 1e-3
"""By which a chance may be off for being taken from the grid."""

DEPTHS, DEPTHS_LATER = 49, 25
"""Depths tried for the next pass and for those after it, from nothing to as deep as is allowed."""

NEAR_POINTS, FAR_STEP_LBF = 81, 0.5
"""Means on the grid near the target, and the step between those above."""

SDS = 5
"""Standard deviations on the grid, from a quarter of a weighing's to all of it, for weighings go before."""

REACH_STEP_LBF = 8.0
"""The grid reaches up to a multiple of this, so that the next pass of a kit finds the tables of the last one."""


class Step(StrEnum):
    """What is done next with a kit; a weighing follows all but the last, and a kit never weighed is strung first."""

    STRING = "string and weigh"
    TAKE_OFF = "take off"
    WEIGH = "weigh again"
    FINISH = "finish and shoot in"
    STOP = "stop"


@dataclass(frozen=True)
class Finishing:
    """What finish sanding and the first arrows will bring to light, in pounds.

    Attributes:
        shown_lbf: standard deviation of what they take.
        after_lbf: of what is still to come then.
        near_lbf: excess over the target that can be taken off by hand after it.
    """

    shown_lbf: float
    after_lbf: float
    near_lbf: float


@dataclass(frozen=True)
class Noise:
    """What keeps a kit from ending where it was meant to, in pounds unless the name says otherwise.

    Attributes:
        share: standard deviation of a pass's loss over what was meant, as a share of it.
        weighing_lbf: of a weighing.
        after_lbf: of finishing and shooting in.
        finishing: that is to be done before the last passes; nothing of a bow that is shot in.
    """

    share: float
    weighing_lbf: float
    after_lbf: float
    finishing: Finishing | None = None

    def finished(self) -> "Noise":
        """Return what is left once the bow is finished and shot in."""
        return (
            self
            if self.finishing is None
            else replace(self, after_lbf=self.finishing.after_lbf, finishing=None)
        )


@dataclass(frozen=True)
class Outlook:
    """What is to be expected if the plan is followed to its end.

    Attributes:
        step: to take next.
        take_lbf: loss to plan for the next pass; zero for any other step.
        cost_lbf: expected cost, in pounds given away.
        under: chance of ending under the tolerance.
        over: chance of ending over it.
        passes: expected number of passes.
        end_cost_lbf: expected cost if the bow is finished now, or left as it is once that is done.
    """

    step: Step
    take_lbf: float
    cost_lbf: float
    under: float
    over: float
    passes: float
    end_cost_lbf: float


@dataclass(frozen=True)
class _Table:
    """Cost, chance of ending under, over, and passes, for each mean and sd, shape (4, means, sds)."""

    means: Array
    log_sds: Array
    values: Array

    def at(self, means: Array, sds: Array, which: slice) -> Array:
        """Return some of the four between the grid's points, and those of its edge beyond it, shape (..., some)."""
        where = np.broadcast_arrays(_place(means, self.means), _place(np.log(sds), self.log_sds))
        some = [map_coordinates(one, where, order=1, mode="nearest") for one in self.values[which]]
        return np.stack(some, axis=-1)


@dataclass(frozen=True)
class _Ahead:
    """Tables with no step left, one, and so on: before the bow is finished, and once it is."""

    unfinished: tuple[_Table, ...]
    finished: tuple[_Table, ...]


def _place(values: Array, among: Array) -> Array:
    """Return where values lie among rising ones, counted in steps."""
    return np.interp(values, among, np.arange(len(among)))


def outlook(
    mean_lbf: float, sd_lbf: float, stakes: Stakes, noise: Noise, most_passes: int = MOST_PASSES
) -> Outlook:
    """Return the best next step and what is to be expected.

    The chance of ending under the tolerance is kept over all passes together, unless even the first weight exceeds it.

    Args:
        mean_lbf: expected settled weight if nothing more is taken off, less the target.
        sd_lbf: what a weighing can still tell of it, positive.
        stakes: the promise.
        noise: of passes, weighings, and what comes after.
        most_passes: left at most, up to `MOST_PASSES`.
    """
    for share in CAUTION:
        careful = replace(stakes, most_under=share * stakes.most_under)
        found = _outlook(mean_lbf, sd_lbf, careful, noise, most_passes)
        if found.under <= stakes.most_under + GRID_ERROR or found.take_lbf == 0:
            break
    return found


def _outlook(mean_lbf: float, sd_lbf: float, stakes: Stakes, noise: Noise, most_passes: int) -> Outlook:
    reach = REACH_STEP_LBF * float(np.ceil(max(mean_lbf + 4 * sd_lbf, 1.0) / REACH_STEP_LBF))
    ahead = _ahead(stakes, noise, reach)
    values, take, end_cost, goes_on = _best(
        np.array([mean_lbf]), np.array([sd_lbf]), stakes, noise, ahead, most_passes, DEPTHS
    )
    step = Step.STOP if noise.finishing is None else Step.FINISH
    if goes_on[0]:
        step = Step.TAKE_OFF if take[0] > 0 else Step.WEIGH
    cost, under, over, passes = values[0].tolist()
    return Outlook(step, float(take[0]), cost, under, over, passes, float(end_cost[0]))


@lru_cache(maxsize=32)
def _ahead(stakes: Stakes, noise: Noise, reach: float) -> _Ahead:
    """Return what is to be expected with no step left, one, and so on; a weighing has been made before any of them."""
    near = 2 * stakes.tolerance_lbf + 2
    means = np.union1d(np.linspace(-near, near, NEAR_POINTS), np.arange(near, reach, FAR_STEP_LBF))
    log_sds = np.log(noise.weighing_lbf) + np.linspace(-np.log(4), 0, SDS)
    mean, sd = (axis.ravel() for axis in np.meshgrid(means, np.exp(log_sds), indexing="ij"))
    ahead = _Ahead((), ())
    for left in range(MOST_PASSES + 1):
        values, *_ = _best(mean, sd, stakes, noise.finished(), ahead, left, DEPTHS_LATER)
        ahead = replace(ahead, finished=(*ahead.finished, _table(means, log_sds, values)))
    for left in range(MOST_PASSES if noise.finishing else 0):
        values, *_ = _best(mean, sd, stakes, noise, ahead, left, DEPTHS_LATER)
        ahead = replace(ahead, unfinished=(*ahead.unfinished, _table(means, log_sds, values)))
    return ahead


def _table(means: Array, log_sds: Array, values: Array) -> _Table:
    return _Table(means, log_sds, values.T.reshape(4, len(means), len(log_sds)))


def _best(
    mean: Array, sd: Array, stakes: Stakes, noise: Noise, ahead: _Ahead, left: int, depths: int
) -> tuple[Array, Array, Array, NDArray[np.bool_]]:
    """Return what is to be expected with so many steps left, shape (n, 4), and what it follows from.

    That is the loss to plan, the cost of not going on, and whether to go on.
    """
    if noise.finishing is None:
        ends, tables = _stopped(mean, sd, stakes, noise), ahead.finished
        may_end = np.ones_like(mean, dtype=bool)
    else:
        shown, tables = np.hypot(sd, noise.finishing.shown_lbf), ahead.unfinished
        ends = _after_pass(mean, shown, np.zeros_like(mean), noise, ahead.finished[left], slice(4))
        may_end = mean <= noise.finishing.near_lbf
    if left == 0:
        return ends, np.zeros_like(mean), ends[:, 0], np.zeros_like(may_end)
    gone_on, depth = _gone_on(mean, sd, stakes, noise, tables[left - 1], depths)
    goes_on = (gone_on[:, 0] < ends[:, 0]) | ~may_end
    return np.where(goes_on[:, None], gone_on, ends), np.where(goes_on, depth, 0.0), ends[:, 0], goes_on


def _gone_on(
    mean: Array, sd: Array, stakes: Stakes, noise: Noise, table: _Table, tried: int
) -> tuple[Array, Array]:
    """Return what is to be expected of the best pass, or of a weighing without one, and the loss to plan."""
    deepest = np.maximum(_deepest(mean, sd, stakes, noise), 0.0)
    depths = deepest[:, None] * np.linspace(0, 1, tried)
    costs = _after_pass(mean[:, None], sd[:, None], depths, noise, table, slice(1))[..., 0]
    depth = depths[np.arange(len(mean)), np.argmin(costs, axis=1)]
    found = _after_pass(mean, sd, depth, noise, table, slice(4))
    found[:, 0] += stakes.pass_cost_lbf
    found[:, 3] += depth > 0
    return found, depth


def _stopped(mean: Array, sd: Array, stakes: Stakes, noise: Noise) -> Array:
    total = np.hypot(sd, noise.after_lbf)
    under = ndtr((-stakes.tolerance_lbf - mean) / total)
    over = ndtr((mean - stakes.tolerance_lbf) / total)
    return np.stack([expected_cost(mean, total, stakes), under, over, np.zeros_like(mean)], axis=-1)


def _deepest(mean: Array, sd: Array, stakes: Stakes, noise: Noise) -> Array:
    """Return the largest loss to plan at which ending under the tolerance stays as unlikely as the shop wants.

    The condition m - l + t = z hypot(p, s l, f) is a quadratic in l.
    """
    z = safe_aim(1.0, stakes) + stakes.tolerance_lbf
    room = mean + stakes.tolerance_lbf
    fixed = sd**2 + noise.after_lbf**2
    a = 1 - (z * noise.share) ** 2
    inside = room**2 - a * (room**2 - z**2 * fixed)
    deepest: Array = np.where(
        (inside >= 0) & (room > z * np.sqrt(fixed)), (room - np.sqrt(np.maximum(inside, 0))) / a, 0.0
    )
    return deepest


def _after_pass(mean: Array, sd: Array, depth: Array, noise: Noise, table: _Table, which: slice) -> Array:
    """Return the expectation of a table over what the weighing after a pass may show, shape (..., some)."""
    before = np.hypot(sd, noise.share * depth)
    told = before**2 / (before**2 + noise.weighing_lbf**2)
    moved, left = before * np.sqrt(told), before * np.sqrt(1 - told)
    shown = table.at((mean - depth)[..., None] + moved[..., None] * NODES, left[..., None], which)
    expected: Array = np.einsum("...kv,k->...v", shown, NODE_WEIGHTS)
    return expected
