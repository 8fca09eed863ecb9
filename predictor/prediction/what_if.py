"""What one change would do to a bow's weight: the force before and after, foretold together as they share doubts."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

from pydantic import Field

from datasets.materials import Material
from datasets.record import DrawLength, Record
from datasets.schema import Form, Stage, StripTest
from predictor.belief.foresight import Foretold, Situation, foresee, laid_out
from predictor.belief.model import Model
from predictor.bows.bow import Refusal
from predictor.bows.margins import Strained, notes_on_margins, over_limit
from predictor.prediction.predict import LEVELS, Interval, strained
from predictor.prediction.supposed import Supposed

SAME = 1e-10
"""Relative change of the statics' weight below which nothing has changed: their own rounding."""


class Expected(Record):
    """A weight or a change of weight: its median, and central intervals."""

    lbf: float
    intervals: tuple[Interval, ...]


class WhatIf(Record):
    """The force on a bow as it is and with one change, which may be of several things at once."""

    build: str
    change: str = Field(description="as it was typed")
    stage: Stage
    draw_before: DrawLength
    draw_after: DrawLength
    before: Expected
    after: Expected
    difference: Expected = Field(description="after less before")
    by_statics_lbf: float = Field(
        description="what the statics alone make of the change, of the weight before; what is expected differs from it "
        "by what the shop's builds have taught"
    )
    takes_off: bool = Field(description="whether stock comes off the bow")
    over_limit: tuple[Strained, ...] = Field(
        description="where a material of the changed bow is over its limit, so that it must not be drawn so far"
    )
    notes: tuple[str, ...] = Field(
        description="on the strain of the changed bow, on limits of the shop that it breaks and how far the range holds"
    )


def what_if(
    form: Form,
    now: Supposed,
    then: Supposed,
    change: str,
    materials: Mapping[str, Material],
    model: Model | None = None,
    stage: Stage = Stage.TILLERED,
    strips: Sequence[StripTest] = (),
    shots: int | None = None,
) -> WhatIf | Refusal:
    """Return what a change does to the force on a bow, given its own weighings so far.

    The statics solve both bows, and what is doubted moves each by its own derivative: to first order in the doubts.

    Args:
        form: the form revision that the build points at.
        now: the bow as it is recorded.
        then: the bow as it is thought of.
        change: what the change is called.
        materials: every material that its layers name.
        model: what the shop's builds have taught; the prior's belief if there is none.
        stage: how far the bow is, before and after.
        strips: strip tests of the shop; those of the bow's materials are counted.
        shots: arrows shot, before and after.

    Returns:
        The change, or why the statics refuse one of the two bows, or that the changed one would break.
    """
    layered = {layer.material for layer in now.build.layers}
    counted = tuple(strip for strip in strips if strip.material in layered)
    before = Situation(now.events, (now.draw,), stage, shots, exact=True)
    after = replace(before, events=then.events, draws=(then.draw,), build=then.build)
    foreseen = foresee(laid_out(form, now.build, now.events, (before, after), materials, model, counted))
    if isinstance(foreseen, Refusal):
        return foreseen
    places = strained(form, then.build, then.events, (then.draw,), materials)
    if isinstance(places, Refusal):
        return places
    foretold, (first, second) = foreseen
    left = float(second.weight_lbf[0] / first.weight_lbf[0])
    same, weight_before = abs(left - 1) < SAME, expected_weight(foretold, 0)
    return WhatIf(
        build=now.build.id,
        change=change,
        stage=stage,
        draw_before=now.draw,
        draw_after=then.draw,
        before=weight_before,
        after=expected_weight(foretold, 0 if same else 1),
        difference=nothing_changed() if same else expected_change(foretold, 0, 1),
        by_statics_lbf=0.0 if same else weight_before.lbf * (left - 1),
        takes_off=then.events != now.events,
        over_limit=over_limit(places),
        notes=notes_on_margins(places),
    )


def expected_weight(foretold: Foretold, place: int) -> Expected:
    """Return what is expected of one wanted row."""
    return _expected(lambda probability: float(foretold.weights_lbf(probability)[place]))


def expected_change(foretold: Foretold, before: int, after: int) -> Expected:
    """Return what is expected of one wanted row less another, to first order about their medians."""
    change = foretold.changes([before], [after])
    return _expected(lambda probability: float(change.quantile(probability)[0]))


def nothing_changed() -> Expected:
    """Return the change of a bow about which nothing changes."""
    return _expected(lambda _: 0.0)


def _expected(quantile: Callable[[float], float]) -> Expected:
    return Expected(
        lbf=quantile(0.5),
        intervals=tuple(
            Interval(level=level, low_lbf=quantile((1 - level) / 2), high_lbf=quantile((1 + level) / 2))
            for level in LEVELS
        ),
    )
