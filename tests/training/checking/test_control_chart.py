"""Charts over time: constants and run lengths are the published ones, shifts are found, quiet stays quiet."""

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm

from training.checking.control_chart import (
    AVERAGE_OUT,
    BUILDS_A_FALSE_ALARM,
    EWMA_REACH,
    EWMA_SHARE,
    RANGE_OF_TWO,
    RULES,
    SERIES,
    alarms,
    caught,
    first_alarms,
    moving_average,
    sd_by_moving_range,
)


def test_constant_of_moving_ranges() -> None:
    """d2 of two is 1.128, the value of every table of control-chart factors (such as ASTM E2587; from memory)."""
    assert round(RANGE_OF_TWO, 3) == 1.128


def test_sd_by_hand() -> None:
    """The mean of the moving ranges 2, 1 and 3 over 1.128 is 1.773; one build has none."""
    assert sd_by_moving_range([0.0, 2.0, 1.0, 4.0]) == pytest.approx(2 / 1.128, rel=1e-3)
    assert sd_by_moving_range([1.0]) is None


def _run_length(share: float, reach: float, states: int = 401) -> float:
    """Return the mean run length of a two-sided moving average of standard normal errors, by the Markov chain of
    Brook and Evans, Biometrika 59 (1972), 539-549 (from memory).
    """
    limit = reach * np.sqrt(share / (2 - share))
    width = 2 * limit / states
    middles = -limit + width * (np.arange(states) + 0.5)
    upper = (middles[None] + width / 2 - (1 - share) * middles[:, None]) / share
    step = norm.cdf(upper) - norm.cdf(upper - width / share)
    lengths = np.linalg.solve(np.eye(states) - step, np.ones(states))
    return float(lengths[states // 2])


def test_moving_average_alarms_once_in_500() -> None:
    """By itself the moving average raises a false alarm once in some 500 builds, as its published scheme says."""
    assert _run_length(EWMA_SHARE, EWMA_REACH) == pytest.approx(500, rel=0.01)


def _until_broken(scores: np.ndarray) -> int:
    """Return after how many errors the first run rule is broken."""
    return min(alarm.places[-1] for alarm in alarms(scores.tolist()) if alarm.told != AVERAGE_OUT) + 1


CHAMP_AND_WOODALL = {0.0: 91.75, 0.6: 20.90, 1.0: 9.22, 1.4: 5.42, 2.0: 3.13, 3.0: 1.67}
"""Average run length of the four rules for errors shifted by so many sd: Technometrics 29 (1987), from memory."""


@pytest.mark.slow
@pytest.mark.parametrize("shift", CHAMP_AND_WOODALL)
def test_run_lengths_of_the_run_rules(shift: float) -> None:
    """The four rules raise their first alarm after as many builds as published, quiet or shifted."""
    rng = np.random.default_rng(20261125)
    lengths = [_until_broken(shift + rng.standard_normal(1200 if shift < 0.5 else 200)) for _ in range(1000)]

    error = np.std(lengths) / np.sqrt(1000)
    assert np.mean(lengths) == pytest.approx(CHAMP_AND_WOODALL[shift], abs=3 * error + 0.005)


def test_builds_a_false_alarm() -> None:
    """Rules and moving average together raise the first false alarm after as many builds as told; computed here."""
    lengths = first_alarms(np.random.default_rng(88).standard_normal((3000, 1500)))

    assert lengths.max() <= 1500
    assert abs(lengths.mean() - BUILDS_A_FALSE_ALARM) < 3 * lengths.std() / np.sqrt(3000) + 0.5


@given(st.lists(st.floats(-5, 5), min_size=1, max_size=30))
def test_first_alarm_is_the_first_of_the_list(scores: list[float]) -> None:
    """A chart's first alarm comes where the list of its alarms begins; past its end where that is empty."""
    found = alarms(scores)

    (first,) = first_alarms(np.array([scores])).tolist()

    assert first == (found[0].places[-1] + 1 if found else len(scores) + 1)


@pytest.mark.parametrize("shift", [0.0, 1.0, 3.0])
def test_chance_with_one_error(shift: float) -> None:
    """With one error the narrowest limit is the moving average's, 2.962 sd: its chance is the normal's tails."""
    tails = norm.sf(2.962 - shift) + norm.cdf(-2.962 - shift)

    assert caught(np.array([shift])).chance == pytest.approx(tails, abs=4 * np.sqrt(tails / SERIES))


def test_half_after_lasting_shifts() -> None:
    """Half of all charts see three sd at once, two within three errors; a quiet one takes longer than thirty."""
    three, two, none = (caught(np.full(30, shift)).half_after for shift in (3.0, 2.0, 0.0))

    assert norm.sf(2.962 - 3.0) > 0.5
    assert (three, none) == (1, None)
    assert two is not None
    assert 1 < two <= 3


def test_moving_average_out_of_range_by_hand() -> None:
    """Averages -0.2, 0.24, 0.592, 0.874, 1.099: out at the fifth error, the errors behind it begin at the second.

    The limits are 2.962 times the root of (1 - 0.64^t) / 9: 0.592, 0.759, 0.848, 0.903, 0.938.
    """
    found = [one.places for one in alarms([-1.0, 2.0, 2.0, 2.0, 2.0]) if one.told == AVERAGE_OUT]

    assert found == [(1, 2, 3, 4)]


@pytest.mark.parametrize(
    ("scores", "rule", "places"),
    [
        ([0, 0, 3.1, 0], 0, (2,)),
        ([0, -2.1, 0.3, -2.5, 0], 1, (1, 3)),
        ([1.2, 1.1, -0.2, 1.4, 1.3], 2, (0, 1, 3, 4)),
        ([0.1, 0.2, 0.3, 0.1, 0.2, 0.3, 0.4, 0.1], 3, tuple(range(8))),
    ],
)
def test_each_rule_by_hand(scores: list[float], rule: int, places: tuple[int, ...]) -> None:
    """Each rule of the Western Electric handbook (from memory) is broken by the errors that break it, and only it."""
    found = alarms(scores)

    assert [(one.told, one.places) for one in found if one.told != AVERAGE_OUT] == [
        (RULES[rule].told, places)
    ]


def test_quiet_errors_raise_nothing() -> None:
    """Errors that swing within one standard deviation raise no alarm; none at all neither."""
    assert alarms([0.5, -0.5] * 20) == []
    assert alarms([]) == []


def test_one_that_goes_on_is_told_once() -> None:
    """A shift that lasts raises each rule once while it lasts."""
    found = alarms([0.5] * 20)

    assert [alarm.places[-1] for alarm in found] == [7]


@given(st.lists(st.floats(-5, 5), max_size=30))
def test_sides_are_alike(scores: list[float]) -> None:
    """Errors with all signs turned raise the same alarms, and the moving average turns with them."""
    turned = [-score for score in scores]

    assert sorted(alarm.places for alarm in alarms(scores)) == sorted(
        alarm.places for alarm in alarms(turned)
    )
    assert moving_average(turned).value == pytest.approx(-moving_average(scores).value)


def test_moving_average_limits() -> None:
    """The first limit is share times reach, the last the one that stays: by Roberts' variance."""
    limits = moving_average([0.0] * 60).limit

    assert limits[0] == pytest.approx(EWMA_REACH * EWMA_SHARE)
    assert limits[-1] == pytest.approx(EWMA_REACH * np.sqrt(EWMA_SHARE / (2 - EWMA_SHARE)))
    assert np.all(np.diff(limits) >= 0)


def _found(shifted: Callable[[np.ndarray], np.ndarray]) -> float:
    rng = np.random.default_rng(5)
    return float(np.mean([bool(alarms(shifted(rng.standard_normal(30)).tolist())) for _ in range(100)]))


def test_a_shift_is_found() -> None:
    """A shift by one and a half standard deviations in the last ten of thirty is mostly found, quiet is not."""
    assert _found(lambda errors: errors + 1.5 * (np.arange(30) >= 20)) > 0.85
    assert _found(lambda errors: errors) < 0.5
