"""What a shorter bow would weigh: the way out for one that is too light."""

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
from pydantic import Field

from datasets.history import bow_at
from datasets.record import DrawLength, Record
from datasets.schema import Cut, Method, Removal
from predictor.bow import Refusal, handbook_moduli, weights
from predictor.cut_patterns import UNDATED, planned
from predictor.full_draw import drawn
from predictor.kit_state import Kit
from predictor.prospects import Knowledge
from predictor.weighings import draws_from_back

SHORTENINGS_IN = (0.25, 0.5, 0.75, 1.0)
"""Off each nock end, of a bow that is too light."""


class Shortened(Record):
    """A bow made heavier by a shorter limb."""

    each_end_in: float
    settled_lbf: float
    refused: str | None = Field(description="why it must not be drawn so far")


def shortened(
    kit: Kit, settled_lbf: float, draw: DrawLength, knowledge: Knowledge, strain_limit: float | None
) -> Iterator[Shortened]:
    """Yield what shortening both limbs would bring, by the statics, up to the first that is refused.

    Args:
        kit: as it stands.
        settled_lbf: weight that it will settle at.
        draw: at which the weight counts.
        knowledge: of the shop.
        strain_limit: highest face strain; nothing for the materials' own.
    """
    (draw_in,) = draws_from_back(kit.form, [draw])
    kits = [kit, *(_shorter(kit, inch) for inch in SHORTENINGS_IN)]
    bows = [bow_at(one.form, one.build, one.events) for one in kits]
    moduli = [handbook_moduli(bow, knowledge.materials) for bow in bows]
    lbf = weights(bows, moduli, np.full((len(bows), 1), draw_in)).lbf[:, 0]
    for inch, bow, weight in zip(SHORTENINGS_IN, bows[1:], lbf[1:], strict=True):
        places = drawn(bow, draw, draw_in, knowledge.materials, strain_limit)
        if isinstance(places, Refusal):
            yield Shortened(each_end_in=inch, settled_lbf=0.0, refused=f"{places.reason} ({places.where})")
            return
        yield Shortened(each_end_in=inch, settled_lbf=settled_lbf * weight / lbf[0], refused=None)


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
