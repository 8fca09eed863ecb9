"""Other glass, wood or length at equal weight: there and back again, and only what differs is in doubt."""

from math import exp, hypot, log

import pytest

from datasets.materials import handbook
from datasets.record import DrawLength, ZeroPoint
from datasets.schema import Build, Layer, Part
from predictor.belief.columns import STIFFNESS
from predictor.belief.scatter import LOTS_OF_WOOD, SCATTER_SDS
from predictor.bows.bow import Refusal
from predictor.planning.knowledge import Knowledge
from predictor.planning.promise import Judged
from predictor.planning.prospects import Prospect, prospects
from predictor.pressing.blanks import Copied
from predictor.pressing.swaps import Change, Swapped, swap
from tests.predictor.example_bows import STRAIGHT, build

JUDGED = Judged(DrawLength(inch=28, zero=ZeroPoint.STANDARD, typed=None), 500)
KNOWLEDGE = Knowledge(handbook())


def swapped(old: Build, change: Change) -> Swapped:
    """Return the cores that keep a bow's weight."""
    told = swap(STRAIGHT, old, change, JUDGED, KNOWLEDGE)
    assert isinstance(told, Swapped)
    return told


def cores(layers: tuple[Layer, ...]) -> list[float]:
    """Return the thicknesses of the cores."""
    return [layer.butt_in.inch for layer in layers if layer.part is Part.CORE]


@pytest.mark.slow
@pytest.mark.parametrize(
    ("there", "back"),
    [
        (Change(glass_in=0.05), Change(glass_in=0.04)),
        (Change(wood="black locust"), Change(wood="hard maple")),
        (Change(length_in=71), Change(length_in=68)),
        (Change(glass_in=0.05, length_in=70), Change(glass_in=0.04, length_in=68)),
    ],
)
def test_there_and_back_gives_the_same_bow(there: Change, back: Change) -> None:
    """A swap keeps the expected weight to .01 lb, and the swap back restores the cores to .0001 in."""
    old = build()
    first = swapped(old, there)
    copy = Copied(STRAIGHT, old, there.length_in).build(first.new)
    second = swapped(copy, back)

    assert first.new_weight.lbf == pytest.approx(first.weight.lbf, abs=0.01)
    assert cores(first.new) != pytest.approx(cores(old.layers), abs=0.001)
    assert cores(second.new) == pytest.approx(cores(old.layers), abs=1e-4)


@pytest.mark.parametrize(
    ("change", "thinner"),
    [
        (Change(glass_in=0.05), True),
        (Change(glass_in=0.03), False),
        (Change(length_in=66), True),
        (Change(wood="western redcedar"), False),
    ],
)
def test_the_core_goes_the_other_way(change: Change, thinner: bool) -> None:
    """Thicker glass or a shorter bow takes thinner cores, a softer wood thicker ones."""
    told = swapped(build(), change)

    assert (cores(told.new)[0] < cores(told.old)[0]) is thinner


def test_what_both_bows_share_is_not_in_doubt() -> None:
    """With the same wood and glass less than a quarter of the doubt about the weight is one about the change."""
    told = swapped(build(), Change(glass_in=0.05))
    weight, change, bows = (
        span.high_lbf - span.low_lbf for span in (told.weight, told.by_change, told.difference)
    )

    assert change < weight / 4
    assert change < bows
    assert told.difference.lbf == pytest.approx(0, abs=0.02)


def test_another_wood_is_in_doubt_by_its_share_of_the_stiffness() -> None:
    """The doubt of a swap of woods is that of both woods and lots, each by its share, and of the glass's change of it.

    The smooth part of the statics' error and mixtures of scales are small beside it: within 3 %.
    """
    old = build()
    told = swapped(old, Change(wood="black locust"))
    new = Copied(STRAIGHT, old).build(told.new)
    shares = []
    for bow, wood in ((old, "hard maple"), (new, "black locust")):
        (prospect,) = prospects(STRAIGHT, [bow], JUDGED, KNOWLEDGE)
        assert isinstance(prospect, Prospect)
        of_lot = hypot(handbook()[wood].species_sd, SCATTER_SDS[LOTS_OF_WOOD])
        shares.append(float(prospect.told.common[f"{STIFFNESS}{wood}"][0]) * of_lot)
    sd = hypot(*shares)

    half = (
        log(1 + told.by_change.high_lbf / told.weight.lbf) - log(1 + told.by_change.low_lbf / told.weight.lbf)
    ) / 2
    assert half / 1.6448536 == pytest.approx(sd, rel=0.03)
    assert exp(half) > 1


def test_a_swap_that_strains_too_far_is_refused() -> None:
    """A shorter bow of the same weight is strained more; over the limit in compression it is not to be pressed."""
    old = build()
    margins = [swapped(old, Change(length_in=length)).strain[0].margin for length in (68, 64)]
    far = Judged(DrawLength(inch=34, zero=ZeroPoint.STANDARD, typed=None), 500)
    refused = swap(STRAIGHT, old, Change(length_in=54), far, KNOWLEDGE)

    assert margins[0] is not None
    assert margins[1] is not None
    assert margins[1] < margins[0]
    assert isinstance(refused, Refusal)
    assert "over the limit in compression" in refused.reason
    limited = swap(STRAIGHT, old, Change(length_in=66), JUDGED, KNOWLEDGE, 0.003)
    assert isinstance(limited, Refusal)
    assert "over the shop's limit of 0.30%" in limited.reason
