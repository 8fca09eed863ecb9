"""What doubted readings of an unstrung shape do to a weight."""

import numpy as np
import pytest

from datasets.history import BowAt, bow_at
from datasets.materials import handbook
from predictor.bow import Refusal, handbook_moduli, weights
from predictor.shape_effect import ShapeEffect, shape_effect
from tests.predictor.bows import STRAIGHT, build

DRAW_IN = 28.0


def _bow(slip_in: float = 0.0) -> BowAt:
    """A straight bow read every two and a half inches, one reading off."""
    offsets = {at: slip_in if at == 23.0 else 0.0 for at in np.arange(8.0, 34.0, 2.5).tolist()}
    readings = [{"at_in": str(at), "offset_in": str(offset)} for at, offset in offsets.items()]
    profile = {"profile": readings}
    return bow_at(STRAIGHT.model_validate({**STRAIGHT.model_dump(exclude={"profile"}), **profile}), build())


def _weight(bow: BowAt) -> float:
    moduli = handbook_moduli(bow, handbook())
    return float(weights([bow], [moduli], np.array([[DRAW_IN]])).lbf[0, 0])


def _effect(bow: BowAt, draw_in: float = DRAW_IN) -> ShapeEffect | Refusal | None:
    return shape_effect(bow, handbook_moduli(bow, handbook()), draw_in)


def test_sound_readings_have_no_effect_to_tell() -> None:
    """A straight bow read straight is not doubted."""
    assert _effect(_bow()) is None


@pytest.mark.parametrize("slip_in", [0.25, 1.0])
def test_forgiving_gives_the_weight_of_the_sound_readings(slip_in: float) -> None:
    """Without the wrong reading the bow weighs what it does read right, to 0.1 %; followed, it is further off."""
    sound, effect = _weight(_bow()), _effect(_bow(slip_in))

    assert isinstance(effect, ShapeEffect)
    assert effect.forgiven_lbf == pytest.approx(sound, rel=1e-3)
    assert abs(effect.followed_lbf - sound) > 2 * abs(effect.forgiven_lbf - sound)
    assert effect.change_percent == pytest.approx(100 * (effect.followed_lbf / effect.forgiven_lbf - 1))


def test_the_usual_weight_is_the_forgiving_one() -> None:
    """What the statics say of a bow leaves wrong readings out."""
    bow = _bow(0.5)
    effect = _effect(bow)

    assert isinstance(effect, ShapeEffect)
    assert _weight(bow) == pytest.approx(effect.forgiven_lbf, rel=1e-12)


def test_a_bow_that_cannot_be_drawn_is_refused() -> None:
    """Where the statics have no weight there is no effect either, but the reason."""
    assert isinstance(_effect(_bow(0.5), draw_in=60.0), Refusal)
