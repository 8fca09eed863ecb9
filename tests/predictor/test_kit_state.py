"""What a kit will settle at after a cut: against 20,000 bows drawn by lot, each with its own losses."""

from dataclasses import dataclass
from functools import cache

import numpy as np
import pytest
from numpy.typing import NDArray

from datasets.materials import handbook
from datasets.schema import Event, Removal, Stage
from predictor.columns import Columns, columns
from predictor.cut_patterns import patterns, removals
from predictor.features import Case, Features, features
from predictor.kit_state import KitState
from predictor.own_history import USUAL_SLIPS
from predictor.scatter import PRIOR_SCATTER, SCALE_MEDIANS
from predictor.weighings import moment_at
from tests.predictor.bows import STRAIGHT, build
from tests.predictor.kits import DRAW, DRAW_IN, kit, state, weigh_in

Array = NDArray[np.float64]
DRAWS = 20_000
READ_LBF = 50.0
TARGET_LBF = 45.0


def cut() -> tuple[Removal, ...]:
    """Return a plan that takes about a twelfth off the width."""
    possible = patterns(kit(), DRAW_IN, handbook(), (0.3, 0.2), 0.2)
    return removals(kit(), possible.stations_in, possible.amounts_in[possible.deepest_within(1 / 12)])


def depends_on(events: tuple[Event, ...], stage: Stage, shots: int) -> Columns:
    """Return what a weighing of the plain bow on its scale depends on."""
    (found,) = features([Case(STRAIGHT, build(), events, (DRAW_IN,))], handbook())
    assert isinstance(found, Features)
    moment = moment_at(STRAIGHT, build(), [DRAW], stage, shots, "hook")
    return columns(found, moment, handbook(), PRIOR_SCATTER)


class Lots:
    """Bows drawn by lot: each effect has one value in a bow, whatever weighing it enters.

    Attributes:
        rng: where chance comes from.
        drawn: standard normal values by name, one a bow.
    """

    def __init__(self, seed: int) -> None:
        self.rng = np.random.default_rng(seed)
        self.drawn: dict[str, Array] = {}

    def value(self, name: str) -> Array:
        """Return standard normal values of an effect."""
        return self.drawn.setdefault(name, self.rng.standard_normal(DRAWS))

    def log_lbf(self, told: Columns) -> Array:
        """Return the logarithm of what each bow weighs, without the air of the day and the errors of reading."""
        total = np.full(DRAWS, told.offset[0])
        for name, column in told.common.items():
            prior = told.priors[name]
            total += column[0] * (prior.mean + prior.sd * self.value(name))
        for group, levels in told.groups.items():
            for level, column in levels.items():
                total += column[0] * SCALE_MEDIANS[group] * self.value(f"{group}: {level}")
        for name, column in told.build.items():
            total += column[0] * SCALE_MEDIANS[name] * self.value(f"own {name}")
        for given in told.tolerances:
            total += given.column[0] * self.value(f"size {given.name}")
        return total


@dataclass(frozen=True)
class Weighted:
    """A number of each bow, and how well each bow agrees with what was read."""

    values: Array
    weights: Array

    @property
    def mean(self) -> float:
        """Mean of the bows that agree."""
        return float(np.average(self.values, weights=self.weights))

    @property
    def sd(self) -> float:
        """Their standard deviation."""
        return float(np.sqrt(self.moment(2)))

    def moment(self, power: int) -> float:
        """Return a central moment."""
        return float(np.average((self.values - self.mean) ** power, weights=self.weights))

    @property
    def bows(self) -> float:
        """How many bows of equal weight would tell as much (Kish, Survey Sampling, 1965, section 11.7, from memory)."""
        return float(self.weights.sum() ** 2 / (self.weights**2).sum())

    @property
    def mean_error(self) -> float:
        """Standard error of the mean."""
        return self.sd / np.sqrt(self.bows)

    @property
    def sd_error(self) -> float:
        """Standard error of the standard deviation, by the fourth moment."""
        return float(np.sqrt((self.moment(4) - self.sd**4) / self.bows) / (2 * self.sd))


@cache
def settled_by_lot(with_cut: bool) -> Weighted:
    """Return the logarithm of the settled weight of bows that read 50 lb before the cut."""
    lots = Lots(20261125)
    reading = depends_on((), Stage.TILLERED, 0)
    settled = lots.log_lbf(depends_on(cut() if with_cut else (), Stage.SETTLED, 500))
    read, slipped = lots.log_lbf(reading), slips(lots.rng)
    error = np.hypot(reading.sd[0], reading.weighing[0].column[0])
    off = np.log(READ_LBF) - read - slipped.sum(axis=0)
    # A wrong record of the bow shifts what it settles at as well.
    return Weighted(settled + slipped[0], np.exp(-((off / error) ** 2) / 2))


def slips(rng: np.random.Generator) -> Array:
    """Return shifts by a wrong record of the bow, and by a wrong weighing or reading, shape (2, bows)."""
    shares = [USUAL_SLIPS.build_share, USUAL_SLIPS.weighing_share + USUAL_SLIPS.reading_share]
    kind = rng.choice(3, size=DRAWS, p=[*shares, 1 - sum(shares)])
    return (kind == np.arange(2)[:, None]) * USUAL_SLIPS.sd * rng.standard_normal(DRAWS)


def told() -> tuple[KitState, float]:
    """Return the state of the kit that read 50 lb, and the logarithm of the loss that the statics tell of the cut."""
    bows = [(), cut()]
    found = features([Case(STRAIGHT, build(), events, (DRAW_IN,)) for events in bows], handbook())
    before, after = (one.weight_lbf[0] for one in found if isinstance(one, Features))
    return state(weigh_in(1, READ_LBF)), float(np.log(before / after))


@pytest.mark.parametrize("with_cut", [False, True])
def test_settled_weight_is_that_of_bows_drawn_by_lot(with_cut: bool) -> None:
    """Mean and sd of the settled weight, as it stands and after a cut, are those of 20,000 bows, to 4 standard errors.

    The bows are drawn from all that a weight depends on and weighted by how well they agree with the reading; the state
    has closed forms, and takes the doubt about the cut as independent of the bow's own weight.
    """
    lots = settled_by_lot(with_cut)
    found, loss = told()
    loss = found.gain * loss if with_cut else 0.0
    sd = np.hypot(found.can_tell_lbf, found.noise.after_lbf) / TARGET_LBF

    assert lots.bows > 1000
    assert np.log(found.settled_lbf) - loss == pytest.approx(lots.mean, abs=4 * lots.mean_error)
    assert np.hypot(sd, found.noise.share * loss) == pytest.approx(lots.sd, abs=4 * lots.sd_error)
