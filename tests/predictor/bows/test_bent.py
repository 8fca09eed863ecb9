"""Whole bows bent to brace and draws: statics of what comes out, scale, unlike limbs, refusals."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from datasets.history import BowAt, bow_at
from datasets.materials import handbook
from datasets.record import DrawLength, Side, ZeroPoint
from datasets.schema import Removal
from predictor.bows.bent import BentBow, bent_bow
from predictor.bows.bow import Moduli, Refusal, handbook_moduli, limb_of
from predictor.bows.margins import strained_places
from predictor.bows.pairs import Pair, bends, outlines
from predictor.mechanics.limb import limb_sections
from tests.predictor.example_bows import REFLEXED, STRAIGHT, build

DRAWS = [26.5, 28.5]


def bent(bow: BowAt, stiffer: float = 1.0) -> BentBow:
    """Return a bow bent to brace and two draws, with all its moduli multiplied."""
    found = bent_bow(bow, moduli(bow, stiffer), DRAWS)
    assert isinstance(found, BentBow), found
    return found


def moduli(bow: BowAt, stiffer: float = 1.0) -> Moduli:
    """Return the handbook's moduli, multiplied."""
    return {key: stiffer * modulus for key, modulus in handbook_moduli(bow, handbook()).items()}


def test_at_brace_bending_goes_with_the_distance_from_the_string() -> None:
    """At brace the moment over the limb's distance from the straight string is one tension all along the limb."""
    bow = bow_at(STRAIGHT, build())
    stiffness = limb_sections([limb_of(bow, bow.upper, moduli(bow))]).stiffness[0]
    moment = (bent(bow).upper.bend[0] * stiffness)[:, 2]
    seen = outlines(Pair(bow, moduli(bow), moduli(bow)), DRAWS[-1])
    assert not isinstance(seen, Refusal)
    tension = moment / (bow.brace - seen[0].upper[0, 1:])

    np.testing.assert_allclose(tension, tension[0], rtol=1e-7)
    assert tension[0] > 0


def test_strain_hardly_depends_on_stiffness() -> None:
    """Brace and draw fix the shape: lams stiffer by a tenth change strains by under 0.2 %, through the string."""
    bow = bow_at(STRAIGHT, build())

    np.testing.assert_allclose(bent(bow, 1.1).upper.back, bent(bow).upper.back, rtol=2e-3)


def test_strain_grows_with_draw_and_stack() -> None:
    """The back is stretched more at a longer draw, and more in a thicker stack of one shape."""
    thin, thick = (
        bent(bow_at(STRAIGHT, build(layers=layers))) for layers in (_stack(".120"), _stack(".180"))
    )

    assert np.all(np.diff(np.nanmax(thin.upper.back, axis=(1, 2, 3))) > 0)
    assert np.nanmax(thick.upper.back) / np.nanmax(thin.upper.back) == pytest.approx(0.40 / 0.28, rel=0.06)


def _stack(core: str) -> list[dict[str, str]]:
    glass = {"part": "glass", "material": "limb glass", "butt_in": ".020"}
    wood = {"part": "core", "material": "hard maple", "butt_in": core}
    return [glass, wood, wood, glass]


def test_limbs_of_one_kind_are_bent_once() -> None:
    """Where the limbs are alike both are the same one; where one was narrowed, each has its own shape."""
    alike, unlike = bent(bow_at(STRAIGHT, build())), bent(narrowed("lower"))

    assert alike.upper is alike.lower
    assert unlike.lower.bend[2, -1, 2] > unlike.upper.bend[2, -1, 2]


def narrowed(limb: str, length: str = "68") -> BowAt:
    """Return a bow so long [in] of which one limb lost 3/16 in of width at fade and mid, and 1/8 in at the nock."""
    off = [
        {"at": at, "amount_in": amount} for at, amount in (("fade", "3/16"), ("mid", "3/16"), ("nock", "1/8"))
    ]
    removal = {"id": "K-001/1", "build": "K-001", "on": "2026-03-01", "method": "sides", "limb": limb}
    return bow_at(STRAIGHT, build(length_in=length), (Removal.model_validate({**removal, "done": off}),))


def most(strains: NDArray[np.float64]) -> float:
    """Return the largest strain of a face, of either sign."""
    return float(np.nanmax(np.abs(strains)))


