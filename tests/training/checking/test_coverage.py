"""Counts of intervals that held come with the spread that luck leaves them, and too narrow ones show."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binom, kstest, norm
from statsmodels.stats.proportion import proportion_confint

from tests.simulated import draw
from training.checking.coverage import bars, count, inside, thirds, usual_counts, wilson
from training.engine.hierarchy import fit


@pytest.mark.parametrize(
    ("held", "of", "low", "high"),
    [(18, 20, 0.6990, 0.9721), (27, 30, 0.7438, 0.9654), (45, 50, 0.7864, 0.9565)],
)
def test_wilson(held: int, of: int, low: float, high: float) -> None:
    """Wilson's interval is that of `statsmodels.stats.proportion.proportion_confint`, which gave the digits."""
    theirs = proportion_confint(held, of, alpha=0.05, method="wilson")

    assert wilson(held, of) == pytest.approx(theirs, rel=1e-12)
    assert theirs == pytest.approx((low, high), abs=6e-5)


@given(st.integers(0, 200), st.integers(1, 200))
def test_wilson_everywhere(held: int, more: int) -> None:
    """It agrees with statsmodels for every count, none and all too, and holds the share itself."""
    of = held + more
    for some in (held, of - held, of):
        low, high = wilson(some, of)
        assert (low, high) == pytest.approx(proportion_confint(some, of, method="wilson"), abs=1e-12)
        assert low <= some / of <= high


def test_no_case_tells_nothing() -> None:
    """Without any case the share may be anything."""
    told = count(0, 0, 0.9)

    assert (told.low, told.high, told.usual_low, told.usual_high) == (0.0, 1.0, 0, 0)


@given(st.integers(1, 400), st.sampled_from([0.1, 0.5, 0.8, 0.9, 0.99]))
def test_usual_counts(of: int, share: float) -> None:
    """Luck leaves at most 2.5 % of cases beyond either end, and more with one count less: sums of the binomial law."""
    low, high = usual_counts(of, share)
    chances = binom.pmf(np.arange(of + 1), of, share)

    assert chances[:low].sum() <= 0.025 + 1e-12 < chances[: low + 1].sum() + 2e-12
    assert chances[high + 1 :].sum() <= 0.025 + 1e-12 < chances[high:].sum() + 2e-12


def test_inside_counts_the_middle() -> None:
    """A central interval of 80 % holds readings to which from 10 to 90 % was given."""
    assert inside(np.array([0.05, 0.11, 0.5, 0.89, 0.95]), 0.8).tolist() == [False, True, True, True, False]


def test_histogram_needs_builds() -> None:
    """Below two bars of six builds there is no histogram; every build is in one bar."""
    below = np.random.default_rng(4).uniform(size=100)

    assert bars(below[:11]) == ()
    assert len(bars(below[:12])) == 2
    assert sum(bar.builds for bar in bars(below)) == 100


def test_thirds() -> None:
    """Values are parted by rank into thirds that differ by one at most, ties in order."""
    assert thirds([5, 1, 9, 3, 7, 2]) == [1, 0, 2, 1, 2, 0]
    assert [thirds([1.0] * 10).count(third) for third in range(3)] == [4, 3, 3]


def _unusual(below: np.ndarray) -> list[int]:
    return [place for place, bar in enumerate(bars(below)) if bar.unusual]


def test_true_model_is_even_and_half_variance_shows() -> None:
    """Readings from the model itself fall evenly; given half the variance, both end bars stand out of their bands.

    300 builds drawn from the regression's own model, each predicted from the others; probabilities of the main claim
    by Kolmogorov and Smirnov with a false alarm of one in a thousand.
    """
    drawn = draw(np.random.default_rng(20261125), 300)
    predicted = fit(drawn.readings).leave_builds_out()
    first = np.unique(drawn.readings.build, return_index=True)[1].tolist()
    values, whole = drawn.readings.values[first], predicted.some(first)
    true, narrow = whole.cdf(values), whole.stretched(np.sqrt(0.5)).cdf(values)

    assert kstest(true, "uniform").pvalue > 0.001
    assert len(_unusual(true)) <= 2
    assert kstest(narrow, "uniform").pvalue < 0.01
    assert {0, 9} <= set(_unusual(narrow))
    assert bars(narrow)[0].builds > bars(narrow)[0].usual_high


def test_bands_raise_few_false_alarms() -> None:
    """Of even bars one in twenty at most lies outside its band; of those of half the variance, far more."""
    rng = np.random.default_rng(11)
    scores = rng.standard_normal((400, 60))
    outside = np.mean([bar.unusual for row in norm.cdf(scores) for bar in bars(row)])
    narrow = np.mean([bar.unusual for row in norm.cdf(scores * np.sqrt(2)) for bar in bars(row)])

    assert outside < 0.05
    assert narrow > 2 * outside
