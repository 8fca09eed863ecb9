"""What it costs to miss a promised weight, and the weight to aim at.

Inside the promised tolerance nothing is lost. Beyond it a pound over costs one, a pound under costs `under_to_over`,
and either way missing the promise costs `miss_cost_lbf` as such. For a settled weight X ~ N(target + aim, sd^2) and
tolerance t the expected cost is

    C(aim) = E (X - target - t)+ + r E (target - t - X)+ + k P(|X - target| > t)
           = sd L(u) + r sd L(v) + k (Phi(-u) + Phi(-v)),    u = (t - aim)/sd,  v = (t + aim)/sd,

with L(z) = phi(z) - z (1 - Phi(z)) the unit normal loss. Since L'(z) = -(1 - Phi(z)), C is least where

    P(X > target + t) + (k/sd) phi(u) = r P(X < target - t) + (k/sd) phi(v):

without a cost of missing, a pound more is as likely to be given away as, r times over, saved. Without a tolerance this
is the fractile rule P(X < target) = 1 / (1 + r) of the newsvendor; with one it is not, for what lies inside counts on
neither side. As the promise also bounds the chance of ending too light, the aim is the larger of that one and the least
that keeps it.

The cost of missing decides between plans of nearly equal cost: at the tolerance's edge a bow loses next to nothing, but
the promise is as likely broken as kept.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.special import ndtr, ndtri

from datasets.schema import Shop

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Stakes:
    """What a shop holds dear, in pounds given away.

    Attributes:
        tolerance_lbf: promised, either way.
        under_to_over: cost of a pound under the tolerance, in pounds over it.
        pass_cost_lbf: of one more pass with its weighing.
        most_under: largest chance of ending under the tolerance.
        miss_cost_lbf: of ending outside the tolerance at all, by however little.
    """

    tolerance_lbf: float = 1.0
    under_to_over: float = 9.0
    pass_cost_lbf: float = 0.05
    most_under: float = 0.02
    miss_cost_lbf: float = 0.2

    @classmethod
    def of(cls, shop: Shop, tolerance_lbf: float) -> "Stakes":
        """Return a shop's, for a promised tolerance."""
        return cls(
            tolerance_lbf=tolerance_lbf,
            under_to_over=shop.under_to_over_cost,
            pass_cost_lbf=shop.pass_cost_lbf,
            most_under=shop.most_under_chance,
            miss_cost_lbf=shop.miss_cost_lbf,
        )


@dataclass(frozen=True)
class Chances:
    """Chances of a settled weight."""

    under: float
    within: float
    over: float


def expected_cost(aim_lbf: Array | float, sd_lbf: Array | float, stakes: Stakes) -> Array:
    """Return the expected cost in pounds given away, of a normal weight; arguments broadcast.

    Args:
        aim_lbf: expected settled weight less the target.
        sd_lbf: its standard deviation, positive.
        stakes: the promise.
    """
    aim, sd = np.asarray(aim_lbf, dtype=float), np.asarray(sd_lbf, dtype=float)
    over, under = (stakes.tolerance_lbf - aim) / sd, (stakes.tolerance_lbf + aim) / sd
    missed = stakes.miss_cost_lbf * (ndtr(-over) + ndtr(-under))
    cost: Array = sd * (_unit_loss(over) + stakes.under_to_over * _unit_loss(under)) + missed
    return cost


def _unit_loss(z: Array) -> Array:
    loss: Array = _density(z) - z * ndtr(-z)
    return loss


def _density(z: Array | float) -> Array:
    density: Array = np.exp(-np.square(z) / 2) / np.sqrt(2 * np.pi)
    return density


def chances(aim_lbf: float, sd_lbf: float, stakes: Stakes) -> Chances:
    """Return the chances of a normal weight to end under, within and over the tolerance."""
    under = float(ndtr((-stakes.tolerance_lbf - aim_lbf) / sd_lbf))
    over = float(ndtr((aim_lbf - stakes.tolerance_lbf) / sd_lbf))
    return Chances(under, 1 - under - over, over)


def cheapest_aim(sd_lbf: float, stakes: Stakes) -> float:
    """Return the expected weight less the target that costs least, whatever the chance of ending under."""

    def excess(aim: float) -> float:
        found = chances(aim, sd_lbf, stakes)
        over, under = (_density((stakes.tolerance_lbf + side * aim) / sd_lbf) / sd_lbf for side in (-1, 1))
        missed = stakes.miss_cost_lbf * float(over - under)
        return found.over - stakes.under_to_over * found.under + missed

    reach = stakes.tolerance_lbf + 10 * sd_lbf
    return float(brentq(excess, -reach, reach, xtol=1e-12 * reach))


def safe_aim(sd_lbf: float, stakes: Stakes) -> float:
    """Return the least expected weight less the target that keeps the chance of ending under."""
    return float(-stakes.tolerance_lbf - ndtri(stakes.most_under) * sd_lbf)
