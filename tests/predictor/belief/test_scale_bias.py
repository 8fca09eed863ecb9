"""Scales that read high: what weighings and check weights say, by arithmetic that can be followed by hand."""

from math import log, sqrt

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.stats import norm

from datasets.schema import Scale
from predictor.belief.model import prior_belief
from predictor.belief.posterior import Posterior
from predictor.belief.scale_bias import by_checks, by_weighings, with_check_weights
from predictor.belief.scatter import PRIOR_SCATTER, SCALES, SCATTER_SDS
from predictor.belief.seen import level_name

Array = NDArray[np.float64]

READING_LBF = PRIOR_SCATTER.scale_reading_lbf


def scale(name: str, *checks: tuple[float, float], division: float = 0.1) -> Scale:
    """Return a scale with readings of known weights, each a pair of known and read."""
    return Scale(
        id=name,
        division_lbf=division,
        checks=tuple({"known": known, "read": read} for known, read in checks),  # type: ignore[misc]  # read as typed
    )


def belief(means: list[list[float]], weights: list[float]) -> Posterior:
    """Return a mixture over two scales, `spring` and `hook`, each with sd .002 and correlated by a half."""
    prior, k = prior_belief(), len(weights)
    covariance = 0.002**2 * np.array([[1, 0.5], [0.5, 1]])
    return Posterior(
        effects=tuple(level_name(SCALES, name) for name in ("spring", "hook")),
        groups=prior.groups,
        build_columns=prior.build_columns,
        weights=np.array(weights),
        scales=np.repeat(prior.scales, k, axis=0),
        means=np.array(means),
        covariances=np.repeat(covariance[None], k, axis=0),
    )


def moments(of: Posterior, *names: str) -> tuple[Array, Array]:
    """Return means and standard deviations of scales."""
    found = by_weighings(of, names)
    return found.mean, found.sd


def test_scale_that_nothing_is_known_of() -> None:
    """Before any weighing a scale is off by the scatter of scales, either way, and independently of others."""
    found = by_weighings(prior_belief(), ["spring", "hook"])

    assert found.mean == pytest.approx([0, 0])
    assert found.covariance == pytest.approx(np.eye(2) * SCATTER_SDS[SCALES] ** 2)


def test_mixture_has_its_own_mean_and_variance() -> None:
    """Over two sets of scatter the mean is the weighted one, and the variance counts the distance of the means."""
    found = by_weighings(belief([[0.01, 0.0], [0.03, 0.0]], [0.5, 0.5]), ["spring", "hook", "new"])

    assert found.mean == pytest.approx([0.02, 0, 0])
    assert found.sd**2 == pytest.approx([0.002**2 + 0.01**2, 0.002**2, SCATTER_SDS[SCALES] ** 2])


def test_difference_of_scales_counts_what_they_share() -> None:
    """The variance of a difference is the sum of the variances less twice the covariance."""
    found = by_weighings(belief([[0.01, -0.004]], [1.0]), ["spring", "hook"])

    assert found.difference(0, 1) == pytest.approx((0.014, 0.002), rel=1e-12)


def test_check_weights_by_hand() -> None:
    """Two alike checks tell their common ratio, to the error of one over the root of two."""
    told = by_checks(scale("spring", (50, 50.5), (50, 50.5), division=0.2))

    error = sqrt(0.2**2 / 12 + READING_LBF**2) / 50
    assert told == pytest.approx((log(1.01), error / sqrt(2)))
    assert by_checks(scale("spring")) is None


def test_check_weight_and_weighings_go_by_precision() -> None:
    """On a scale by itself the result lies between weighings and check weight, weighted by one over their variances."""
    record = scale("lone", (50, 50.5))
    (before,), (sd_before,) = moments(prior_belief(), "lone")
    (after,), (sd_after,) = moments(with_check_weights(prior_belief(), {"lone": record}), "lone")

    told = by_checks(record)
    assert told is not None
    weights = np.array([1 / sd_before**2, 1 / told[1] ** 2])
    assert after == pytest.approx(weights @ [before, told[0]] / weights.sum())
    assert sd_after == pytest.approx(1 / sqrt(weights.sum()))


def test_check_weight_tells_of_the_scale_beside_it() -> None:
    """A check on one scale moves another that shares builds with it, and leaves one that shares none.

    With equal sds and a correlation of a half the other moves half as far.
    """
    names = ["spring", "hook", "new"]
    before = belief([[0.0, 0.0]], [1.0])
    after = with_check_weights(before, {"spring": scale("spring", (50, 50.5))})
    means, sds = moments(after, *names)

    assert 0 < means[0] < log(1.01)
    assert means[1] == pytest.approx(means[0] / 2)
    assert means[2] == 0
    assert sds[2] == pytest.approx(moments(before, "new")[1][0])


def test_scatters_that_expected_the_check_gain_weight() -> None:
    """Of two sets of scales the one whose mean is nearer to the check weight gains weight by the ratio of densities."""
    before = belief([[0.0, 0.0], [0.01, 0.0]], [0.5, 0.5])
    record = scale("spring", (50, 50.5))
    after = with_check_weights(before, {"spring": record})

    told = by_checks(record)
    assert told is not None
    density = norm.pdf(told[0], [0.0, 0.01], sqrt(0.002**2 + told[1] ** 2))
    assert after.weights == pytest.approx(density / density.sum())


@given(st.lists(st.tuples(st.floats(10, 80), st.floats(0.97, 1.03)), max_size=6))
def test_checks_never_make_less_certain(checks: list[tuple[float, float]]) -> None:
    """However many check weights are hung, at no set of scales is a scale less known, or a difference of two."""
    before = belief([[0.01, 0.0], [0.0, 0.02]], [0.3, 0.7])
    hung = scale("hook", *[(round(known, 2), round(known * ratio, 2)) for known, ratio in checks])
    after = with_check_weights(before, {"hook": hung})
    contrasts = np.array([[1.0, 0.0], [0.0, 1.0], [1.0, -1.0]])

    was, now = (np.einsum("ci,kij,cj->kc", contrasts, one.covariances, contrasts) for one in (before, after))
    assert np.all(now <= was * (1 + 1e-12))
