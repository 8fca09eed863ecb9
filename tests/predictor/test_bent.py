"""Whole bows bent to brace and draws: statics of what comes out, scale, unlike limbs, refusals."""

from dataclasses import replace

import numpy as np
import pytest

from datasets.history import BowAt, bow_at
from datasets.materials import handbook
from datasets.schema import Removal
from predictor.bent import BentBow, bent_bow
from predictor.bow import Moduli, Refusal, handbook_moduli, limb_of
from predictor.limb import limb_sections
from predictor.pairs import Pair, outlines
from tests.predictor.bows import REFLEXED, STRAIGHT, build

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
    narrowed = Removal.model_validate(
        {
            "id": "K-001/1", "build": "K-001", "on": "2026-03-01", "method": "sides", "limb": "lower",
            "done": [{"at": "fade", "amount_in": "1/8"}, {"at": "nock", "amount_in": "0"}],
        }
    )  # fmt: skip
    alike, unlike = (bent(bow_at(STRAIGHT, build(), events)) for events in ((), (narrowed,)))

    assert alike.upper is alike.lower
    assert unlike.lower.bend[2, -1, 2] > unlike.upper.bend[2, -1, 2]


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
