"""The removal plan of a kit: what to take off in each pass, what to read after it, and how it is likely to end.

How much to take in a pass follows from `predictor.passes`, where from `predictor.cut_patterns`. Only the first pass is
to be carried out as it stands: each weighing changes what is believed, and so the rest of the plan.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from math import hypot, sqrt

import numpy as np
from pydantic import Field

from datasets.history import bow_at
from datasets.record import Dimension, DrawLength, Record, Side, Taken
from datasets.schema import Cut, Method, Removal, WeighIn
from predictor.bent import bent_bow
from predictor.bow import Refusal, handbook_moduli, weights
from predictor.cut_patterns import UNDATED, Patterns, Stiffer, patterns, removals
from predictor.kit_state import Kit, KitState, kit_state
from predictor.margins import broken, strained_places
from predictor.passes import MOST_PASSES, Outlook, outlook
from predictor.prospects import Knowledge, Promise
from predictor.stakes import Chances, Stakes, chances
from predictor.tiller import tillered
from predictor.weighings import draws_from_back

BAND = 1.645
"""Standard deviations to either side that hold nine readings of ten."""

MOST_SHARE = 0.4
"""Largest share of the width that is looked at."""

SHORTENINGS_IN = (0.25, 0.5, 0.75, 1.0)
"""Off each nock end, of a bow that is too light."""


@dataclass(frozen=True)
class Limits:
    """What a plan may do.

    Attributes:
        least_widths_in: at fade and nock.
        strain: highest face strain at the promise's draw; nothing for the materials' own.
        tiller_in: lowest and highest wanted.
    """

    least_widths_in: tuple[float, float]
    strain: float | None
    tiller_in: tuple[float, float]


class PlannedCut(Record):
    """Width at one place, before and after a pass."""

    limb: Side
    from_fade_in: float
    width_in: float
    new_width_in: float


class Pass(Record):
    """One pass with the weighing after it."""

    by_hand: bool = Field(description="whether it is the last, which is sanded or scraped by hand")
    loss_lbf: float = Field(description="of weight, expected")
    cuts: tuple[PlannedCut, ...]
    removals: tuple[Removal, ...] = Field(description="as they are to be noted")
    reading_lbf: float = Field(description="expected of the weighing after it")
    low_lbf: float = Field(description="nine readings of ten lie between this and the next")
    high_lbf: float


class Shortened(Record):
    """A bow made heavier by a shorter limb."""

    each_end_in: float
    settled_lbf: float
    refused: str | None = Field(description="why it must not be drawn so far")


class Plan(Record):
    """What to take off a kit for a promise. Weights in pounds, judged as the promise is."""

    build: str
    target_lbf: float
    draw: DrawLength
    shots: int
    scale: str | None = Field(description="on which the promise is judged; nothing for the true force")
    read_on: str | None = Field(description="scale that the readings after each pass are expected on")
    tolerance_lbf: float
    under_to_over: float
    pass_cost_lbf: float
    most_under: float
    now_lbf: float
    kept_for_finishing_lbf: float = Field(description="that edges and finish sanding are expected to take")
    kept_for_shooting_lbf: float = Field(description="that shooting in is expected to take")
    settled_lbf: float = Field(description="expected if nothing more is taken off")
    can_tell_lbf: float = Field(description="standard deviation that weighings can still tell")
    after_lbf: float = Field(description="standard deviation of finishing and shooting in")
    passes: tuple[Pass, ...]
    expected_passes: float
    under: float = Field(description="chance of ending under the tolerance")
    within: float
    over: float
    least_lbf: float | None = Field(
        description="settled weight at the least widths, if the target is below it"
    )
    too_light: bool = Field(
        description="whether it is expected below the target, and ending under is likelier than allowed"
    )
    weigh_again: bool = Field(
        description="whether it is expected over the tolerance, but too little is known of it to take anything off"
    )
    shortened: tuple[Shortened, ...] = Field(description="what would make a light bow heavier")
    notes: tuple[str, ...]


def plan(kit: Kit, promise: Promise, stakes: Stakes, limits: Limits, knowledge: Knowledge) -> Plan | Refusal:
    """Return the plan of a kit, or why there is none: its statics, or strain above the limit.

    Args:
        kit: with its weighings so far.
        promise: weight, tolerance, draw, shots and scale.
        stakes: what missing it costs.
        limits: of widths, strain and tiller.
        knowledge: of the shop.
    """
    unsafe = _unsafe(kit, promise, limits, knowledge)
    if unsafe is not None:
        return unsafe
    state = kit_state(kit, promise, knowledge)
    if isinstance(state, Refusal):
        return state
    stiffer, notes = _stiffer(kit, promise, limits, knowledge)
    (draw_in,) = draws_from_back(kit.form, [promise.judged.draw])
    possible = patterns(kit, draw_in, knowledge.materials, limits.least_widths_in, MOST_SHARE, stiffer)
    first = outlook(state.settled_lbf - promise.weight_lbf, state.can_tell_lbf, stakes, state.noise)
    passes = _last_by_hand(tuple(_passes(kit, state, possible, promise, stakes)))
    least = state.settled_lbf * float(possible.left[-1]) ** state.gain
    out_of_reach = least > promise.weight_lbf + stakes.tolerance_lbf
    below = state.settled_lbf < promise.weight_lbf
    ending = _ending(state, first, promise, stakes, goes_on=bool(passes))
    if out_of_reach:
        ending = Chances(0.0, 0.0, 1.0)
    too_light = not passes and below and ending.under > stakes.most_under
    return Plan(
        build=kit.build.id,
        target_lbf=promise.weight_lbf,
        draw=promise.judged.draw,
        shots=promise.judged.shots,
        scale=promise.judged.scale,
        read_on=state.scale,
        tolerance_lbf=stakes.tolerance_lbf,
        under_to_over=stakes.under_to_over,
        pass_cost_lbf=stakes.pass_cost_lbf,
        most_under=stakes.most_under,
        now_lbf=state.now_lbf,
        kept_for_finishing_lbf=state.now_lbf - state.finished_lbf,
        kept_for_shooting_lbf=state.finished_lbf - state.settled_lbf,
        settled_lbf=state.settled_lbf,
        can_tell_lbf=state.can_tell_lbf,
        after_lbf=state.noise.after_lbf,
        passes=passes,
        expected_passes=first.passes if passes else 0.0,
        under=ending.under,
        within=ending.within,
        over=ending.over,
        least_lbf=least if out_of_reach else None,
        too_light=too_light,
        weigh_again=not passes
        and not out_of_reach
        and state.settled_lbf > promise.weight_lbf + stakes.tolerance_lbf,
        shortened=tuple(_shortened(kit, state, promise, limits, knowledge)) if too_light else (),
        notes=notes,
    )


def _ending(state: KitState, first: Outlook, promise: Promise, stakes: Stakes, *, goes_on: bool) -> Chances:
    """Return the chances if the plan is followed to its end, or if nothing more is taken off."""
    if goes_on:
        return Chances(first.under, 1 - first.under - first.over, first.over)
    sd = hypot(state.can_tell_lbf, state.noise.after_lbf)
    return chances(state.settled_lbf - promise.weight_lbf, sd, stakes)


def _unsafe(kit: Kit, promise: Promise, limits: Limits, knowledge: Knowledge) -> Refusal | None:
    """Return why a bow must not be drawn to its promise; nothing if it may."""
    bow = bow_at(kit.form, kit.build, kit.events)
    draw = promise.judged.draw
    moduli = handbook_moduli(bow, knowledge.materials)
    bent = bent_bow(bow, moduli, draws_from_back(kit.form, [draw]))
    if isinstance(bent, Refusal):
        return bent
    places = strained_places(bent, [draw], knowledge.materials)
    most = max(places, key=lambda place: abs(place.strain))
    if limits.strain is not None and abs(most.strain) > limits.strain:
        return Refusal(reason=f"strain over the shop's limit of {limits.strain:.2%}", where=str(most))
    return broken(places)


def _stiffer(
    kit: Kit, promise: Promise, limits: Limits, knowledge: Knowledge
) -> tuple[Stiffer | None, tuple[str, ...]]:
    """Return the limb that a measured tiller says to begin with, and what is to be noted of the tiller."""
    weigh_ins = [event for event in kit.events if isinstance(event, WeighIn)]
    if not any(one.gap_upper_in and one.gap_lower_in for one in weigh_ins):
        return None, ("no tiller measured, so both limbs are cut alike: measure both gaps at brace",)
    told = tillered(
        kit.form, kit.build, kit.events, promise.judged.draw, knowledge.materials, limits.tiller_in
    )
    if isinstance(told, Refusal):
        return None, (f"tiller not looked at: {told.reason} ({told.where})",)
    if told.stiff is None or not told.cuts:
        return None, told.notes
    return Stiffer(told.stiff, told.cuts[0].amount_in / told.cuts[0].width_in), told.notes


def _passes(
    kit: Kit, state: KitState, possible: Patterns, promise: Promise, stakes: Stakes
) -> Iterator[Pass]:
    """Yield the passes to be expected if every reading comes as expected, the cuts as rounded."""
    settled = state.settled_lbf * possible.left**state.gain
    sd, at = state.can_tell_lbf, 0
    for number in range(MOST_PASSES):
        ahead = outlook(settled[at] - promise.weight_lbf, sd, stakes, state.noise, MOST_PASSES - number)
        to = possible.deepest_within(1 - (settled[at] - ahead.take_lbf) / state.settled_lbf, state.gain)
        if to <= at:
            return
        loss = float(settled[at] - settled[to])
        before = hypot(sd, state.noise.share * loss)
        reading = state.reading_lbf * float(settled[to]) / state.settled_lbf
        band = BAND * hypot(before, state.reading_sd_lbf)
        yield Pass(
            by_hand=False,
            loss_lbf=loss,
            cuts=tuple(_cuts(possible, at, to)),
            removals=removals(kit, possible.stations_in, possible.amounts_in[to] - possible.amounts_in[at]),
            reading_lbf=reading,
            low_lbf=reading - band,
            high_lbf=reading + band,
        )
        told = before**2 / (before**2 + state.noise.weighing_lbf**2)
        sd, at = before * sqrt(1 - told), to


def _last_by_hand(passes: tuple[Pass, ...]) -> tuple[Pass, ...]:
    return tuple(one.model_copy(update={"by_hand": one is passes[-1]}) for one in passes)


def _cuts(possible: Patterns, at: int, to: int) -> Iterator[PlannedCut]:
    before, after = (possible.widths_in - possible.amounts_in[one] for one in (at, to))
    even = bool((before[0] == before[1]).all() and (after[0] == after[1]).all())
    for place, limb in enumerate((Side.BOTH,) if even else (Side.UPPER, Side.LOWER)):
        for station, old, new in zip(possible.stations_in, before[place], after[place], strict=True):
            yield PlannedCut(limb=limb, from_fade_in=station, width_in=old, new_width_in=new)


def _shortened(
    kit: Kit, state: KitState, promise: Promise, limits: Limits, knowledge: Knowledge
) -> Iterator[Shortened]:
    """Yield what shortening both limbs would bring, by the statics."""
    draws = draws_from_back(kit.form, [promise.judged.draw])
    shorter = [_shorter(kit, inch) for inch in SHORTENINGS_IN]
    bows = [bow_at(one.form, one.build, one.events) for one in (kit, *shorter)]
    moduli = [handbook_moduli(bow, knowledge.materials) for bow in bows]
    lbf = weights(bows, moduli, np.array([draws] * len(bows))).lbf[:, 0]
    for inch, one, weight in zip(SHORTENINGS_IN, shorter, lbf[1:], strict=True):
        unsafe = _unsafe(one, promise, limits, knowledge)
        if unsafe is not None:
            yield Shortened(each_end_in=inch, settled_lbf=0.0, refused=f"{unsafe.reason} ({unsafe.where})")
            return
        yield Shortened(each_end_in=inch, settled_lbf=state.settled_lbf * weight / lbf[0], refused=None)


def _shorter(kit: Kit, inch: float) -> Kit:
    cut = Cut(at="nock", amount_in=Dimension(inch=inch, taken=Taken.PLANNED))
    last = kit.events[-1].on if kit.events else UNDATED
    build = kit.build.id
    removal = Removal(id=f"{build}/9999", build=build, on=last, method=Method.SHORTEN, planned=(cut,))
    return Kit(kit.form, kit.build, (*kit.events, removal))
