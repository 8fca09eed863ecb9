"""Weights with the range that holds nine of ten, against scipy's distributions."""

import numpy as np
import pytest
from scipy.stats import lognorm

from predictor.belief.mixture import NormalMixture
from predictor.prediction.ranged import Ranged, ranged


@pytest.mark.parametrize("log_sd", [0.01, 0.1, 0.5])
def test_nine_of_ten_lie_in_a_range(log_sd: float) -> None:
    """The range about a median holds nine tenths of a log-normal number, as many below it as above."""
    one, number = Ranged.about(50.0, log_sd), lognorm(log_sd, scale=50.0)
    assert number.cdf(one.low_lbf) == pytest.approx(0.05, abs=1e-4)
    assert number.sf(one.high_lbf) == pytest.approx(0.05, abs=1e-4)
    assert number.median() == pytest.approx(one.lbf)


def test_a_range_of_a_mixture_holds_nine_of_ten() -> None:
    """Of two log-normals the range leaves a twentieth on either side, for each number by itself."""
    weights, means = np.array([[0.3], [0.7]]), np.log([[40.0, 30.0], [50.0, 60.0]])
    sds = np.array([[0.02, 0.05], [0.10, 0.20]])
    told = ranged(NormalMixture(np.broadcast_to(weights, (2, 2)), means, sds))
    assert len(told) == 2
    for place, one in enumerate(told):
        parts = [lognorm(sds[part, place], scale=np.exp(means[part, place])) for part in (0, 1)]
        for lbf, below in ((one.low_lbf, 0.05), (one.lbf, 0.5), (one.high_lbf, 0.95)):
            assert 0.3 * parts[0].cdf(lbf) + 0.7 * parts[1].cdf(lbf) == pytest.approx(below, abs=1e-9)
