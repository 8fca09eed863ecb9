"""Which stack to press for a promised weight.

Wood can be taken off and never put back. A stack is heavy enough if its settled weight W, nothing taken off, reaches
the least weight that keeps the promise; it is light enough if W r, at the least widths allowed, comes down to the
greatest:

    reach  = P(W >= T - t)
    chance = P(W >= T - t and W r^g <= T + t) = reach - P(log W + g log r > log(T + t))

with T the target, t its tolerance, r the share of the weight that the least widths leave by the statics, and g the gain
of taking off the sides, N(mean, sd^2) as the shop's removals have taught it. The least to take off is left by the
thinnest stack whose reach is the one wanted: the fractile rule of an aim when only one side costs much (Edgeworth 1888;
Arrow, Harris and Marschak 1951, from memory).
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from pydantic import Field

from datasets.history import bow_at
from datasets.record import DrawLength, Record
from datasets.schema import Layer, Method
from predictor.belief.columns import Prior
from predictor.belief.posterior import Array
from predictor.belief.weighings import draws_from_back
from predictor.bows.bow import Refusal
from predictor.bows.full_draw import drawn
from predictor.bows.margins import Strained, worst
from predictor.planning.knowledge import Knowledge
from predictor.planning.promise import Promise
from predictor.planning.prospects import Prospect, prospects
from predictor.planning.removal_gains import believed_gain
from predictor.prediction.ranged import Ranged, ranged
from predictor.pressing.blanks import Blank, narrowed
from predictor.pressing.grinding import GRIND_STEP_IN, log_statics, rounded_up, thickness_for
from predictor.pressing.stacks import Stack

STEPS_UP = 3
"""How often a stack that falls short by rounding is made one step thicker."""

MOST_STACKS = 300
"""Stacks that are looked at, those of the fewest lams first."""

FAR = 0.25
"""Logarithm of weight by which the statics alone may be off; stacks further from the promise are passed over."""

NEARLY = 0.005
"""A chance short by less of the one wanted is as good: then the least to take off decides."""

HEAVY_GUESS = 0.12
"""Logarithm by which a stack usually has to be heavier than its target; where the search begins."""


@dataclass(frozen=True)
class Limits:
    """What a shop sets.

    Attributes:
        reach: chance wanted that a stack is heavy enough.
        fade_in: least width at the fade.
        nock_in: least width at the nock.
        strain: highest strain of a lam's face; nothing for the materials' own.
    """

    reach: float
    fade_in: float
    nock_in: float
    strain: float | None = None


class Choice(Record):
    """A stack to press, at the thickness its lams are to be ground to."""

    layers: tuple[Layer, ...]
    stock: tuple[str, ...] = Field(description="that it is taken from")
    ground: bool = Field(description="whether the thickness of any lam was free")
    first: Ranged = Field(description="when first strung")
    settled: Ranged = Field(description="after finishing and shooting in, nothing taken off on purpose")
    excess_lbf: float = Field(description="expected settled weight less the target: what is to be taken off")
    left: float = Field(description="share of its weight that the least widths are expected to leave")
    reach: float = Field(description="chance that it is heavy enough")
    chance: float = Field(
        description="chance that it can be brought to the promise within the widths allowed"
    )
    strain: tuple[Strained, ...] = Field(description="worst place of each material, drawn to the promise")
    notes: tuple[str, ...] = Field(description="what about it no build has shown yet")


class Refused(Record):
    """A stack that cannot be pressed for this promise, and why."""

    layers: tuple[Layer, ...]
    reason: str


class Layup(Record):
    """Stacks for a promise: those that reach it with the least to take off first."""

    choices: tuple[Choice, ...]
    refused: tuple[Refused, ...]
    considered: int
    left_out: int = Field(description="stacks of more lams that were not looked at")


@dataclass(frozen=True)
class _Tried:
    """A stack at a thickness, with what is expected of it and the share of its weight that the least widths leave."""

    stack: Stack
    inch: float
    prospect: Prospect
    left: float = 1.0

    @property
    def layers(self) -> tuple[Layer, ...]:
        return self.stack.layers(self.inch)


def choose(
    stacks: Sequence[Stack],
    blank: Blank,
    promise: Promise,
    knowledge: Knowledge,
    limits: Limits,
    count: int,
) -> Layup:
    """Return the stacks to press for a promise, best first.

    Of stacks from the same stock only the best one is told.

    Args:
        stacks: that can be pressed.
        blank: form, length, widths, brace and string that they get.
        promise: what must be kept.
        knowledge: of the shop.
        limits: of the shop.
        count: how many to return at most.
    """
    looked_at = sorted(stacks, key=lambda stack: len(stack.lams))[:MOST_STACKS]
    promising = list(_promising(looked_at, blank, promise, knowledge))
    tried, refused = _ground(promising, blank, promise, knowledge, limits.reach)
    sides = believed_gain(knowledge, Method.SIDES)
    narrow = _narrowed(tried, blank, promise, knowledge, limits)
    in_order = sorted(narrow, key=_rank(promise, limits, sides))
    choices, strained_too_far = _chosen(in_order, blank, promise, knowledge, limits, sides, count)
    return Layup(
        choices=choices,
        refused=(*refused, *strained_too_far),
        considered=len(looked_at),
        left_out=len(stacks) - len(looked_at),
    )


def _chosen(
    in_order: Sequence[_Tried],
    blank: Blank,
    promise: Promise,
    knowledge: Knowledge,
    limits: Limits,
    sides: Prior,
    count: int,
) -> tuple[tuple[Choice, ...], tuple[Refused, ...]]:
    """Return the first stacks that may be drawn so far, one from each stock, and those before them that may not."""
    choices: dict[object, Choice] = {}
    refused: list[Refused] = []
    for place, one in enumerate(in_order):
        if len(choices) == count:
            break
        kind = one.stack.stock or place
        if kind in choices:
            continue
        strain = strained(one.layers, blank, promise.judged.draw, knowledge, limits.strain)
        if isinstance(strain, Refusal):
            refused.append(_refused(one.layers, strain))
        else:
            choices[kind] = _choice(one, promise, knowledge, strain, sides)
    return tuple(choices.values()), tuple(refused)


def _promising(
    stacks: Sequence[Stack], blank: Blank, promise: Promise, knowledge: Knowledge
) -> Iterator[Stack]:
    """Yield the stacks that may come near the promise; after one that surely can, no other from the same stock."""
    thickest = [blank.build(stack.layers(stack.bounds_in[1])) for stack in stacks]
    logs = log_statics(blank.form, thickest, promise.judged.draw, knowledge.materials)
    done: set[frozenset[str]] = set()
    for stack, log in zip(stacks, logs, strict=True):
        too_heavy = not stack.is_ground and log > promise.most + 2 * FAR
        if log < promise.least - FAR or too_heavy or stack.stock in done:
            continue
        if stack.stock and log > promise.least + FAR:
            done.add(stack.stock)
        yield stack


def _ground(
    stacks: Sequence[Stack], blank: Blank, promise: Promise, knowledge: Knowledge, reach: float
) -> tuple[list[_Tried], list[Refused]]:
    """Return each stack at the least thickness that gives the reach wanted, and those that the statics refuse.

    The statics are solved for the thickness; what belief adds to them is taken at a thickness near by.
    """
    start = np.full(len(stacks), promise.least + HEAVY_GUESS)
    guess = thickness_for(blank, stacks, promise.judged.draw, knowledge.materials, start)
    near, refused = _tried(stacks, guess, blank, promise, knowledge)
    kept = [one.stack for one in near]
    least = [float(one.prospect.settled.quantile(1 - reach)[0]) for one in near]
    wanted = [promise.least + one.prospect.statics - low for one, low in zip(near, least, strict=True)]
    exact = thickness_for(blank, kept, promise.judged.draw, knowledge.materials, np.array(wanted))
    most = np.array([stack.bounds_in[1] for stack in kept])
    tried, refused_now = _tried(kept, rounded_up(exact, most), blank, promise, knowledge)
    for _ in range(STEPS_UP):
        tried = _thicker_where_short(tried, blank, promise, knowledge, reach)
    return tried, [*refused, *refused_now]


def _tried(
    stacks: Sequence[Stack], inches: Array, blank: Blank, promise: Promise, knowledge: Knowledge
) -> tuple[list[_Tried], list[Refused]]:
    """Return stacks at their thicknesses with what is expected of them, and those of which nothing is."""
    nothing = Refusal(reason="the statics give it no weight", where="at any thickness")
    there = [place for place, inch in enumerate(inches) if np.isfinite(inch)]
    builds = [blank.build(stacks[place].layers(float(inches[place]))) for place in there]
    told = dict(zip(there, prospects(blank.form, builds, promise.judged, knowledge), strict=True))
    tried, refused = [], []
    for place, stack in enumerate(stacks):
        prospect = told.get(place, nothing)
        if isinstance(prospect, Refusal):
            refused.append(_refused(stack.layers(stack.bounds_in[0]), prospect))
        else:
            tried.append(_Tried(stack, float(inches[place]), prospect))
    return tried, refused


def _thicker_where_short(
    tried: Sequence[_Tried], blank: Blank, promise: Promise, knowledge: Knowledge, reach: float
) -> list[_Tried]:
    """Return stacks with those that fall short of the reach wanted one step thicker, if they may be."""
    short = [
        one
        for one in tried
        if reaches(one.prospect, promise) < reach and one.inch + GRIND_STEP_IN <= one.stack.bounds_in[1]
    ]
    inches = np.array([one.inch + GRIND_STEP_IN for one in short])
    thicker, _ = _tried([one.stack for one in short], inches, blank, promise, knowledge)
    better = {one.stack: one for one in thicker}
    return [better.get(one.stack, one) for one in tried]


def _narrowed(
    tried: Sequence[_Tried], blank: Blank, promise: Promise, knowledge: Knowledge, limits: Limits
) -> list[_Tried]:
    """Return stacks with the share of their weight that the least widths leave."""
    narrow = [narrowed(blank.form, blank.build(one.layers), limits.fade_in, limits.nock_in) for one in tried]
    logs = log_statics(blank.form, narrow, promise.judged.draw, knowledge.materials)
    return [
        replace(one, left=float(np.exp(log - one.prospect.statics)))
        for one, log in zip(tried, logs, strict=True)
    ]


def reaches(prospect: Prospect, promise: Promise) -> float:
    """Return the chance that a stack is heavy enough for a promise."""
    return float(1 - prospect.settled.cdf(np.array([promise.least]))[0])


def chance_of(prospect: Prospect, promise: Promise, left: float, gain: Prior) -> float:
    """Return the chance that a stack can be brought to a promise.

    Args:
        prospect: of the stack as first cut.
        promise: that must be kept.
        left: share of its weight that the least widths allowed leave by the statics.
        gain: of taking off the sides.
    """
    heavy, loss = prospect.settled, np.log(left)
    least = replace(heavy, means=heavy.means + gain.mean * loss, sds=np.hypot(heavy.sds, gain.sd * loss))
    still_over = 1 - float(least.cdf(np.array([promise.most]))[0])
    return max(reaches(prospect, promise) - still_over, 0.0)


def _rank(
    promise: Promise, limits: Limits, gain: Prior
) -> Callable[[_Tried], tuple[bool, float, float, str]]:
    """Return the order of stacks: of those with the chance wanted the least to take off, then the others by chance."""

    def key(one: _Tried) -> tuple[bool, float, float, str]:
        chance = chance_of(one.prospect, promise, one.left, gain)
        misses = chance < limits.reach - NEARLY
        excess = float(one.prospect.settled.quantile(0.5)[0])
        names = " ".join(f"{layer.material} {layer.butt_in.inch:.3f}" for layer in one.layers)
        return misses, -round(chance, 2) * misses, excess, names

    return key


def strained(
    layers: Sequence[Layer], blank: Blank, draw: DrawLength, knowledge: Knowledge, limit: float | None
) -> tuple[Strained, ...] | Refusal:
    """Return the worst strain of each material of a stack at full draw, or why it must not be drawn so far.

    Args:
        layers: of the stack.
        blank: that it is pressed in.
        draw: at which it is strained.
        knowledge: of materials.
        limit: highest strain that the shop allows; nothing for the materials' own.
    """
    (draw_in,) = draws_from_back(blank.form, [draw])
    bow = bow_at(blank.form, blank.build(layers))
    places = drawn(bow, draw, draw_in, knowledge.materials, limit)
    return places if isinstance(places, Refusal) else worst(places)


def _refused(layers: tuple[Layer, ...], refusal: Refusal) -> Refused:
    return Refused(layers=layers, reason=f"{refusal.reason} ({refusal.where})")


def _choice(
    one: _Tried, promise: Promise, knowledge: Knowledge, strain: tuple[Strained, ...], gain: Prior
) -> Choice:
    (first,), (settled,) = ranged(one.prospect.first), ranged(one.prospect.settled)
    return Choice(
        layers=one.layers,
        stock=tuple(lam.stock for lam in one.stack.lams if lam.stock is not None),
        ground=one.stack.is_ground,
        first=first,
        settled=settled,
        excess_lbf=settled.lbf - promise.weight_lbf,
        left=one.left**gain.mean,
        reach=reaches(one.prospect, promise),
        chance=chance_of(one.prospect, promise, one.left, gain),
        strain=strain,
        notes=knowledge.unfamiliar(one.prospect.told),
    )
