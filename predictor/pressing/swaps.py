"""Another glass, wood or length at equal weight: how thick the cores must be then.

Both bows are compared as first cut, for the new one gets the widths that the old one had. Their common doubts, such as
that about a wood which both have, cancel in the difference.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from pydantic import Field

from datasets.record import Record
from datasets.schema import Build, Form, Layer, Part
from predictor.bows.bow import Refusal
from predictor.bows.margins import Strained
from predictor.planning.knowledge import Knowledge
from predictor.planning.promise import Judged
from predictor.planning.prospects import Prospect, apart, prospects, without_scatter
from predictor.prediction.ranged import Ranged, ranged
from predictor.pressing.blanks import Blank, Copied
from predictor.pressing.grinding import thickness_for
from predictor.pressing.layup import strained
from predictor.pressing.stacks import at_butt, with_free_cores

ROUNDS = 3
"""How often the thickness is solved with what belief adds at the last one: it hardly depends on the thickness."""


@dataclass(frozen=True)
class Change:
    """What the new bow has otherwise; nothing where it stays.

    Attributes:
        glass_in: thickness of both faces.
        wood: material of all cores.
        length_in: nock to nock.
    """

    glass_in: float | None = None
    wood: str | None = None
    length_in: float | None = None

    def layers(self, old: Sequence[Layer]) -> tuple[Layer, ...]:
        """Return layers with the change made, cores as thick as they were; another wood's lot is not known."""
        return tuple(self._changed(layer) for layer in old)

    def _changed(self, layer: Layer) -> Layer:
        if layer.part is Part.GLASS and self.glass_in is not None:
            return at_butt(layer, self.glass_in)
        if layer.part is Part.CORE and self.wood is not None:
            return layer.model_copy(update={"material": self.wood, "lot": None})
        return layer


class Swapped(Record):
    """A bow with something changed, its cores such that the expected weight stays."""

    old: tuple[Layer, ...]
    new: tuple[Layer, ...]
    length_in: float
    weight: Ranged = Field(description="of the old bow, settled, as first cut")
    new_weight: Ranged = Field(description="of the new bow, likewise")
    strain: tuple[Strained, ...] = Field(
        description="worst place of each material of the new bow, at full draw"
    )
    difference: Ranged = Field(description="new less old: two bows, one of each")
    by_change: Ranged = Field(description="new less old in the mean of many bows of each")


def swap(
    form: Form,
    build: Build,
    change: Change,
    judged: Judged,
    knowledge: Knowledge,
    strain_limit: float | None = None,
) -> Swapped | Refusal:
    """Return the cores that keep a build's expected weight when something else is changed, unless they strain too far.

    Args:
        form: the form revision that the build points at.
        build: as it was first cut; what happened to it since does not count.
        change: of the new bow.
        judged: when and how the weight counts.
        knowledge: of the shop.
        strain_limit: highest strain that the shop allows; nothing for the materials' own.

    Raises:
        ValueError: the build has no cores.
    """
    blank = Copied(form, build, change.length_in)
    (old,) = prospects(form, [build], judged, knowledge)
    if isinstance(old, Refusal):
        return old
    found = _equal(blank, change.layers(build.layers), old, judged, knowledge)
    if isinstance(found, Refusal):
        return found
    layers, new = found
    strain = strained(layers, blank, judged.draw, knowledge, strain_limit)
    if isinstance(strain, Refusal):
        return strain
    difference = apart(new.told, old.told)
    (weight,), (new_weight,) = ranged(old.settled), ranged(new.settled)
    (ratio,), (by_change,) = (
        ranged(knowledge.log_weight(one)) for one in (difference, without_scatter(difference))
    )
    return Swapped(
        old=build.layers,
        new=layers,
        length_in=change.length_in or build.length_in.inch,
        weight=weight,
        new_weight=new_weight,
        strain=strain,
        difference=_over(weight.lbf, ratio),
        by_change=_over(weight.lbf, by_change),
    )


def _equal(
    blank: Blank, layers: Sequence[Layer], old: Prospect, judged: Judged, knowledge: Knowledge
) -> tuple[tuple[Layer, ...], Prospect] | Refusal:
    """Return layers whose cores give an expected weight, with what is expected of them."""
    stack, ground, new = with_free_cores(layers), tuple(layers), old
    for _ in range(ROUNDS):
        wanted = np.array([_middle(old) - _middle(new) + new.statics])
        (inch,) = thickness_for(blank, [stack], judged.draw, knowledge.materials, wanted).tolist()
        if not np.isfinite(inch):
            return Refusal(reason="the statics give it no weight", where="at any thickness of its cores")
        ground = stack.layers(inch)
        (told,) = prospects(blank.form, [blank.build(ground)], judged, knowledge)
        if isinstance(told, Refusal):
            return told
        new = told
    return ground, new


def _middle(prospect: Prospect) -> float:
    return float(prospect.settled.quantile(0.5)[0])


def _over(lbf: float, ratio: Ranged) -> Ranged:
    """Return a ratio of weights as a difference from a weight."""
    return Ranged(
        lbf=lbf * (ratio.lbf - 1), low_lbf=lbf * (ratio.low_lbf - 1), high_lbf=lbf * (ratio.high_lbf - 1)
    )
