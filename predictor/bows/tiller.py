"""Tiller: how two limbs share the work, what a measured tiller tells of them, and what sets it right.

Tiller is the upper less the lower distance from string to belly at the fades, square to the string. It is positive
where the lower limb is the stiffer. Stock is taken off the stiffer limb alone, and costs weight.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from pydantic import Field

from datasets.history import LimbAt, bow_at, events_until
from datasets.materials import Material
from datasets.record import DrawLength, NamedPlace, Record, Side
from datasets.removals import place_in
from datasets.schema import Build, Event, Form, Method, Removal, WeighIn
from datasets.thought_of import thought_of
from datasets.zero_points import from_back
from predictor.bows.bow import Refusal, handbook_moduli
from predictor.bows.limbs_apart import left_open
from predictor.bows.pairs import Pair, balanced

SPLIT_FINGER_IN = (1 / 8, 1 / 4)
"""Lowest and highest tiller wanted for a split-finger hold; even limbs for three fingers under. Common practice, no
source."""

_FIRST_SHARE = 0.01
_LARGEST_SHARE = 0.25
_CLOSE_IN = 1e-4
_TRIES = 8
_PLACES: tuple[NamedPlace, ...] = ("fade", "mid", "nock")


class TillerCut(Record):
    """Width to take off at one place."""

    from_fade_in: float
    width_in: float
    amount_in: float


class Tillered(Record):
    """A bow's tiller, which limb is the stiffer, and what sets it right. Lengths in inches, upper less lower."""

    build: str
    draw: DrawLength
    from_records_in: float = Field(description="tiller by the recorded dimensions alone")
    measured_in: float | None = Field(description="as last measured")
    tiller_in: float = Field(description="as believed from both, for the bow as it stands")
    tiller_sd_in: float
    difference: float = Field(
        description="log stiffness of the upper limb over the lower one, beyond the records"
    )
    difference_sd: float
    wanted_in: tuple[float, float]
    stiff: Side | None = Field(
        description="the limb to take stock off; none if the tiller is as wanted, or not measured"
    )
    cuts: tuple[TillerCut, ...] = Field(description="off the whole width of the stiff limb, at stations")
    after_in: float = Field(description="tiller after the cuts")
    weight_lbf: float = Field(description="by beam statics at handbook moduli")
    weight_after_lbf: float
    notes: tuple[str, ...]


def tillered(
    form: Form,
    build: Build,
    events: Sequence[Event],
    draw_length: DrawLength,
    materials: Mapping[str, Material],
    wanted_in: tuple[float, float] = SPLIT_FINGER_IN,
) -> Tillered | Refusal:
    """Return a build's tiller and what to take off which limb for the middle of the range that is wanted.

    Args:
        form: the form revision that the build points at.
        build: the build.
        events: its history so far, in order.
        draw_length: where its weight is told.
        materials: every material that its layers name.
        wanted_in: lowest and highest tiller wanted.

    Returns:
        The tiller, or why the bow cannot be braced or drawn so far.
    """
    draw_in = from_back(draw_length.inch, draw_length.zero, form.handle_depth_in.inch)
    standing = Standing(form, build, tuple(events), materials, 0.0, draw_in)
    by_records = after(standing)
    if isinstance(by_records, Refusal):
        return by_records
    measured = _last_measured(events)
    moment = events if measured is None else events_until(events, measured.weigh_in)
    opened = left_open(form, build, moment, materials)
    if isinstance(opened, Refusal):
        return opened
    believed = opened.prior if measured is None else opened.given(measured.tiller_in)
    standing = replace(standing, difference=believed.mean)
    now = after(standing)
    if isinstance(now, Refusal):
        return now
    cutting = _Cutting(None, (), now) if measured is None else _cut_to(standing, now, wanted_in)
    if isinstance(cutting, Refusal):
        return cutting
    return Tillered(
        build=build.id,
        draw=draw_length,
        from_records_in=by_records.tiller_in,
        measured_in=None if measured is None else measured.tiller_in,
        tiller_in=now.tiller_in,
        tiller_sd_in=abs(opened.per_difference_in) * believed.sd,
        difference=believed.mean,
        difference_sd=believed.sd,
        wanted_in=wanted_in,
        stiff=cutting.limb,
        cuts=cutting.cuts,
        after_in=cutting.after.tiller_in,
        weight_lbf=now.weight_lbf,
        weight_after_lbf=cutting.after.weight_lbf,
        notes=tuple(_notes(measured, events, cutting, wanted_in)),
    )


@dataclass(frozen=True)
class _Measured:
    """A tiller that was measured, and when."""

    weigh_in: WeighIn
    tiller_in: float


