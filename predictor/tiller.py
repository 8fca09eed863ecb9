"""Tiller: how two limbs share the work, what a measured tiller tells of them, and what sets it right.

Tiller is the upper less the lower distance from string to belly at the fades, square to the string. It is positive
where the lower limb is the stiffer. Stock is taken off the stiffer limb alone, and costs weight.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from math import exp, sqrt

import numpy as np
from pydantic import Field

from datasets import tolerances
from datasets.history import LimbAt, bow_at, events_until
from datasets.ledger import Input
from datasets.materials import Material
from datasets.record import Dimension, DrawLength, NamedPlace, Record, Side, Taken
from datasets.removals import place_in
from datasets.schema import Build, Cut, Event, Form, Method, Removal, WeighIn
from datasets.zero_points import from_back
from predictor.bow import Moduli, Refusal, handbook_moduli
from predictor.pairs import Pair, balanced

SPLIT_FINGER_IN = (1 / 8, 1 / 4)
"""Lowest and highest tiller wanted for a split-finger hold; even limbs for three fingers under. Common practice, no
source."""

READING_SD_IN = 1 / 32
"""Standard deviation of a tiller read with a rule. Common practice, no source."""

_FIRST_SHARE = 0.01
_LARGEST_SHARE = 0.25
_CLOSE_IN = 1e-4
_TRIES = 8
_DIFFERENCE_STEP = 0.02
_PLACES: tuple[NamedPlace, ...] = ("fade", "mid", "nock")


@dataclass(frozen=True)
class Difference:
    """How much stiffer the upper limb is than the records say, against the lower one: a logarithm.

    Attributes:
        mean: positive if the upper limb is the stiffer.
        sd: standard deviation.
    """

    mean: float
    sd: float

    def given(self, misfit_in: float, per_difference_in: float, reading_sd_in: float) -> "Difference":
        """Return what is believed after a reading: normal belief, reading in proportion, normal error.

        Args:
            misfit_in: tiller read, less the one expected by what was believed before.
            per_difference_in: change of tiller with the difference.
            reading_sd_in: standard deviation of the reading.
        """
        spread = (per_difference_in * self.sd) ** 2 + reading_sd_in**2
        gain = per_difference_in * self.sd**2 / spread
        return Difference(self.mean + gain * misfit_in, self.sd * reading_sd_in / sqrt(spread))


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
    opened = _left_open(form, build, moment, materials, draw_in)
    if isinstance(opened, Refusal):
        return opened
    believed = opened.prior
    if measured is not None:
        believed = believed.given(
            measured.tiller_in - opened.tiller_in, opened.per_difference_in, READING_SD_IN
        )
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
class _LeftOpen:
    """What the records leave open of a bow's tiller.

    Attributes:
        tiller_in: by the recorded dimensions.
        per_difference_in: change of tiller with the difference of the limbs.
        prior: what is believed of that difference before the tiller is read.
    """

    tiller_in: float
    per_difference_in: float
    prior: Difference


def _left_open(
    form: Form, build: Build, events: Sequence[Event], materials: Mapping[str, Material], draw_in: float
) -> _LeftOpen | Refusal:
    """Return what is believed of a tiller before it is read.

    The tolerances of dimensions and the scatter of materials count for each limb by itself, as if each limb had its own
    error of every one of them; but lams of both limbs are ground together, and a coarse reading is of both.
    """
    bow = bow_at(form, build, events)
    moduli = handbook_moduli(bow, materials)
    even = Pair(bow, moduli, moduli)
    apart = [replace(even, difference=sign * _DIFFERENCE_STEP) for sign in (-1, 1)]
    shifted = [bow_at(form, build, events, {given.name: _apart(given)}) for given in bow.inputs]
    scattered = list(_scattered(moduli, materials))
    variants = [
        *(
            replace(even, bow=replace(bow, upper=other.upper))
            for other in shifted
            if other.upper != bow.upper
        ),
        *(
            replace(even, bow=replace(bow, lower=other.lower))
            for other in shifted
            if other.lower != bow.lower
        ),
        *(replace(even, upper=other) for other in scattered),
        *(replace(even, lower=other) for other in scattered),
    ]
    solved = balanced([even, *apart, *variants], draw_in)
    if isinstance(solved, Refusal):
        return solved
    tiller, less, more, *others = solved.tiller_in.tolist()
    per_difference = (more - less) / (2 * _DIFFERENCE_STEP)
    sd = float(np.linalg.norm(np.array(others) - tiller))
    return _LeftOpen(tiller, per_difference, Difference(0.0, sd / abs(per_difference)))


def _apart(given: Input) -> float:
    """Return the standard deviation of one limb's dimension about the recorded one: of a lam, that of a caliper."""
    if not given.source.endswith("thickness"):
        return given.sd
    lam = tolerances.GLASS_SD_IN if given.source.startswith("glass") else tolerances.THICKNESS_SD_IN
    return min(given.sd, lam[Taken.CALIPER])


def _scattered(moduli: Moduli, materials: Mapping[str, Material]) -> Iterator[Moduli]:
    """Yield moduli of which one is larger by what lams of one lot scatter."""
    for (material, lot), modulus in moduli.items():
        yield {**moduli, (material, lot): modulus * exp(materials[material].bow_sd)}


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
    cuts = [
        Cut(at=at, amount_in=Dimension(inch=share * width, taken=Taken.PLANNED))
        for at, width in zip(_PLACES, _widths(standing, side), strict=True)
    ]
    build = standing.build.id
    return Removal(
        id=f"{build}/9999", build=build, on=date.max, method=Method.SIDES, limb=side, planned=tuple(cuts)
    )


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
