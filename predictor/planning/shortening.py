"""What a shorter bow would weigh: the way out for one that is too light."""

from collections.abc import Iterator, Sequence
from dataclasses import replace

from pydantic import Field

from datasets.history import bow_at
from datasets.record import Record
from datasets.schema import Cut, Method, Removal, Stage
from predictor.belief.foresight import Situation, foretell, laid_out
from predictor.belief.weighings import draws_from_back
from predictor.bows.bow import Refusal
from predictor.bows.full_draw import drawn
from predictor.planning.cut_patterns import UNDATED, planned
from predictor.planning.kit_state import Kit, as_judged
from predictor.planning.prospects import Judged, Knowledge
from predictor.prediction.ranged import Ranged, ranged

SHORTENINGS_IN = (0.25, 0.5, 0.75, 1.0)
"""Off each nock end, of a bow that is too light."""


class Shortened(Record):
    """A bow made heavier by a shorter limb."""

    each_end_in: float
    settled: Ranged | None = Field(description="weight that it will settle at")
    refused: str | None = Field(description="why it must not be drawn so far")


def shortened(
    kit: Kit, judged: Judged, knowledge: Knowledge, strain_limit: float | None
) -> Iterator[Shortened]:
    """Yield what a bow will settle at once both limbs are shortened, up to the first amount that is refused.

    Args:
        kit: as it stands.
        judged: when and how its weight counts.
        knowledge: of the shop.
        strain_limit: highest face strain; nothing for the materials' own.
    """
    possible, refused = _drawable(kit, judged, knowledge, strain_limit)
    settled = _settled(kit, possible, judged, knowledge) if possible else []
    if isinstance(settled, Refusal):
        possible, refused, settled = [], settled, []
    for inch, one in zip(SHORTENINGS_IN[: len(possible)], settled, strict=True):
        yield Shortened(each_end_in=inch, settled=one, refused=None)
    if refused is not None:
        reason = f"{refused.reason} ({refused.where})"
        yield Shortened(each_end_in=SHORTENINGS_IN[len(possible)], settled=None, refused=reason)


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
    kit: Kit, possible: Sequence[Kit], judged: Judged, knowledge: Knowledge
) -> list[Ranged] | Refusal:
    """Return the weights that a kit will settle at by each possible history, given its own weighings."""
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
    return ranged(foretell(stand, exact).joint.marginal())


def _shorter(kit: Kit, inch: float) -> Kit:
    last = kit.events[-1].on if kit.events else UNDATED
    removal = Removal(
        id=f"{kit.build.id}/9999",
        build=kit.build.id,
        on=last,
        method=Method.SHORTEN,
        planned=(Cut(at="nock", amount_in=planned(inch)),),
    )
    return replace(kit, events=(*kit.events, removal))
