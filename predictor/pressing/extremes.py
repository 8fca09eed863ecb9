"""The lightest and the heaviest bow that stacks make: what can be promised at all."""

from collections.abc import Iterator, Sequence

import numpy as np
from pydantic import Field

from datasets.record import Record
from datasets.schema import Build, Layer
from predictor.bows.bow import Refusal
from predictor.planning.knowledge import Knowledge
from predictor.planning.promise import Judged
from predictor.planning.prospects import prospects
from predictor.prediction.ranged import Ranged, ranged
from predictor.pressing.blanks import Blank, narrowed
from predictor.pressing.grinding import log_statics
from predictor.pressing.layup import Limits, strained
from predictor.pressing.stacks import Stack

MOST_TRIED = 30
"""Of the thinnest, and of the thickest stacks, so many are solved."""

HALVINGS = 8
"""How often the range of a ground thickness is halved to find what strains no further than it may."""


class Extremes(Record):
    """Settled weights of the lightest and the heaviest bow; nothing where there is none, for its strain or statics."""

    lightest: Ranged | None = Field(description="at the least widths")
    heaviest: Ranged | None = Field(description="as first cut, strained no further than it may be")


def extremes(
    stacks: Sequence[Stack], blank: Blank, judged: Judged, knowledge: Knowledge, limits: Limits
) -> Extremes:
    """Return about the lightest and the heaviest bow that stacks make.

    Which stack is which is found by the statics among the thinnest and the thickest.

    Args:
        stacks: that can be pressed.
        blank: form, length, widths, brace and string that they get.
        judged: when and how their weight counts.
        knowledge: of the shop.
        limits: of the shop: least widths and strain.
    """
    thin = sorted((blank.build(stack.layers(stack.bounds_in[0])) for stack in stacks), key=_thickness_in)
    narrow = [narrowed(blank.form, one, limits.fade_in, limits.nock_in) for one in thin[:MOST_TRIED]]
    light = _by_weight(narrow, blank, judged, knowledge)
    heavy = (
        thickest
        for stack in _heaviest_first(stacks, blank, judged, knowledge)
        if (thickest := _thickest(stack, blank, judged, knowledge, limits)) is not None
    )
    return Extremes(
        lightest=_settled(narrow[light[0]] if light else None, blank, judged, knowledge),
        heaviest=_settled(next(map(blank.build, heavy), None), blank, judged, knowledge),
    )


def _heaviest_first(
    stacks: Sequence[Stack], blank: Blank, judged: Judged, knowledge: Knowledge
) -> Iterator[Stack]:
    """Yield stacks at their thickest that weigh anything, the heaviest first."""
    thick = {id(stack): blank.build(stack.layers(stack.bounds_in[1])) for stack in stacks}
    looked_at = sorted(stacks, key=lambda stack: -_thickness_in(thick[id(stack)]))[:MOST_TRIED]
    in_order = _by_weight([thick[id(stack)] for stack in looked_at], blank, judged, knowledge)
    return (looked_at[place] for place in reversed(in_order))


def _by_weight(builds: Sequence[Build], blank: Blank, judged: Judged, knowledge: Knowledge) -> list[int]:
    """Return the places of builds that the statics give a weight, the lightest first."""
    logs = log_statics(blank.form, builds, judged.draw, knowledge.materials)
    return [place for place in np.argsort(logs).tolist() if np.isfinite(logs[place])]


def _thickest(
    stack: Stack, blank: Blank, judged: Judged, knowledge: Knowledge, limits: Limits
) -> tuple[Layer, ...] | None:
    """Return a stack's layers as thick as they may be strained; nothing where they are strained too far anyway."""

    def may_be(inch: float) -> bool:
        told = strained(stack.layers(inch), blank, judged.draw, knowledge, limits.strain)
        return not isinstance(told, Refusal)

    least, most = stack.bounds_in
    if may_be(most):
        return stack.layers(most)
    if not stack.is_ground or not may_be(least):
        return None
    for _ in range(HALVINGS):
        middle = (least + most) / 2
        least, most = (middle, most) if may_be(middle) else (least, middle)
    return stack.layers(least)


def _settled(build: Build | None, blank: Blank, judged: Judged, knowledge: Knowledge) -> Ranged | None:
    if build is None:
        return None
    (found,) = prospects(blank.form, [build], judged, knowledge)
    return None if isinstance(found, Refusal) else ranged(found.settled)[0]


def _thickness_in(build: Build) -> float:
    return sum(layer.butt_in.inch for layer in build.layers)
