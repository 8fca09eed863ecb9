"""What doubted readings of an unstrung shape do to a weight."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from datasets.history import BowAt, bow_at
from datasets.materials import handbook
from predictor.bows.bow import Refusal, handbook_moduli, limb_of, solve, weights
from predictor.bows.shape_effect import ShapeEffect, shape_effect
from predictor.mechanics.limb import limb_grid
from predictor.shape.profile import Profile, fit_profile
from tests.predictor.example_bows import STRAIGHT, build
from tests.predictor.profiles import FADE, REFLEX_DEFLEX, RULE, noisy, readings_of, shape, shifted

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


def _weights_with(shapes: list[Profile]) -> NDArray[np.float64]:
    """Weights of the same bow on unlike unstrung shapes of its limbs."""
    bow = _bow()
    moduli = handbook_moduli(bow, handbook())
    grid = limb_grid(
        [limb_of(bow, bow.upper, moduli, replace(shape, length=bow.upper.length)) for shape in shapes]
    )
    draws = np.full((len(shapes), 1), DRAW_IN)
    return solve([bow] * len(shapes), np.arange(len(shapes)), grid, draws).drawn.force[:, 0]


@pytest.mark.slow
def test_forgiving_lessens_the_error_of_a_weight() -> None:
    """Of 20 reflex-deflex bows with two of 10 readings a quarter inch off, the weight's error is under two thirds.

    Root mean square, beside that of the same readings followed; the truth is the weight on the shape that was read.
    """
    rng = np.random.default_rng(23)
    shapes = [
        shape(27.0, *(rng.uniform(0.5, 1.3) * REFLEX_DEFLEX.bend.c), root_angle=0.03) for _ in range(20)
    ]
    truth = _weights_with(shapes)
    read = [
        shifted(
            noisy(readings_of(one, 10), rng, RULE),
            rng.choice(np.arange(1, 9), 2, replace=False),
            rng.choice([-0.25, 0.25], 2),
        )
        for one in shapes
    ]
    followed, forgiven = (
        _weights_with([fit_profile(one, FADE, 27.0, forgiving=forgiving) for one in read]) / truth - 1
        for forgiving in (False, True)
    )

    assert np.sqrt(np.mean(forgiven**2)) < np.sqrt(np.mean(followed**2)) * 2 / 3
