"""The passes of a removal plan, if every reading comes as expected: by which way, from what size to what size.

How much to take in a pass follows from `predictor.passes`, what can be taken from `predictor.ways`. A way gives way to
the next where it is used up, and the sides to the corners where what is left to take is too little for saw or sander.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from math import hypot, sqrt

import numpy as np
from pydantic import Field
from scipy.special import ndtri

from datasets.record import Record, Side
from datasets.schema import Method, Removal
from predictor.cut_patterns import Patterns
from predictor.kit_state import KitState
from predictor.passes import MOST_PASSES, outlook
from predictor.stakes import Stakes, chances
from predictor.ways import ORDER, Way, Ways

BAND = 1.645
"""Standard deviations to either side that hold nine readings of ten."""

SAW_IN = 1 / 32
"""Least that a saw or sander sensibly takes off the width: 1/64 in on either side. Common practice, no source."""

SHOWN = 41
"""Weights that the weighing after a pass may show, of equal chance."""

SAME_LBF = 1e-7
"""Weights that differ by less are the same."""


class PlannedCut(Record):
    """A size at one place, before and after a pass: width, back's width, corner radius or thickness of the glass."""

    limb: Side
    from_fade_in: float
    size_in: float
    new_size_in: float


class Pass(Record):
    """One pass with the weighing after it."""

    method: Method = Field(description="how: by the sides, the edges, the trap or the belly's glass")
    by_hand: bool = Field(
        description="whether it is the last, which is sanded or scraped by hand to the line"
    )
    loss_lbf: float = Field(description="of the settled weight, expected of the cuts as rounded")
    cuts: tuple[PlannedCut, ...]
    removals: tuple[Removal, ...] = Field(description="as they are to be noted")
    reading_lbf: float = Field(description="expected of the weighing after it")
    low_lbf: float = Field(description="nine readings of ten lie between this and the next")
    high_lbf: float


@dataclass(frozen=True)
class Ending:
    """How a plan is likely to end: chances of ending under and over the tolerance, and passes expected."""

    under: float
    over: float
    passes: float


@dataclass(frozen=True)
class _Standing:
    """Where a kit stands between two passes.

    Attributes:
        way: that is used.
        at: number of its pattern that is reached.
        sd_lbf: what a weighing can still tell.
        taken: off the kit so far.
    """

    way: Way
    at: int
    sd_lbf: float
    taken: tuple[Removal, ...]

    @property
    def settled_lbf(self) -> float:
        """Settled weight expected."""
        return float(self.way.settled_lbf[self.at])

    @property
    def has_room(self) -> bool:
        """Whether its way has more to take."""
        return self.at + 1 < len(self.way.settled_lbf)


