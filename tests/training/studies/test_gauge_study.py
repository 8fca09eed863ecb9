"""Repeatability and reproducibility: the handbook's worked example by both ways, hand arithmetic, laws."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from statsmodels.formula.api import mixedlm, ols
from statsmodels.stats.anova import anova_lm

from tests.published import columns_of, numbers
from training.studies.gauge_study import by_analysis, by_ranges, pooled, range_moments

Array = NDArray[np.float64]

# Three decimals: Montgomery, Introduction to Statistical Quality Control, appendix VI (from memory). The factors are
# AIAG's, as quoted in public test suites with the worked example.
D2_D3 = {2: (1.128, 0.853), 3: (1.693, 0.888), 4: (2.059, 0.880), 5: (2.326, 0.864), 10: (3.078, 0.797)}
K1_3_TRIALS, K2_3_APPRAISERS, K3_10_PARTS = 0.5908, 0.5231, 0.3146

HAND = np.array([[[10, 12], [14, 16]], [[20, 22], [24, 26]]], dtype=float)


def example() -> Array:
    """Return the handbook's readings, shape (10 parts, 3 appraisers, 3 trials)."""
    columns = columns_of("gauge_study.csv")
    rows = np.stack([numbers(columns[str(part)]) for part in range(1, 11)])
    return rows.reshape(10, 3, 3)


@pytest.mark.parametrize("n", D2_D3)
def test_moments_of_the_range_are_the_published_constants(n: int) -> None:
    """Mean and standard deviation of the range of n normals are d2 and d3 to the three decimals of the tables."""
    assert range_moments(n) == pytest.approx(D2_D3[n], abs=6e-4)


def test_factors_are_the_handbooks() -> None:
    """One over d2, and one over d2 and d3 put together for a single range, are K1, K2 and K3 to four decimals."""
    assert 1 / range_moments(3)[0] == pytest.approx(K1_3_TRIALS, abs=6e-5)
    assert 1 / np.hypot(*range_moments(3)) == pytest.approx(K2_3_APPRAISERS, abs=6e-5)
    assert 1 / np.hypot(*range_moments(10)) == pytest.approx(K3_10_PARTS, abs=6e-5)


def test_worked_example_by_ranges() -> None:
    """Averages and ranges give the handbook's figures, which carry the rounding of its factors and averages."""
    found = by_ranges(example())

    assert found.repeatability == pytest.approx(0.20188, abs=5e-5)
    assert found.reproducibility == pytest.approx(0.22963, abs=1e-4)
    assert found.gauge == pytest.approx(0.30575, abs=1e-4)
    assert found.part == pytest.approx(1.10456, abs=2e-4)
    assert found.total == pytest.approx(1.14610, abs=2e-4)
    assert 100 * found.gauge / found.total == pytest.approx(26.68, abs=0.01)
    assert 100 * found.part / found.total == pytest.approx(96.38, abs=0.01)


def test_worked_example_by_analysis_of_variance() -> None:
    """The analysis of variance gives the published squares and variances, and pools the interaction."""
    found = by_analysis(example())

    squares = [line.squares for line in found.lines]
    assert squares == pytest.approx([88.3619, 3.1673, 0.3590, 2.7589], abs=5e-5)
    assert [line.freedom for line in found.lines] == [9, 2, 18, 60]
    assert found.pooled
    assert found.variation.repeatability**2 == pytest.approx(0.0399733, abs=5e-8)
    assert found.variation.reproducibility**2 == pytest.approx(0.0514553, abs=5e-8)
    assert found.variation.part**2 == pytest.approx(1.0864466, abs=5e-8)
    assert 100 * found.variation.gauge / found.variation.total == pytest.approx(27.86, abs=0.005)


def test_the_two_ways_disagree_on_the_categories_of_the_example() -> None:
    """On the same readings ranges tell five categories and the analysis of variance four: known, and shown as it is."""
    assert by_ranges(example()).categories == 5
    assert by_analysis(example()).variation.categories == 4


def test_hand_arithmetic() -> None:
    """Two parts, two appraisers, two trials without interaction: squares 200, 32, 0, 8; variances 1.6, 7.6, 49.6."""
    found = by_analysis(HAND)

    assert [line.squares for line in found.lines] == pytest.approx([200, 32, 0, 8], abs=1e-12)
    assert found.variation.repeatability**2 == pytest.approx(1.6)
    assert found.variation.reproducibility**2 == pytest.approx(7.6)
    assert found.variation.part**2 == pytest.approx(49.6)


