"""Mixtures of normals: their scores and their stretching."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import chi2, norm, t

from predictor.belief.mixture import NormalMixture, side_by_side

MIXTURE = NormalMixture(
    np.array([[0.3], [0.6], [0.1]]), np.array([[-1.0], [0.5], [2.0]]), np.array([[0.4], [1.0], [3.0]])
)


def test_score_of_a_normal() -> None:
    """For one normal the score is the distance from the mean in standard deviations, also forty of them out."""
    one = NormalMixture(np.ones((1, 5)), np.full((1, 5), 2.0), np.full((1, 5), 0.5))
    values = np.array([-18.0, 1.0, 2.0, 2.25, 22.0])

    assert one.normal_score(values) == pytest.approx([-40, -2, 0, 0.5, 40], abs=1e-9)


@given(st.floats(-7, 9))
def test_score_has_the_probability_of_the_value(value: float) -> None:
    """The standard normal probability of the score is the mixture's of the value."""
    at = np.array([value])

    assert norm.cdf(MIXTURE.normal_score(at)) == pytest.approx(MIXTURE.cdf(at), rel=1e-9, abs=1e-14)


def test_score_of_student_t() -> None:
    """A scale mixture that is Student's t gives its scores: scipy's cdf through the normal quantile, to 1e-3.

    t with 6 degrees of freedom is a normal whose precision is chi-squared with 6 degrees of freedom over 6
    (Gelman and others, Bayesian Data Analysis, appendix A, from memory); its quantiles stand for it.
    """
    points = (np.arange(4000) + 0.5) / 4000
    sds = np.sqrt(6 / chi2(6).ppf(points))[:, None]
    mixture = NormalMixture(np.full((4000, 1), 1 / 4000), np.zeros((4000, 1)), sds)
    for value in (-2.5, 0.3, 3.0):
        assert mixture.normal_score(np.array([value]))[0] == pytest.approx(
            norm.ppf(t(6).cdf(value)), abs=1e-3
        )


@given(st.floats(0.2, 5), st.floats(0.001, 0.999))
def test_stretching_moves_quantiles_from_the_median(factor: float, probability: float) -> None:
    """Every quantile's distance from the median is multiplied by the factor, and the sd with it."""
    stretched = MIXTURE.stretched(factor)
    middle = MIXTURE.quantile(0.5)

    assert stretched.quantile(probability) - middle == pytest.approx(
        factor * (MIXTURE.quantile(probability) - middle), abs=1e-9
    )
    assert stretched.sd == pytest.approx(factor * MIXTURE.sd)


def test_side_by_side_keeps_each() -> None:
    """Mixtures of one and of three normals side by side keep their quantiles and scores."""
    rng = np.random.default_rng(3)
    one = NormalMixture(np.ones((1, 2)), rng.normal(size=(1, 2)), rng.uniform(0.5, 2, (1, 2)))
    three = NormalMixture(np.full((3, 1), 1 / 3), rng.normal(size=(3, 1)), rng.uniform(0.5, 2, (3, 1)))
    both = side_by_side([one, three])

    assert both.quantile(0.1) == pytest.approx([*one.quantile(0.1), *three.quantile(0.1)])
    assert both.sd == pytest.approx([*one.sd, *three.sd])
    scores = [*one.normal_score(np.full(2, 2.0)), *three.normal_score(np.array([2.0]))]
    assert both.normal_score(np.full(3, 2.0)) == pytest.approx(scores)


def test_probabilities_stay_in_their_range() -> None:
    """Weights that add up to a hair more than one give no probability above one."""
    weights = np.full((10, 1), 0.1 * (1 + 1e-15))
    mixture = NormalMixture(weights, np.zeros((10, 1)), np.ones((10, 1)))
    assert weights.sum() > 1
    assert mixture.cdf(np.array([50.0])) == 1
