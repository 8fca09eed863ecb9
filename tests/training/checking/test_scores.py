"""Scores are those of the literature, and standard errors see that tests of one shop are alike."""

import numpy as np
import pytest
import scoringrules
import statsmodels.api as sm
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm

from predictor.belief.mixture import NormalMixture
from training.checking.scores import clustered_mean, clustered_ratio, crps, interval_score


def normal(mean: float, sd: float) -> NormalMixture:
    """Return one normal number as a mixture of one."""
    return NormalMixture(np.ones((1, 1)), np.array([[mean]]), np.array([[sd]]))


@pytest.mark.parametrize(
    ("mean", "sd", "observed", "score"),
    [
        (0, 1, 0, (np.sqrt(2) - 1) / np.sqrt(np.pi)),
        (0, 1, 1, 0.6024413576276163),
        (0, 1, 2, 1.4527918216859033),
        (1, 2, 0.5, 0.5169996257988081),
        (44, 0.8, 45, 0.6295873224505193),
    ],
)
def test_crps_of_one_normal(mean, sd, observed, score):
    """A single normal scores as in Gneiting and Raftery (2007); the digits are `scoringrules.crps_normal`'s."""
    assert crps(normal(mean, sd), np.array([observed])) == pytest.approx([score], rel=1e-13)
    assert scoringrules.crps_normal(obs=observed, mu=mean, sigma=sd) == pytest.approx(score, rel=1e-13)


def test_crps_of_a_mixture():
    """A mixture scores as `scoringrules.crps_mixnorm` says."""
    rng = np.random.default_rng(3)
    weights = rng.dirichlet(np.ones(4), 6).T
    means, sds, observed = rng.normal(size=(4, 6)), rng.gamma(4, 0.3, (4, 6)), rng.normal(size=6)
    theirs = scoringrules.crps_mixnorm(obs=observed, m=means.T, s=sds.T, w=weights.T)
    assert crps(NormalMixture(weights, means, sds), observed) == pytest.approx(theirs, rel=1e-12)


def test_own_normal_scores_as_expected():
    """A right normal scores sd over the root of pi on average: Gauss-Hermite nodes stand for what is observed."""
    nodes, weights = np.polynomial.hermite_e.hermegauss(200)
    flat = np.ones((1, len(nodes)))
    scores = crps(NormalMixture(flat, 0 * flat, 3 * flat), 3 * nodes)
    assert weights @ scores / weights.sum() == pytest.approx(3 / np.sqrt(np.pi), rel=1e-4)


@given(st.floats(-3, 3), st.floats(0.05, 20))
def test_crps_goes_with_the_unit(observed, unit):
    """Scores scale with the unit of the values."""
    scaled = crps(normal(0.3 * unit, 2 * unit), np.array([observed * unit]))
    assert scaled == pytest.approx(unit * crps(normal(0.3, 2), np.array([observed])), rel=1e-9)


def test_standard_error_is_clustered():
    """The error of a mean is that of statsmodels' least squares with clusters, but for its factor (n - 1) / n."""
    rng = np.random.default_rng(8)
    clusters = np.repeat(np.arange(12), rng.integers(1, 9, 12))
    values = rng.normal(size=12)[clusters] + rng.normal(size=len(clusters))
    theirs = sm.OLS(values, np.ones(len(values))).fit(cov_type="cluster", cov_kwds={"groups": clusters})
    ours = clustered_mean(values, clusters)
    assert ours.value == pytest.approx(theirs.params[0], rel=1e-12)
    assert ours.error == pytest.approx(theirs.bse[0], rel=1e-9)


def test_error_of_a_ratio_holds():
    """The error of a ratio is its scatter over many draws of 60 shops; 5 % is four standard errors of 3200 draws."""
    rng = np.random.default_rng(9)
    clusters = np.repeat(np.arange(60), 5)
    found = []
    for _ in range(3200):
        size = rng.gamma(20, 1 / 20, 60)[clusters]
        below = size * rng.gamma(20, 1 / 20, 300)
        found.append(clustered_ratio(1.5 * size * rng.gamma(20, 1 / 20, 300), below, clusters))
    scatter = np.std([estimate.value for estimate in found])
    assert np.sqrt(np.mean([estimate.error**2 for estimate in found])) == pytest.approx(scatter, rel=0.05)
    assert np.mean([estimate.value for estimate in found]) == pytest.approx(1.5, rel=0.005)


def test_one_shop_has_no_error():
    """A single cluster is refused."""
    with pytest.raises(ValueError, match="wanted two clusters"):
        clustered_mean(np.ones(3), np.zeros(3))


@pytest.mark.parametrize(("observed", "level", "score"), [(2, 0.9, 2), (0.5, 0.9, 12), (3.2, 0.8, 4)])
def test_interval_score(observed, level, score):
    """An interval from 1 to 3 scores by hand from Gneiting and Raftery (2007), eq. 43, and as `scoringrules` says."""
    ends = np.array([1.0]), np.array([3.0]), np.array([observed])
    assert interval_score(*ends, level) == pytest.approx([score], rel=1e-13)
    theirs = scoringrules.interval_score(obs=observed, lower=1.0, upper=3.0, alpha=1 - level)
    assert theirs == pytest.approx(score, rel=1e-13)


@pytest.mark.parametrize(
    ("level", "factor"), [(0.95, 4.675606), (0.9, 4.125426), (0.8, 3.509967), (0.5, 2.542213)]
)
def test_expected_interval_score(level, factor):
    """A right interval of a normal number scores (4 / a) phi(z) on average; the factors are computed by
    `4 / a * scipy.stats.norm.pdf(scipy.stats.norm.ppf(1 - a / 2))`.
    """
    observed = norm.ppf((np.arange(20_000) + 0.5) / 20_000)
    reach = norm.ppf((1 + level) / 2)
    scores = interval_score(np.full(20_000, -reach), np.full(20_000, reach), observed, level)
    assert factor == pytest.approx(4 / (1 - level) * norm.pdf(reach), rel=1e-6)
    assert scores.mean() == pytest.approx(factor, rel=1e-3)