def with_interaction() -> Array:
    """Return readings with a real interaction."""
    rng = np.random.default_rng(8)
    crossed = rng.normal(0, 1, (8, 3))[:, :, None] + rng.normal(0, 2, (8, 1, 1))
    readings: Array = crossed + rng.normal(0, 0.2, (8, 3, 3))
    return readings


@pytest.mark.parametrize("readings", [example(), with_interaction()], ids=["example", "interaction"])
def test_analysis_of_variance_is_that_of_statsmodels(readings: Array) -> None:
    """Squares and the interaction's p-value are those of `statsmodels.stats.anova` on the same table."""
    part, appraiser, _ = np.indices(readings.shape)
    frame = pd.DataFrame({"y": readings.ravel(), "part": part.ravel(), "who": appraiser.ravel()})
    table = anova_lm(ols("y ~ C(part) * C(who)", frame).fit())
    found = by_analysis(readings)

    assert [line.squares for line in found.lines] == pytest.approx(table["sum_sq"].to_list(), rel=1e-9)
    assert found.interaction_p == pytest.approx(table["PR(>F)"].iloc[2], rel=1e-8)
    assert found.pooled == (readings.shape[0] == 10)


def test_pooled_variances_are_the_restricted_likelihoods() -> None:
    """In a balanced study with every variance positive the pooled analysis is the restricted-likelihood fit.

    Readings are taken tenfold: the library's search stops early on variances below one.
    """
    readings = 10 * example()
    part, appraiser, _ = np.indices(readings.shape)
    frame = pd.DataFrame({"y": readings.ravel(), "part": part.ravel(), "who": appraiser.ravel(), "all": 1})
    found = by_analysis(readings)

    fitted = mixedlm(
        "y ~ 1",
        frame,
        groups="all",
        re_formula="0",
        vc_formula={"part": "0 + C(part)", "who": "0 + C(who)"},
    ).fit()
    between = dict(zip(fitted.model.exog_vc.names, fitted.vcomp, strict=True))
    assert found.variation.repeatability**2 == pytest.approx(fitted.scale, rel=1e-3)
    assert found.variation.part**2 == pytest.approx(between["part"], rel=1e-3)
    assert found.variation.reproducibility**2 == pytest.approx(between["who"], rel=1e-3)


studies = st.tuples(st.integers(2, 6), st.integers(2, 4), st.integers(2, 4), st.integers(0, 10_000)).map(
    lambda drawn: np.random.default_rng(drawn[3]).normal(50, 2, drawn[:3])
)


@given(studies, st.floats(-100, 100), st.floats(0.1, 10))
def test_shift_and_unit_do_not_matter(readings: Array, shift: float, factor: float) -> None:
    """A shift of all readings changes nothing, and another unit only the unit."""
    changed = factor * readings + shift
    pairs = [
        (by_ranges(readings), by_ranges(changed)),
        (by_analysis(readings).variation, by_analysis(changed).variation),
    ]
    for before, after in pairs:
        for name in ("repeatability", "reproducibility", "part"):
            assert getattr(after, name) == pytest.approx(factor * getattr(before, name), rel=1e-6, abs=1e-6)


def test_equal_readings_have_no_gauge_error() -> None:
    """Where every hand reads every bow alike, all variation is the bows' and no number of categories bounds it."""
    readings = np.broadcast_to(np.array([44.0, 50.0, 57.0])[:, None, None], (3, 2, 2))

    for found in (by_ranges(readings), by_analysis(readings).variation):
        assert found.gauge == 0
        assert found.part > 0
        assert found.categories is None


def test_one_trial_is_refused() -> None:
    """A study in which nobody weighed twice is refused, with what was wanted."""
    with pytest.raises(ValueError, match="wanted two parts, appraisers and trials"):
        by_ranges(np.ones((3, 2, 1)))


def test_pooled_scatter_is_that_within_sets() -> None:
    """Sets of two readings apart by d have the variance d squared over two; a set of one says nothing."""
    found = pooled([[50.0, 51.0], [40.0, 42.0], [33.0]])

    assert found is not None
    assert found.freedom == 2
    assert found.sd**2 == pytest.approx((0.5 + 2.0) / 2)
    assert pooled([[50.0], [40.0]]) is None


def test_interval_of_pooled_scatter_holds_as_often_as_it_says() -> None:
    """Over 4000 simulated sets of readings the 90 % interval holds the true scatter in 90 % of them, to 1.5 %."""
    rng = np.random.default_rng(3)
    held = 0
    for _ in range(4000):
        found = pooled(rng.normal(50, 0.4, (3, 3)).tolist())
        assert found is not None
        held += found.low <= 0.4 <= found.high
    assert held / 4000 == pytest.approx(0.9, abs=0.015)
