"""The ways that a plan may take stock off a kit, in the order of their use, each down to its limit.

First the sides, to the least widths; then the corners are rounded, the back narrowed, and last the belly's glass
sanded: the order in which makers use them (common practice, no source). What a way takes depends on what the ways
before it have left, so its steps are solved from there.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from datasets.schema import Method, Removal, Stage
from predictor.belief.columns import FINISHED
from predictor.belief.weighings import draws_from_back
from predictor.bows.bow import Refusal
from predictor.planning.cut_patterns import Patterns, Stiffer, patterns, rounding, sanding, trapping
from predictor.planning.kit_state import Kit, KitState
from predictor.planning.knowledge import Knowledge
from predictor.planning.promise import Judged
from predictor.planning.removal_gains import Got, Tried, got_by

Array = NDArray[np.float64]

ORDER = (Method.SIDES, Method.EDGES, Method.TRAP, Method.BELLY_GLASS)

MOST_SHARE = 0.4
"""Largest share of the width that is looked at."""

TRIED_LOSSES = (0.01, 0.05)
"""Shares of the weight that a small and a large thought-of removal take at most, for what is got by their method."""


@dataclass(frozen=True)
class Limits:
    """What a plan may do.

    Attributes:
        least_widths_in: at fade and nock.
        strain: highest face strain at the promise's draw; nothing for the materials' own.
        tiller_in: lowest and highest wanted.
        most_radius_in: that corners may be rounded to.
        most_trap_in: that the back may be narrower than the belly.
        most_glass_off_in: that may be sanded off the belly's glass.
    """

    least_widths_in: tuple[float, float]
    strain: float | None
    tiller_in: tuple[float, float]
    most_radius_in: float = 0.0
    most_trap_in: float = 0.0
    most_glass_off_in: float = 0.0


@dataclass(frozen=True)
class Way:
    """One method's removals from a moment on.

    Attributes:
        possible: in order.
        got: of the loss by the statics.
        settled_lbf: settled weight expected after each, shape (patterns,).
    """

    possible: Patterns
    got: Got
    settled_lbf: Array

    @property
    def method(self) -> Method:
        """How."""
        return self.possible.method

    @property
    def has_room(self) -> bool:
        """Whether anything may be taken off."""
        return len(self.settled_lbf) > 1

    def loss_sd_lbf(self, before: int, after: int) -> float:
        """Return the standard deviation of what is lost from one pattern to another."""
        left = self.possible.left
        return float(self.settled_lbf[before]) * self.got.sd(float(np.log(left[before] / left[after])))


@dataclass(frozen=True)
class Ways:
    """All that may be taken off a kit.

    Attributes:
        kit: as it stands.
        settled_lbf: settled weight expected of it.
        draw_in: from the back of the riser.
        limits: of each method.
        knowledge: of the shop.
        stiffer: the limb whose sides begin.
        got: of the loss by the statics, by method; methods that are not allowed are left out.
        edges_sooner: logarithm that a rounding of the edges takes at once, and finishing then does not.
    """

    kit: Kit
    settled_lbf: float
    draw_in: float
    limits: Limits
    knowledge: Knowledge
    stiffer: Stiffer | None
    got: Mapping[Method, Got]
    edges_sooner: float = 0.0

    @cached_property
    def sides(self) -> Way:
        """The sides, which come first."""
        return self.way(Method.SIDES, (), self.settled_lbf)

    def way(self, method: Method, taken: Sequence[Removal], settled_lbf: float) -> Way:
        """Return one way.

        Args:
            method: one that is allowed.
            taken: off the kit before.
            settled_lbf: settled weight expected after that.
        """
        kit = replace(self.kit, events=(*self.kit.events, *taken))
        possible = _possible(method, kit, self.draw_in, self.limits, self.knowledge, self.stiffer)
        got = self.got[method]
        return Way(possible, got, settled_lbf * np.exp(-got.expected(-np.log(possible.left))))

    def one_after_another(self) -> Iterator[Way]:
        """Yield each way from where the ones before it, taken to their limits, have ended."""
        way = self.sides
        taken: tuple[Removal, ...] = ()
        yield way
        for method in list(self.got)[1:]:
            taken = (*taken, *way.possible.removals(self.kit, 0, -1))
            way = self.way(method, taken, float(way.settled_lbf[-1]))
            yield way


def ways_of(
    kit: Kit,
    state: KitState,
    judged: Judged,
    limits: Limits,
    knowledge: Knowledge,
    stiffer: Stiffer | None = None,
) -> Ways | Refusal:
    """Return what may be taken off a kit, or why the statics refuse a removal.

    Args:
        kit: as it stands.
        state: what is believed of it.
        judged: draw at which the weight counts.
        limits: of each method.
        knowledge: of the shop.
        stiffer: the limb to begin with, if there is one.
    """
    (draw_in,) = draws_from_back(kit.form, [judged.draw])
    tried, deepest = {}, {}
    for method in ORDER[1:]:
        possible = _possible(method, kit, draw_in, limits, knowledge, None)
        if len(possible.left) > 1:
            small, large = (max(possible.deepest_within(loss), 1) for loss in TRIED_LOSSES)
            tried[method] = possible.removals(kit, 0, small), possible.removals(kit, 0, large)
            deepest[method] = float(-np.log(possible.left[large]))
    got = got_by(kit, judged, knowledge, tried, Stage.FINISHED)
    at_once = got_by(kit, judged, knowledge, _only(Method.EDGES, tried), Stage.TILLERED)
    if isinstance(got, Refusal):
        return got
    if isinstance(at_once, Refusal):
        return at_once
    sooner = 0.0
    if Method.EDGES in at_once:
        edges, sooner = _edges(at_once[Method.EDGES], got[Method.EDGES], deepest[Method.EDGES])
        got = {**got, Method.EDGES: edges}
    if kit.stands_at()[0] in FINISHED:
        sooner = 0.0
    by_sides = Got(state.gain, 0.0, state.noise.share * state.gain, 0.0)
    ways = {Method.SIDES: by_sides, **got}
    return Ways(kit, state.settled_lbf, draw_in, limits, knowledge, stiffer, ways, sooner)


def _only(method: Method, tried: Mapping[Method, Tried]) -> Mapping[Method, Tried]:
    return {method: tried[method]} if method in tried else {}


def _edges(at_once: Got, finished: Got, deepest: float) -> tuple[Got, float]:
    """Return what a rounding takes of the finished weight, and the logarithm that it takes at once beyond that.

    Finishing rounds the corners as usual where nothing is noted, so a little rounding costs a finished bow nothing, and
    all beyond the usual one what it costs at once.

    Args:
        at_once: what is got of an unfinished bow's weight.
        finished: the same of a finished one's.
        deepest: loss by the statics of the large removal that both were told of.
    """
    most = np.array([deepest])
    sooner = float((at_once.expected(most) - finished.expected(most))[0])
    return replace(finished, gain=at_once.gain, offset=at_once.offset - sooner), sooner


def _possible(
    method: Method, kit: Kit, draw_in: float, limits: Limits, knowledge: Knowledge, stiffer: Stiffer | None
) -> Patterns:
    """Return what may be taken off a kit by one method."""
    known = knowledge.materials
    if method is Method.SIDES:
        return patterns(kit, draw_in, known, limits.least_widths_in, MOST_SHARE, stiffer)
    if method is Method.EDGES:
        return rounding(kit, draw_in, known, limits.most_radius_in)
    if method is Method.TRAP:
        return trapping(kit, draw_in, known, limits.most_trap_in)
    return sanding(kit, draw_in, known, limits.most_glass_off_in)
