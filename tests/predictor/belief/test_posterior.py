"""What a posterior says of a build: seen and unseen lots, its own readings, and the way to JSON and back."""

import json

import numpy as np
import pytest
from scipy.stats import norm

from predictor.belief.mixture import NormalMixture
from predictor.belief.posterior import Posterior, Rows, predict

TAU, SIGMA = 0.05, 0.03
"""Scatter between builds and of a reading, the case of the table below."""


def _known(scales: list[list[float]], weights: list[float]) -> Posterior:
    """A posterior whose effects are known exactly."""
    count = len(weights)
    return Posterior(
        effects=("level",),
        groups=("lot",),
        build_columns=("build",),
        weights=np.array(weights),
        scales=np.array(scales),
        means=np.zeros((count, 1)),
        covariances=np.zeros((count, 1, 1)),
    )


def _rows(count: int, unseen: int = 0) -> Rows:
    return Rows(
        effects=np.ones((count, 1)),
        unseen={"lot": np.ones((count, unseen))},
        build=np.ones((count, 1)),
        tolerances=np.zeros((count, 0)),
        sd=np.ones(count),
    )


@pytest.mark.parametrize(
    ("taken", "sd"), [(0, 0.05831), (1, 0.03952), (2, 0.03580), (3, 0.03417), (5, 0.03268)]
)
def test_own_readings_narrow_the_prediction(taken: int, sd: float) -> None:
    """The next reading's sd after k readings is the closed form (computed: the line below, and rounded values)."""
    closed = (SIGMA**2 + TAU**2 - TAU**4 / (TAU**2 + SIGMA**2 / taken) if taken else SIGMA**2 + TAU**2) ** 0.5
    posterior = _known([[0.1, TAU, SIGMA]], [1.0])
    own = (_rows(taken), np.full(taken, 0.1)) if taken else (None, None)
    found = predict(posterior, _rows(1), *own).marginal()
    assert found.sd[0] == pytest.approx(closed, rel=1e-12)
    assert found.sd[0] == pytest.approx(sd, abs=5e-6)


@pytest.mark.parametrize(("taken", "shrink"), [(1, 0.7353), (2, 0.8475), (3, 0.8929), (5, 0.9328)])
def test_mean_moves_by_the_shrink_factor(taken: int, shrink: float) -> None:
    """The build's mean moves by tau^2 / (tau^2 + sigma^2 / k) of what its k readings were off (closed form)."""
    posterior = _known([[0.1, TAU, SIGMA]], [1.0])
    found = predict(posterior, _rows(1), _rows(taken), np.full(taken, 1.0))
    assert found.mean[0] == pytest.approx(shrink, abs=5e-5)


def test_an_unseen_lot_widens() -> None:
    """A lot never met adds its group's variance."""
    posterior = _known([[0.1, TAU, SIGMA]], [1.0])
    seen, unseen = predict(posterior, _rows(1)).covariance, predict(posterior, _rows(1, unseen=1)).covariance
    assert unseen[0, 0] - seen[0, 0] == pytest.approx(0.1**2)


def test_own_readings_weigh_the_scales() -> None:
    """A build that is far off speaks for the set of scales that expected more scatter, by Bayes' rule."""
    posterior = _known([[0.1, 0.02, 0.01], [0.1, 0.08, 0.01]], [0.5, 0.5])
    found = predict(posterior, _rows(1), _rows(1), np.array([0.1]))
    densities = norm.pdf(0.1, scale=np.hypot([0.02, 0.08], 0.01))
    assert found.weights == pytest.approx(densities / densities.sum())


def test_json_round_trip() -> None:
    """A posterior read back from JSON text is the same to the last bit."""
    rng = np.random.default_rng(0)
    root = rng.standard_normal((2, 3, 3))
    lower = np.tril(root @ np.swapaxes(root, 1, 2))
    covariances = lower + np.swapaxes(np.tril(lower, -1), 1, 2)
    posterior = Posterior(
        effects=("a", "b", "c"),
        groups=("lot",),
        build_columns=("build",),
        weights=np.array([0.25, 0.75]),
        scales=rng.uniform(size=(2, 3)),
        means=rng.standard_normal((2, 3)),
        covariances=covariances,
    )
    back = Posterior.from_json(json.loads(json.dumps(posterior.to_json(), allow_nan=False)))
    for name in ("weights", "scales", "means", "covariances"):
        assert np.array_equal(getattr(back, name), getattr(posterior, name))
    assert (back.effects, back.groups, back.build_columns) == (("a", "b", "c"), ("lot",), ("build",))


def test_a_posterior_cannot_be_changed() -> None:
    """The arrays of a posterior refuse to be written to."""
    with pytest.raises(ValueError, match="read-only"):
        _known([[0.1, TAU, SIGMA]], [1.0]).means[0, 0] = 1.0


def test_numbers_that_are_none_are_refused() -> None:
    """A fit with a number that is not finite is refused."""
    with pytest.raises(ValueError, match="finite"):
        _known([[0.1, float("nan"), SIGMA]], [1.0])


def test_quantile_is_the_inverse_of_the_distribution() -> None:
    """The probability below a quantile is the one that was asked for; one component gives the normal quantile."""
    mixture = NormalMixture(
        np.array([[0.3, 1.0], [0.7, 0.0]]),
        np.array([[0.0, 1.0], [2.0, 0.0]]),
        np.array([[1.0, 2.0], [0.5, 1.0]]),
    )
    for probability in (0.05, 0.5, 0.95):
        quantile = mixture.quantile(probability)
        assert mixture.cdf(quantile) == pytest.approx(probability, abs=1e-12)
        assert quantile[1] == pytest.approx(norm.ppf(probability, 1.0, 2.0))


def test_mixture_moments() -> None:
    """Mean and sd of a mixture are those of total expectation and total variance (computed by hand)."""
    mixture = NormalMixture(np.array([[0.5], [0.5]]), np.array([[-1.0], [1.0]]), np.array([[1.0], [2.0]]))
    assert mixture.mean[0] == 0
    assert mixture.sd[0] == pytest.approx((0.5 * 1 + 0.5 * 4 + 1) ** 0.5)


@pytest.mark.parametrize("probability", [0.0, 1.0, -0.1])
def test_no_quantile_outside(probability: float) -> None:
    """A probability that has no quantile is refused."""
    with pytest.raises(ValueError, match="between 0 and 1"):
        NormalMixture(np.ones((1, 1)), np.zeros((1, 1)), np.ones((1, 1))).quantile(probability)