@pytest.mark.parametrize("weaker", ["upper", "lower"])
def test_the_weaker_limb_is_strained_more(weaker: str) -> None:
    """A limb that was narrowed is strained by over a tenth more than the other, on both faces."""
    found = bent(narrowed(weaker))
    weak, strong = (found.upper, found.lower) if weaker == "upper" else (found.lower, found.upper)

    assert most(weak.belly) > 1.1 * most(strong.belly)
    assert most(weak.back) > 1.1 * most(strong.back)


@pytest.mark.parametrize("weaker", [Side.UPPER, Side.LOWER])
def test_the_least_margin_is_the_weaker_limbs(weaker: Side) -> None:
    """The place that is noted as nearest to what its material stands lies on the weaker limb."""
    draws = [DrawLength(inch=inch, zero=ZeroPoint.BACK) for inch in DRAWS]
    places = strained_places(bent(narrowed(weaker.value)), draws, handbook())
    least = min(
        (place for place in places if place.margin is not None), key=lambda place: place.margin or 0.0
    )

    assert least.limb is weaker


def test_unlike_limbs_bend_to_their_outlines() -> None:
    """Bends added up from the fade turn the nocks as far as the outlines of the same bow on its riser show.

    The outlines' outermost chord stands for the tangent in the middle of the outermost step.
    """
    bow = narrowed("lower")
    found = bent(bow)
    seen = outlines(Pair(bow, moduli(bow), moduli(bow)), DRAWS[-1])
    assert not isinstance(seen, Refusal)
    for limb, side in (("upper", 1), ("lower", -1)):
        each = getattr(found, limb)
        chords = [np.diff(getattr(state, limb), axis=1) for state in seen]
        turned = np.subtract(*(np.arctan2(-x, -side * y) for x, y in (chords[1], chords[0])))[0]
        step = each.station[:, 0] - each.station[:, 2]
        change = step * ((each.bend[2] - each.bend[0]) @ np.array([1.0, 4.0, 1.0]) / 6)

        assert change.sum() - change[0] / 2 == pytest.approx(turned, rel=1e-3)


def test_like_limbs_bend_the_same_on_their_riser() -> None:
    """Held at the centre, a bow of like limbs bends on its riser as the symmetric bow does, to 1e-6."""
    bow = bow_at(STRAIGHT, build())
    on_riser = bends(Pair(bow, moduli(bow), moduli(bow)), DRAWS)
    assert not isinstance(on_riser, Refusal)

    for bend in on_riser:
        np.testing.assert_allclose(bend, bent(bow).upper.bend, rtol=1e-6, atol=1e-9)


def test_unlike_limbs_are_refused_too() -> None:
    """A bow of unlike limbs that cannot be drawn so far, or braced, is refused."""
    bow = narrowed("lower", length="46")
    far, slack = (
        bent_bow(bow, moduli(bow), [20.0, 40.0]),
        bent_bow(replace(bow, brace=0.0), moduli(bow), [20.0]),
    )

    assert isinstance(far, Refusal)
    assert "asked for 40.00 in" in far.where
    assert isinstance(slack, Refusal)


def test_a_recurve_is_bent() -> None:
    """A reflexed limb comes out with all its numbers, in all states."""
    recurve = build(
        form="swan-62", length_in="62", brace="7 3/4", layers=_stack(".080"),
        widths=[{"at": "fade", "belly_in": "1 3/4"}, {"at": "nock", "belly_in": "3/4"}],
    )  # fmt: skip
    limb = bent(bow_at(REFLEXED, recurve)).upper

    assert np.all(np.isfinite(limb.bend))
    assert np.all(np.isfinite(limb.back))
    assert limb.back.shape == (3, *limb.station.shape, 4)


def test_refusals_are_passed_on() -> None:
    """A bow that cannot be drawn so far is refused, with the reason."""
    bow = bow_at(STRAIGHT, build(length_in="46"))
    refused = bent_bow(bow, moduli(bow), [40.0])
    slack = bent_bow(replace(bow, brace=0.0), moduli(bow), [20.0])

    assert isinstance(refused, Refusal)
    assert "drawn" in refused.reason
    assert isinstance(slack, Refusal)
