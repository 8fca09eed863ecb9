"""Invented shops whose readings are drawn from the very model that training fits, on the columns of real records.

The columns are those of an invented shop's weighings with what its bows were cut by; what stands behind them, scales
and all, is drawn from the priors that training holds. So whatever a fit says of a bow is put to the test as a whole.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from predictor.belief.columns import Columns
from predictor.belief.cutting import CutReading
from predictor.belief.own_history import Slips
from predictor.belief.scatter import BUILD_COLUMNS, GROUPS, NOISE_LOG_SD, SCATTER_LOG_SDS, SCATTER_SDS
from predictor.belief.weighings import Weighing
from training.engine.scale_priors import LogNormal

Array = NDArray[np.float64]


@dataclass
class Truth:
    """What stands behind the readings of one shop, drawn as it is asked for and then kept.

    Attributes:
        rng: source of chance.
        scales: of groups and of effects that each build has of its own.
        phi: size of reading errors over what the bench knows of them.
        effects: by what they are an effect of.
    """

    rng: np.random.Generator
    scales: dict[str, float]
    phi: float
    effects: dict[tuple[str, ...], float] = field(default_factory=dict)

    def effect(self, *name: str, mean: float = 0.0, sd: float) -> float:
        """Return an effect, the same one each time."""
        if name not in self.effects:
            self.effects[name] = mean + sd * self.rng.standard_normal()
        return self.effects[name]

    def reads(self, build: str, name: str, told: Columns) -> Array:
        """Return what columns read: statics, everything that columns name, and a reading error of each row.

        Args:
            build: whose columns they are.
            name: of the weighing.
            told: its columns.
        """
        value = told.offset.copy()
        for effect, column in told.common.items():
            prior = told.priors[effect]
            value += column * self.effect("common", effect, mean=prior.mean, sd=prior.sd)
        for group, levels in told.groups.items():
            for level, column in levels.items():
                value += column * self.effect("group", group, level, sd=self.scales[group])
        for group, lots in told.unnoted.items():
            for material, column in lots.items():
                value += column * self.effect("unnoted", group, material, build, sd=self.scales[group])
        for effect, column in told.build.items():
            value += column * self.effect("build", effect, build, sd=self.scales[effect])
        for given in told.tolerances:
            value += given.column * self.effect("tolerance", given.name, build, sd=1.0)
        for given in told.weighing:
            value += given.column * self.effect("weighing", given.name, build, name, sd=1.0)
        error: Array = self.phi * told.sd * self.rng.standard_normal(len(value))
        return value + error


def draw_truth(rng: np.random.Generator) -> Truth:
    """Draw the scales of a shop from their priors; effects follow as they are asked for."""

    def scale(root: float, log_sd: float) -> float:
        prior = LogNormal.of_mean_square(root, log_sd)
        return prior.median * float(np.exp(prior.log_sd * rng.standard_normal()))

    scales = {name: scale(SCATTER_SDS[name], SCATTER_LOG_SDS[name]) for name in (*GROUPS, *BUILD_COLUMNS)}
    return Truth(rng, scales, scale(1.0, NOISE_LOG_SD))


def drawn(truth: Truth, weighings: Sequence[Weighing], slips: Slips | None = None) -> tuple[Weighing, ...]:
    """Return weighings with readings drawn from a truth, and with mistakes among them if any are wanted."""
    read = [_drawn(truth, weighing) for weighing in weighings]
    return tuple(read if slips is None else _with_slips(truth.rng, read, slips))


def _drawn(truth: Truth, one: Weighing) -> Weighing:
    log_weight = truth.reads(one.build, one.weigh_in, one.columns)
    if one.cut is None:
        return replace(one, log_weight=log_weight)
    (share,) = truth.reads(one.build, "cut", one.cut.columns)
    return replace(one, log_weight=log_weight, cut=CutReading(one.cut.columns, float(share)))


def _with_slips(rng: np.random.Generator, weighings: Sequence[Weighing], slips: Slips) -> Iterator[Weighing]:
    """Shift builds, weighings, readings and cuts, each by the share of them that is wrong."""

    def shift(share: float, count: int = 1) -> Array:
        wrong = rng.random(count) < share
        moved: Array = wrong * slips.sd * rng.standard_normal(count)
        return moved

    of_build = {build: shift(slips.build_share) for build in dict.fromkeys(w.build for w in weighings)}
    for one in weighings:
        read = one.log_weight + of_build[one.build] + shift(slips.weighing_share)
        read = read + shift(slips.reading_share, len(read))
        cut = one.cut
        if cut is not None:
            cut = replace(cut, log_share=cut.log_share + float(shift(slips.cut_share)[0]))
        yield replace(one, log_weight=read, cut=cut)
