"""What a shorter bow would weigh: the way out for one that is too light."""

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np
from pydantic import Field

from datasets.history import bow_at
from datasets.record import Record, Side
from datasets.schema import Method, Stage
from datasets.thought_of import thought_of
from predictor.belief.foresight import Situation, foretell, laid_out
from predictor.belief.weighings import draws_from_back
from predictor.bows.bow import Refusal
from predictor.bows.full_draw import drawn
from predictor.planning.kit_state import Kit, as_judged
from predictor.planning.knowledge import Knowledge
from predictor.planning.promise import Judged, Promise
from predictor.planning.stakes import Chances
from predictor.prediction.ranged import Ranged, ranged

SHORTENINGS_IN = (0.125, 0.25, 0.5, 0.75, 1.0)
"""Off each nock end, of a bow that is too light."""

LIKELIER_BY = 0.01
"""Chance of ending within the tolerance that a shortening, which cannot be undone, is to bring at least."""


class Shortened(Record):
    """A bow made heavier by a shorter limb."""

    each_end_in: float
    settled: Ranged | None = Field(description="weight that it will settle at")
    chances: Chances | None = Field(description="how it ends if nothing more is done to it")
    refused: str | None = Field(description="why it must not be drawn so far")

    @classmethod
    def as_refused(cls, each_end_in: float, why: Refusal) -> "Shortened":
        """Return one that must not be drawn."""
        reason = f"{why.reason} ({why.where})"
        return cls(each_end_in=each_end_in, settled=None, chances=None, refused=reason)


def shortened(
    kit: Kit, promise: Promise, within: float, knowledge: Knowledge, strain_limit: float | None
) -> Iterator[Shortened]:
    """Yield the shortenings of both limbs that make a light bow likelier to end within its tolerance.

    Where even the largest that may be drawn leaves it under the target, the next one follows with why it is refused.

    Args:
        kit: as it stands.
        promise: weight, tolerance, and when and how it counts.
        within: chance of ending within the tolerance if it is not shortened.
        knowledge: of the shop.
        strain_limit: highest face strain; nothing for the materials' own.
    """
    possible, refused = _drawable(kit, promise.judged, knowledge, strain_limit)
    told = _settled(kit, possible, promise, knowledge) if possible else []
    if isinstance(told, Refusal):
        possible, refused, told = [], told, []
    for one in told:
        if one.chances is not None and one.chances.within >= within + LIKELIER_BY:
            yield one
    heaviest_lbf = max((one.settled.lbf for one in told if one.settled is not None), default=0.0)
    if refused is not None and heaviest_lbf < promise.weight_lbf:
        yield Shortened.as_refused(SHORTENINGS_IN[len(possible)], refused)


def _drawable(
    kit: Kit, judged: Judged, knowledge: Knowledge, strain_limit: float | None
) -> tuple[list[Kit], Refusal | None]:
    """Return the shorter kits that may be drawn, and why the next one must not be."""
    (draw_in,) = draws_from_back(kit.form, [judged.draw])
    possible: list[Kit] = []
    for inch in SHORTENINGS_IN:
        shorter = _shorter(kit, inch)
        bow = bow_at(shorter.form, shorter.build, shorter.events)
        places = drawn(bow, judged.draw, draw_in, knowledge.materials, strain_limit)
        if isinstance(places, Refusal):
            return possible, places
        possible.append(shorter)
    return possible, None


def _settled(
    kit: Kit, possible: Sequence[Kit], promise: Promise, knowledge: Knowledge
) -> list[Shortened] | Refusal:
    """Return what a kit will settle at by each possible history, given its own weighings, and how it then ends."""
    judged = promise.judged
    shots = max(judged.shots, kit.stands_at()[1])
    found = laid_out(
        kit.form,
        kit.build,
        kit.events,
        [Situation(one.events, (judged.draw,), Stage.SETTLED, shots, judged.scale) for one in possible],
        knowledge.materials,
        knowledge.model,
        knowledge.strips,
    )
    if isinstance(found, Refusal):
        return found
    stand, told, _ = found
    exact = [(as_judged(columns, judged.scale), False) for columns, _ in told]
    logs = foretell(stand, exact).joint.marginal()
    below, not_over = (
        logs.cdf(np.full(len(possible), log)).tolist() for log in (promise.least, promise.most)
    )
    return [
        Shortened(each_end_in=inch, settled=lbf, chances=Chances(under, most - under, 1 - most), refused=None)
        for inch, lbf, under, most in zip(
            SHORTENINGS_IN[: len(possible)], ranged(logs), below, not_over, strict=True
        )
    ]


def _shorter(kit: Kit, inch: float) -> Kit:
    sawn = thought_of(kit.build, kit.events, Method.SHORTEN, {Side.BOTH: [("nock", inch)]})
    return replace(kit, events=(*kit.events, *sawn))
