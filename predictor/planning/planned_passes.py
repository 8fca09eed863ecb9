"""The passes of a removal plan, if every reading comes as expected: by which way, from what size to what size.

How much to take in a pass follows from `predictor.planning.passes`, what can be taken from `predictor.planning.ways`.
A way is followed by the next where it is used up. A rest too little for saw or sander may go off the corners while
there is width left.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from math import ceil, exp, hypot, inf

import numpy as np
from scipy.special import ndtri

from datasets.record import Side
from datasets.schema import Method, Removal
from predictor.planning.awaited import Awaited, Readings
from predictor.planning.cut_patterns import Patterns
from predictor.planning.kit_state import KitState
from predictor.planning.passes import MOST_PASSES, Noise, Outlook, Step, outlook
from predictor.planning.plan_parts import Ending, Followed, Pass, PlannedCut
from predictor.planning.stakes import Stakes, safe_aim
from predictor.planning.ways import ORDER, Way, Ways

SAW_IN = 1 / 32
"""Least that a saw or sander sensibly takes off the width: 1/64 in on either side. Common practice, no source."""

SHOWN = 41
"""Weights that the weighing after a pass may show, of equal chance."""

OPTIONS = 9
"""Patterns of corners, back or glass that are looked at for a pass."""

LEAST_REST = 0.01
"""Share of the weight that is looked at, at least, for how the rest will scatter."""

SHARE_STEP = 0.05
"""Scatter of the rest is rounded up to a multiple of this, so that one plan needs few tables."""

SAME_LBF = 1e-7
"""Weights that differ by less are the same."""


@dataclass(frozen=True)
class _Standing:
    """Where a kit stands between two passes.

    Attributes:
        way: that is used.
        at: number of its pattern that is reached.
        sd_lbf: what a weighing can still tell.
        taken: off the kit so far.
        finished: whether it has been finish-sanded and shot in a little since.
    """

    way: Way
    at: int
    sd_lbf: float
    taken: tuple[Removal, ...]
    finished: bool = False

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
        readings: expected of weighings to come.
        target_lbf: settled weight promised.
        stakes: of missing it.
        notes: on the tiller.
    """

    ways: Ways
    state: KitState
    readings: Readings
    target_lbf: float
    stakes: Stakes
    notes: tuple[str, ...] = ()

    def followed(self) -> Followed:
        """Return what the plan comes to if every reading comes as expected."""
        standing = _Standing(self.ways.sides, 0, self.state.can_tell_lbf, ())
        first, passes, ending = Step.STOP, list[Pass](), self._ending(Step.STOP, standing, 0, 0)
        shot_in: Awaited | None = None
        for left in range(MOST_PASSES, 0, -1):
            step, standing, to = self._next(standing, left)
            if left == MOST_PASSES:
                first, ending = step, self._ending(step, standing, to, left)
            if step is Step.TAKE_OFF:
                after = self._after(standing, to)
                passes.append(self._pass(standing, after))
                standing = after
            elif step is Step.FINISH:
                shot_in, standing = self._shot_in(standing), self._finished(standing)
            else:
                break
        return Followed(first, tuple(_by_hand(one, passes[-1]) for one in passes), ending, shot_in)

    def weighed_first(self) -> Followed:
        """Return what the plan of a kit that was never weighed comes to: nothing is taken off before it is."""
        start = _Standing(self.ways.sides, 0, self.state.can_tell_lbf, ())
        ahead = self._ending_after(start, start.at, MOST_PASSES)
        return Followed(Step.STRING, (), replace(ahead, passes=ahead.passes - 1))

    def _next(self, standing: _Standing, left: int) -> tuple[Step, _Standing, int]:
        """Return the next step, and for a pass its way and the pattern to cut to."""
        rest = Step.STOP if self._noise(standing).finishing is None else Step.FINISH
        ways = self._from(standing)
        first = next(ways, None)
        if first is None:
            return rest, standing, standing.at
        ahead = self._look(first, left)
        if ahead.step in (Step.WEIGH, Step.FINISH):
            return ahead.step, standing, standing.at
        fitting = self._fitting(first, ways, left, inf if self._is_far(standing) else ahead.end_cost_lbf)
        return (rest, standing, standing.at) if fitting is None else (Step.TAKE_OFF, *fitting)

    def _is_far(self, standing: _Standing) -> bool:
        """Return whether more is to come off before the bow is finished than hand passes are for."""
        finishing = self._noise(standing).finishing
        return finishing is not None and standing.settled_lbf - self.target_lbf > finishing.near_lbf

    def _fitting(
        self, first: _Standing, others: Iterator[_Standing], left: int, most_cost_lbf: float
    ) -> tuple[_Standing, int] | None:
        """Return the way for the next pass and the pattern to cut to; nothing where no pass is worth its cost.

        Off the sides goes what saw or sander can take. A smaller rest waits until the bow is finished, and then goes
        off the sides or the corners by hand, by whichever is expected to cost less.
        """
        options = list(self._options(first, left))
        if first.way.method is Method.SIDES:
            if options and first.settled_lbf - first.way.settled_lbf[options[0][1]] >= self._saw_lbf(first):
                return options[0]
            if self._noise(first).finishing is not None:
                return None
            finer = next(others, None) if self.ways.stiffer is None else None
            if finer is not None and finer.way.method is Method.EDGES:
                options += self._options(finer, left)
        costs = [self._ending_after(one, to, left).cost_lbf for one, to in options]
        if not costs or min(costs) >= most_cost_lbf:
            return None
        return options[costs.index(min(costs))]

    def _from(self, standing: _Standing) -> Iterator[_Standing]:
        """Yield the way that is used and those after it, of each that has room; each is solved as it is asked for."""
        if standing.has_room:
            yield standing
        later = [method for method in self.ways.got if _place(method) > _place(standing.way.method)]
        for method in later:
            way = self.ways.way(method, standing.taken, standing.settled_lbf)
            if way.has_room:
                yield replace(standing, way=way, at=0)

    def _options(self, standing: _Standing, left: int) -> Iterator[tuple[_Standing, int]]:
        """Yield patterns that the next pass may cut to: off the sides the best one, else some of the safe ones."""
        settled = standing.way.settled_lbf
        if standing.way.method is Method.SIDES:
            take = self._look(standing, left).take_lbf
            to = int(np.flatnonzero(settled >= standing.settled_lbf - take - SAME_LBF)[-1])
            if to > standing.at:
                yield standing, to
            return
        safe = [to for to in range(standing.at + 1, len(settled)) if self._is_safe(standing, to)]
        for place in np.unique(np.linspace(0, len(safe) - 1, OPTIONS).round()).astype(int) if safe else ():
            yield standing, safe[place]

    def _is_safe(self, standing: _Standing, to: int) -> bool:
        """Return whether ending under is as unlikely as the shop wants, if the pass were the last."""
        sd = hypot(self._sd_before_weighing(standing, to), self._noise(standing).after_lbf)
        return float(standing.way.settled_lbf[to]) - self.target_lbf >= safe_aim(sd, self.stakes)

    def _look(self, standing: _Standing, left: int) -> Outlook:
        mean = standing.settled_lbf - self.target_lbf
        return outlook(mean, standing.sd_lbf, self.stakes, self._noise(standing), left)

    def _noise(self, standing: _Standing) -> Noise:
        return self.state.noise.finished() if standing.finished else self.state.noise

    def _noise_after(self, standing: _Standing) -> Noise:
        """Return the noise with the share by which what is left to take will scatter, once the next pass is cut.

        Where the sides reach the target it is theirs, else that of the way that is used or, where that ends before, of
        the least sure way after it, for what the ways until then leave over.
        """
        noise, way = self._noise(standing), standing.way
        reaches = way.settled_lbf[-1] <= self.target_lbf
        if reaches and way.method is Method.SIDES:
            return noise
        later = [got for method, got in self.ways.got.items() if _place(method) > _place(way.method)]
        rest = np.log((standing.settled_lbf if reaches else float(way.settled_lbf[-1])) / self.target_lbf)
        some = [way.got] if reaches or not later else later
        share = max(got.relative(max(float(rest), LEAST_REST)) for got in some)
        return replace(noise, share=SHARE_STEP * ceil(share / SHARE_STEP))

    def _finished(self, standing: _Standing) -> _Standing:
        """Return where a kit stands once it is finish-sanded, shot in a little and weighed."""
        finishing, weighing = self.state.noise.finishing, self.state.noise.weighing_lbf
        before = hypot(standing.sd_lbf, 0.0 if finishing is None else finishing.shown_lbf)
        return replace(standing, sd_lbf=before * weighing / hypot(before, weighing), finished=True)

    def _saw_lbf(self, standing: _Standing) -> float:
        """Return what the least step of saw or sander takes."""
        return SAW_IN / float(standing.way.possible.sizes_in.mean()) * standing.settled_lbf

    def _after(self, standing: _Standing, to: int) -> _Standing:
        """Return where a kit stands once a pattern is cut and weighed."""
        before = self._sd_before_weighing(standing, to)
        weighing = self.state.noise.weighing_lbf
        sd = before * weighing / hypot(before, weighing)
        removals = standing.way.possible.removals(self.ways.kit, standing.at, to)
        return replace(standing, at=to, sd_lbf=sd, taken=(*standing.taken, *removals))

    def _sd_before_weighing(self, standing: _Standing, to: int) -> float:
        return hypot(standing.sd_lbf, standing.way.loss_sd_lbf(standing.at, to))

    def _pass(self, standing: _Standing, after: _Standing) -> Pass:
        reading = self._reading_lbf(after)
        loss_sd = standing.way.loss_sd_lbf(standing.at, after.at) / standing.settled_lbf
        return Pass(
            method=after.way.method,
            by_hand=False,
            once_finished=after.finished,
            loss_lbf=standing.settled_lbf - after.settled_lbf,
            cuts=tuple(_cuts(after.way.possible, standing.at, after.at)),
            removals=after.taken[len(standing.taken) :],
            reading_lbf=reading,
            weighing=self.readings.after(reading, self._log_sd(standing.sd_lbf, loss_sd)),
        )

    def _shot_in(self, standing: _Standing) -> Awaited | None:
        """Return the weighing after finish sanding and the first arrows."""
        finishing = self.state.noise.finishing
        shown = 0.0 if finishing is None else finishing.shown_lbf / self.target_lbf
        reading = self._reading_lbf(replace(standing, finished=True))
        return self.readings.after(reading, self._log_sd(standing.sd_lbf, shown))

    def _reading_lbf(self, standing: _Standing) -> float:
        """Return the reading expected at the promised draw."""
        reading = self.state.reading_lbf * standing.settled_lbf / self.state.settled_lbf
        if standing.finished:
            return reading * self.state.shot_in_lbf / self.state.now_lbf
        rounded = any(removal.method is Method.EDGES for removal in standing.taken)
        return reading * exp(-self.ways.edges_sooner) if rounded else reading

    def _log_sd(self, told_lbf: float, log_sd: float) -> float:
        """Return the standard deviation of a reading's logarithm, from that of a bow at the target and one more."""
        return hypot(told_lbf / self.target_lbf, self.state.reading_sd_lbf / self.target_lbf, log_sd)

    def _ending_after(self, standing: _Standing, to: int, left: int) -> Ending:
        """Return how it is likely to end if a pattern is cut and the plan is asked again after each weighing.

        The pattern counts as it was rounded. What the weighing after it may show is taken at the middles of ranges of
        equal chance, for what is done then jumps from weight to weight.
        """
        before, weighing = self._sd_before_weighing(standing, to), self.state.noise.weighing_lbf
        whole = hypot(before, weighing)
        mean = float(standing.way.settled_lbf[to]) - self.target_lbf
        shown = mean + before**2 / whole * ndtri((np.arange(SHOWN) + 0.5) / SHOWN)
        sd = before * weighing / whole
        noise = self._noise_after(standing)
        ahead = [outlook(float(one), sd, self.stakes, noise, left - 1) for one in shown]
        found = [(one.cost_lbf, one.under, one.over, one.passes) for one in ahead]
        cost, under, over, passes = np.mean(found, axis=0).tolist()
        return Ending(cost + self.stakes.pass_cost_lbf, under, over, passes + 1)

    def _ending(self, step: Step, standing: _Standing, to: int, left: int) -> Ending:
        """Return how it is likely to end if a step is taken."""
        if step is Step.TAKE_OFF:
            return self._ending_after(standing, to, left)
        ahead = self._look(standing, 0 if step is Step.STOP else left)
        return Ending(ahead.cost_lbf, ahead.under, ahead.over, ahead.passes)


def _by_hand(one: Pass, last: Pass) -> Pass:
    return one.model_copy(update={"by_hand": one.once_finished or one is last})


def _place(method: Method) -> int:
    return ORDER.index(method)


def _cuts(possible: Patterns, at: int, to: int) -> Iterator[PlannedCut]:
    before, after = possible.sizes_after_in(at), possible.sizes_after_in(to)
    even = bool((before[0] == before[1]).all() and (after[0] == after[1]).all())
    for place, limb in enumerate((Side.BOTH,) if even else (Side.UPPER, Side.LOWER)):
        for station, old, new in zip(possible.stations_in, before[place], after[place], strict=True):
            yield PlannedCut(limb=limb, from_fade_in=station, size_in=old, new_size_in=new)
