"""When a profile's readings are doubted: false alarms and power, from simulated readings with stated seeds."""

import itertools
from collections.abc import Iterable, Iterator

import numpy as np
import pytest
from scipy.stats import binomtest

from predictor.shape.profile import Profile, fit_profile
from predictor.shape.profile_doubts import ABOUT_READINGS, Doubt, Finding, Verdict, verdict
from tests.predictor.profiles import (
    EARED,
    FADE,
    RECURVE,
    REFLEX_DEFLEX,
    RULE,
    STRAIGHT,
    noisy,
    readings_of,
    shifted,
)

LIMBS = {
    "straight": (STRAIGHT, ()),
    "reflex-deflex": (REFLEX_DEFLEX, ()),
    "working recurve": (RECURVE, ()),
    "stiff ear": (EARED, EARED.breakpoints),
    "stiff ear, its bend not noted": (EARED, ()),
}
"""Limbs, with the places of sharp bends that are told to the fit."""

QUARTER = 0.25


def _doubted(limb: Profile, kinks: tuple[float, ...], readings: list[tuple[float, float]]) -> bool:
    found = fit_profile(readings, FADE, limb.length, breakpoints=kinks).findings
    return any(one.doubt in ABOUT_READINGS for one in found)


def clean(names: Iterable[str], counts: Iterable[int], trials: int, sd: float = RULE) -> Iterator[bool]:
    """Yield for each trial whether readings that all scatter alike are doubted."""
    for name, count in itertools.product(names, counts):
        rng = np.random.default_rng([20, list(LIMBS).index(name), count, int(1000 * sd)])
        limb, kinks = LIMBS[name]
        for _ in range(trials):
            yield _doubted(limb, kinks, noisy(readings_of(limb, count), rng, sd))


def wrong(names: Iterable[str], counts: Iterable[int], many: int, trials: int) -> Iterator[bool]:
    """Yield for each trial whether readings of which some inner ones are a quarter inch off are doubted."""
    for name, count in itertools.product(names, counts):
        rng = np.random.default_rng([21, list(LIMBS).index(name), count, many])
        limb, kinks = LIMBS[name]
        for _ in range(trials):
            places = rng.choice(np.arange(1, count - 1), many, replace=False)
            by = rng.choice([-QUARTER, QUARTER], many)
            yield _doubted(limb, kinks, shifted(noisy(readings_of(limb, count), rng, RULE), places, by))


def end_wrong(names: Iterable[str], counts: Iterable[int], place: int, trials: int) -> Iterator[bool]:
    """Yield for each trial whether readings of which the first or the last is a quarter inch off are doubted."""
    for name, count in itertools.product(names, counts):
        rng = np.random.default_rng([22, list(LIMBS).index(name), count, place % 2])
        limb, kinks = LIMBS[name]
        for _ in range(trials):
            by = rng.choice([-QUARTER, QUARTER], 1)
            readings = shifted(noisy(readings_of(limb, count), rng, RULE), np.array([place]), by)
            yield _doubted(limb, kinks, readings)


@pytest.mark.slow
def test_sound_readings_are_rarely_doubted() -> None:
    """Of 500 profiles read to 1/32 in at 6 to 14 stations so few are doubted that the rate is under 2 %, to 95 %."""
    doubted = list(clean(LIMBS, (6, 8, 10, 12, 14), trials=20))

    assert binomtest(sum(doubted), len(doubted)).proportion_ci(0.9).high < 0.02


@pytest.mark.slow
@pytest.mark.parametrize("many", [1, 2, 3])
@pytest.mark.parametrize("name", ["straight", "reflex-deflex"])
def test_readings_a_quarter_inch_off_are_doubted(name: str, many: int) -> None:
    """Of limbs without a hook with one to three of 10 or 12 readings a quarter inch off, nine in ten are doubted.

    A working recurve or an ear bends as sharply between readings as a wrong one would have it: there it is fewer.
    """
    doubted = list(wrong([name], (10, 12), many, trials=20))

    assert np.mean(doubted) >= 0.9


@pytest.mark.slow
def test_the_more_readings_a_recurve_has_the_more_wrong_ones_are_doubted() -> None:
    """One wrong reading in a hook is hidden among 8, and doubted more often than not among 14."""
    few, many = (np.mean(list(wrong(["working recurve"], (count,), 1, trials=25))) for count in (8, 14))

    assert few < many
    assert many > 0.5


@pytest.mark.slow
@pytest.mark.parametrize(("name", "share"), [("straight", 0.95), ("reflex-deflex", 0.8)])
def test_scatter_of_an_eighth_is_doubted(name: str, share: float) -> None:
    """Readings at 10 to 14 stations that scatter by 1/8 in are doubted: of a straight limb nineteen in twenty, of a
    reflex-deflex one, whose bend hides some scatter, four in five.
    """
    doubted = list(clean([name], (10, 12, 14), trials=14, sd=1 / 8))

    assert np.mean(doubted) >= share


@pytest.mark.slow
@pytest.mark.parametrize("place", [0, -1])
def test_a_wrong_end_reading_of_a_straight_limb_is_doubted(place: int) -> None:
    """A first or last reading a quarter inch off a straight limb is doubted more often than not among 12."""
    assert np.mean(list(end_wrong(["straight"], (12,), place, trials=25))) > 0.5


def test_a_verdict_is_as_grave_as_its_gravest_finding() -> None:
    """No finding is trust, a finding is doubt, and one grave finding is the end of it."""
    slight, grave = (Finding(Doubt.NOISE, 9.0, "", grave) for grave in (False, True))

    assert verdict(()) is Verdict.TRUSTED
    assert verdict((slight,)) is Verdict.DOUBTFUL
    assert verdict((slight, grave)) is Verdict.UNTRUSTED