@dataclass(frozen=True)
class Planner:
    """What passes follow from.

    Attributes:
        ways: that may be used.
        state: of the kit.
        target_lbf: settled weight promised.
        stakes: of missing it.
    """

    ways: Ways
    state: KitState
    target_lbf: float
    stakes: Stakes

    def passes(self) -> tuple[Pass, ...]:
        """Return the passes to be expected, the last one by hand."""
        found = tuple(self._passes())
        return tuple(one.model_copy(update={"by_hand": one is found[-1]}) for one in found)

    def _passes(self) -> Iterator[Pass]:
        standing = _Standing(self.ways.sides, 0, self.state.can_tell_lbf, ())
        for number in range(MOST_PASSES):
            fitting = self._fitting(standing, MOST_PASSES - number)
            if fitting is None:
                return
            standing, to = fitting
            if to <= standing.at:
                return
            after = self._after(standing, to)
            yield self._pass(standing, after)
            standing = after

    def _fitting(self, standing: _Standing, left: int) -> tuple[_Standing, int] | None:
        """Return the way for the next pass and the pattern to cut to; nothing where all ways are used up."""
        ways = self._from(standing)
        first = next(ways, None)
        if first is None:
            return None
        take = self._take_lbf(first, left)
        if take < self._saw_lbf(first):
            finer = next(ways, None)
            if finer is not None and finer.way.method is Method.EDGES:
                first, take = finer, self._take_lbf(finer, left)
        deep = np.flatnonzero(first.way.settled_lbf >= first.settled_lbf - take - SAME_LBF)
        return first, int(deep[-1])

    def _from(self, standing: _Standing) -> Iterator[_Standing]:
        """Yield the way that is used and those after it, of each that has room."""
        if standing.has_room:
            yield standing
        later = [method for method in self.ways.got if _place(method) > _place(standing.way.method)]
        for method in later:
            way = self.ways.way(method, standing.taken, standing.settled_lbf)
            if way.has_room:
                yield replace(standing, way=way, at=0)

    def _take_lbf(self, standing: _Standing, left: int) -> float:
        noise = replace(self.state.noise, share=standing.way.share)
        mean = standing.settled_lbf - self.target_lbf
        return outlook(mean, standing.sd_lbf, self.stakes, noise, left).take_lbf

    def _saw_lbf(self, standing: _Standing) -> float:
        """Return what the least step of saw or sander takes; a tiller that is off is set right by the sides anyhow."""
        if standing.way.method is not Method.SIDES or self.ways.stiffer is not None:
            return 0.0
        return SAW_IN / float(standing.way.possible.sizes_in.mean()) * standing.settled_lbf

    def _after(self, standing: _Standing, to: int) -> _Standing:
        """Return where a kit stands once a pattern is cut and weighed."""
        before = self._sd_before_weighing(standing, to)
        weighing = self.state.noise.weighing_lbf
        sd = before * weighing / hypot(before, weighing)
        removals = standing.way.possible.removals(self.ways.kit, standing.at, to)
        return replace(standing, at=to, sd_lbf=sd, taken=(*standing.taken, *removals))

    def _sd_before_weighing(self, standing: _Standing, to: int) -> float:
        loss = standing.settled_lbf - float(standing.way.settled_lbf[to])
        return hypot(standing.sd_lbf, standing.way.share * loss)

    def _pass(self, standing: _Standing, after: _Standing) -> Pass:
        reading = self.state.reading_lbf * after.settled_lbf / self.state.settled_lbf
        band = BAND * hypot(self._sd_before_weighing(standing, after.at), self.state.reading_sd_lbf)
        return Pass(
            method=after.way.method,
            by_hand=False,
            loss_lbf=standing.settled_lbf - after.settled_lbf,
            cuts=tuple(_cuts(after.way.possible, standing.at, after.at)),
            removals=after.taken[len(standing.taken) :],
            reading_lbf=reading,
            low_lbf=reading - band,
            high_lbf=reading + band,
        )

    def ending(self, passes: Sequence[Pass]) -> Ending:
        """Return how it is likely to end if the plan is asked again after each weighing.

        The first pass is cut as rounded. What the weighing after it may show is taken at the middles of ranges of equal
        chance, for what is done then jumps from weight to weight.
        """
        mean, sd = self.state.settled_lbf - self.target_lbf, self.state.can_tell_lbf
        if not passes:
            return self._without_passes(mean, sd)
        noise = replace(self.state.noise, share=self.ways.got[passes[0].method].share)
        before = hypot(sd, noise.share * passes[0].loss_lbf)
        told = before**2 / (before**2 + noise.weighing_lbf**2)
        shown = mean - passes[0].loss_lbf + before * sqrt(told) * ndtri((np.arange(SHOWN) + 0.5) / SHOWN)
        ahead = [
            outlook(float(one), before * sqrt(1 - told), self.stakes, noise, MOST_PASSES - 1) for one in shown
        ]
        under, over, more = np.mean([(one.under, one.over, one.passes) for one in ahead], axis=0).tolist()
        return Ending(under, over, more + 1)

    def _without_passes(self, mean: float, sd: float) -> Ending:
        """Return how it is likely to end where nothing is to be taken off now, or less than can be marked."""
        ahead = outlook(mean, sd, self.stakes, self.state.noise)
        if ahead.take_lbf == 0:
            return Ending(ahead.under, ahead.over, ahead.passes)
        found = chances(mean, hypot(sd, self.state.noise.after_lbf), self.stakes)
        return Ending(found.under, found.over, 0.0)


def _place(method: Method) -> int:
    return ORDER.index(method)


def _cuts(possible: Patterns, at: int, to: int) -> Iterator[PlannedCut]:
    before, after = possible.sizes_after_in(at), possible.sizes_after_in(to)
    even = bool((before[0] == before[1]).all() and (after[0] == after[1]).all())
    for place, limb in enumerate((Side.BOTH,) if even else (Side.UPPER, Side.LOWER)):
        for station, old, new in zip(possible.stations_in, before[place], after[place], strict=True):
            yield PlannedCut(limb=limb, from_fade_in=station, size_in=old, new_size_in=new)
