"""What the cutting into steps, and errors of bench readings, do to a bow's weight."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.interpolate import BSpline

from predictor.mechanics.elastica import LimbGrid, shoot
from predictor.mechanics.limb import STEPS, Layer, Limb, limb_grid
from predictor.shape.profile import Profile, fit_profile, with_follow

Array = NDArray[np.float64]

FADE = 9.0
BRACE = 7.0
DRAWN = 26.25
LENGTH = 27.0
KNOTS = [0.0, 0.0, 0.0, 0.0, 9.0, 18.0, 27.0, 27.0, 27.0, 27.0]
LONGBOW = Profile(LENGTH, BSpline(KNOTS, [0.004, 0.004, 0.003, 0.002, 0.001, 0.001], 3), (), FADE, 0.1, 0.0)
REFLEX_DEFLEX = Profile(
    LENGTH, BSpline(KNOTS, [0.0, 0.015, 0.01, -0.01, -0.03, -0.02], 3), (), FADE, 0.1, 0.03
)


def _limb(profile: Profile) -> Limb:
    """A glass and wood limb, 1.3 in wide at the fade."""
    glass = Layer(((-FADE, 28.0), (0.04, 0.04)), 5.6e6)
    core = Layer(((-FADE, 28.0), (0.15, 0.11)), 2.0e6)
    width = ((0.0, LENGTH), (1.3, 0.5))
    return Limb(LENGTH, (glass, core, core, glass), width, width, ((0.0,), (0.05,)), profile)


def _solved(residuals: Array, jacobian: Array) -> Array:
    return np.asarray(np.linalg.solve(jacobian, residuals[..., None])[..., 0])


def _weights(grid: LimbGrid) -> Array:
    """Draw weights of symmetric bows by plain Newton steps; the string keeps its length from the brace on."""
    depth, distance, root_angle = grid.root_depth, grid.root_distance, grid.root_angle
    bent = np.tile([0.3, 30.0], (len(depth), 1))
    for _ in range(25):
        shot = shoot(grid, bent[:, 0], bent[:, 1])
        residuals = np.stack([shot.angle - root_angle, shot.distance - (BRACE - depth)], axis=1)
        bent -= _solved(residuals, shot.jacobian[:, :2, :2])
    assert np.abs(residuals).max() < 1e-9
    half_string = shot.along + distance

    drawn = np.column_stack([bent, np.zeros(len(bent))])
    for nocking in np.linspace(BRACE + 1.0, DRAWN, 12):
        for _ in range(8):
            tilt = drawn[:, 2]
            sine, cosine = np.sin(tilt), np.cos(tilt)
            shot = shoot(grid, drawn[:, 0], drawn[:, 1])
            off = cosine * (nocking - depth) - sine * distance
            reach = sine * (nocking - depth) + cosine * distance
            residuals = np.stack(
                [shot.angle - root_angle - tilt, shot.distance - off, shot.along + reach - half_string],
                axis=1,
            )
            by_tilt = np.stack([-np.ones_like(tilt), reach, off], axis=1)
            drawn -= _solved(residuals, np.dstack([shot.jacobian[..., :2], by_tilt[..., None]]))
    assert np.abs(residuals).max() < 1e-9
    return np.asarray(2 * drawn[:, 1] * np.sin(drawn[:, 2]))


def test_the_usual_steps_give_the_weight_to_a_millionth() -> None:
    """A limb with a power lam that runs out weighs as in 400 steps to one in a million."""
    limb = _limb(REFLEX_DEFLEX)
    glass, core, _, _ = limb.layers
    power = Layer(((-FADE, 7.3), (0.09, 0.03)), 2.0e6)
    limb = replace(limb, layers=(glass, core, power, core, glass), glue_thickness=0.004, glue_modulus=5e5)
    usual, fine = (float(_weights(limb_grid([limb], steps))[0]) for steps in (STEPS, 400))

    assert usual == pytest.approx(fine, rel=1e-6)


def _trials(true: Profile, count: int, sd: float) -> list[Profile]:
    rng = np.random.default_rng(77)
    along, toward = true.path(np.linspace(0.0, LENGTH, 8))
    noisy = [-toward + rng.normal(0.0, sd, 8) for _ in range(count)]
    return [
        fit_profile(list(zip(along.tolist(), offsets.tolist(), strict=True)), FADE, LENGTH)
        for offsets in noisy
    ]


@pytest.mark.slow
@pytest.mark.parametrize("true", [LONGBOW, REFLEX_DEFLEX], ids=["longbow", "reflex-deflex"])
def test_rule_readings_move_the_weight_little(true: Profile) -> None:
    """Eight readings, each off by 1/32 in (one standard deviation), move the weight by under a third of one
    percent, root mean square over 200 trials, and by under 0.1 % on average.
    """
    weights = _weights(limb_grid([_limb(profile) for profile in [true, *_trials(true, 200, 1 / 32)]]))
    errors = weights[1:] / weights[0] - 1

    assert np.sqrt(np.mean(errors**2)) < 0.01 / 3
    assert abs(np.mean(errors)) < 0.001


@pytest.mark.parametrize("true", [LONGBOW, REFLEX_DEFLEX], ids=["longbow", "reflex-deflex"])
def test_string_follow_costs_weight(true: Profile) -> None:
    """Each further tenth of an inch of follow takes between a half and one and a half percent of weight."""
    profiles = [with_follow(true, follow) for follow in (0.0, 0.1, 0.2, 0.3)]
    steps = np.diff(np.log(_weights(limb_grid([_limb(profile) for profile in profiles]))))

    assert np.all(steps < -0.005)
    assert np.all(steps > -0.015)