def _last_measured(events: Sequence[Event]) -> _Measured | None:
    """Return the tiller of the last weighing at which both gaps were noted."""
    for event in reversed(events):
        if isinstance(event, WeighIn) and event.gap_upper_in is not None and event.gap_lower_in is not None:
            return _Measured(event, event.gap_upper_in.inch - event.gap_lower_in.inch)
    return None


@dataclass(frozen=True)
class Standing:
    """A build as it stands.

    Attributes:
        difference: as in `Difference`, as far as it is believed.
        draw_in: where it is weighed, inches from the back of the riser.
    """

    form: Form
    build: Build
    events: tuple[Event, ...]
    materials: Mapping[str, Material]
    difference: float
    draw_in: float


@dataclass(frozen=True)
class AfterRemoval:
    """Tiller in inches, upper less lower, and weight in pounds by the statics at handbook moduli."""

    tiller_in: float
    weight_lbf: float


def after(standing: Standing, *removals: Removal) -> AfterRemoval | Refusal:
    """Return tiller and weight of a build after removals, which may be of one limb, or none at all."""
    bow = bow_at(standing.form, standing.build, (*standing.events, *removals))
    moduli = handbook_moduli(bow, standing.materials)
    solved = balanced([Pair(bow, moduli, moduli, standing.difference)], standing.draw_in)
    if isinstance(solved, Refusal):
        return solved
    return AfterRemoval(float(solved.tiller_in[0]), float(solved.weight_lbf[0]))


@dataclass(frozen=True)
class _Cutting:
    """What to take off which limb, and what comes of it."""

    limb: Side | None
    cuts: tuple[TillerCut, ...]
    after: AfterRemoval


def _cut_to(standing: Standing, now: AfterRemoval, wanted_in: tuple[float, float]) -> _Cutting | Refusal:
    """Narrow the stiffer limb by one share of its width all along, until the tiller is amid what is wanted.

    The share is found by the secant method; at most a fourth of the width is taken.
    """
    low, high = wanted_in
    if low <= now.tiller_in <= high:
        return _Cutting(None, (), now)
    side = Side.UPPER if now.tiller_in < low else Side.LOWER
    middle = (low + high) / 2
    before, share = (0.0, now.tiller_in - middle), _FIRST_SHARE
    for _ in range(_TRIES):
        removal = _narrowing(standing, side, share)
        then = after(standing, removal)
        if isinstance(then, Refusal):
            return then
        cutting = _Cutting(side, _told(standing, side, removal), then)
        off = then.tiller_in - middle
        if abs(off) < _CLOSE_IN or (share == _LARGEST_SHARE and off * before[1] > 0):
            break
        step = off * (share - before[0]) / (off - before[1])
        before, share = (share, off), min(share - step, _LARGEST_SHARE)
    return cutting


def _narrowing(standing: Standing, side: Side, share: float) -> Removal:
    """Return the removal of a share of one limb's width at fade, middle and nock."""
    cuts = [(at, share * width) for at, width in zip(_PLACES, _widths(standing, side), strict=True)]
    (removal,) = thought_of(standing.build, standing.events, Method.SIDES, {side: cuts})
    return removal


def _widths(standing: Standing, side: Side) -> list[float]:
    limb = _limb(standing, side)
    return [float(np.interp(place_in(at, limb.length), *limb.width_belly)) for at in _PLACES]


def _limb(standing: Standing, side: Side) -> LimbAt:
    bow = bow_at(standing.form, standing.build, standing.events)
    return bow.upper if side is Side.UPPER else bow.lower


def _told(standing: Standing, side: Side, removal: Removal) -> tuple[TillerCut, ...]:
    length = _limb(standing, side).length
    return tuple(
        TillerCut(from_fade_in=place_in(cut.at, length), width_in=width, amount_in=cut.amount_in.inch)
        for cut, width in zip(removal.planned, _widths(standing, side), strict=True)
    )


def _notes(
    measured: _Measured | None, events: Sequence[Event], cutting: _Cutting, wanted_in: tuple[float, float]
) -> Iterator[str]:
    if measured is None:
        yield "no tiller measured: this is what the records say of the limbs; measure both gaps at brace"
    elif any(isinstance(event, Removal) for event in events[events.index(measured.weigh_in) :]):
        yield f"stock was taken off since the tiller was measured ({measured.weigh_in.id}); measure it again"
    if cutting.cuts:
        yield "take half of it, brace and measure again before the rest; stop if in doubt which limb it is"
        if not wanted_in[0] <= cutting.after.tiller_in <= wanted_in[1]:
            yield f"even {_LARGEST_SHARE:.0%} of the width is not enough: look for another cause first"
