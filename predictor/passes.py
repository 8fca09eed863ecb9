"""How much to take off in the next pass, when a weighing follows each and nothing can be put back.

What is known of a kit is the settled weight to expect if nothing more is taken off, less the target:
N(m, p^2 + f^2), with p what a weighing can still tell and f the scatter of finishing and shooting in, which it cannot.
A pass that is meant to cost l pounds costs l more or less by the share s, so it leaves N(m - l, p'^2) with
p'^2 = p^2 + (s l)^2. A weighing that errs by w then moves the mean to m'' ~ N(m - l, p'^2 K), K = p'^2 / (p'^2 + w^2),
and leaves p''^2 = p'^2 (1 - K). With n passes left at most, the least expected cost is

    V_0(m, p) = C(m, hypot(p, f))
    V_n(m, p) = min( C(m, hypot(p, f)),  c + min over l of E V_{n-1}(m'', p'') ),

C being the cost of the settled weight and c that of a pass. A pass may only go so deep that the chance of ending under
the tolerance, if it were the last, stays within what the shop allows. That chance is taken anew with each pass, so over
all of them it adds up to more: passes are then held to a smaller one until the whole stays within it too. All is
solved backward on a grid with Gauss-Hermite quadrature, so the same kit always gets the same plan. Source of the
method: Bellman, Dynamic Programming (1957), chapter III (from memory).
"""

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.polynomial.hermite_e import hermegauss
from numpy.typing import NDArray
from scipy.ndimage import map_coordinates
from scipy.special import ndtr

from predictor.stakes import Stakes, expected_cost, safe_aim

Array = NDArray[np.float64]

MOST_PASSES = 6
NODES, NODE_WEIGHTS = hermegauss(11)
NODE_WEIGHTS = NODE_WEIGHTS / NODE_WEIGHTS.sum()
CAUTION = (1.0, 0.7, 0.5, 0.35, 0.25)
"""Shares of the allowed chance of ending under that a single pass is held to, tried in turn."""

GRID_ERROR = 1e-3
"""By which a chance may be off for being taken from the grid."""

DEPTHS = 49
"""Depths tried for each pass, from nothing to as deep as is allowed."""


REACH_STEP_LBF = 8.0
"""The grid reaches up to a multiple of this, so that the next pass of a kit finds the tables of the last one."""


@dataclass(frozen=True)
class Noise:
    """What keeps a kit from ending where it was meant to, in pounds unless the name says otherwise.

    Attributes:
        share: standard deviation of a pass's loss over what was meant, as a share of it.
        weighing_lbf: of a weighing.
        after_lbf: of finishing and shooting in.
    """

    share: float
    weighing_lbf: float
    after_lbf: float


@dataclass(frozen=True)
class Outlook:
    """What is to be expected if the plan is followed to its end.

    Attributes:
        take_lbf: loss to plan for the next pass; zero is to stop here.
        cost_lbf: expected cost, in pounds given away.
        under: chance of ending under the tolerance.
        over: chance of ending over it.
        passes: expected number of passes.
    """

    take_lbf: float
    cost_lbf: float
    under: float
    over: float
    passes: float


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


def _place(values: Array, even: Array) -> Array:
    """Return where values lie among evenly spaced ones, counted in steps."""
    place: Array = (values - even[0]) / (even[1] - even[0])
    return place


def outlook(
    mean_lbf: float, sd_lbf: float, stakes: Stakes, noise: Noise, most_passes: int = MOST_PASSES
) -> Outlook:
    """Return the best next pass and what is to be expected.

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
    tables = _tables(stakes, noise, reach, float(np.ceil(max(sd_lbf, 2.0))))[:most_passes]
    values, take = _best(np.array([mean_lbf]), np.array([sd_lbf]), stakes, noise, tables)
    return Outlook(float(take[0]), *(float(value) for value in values[0]))


@lru_cache(maxsize=32)
def _tables(stakes: Stakes, noise: Noise, reach: float, widest: float) -> tuple[_Table, ...]:
    """Return what is to be expected with no pass left, one, and so on, one table less than there are passes."""
    means = np.linspace(-4 * stakes.tolerance_lbf - 4, reach, 151)
    log_sds = np.linspace(np.log(noise.weighing_lbf / 8), np.log(2 * widest), 13)
    mean, sd = (axis.ravel() for axis in np.meshgrid(means, np.exp(log_sds), indexing="ij"))
    tables: tuple[_Table, ...] = ()
    for _ in range(MOST_PASSES):
        values, _ = _best(mean, sd, stakes, noise, tables)
        tables = (*tables, _Table(means, log_sds, values.T.reshape(4, len(means), len(log_sds))))
    return tables


def _best(
    mean: Array, sd: Array, stakes: Stakes, noise: Noise, tables: tuple[_Table, ...]
) -> tuple[Array, Array]:
    """Return what is to be expected with as many passes as there are tables, shape (n, 4), and the loss to plan."""
    stopped = _stopped(mean, sd, stakes, noise)
    if not tables:
        return stopped, np.zeros_like(mean)
    deepest = np.maximum(_deepest(mean, sd, stakes, noise), 0.0)
    depths = deepest[:, None] * np.linspace(0, 1, DEPTHS)[1:]
    costs = _after_pass(mean[:, None], sd[:, None], depths, noise, tables[-1], slice(1))[..., 0]
    depth = depths[np.arange(len(mean)), np.argmin(costs, axis=1)]
    gone_on = _after_pass(mean, sd, depth, noise, tables[-1], slice(4))
    gone_on += np.array([stakes.pass_cost_lbf, 0, 0, 1])
    goes_on = (gone_on[:, 0] < stopped[:, 0]) & (depth > 0)
    return np.where(goes_on[:, None], gone_on, stopped), np.where(goes_on, depth, 0.0)


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
