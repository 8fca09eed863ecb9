"""A mistake of the pencil loses its pull, and the record that holds it is named."""

from dataclasses import replace

import numpy as np
import pytest

from predictor.belief.own_history import Slips
from tests.simulated import draw, subset
from training.engine.hierarchy import fit

SCALES = np.array([0.05, 0.02, 0.025, 0.004, 1.0])
GROSS = Slips()


def _shop(seed: int, builds: int = 40):
    return draw(np.random.default_rng(seed), builds, scales=SCALES).readings


def test_clean_builds_are_believed() -> None:
    """Where nothing is wrong at most one build in a hundred is named, in ten shops of 40."""
    named = [int((fit(_shop(seed), GROSS).suspicion.any > 0.5).sum()) for seed in range(10)]
    assert sum(named) <= 4


@pytest.mark.slow
@pytest.mark.parametrize("builds", [20, 40])
def test_mistakes_are_named(builds: int) -> None:
    """With one build in twenty off by 20 to 50 %, at least nine of ten named ones are wrong and nine of ten wrong ones
    are named, over 1600 builds.
    """
    named_wrong = named = wrong = 0
    for seed in range(1600 // builds):
        rng = np.random.default_rng(500 + seed)
        readings = draw(rng, builds, scales=SCALES).readings
        bad = rng.random(builds) < 0.05
        shift = bad * rng.choice([-1, 1], builds) * rng.uniform(0.2, 0.5, builds)
        wrong_readings = replace(readings, values=readings.values + shift[readings.build])
        suspected = fit(wrong_readings, GROSS).suspicion.any > 0.5
        named_wrong += int((suspected & bad).sum())
        named, wrong = named + int(suspected.sum()), wrong + int(bad.sum())
    assert named_wrong >= 0.9 * named
    assert named_wrong >= 0.9 * wrong


@pytest.mark.parametrize("shift", [0.25, -0.25])
def test_shifted_build_is_named(shift: float) -> None:
    """A build whose readings are all off by 25 % is named, and no other."""
    readings = _shop(1)
    wrong = replace(readings, values=readings.values + shift * (readings.build == 17))
    assert np.flatnonzero(fit(wrong, GROSS).suspicion.any > 0.5).tolist() == [17]


def test_one_misread_weight_is_told_from_a_wrong_build() -> None:
    """Of a build with several readings the one that is off by 20 % is named, and not the build."""
    readings = _shop(2)
    build = int(np.argmax(np.bincount(readings.build)))
    row = int(np.flatnonzero(readings.build == build)[1])
    values = readings.values.copy()
    values[row] += 0.2
    found = fit(replace(readings, values=values), GROSS).suspicion
    assert found.reading[row] > 0.9
    assert found.build[build] < 0.1


def test_a_gross_record_hardly_moves_the_rest() -> None:
    """A record off by 50 % leaves the scales within 3 % of a fit without it, where a trusting fit's build scatter is
    more than doubled.
    """
    readings = _shop(3)
    wrong = replace(readings, values=readings.values + 0.5 * (readings.build == 8))
    without = fit(subset(readings, readings.build != 8), GROSS).state.scales
    assert fit(wrong, GROSS).state.scales == pytest.approx(without, rel=0.03)
    assert fit(wrong).state.scales[2] > 2 * without[2]


def test_five_builds_and_one_mistake() -> None:
    """Even among five builds one that is off by half cannot hide behind the scatter that it makes."""
    readings = _shop(4, builds=5)
    wrong = replace(readings, values=readings.values + 0.5 * (readings.build == 2))
    assert int(np.argmax(fit(wrong, GROSS).suspicion.any)) == 2
    assert fit(wrong, GROSS).suspicion.any[2] > 0.5
