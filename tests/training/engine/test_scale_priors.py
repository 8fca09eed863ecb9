"""Priors of scales are densities of the logarithm of the scale, and know their own slopes."""

import numpy as np
import pytest
from scipy import stats

from tests.half_t import HalfT
from training.engine.scale_priors import LogNormal

PRIORS = (HalfT(0.03), HalfT(1.0, df=20), LogNormal(0.03, 0.5))


@pytest.mark.parametrize("prior", PRIORS)
def test_half_lies_below_the_median(prior):
    """Half of the density of the logarithm lies on either side of the median (trapezium rule)."""
    logs = np.log(prior.median) + np.linspace(-12, 12, 200_001)
    density = np.exp([prior.log_density(at)[0] for at in logs])
    half = len(logs) // 2
    assert np.trapezoid(density[: half + 1], logs[: half + 1]) == pytest.approx(
        np.trapezoid(density[half:], logs[half:]), rel=1e-4
    )


@pytest.mark.parametrize("prior", PRIORS)
def test_slope_is_the_derivative(prior):
    """The slope of the log density is its central difference."""
    for at in np.log(prior.median) + np.array([-2.0, -0.3, 0.0, 0.4, 1.5]):
        less, more = (prior.log_density(at + step)[0] for step in (-1e-5, 1e-5))
        assert prior.log_density(at)[1] == pytest.approx((more - less) / 2e-5, abs=1e-6)


def test_log_normal_is_scipys():
    """Densities differ as those of `scipy.stats.norm` in the logarithm do."""
    prior, theirs = LogNormal(0.03, 0.5), stats.norm(np.log(0.03), 0.5)
    ours = [prior.log_density(np.log(scale))[0] for scale in (0.01, 0.03, 0.08)]
    assert np.diff(ours) == pytest.approx(np.diff(theirs.logpdf(np.log([0.01, 0.03, 0.08]))))


def test_a_mean_square_is_kept():
    """The second moment of `scipy.stats.lognorm` is the square that was given."""
    prior = LogNormal.of_mean_square(0.03, 0.7)
    assert stats.lognorm(prior.log_sd, scale=prior.median).moment(2) == pytest.approx(0.03**2)


@pytest.mark.parametrize("wrong", [(0.0, 0.5), (0.03, 0.0)])
def test_sizes_are_positive(wrong):
    """A median or spread of nought is refused."""
    with pytest.raises(ValueError, match="wanted a positive median"):
        LogNormal(*wrong)
