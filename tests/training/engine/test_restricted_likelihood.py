"""Eliminating builds one by one gives what the dense normal density gives, at linear cost."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import multivariate_normal

from tests.simulated import Drawn, design, draw, own_covariance, prior_variances
from training.engine.readings import natural, prepare
from training.engine.restricted_likelihood import evaluate, gradient
from training.engine.suspicion import no_doubts

SCALES = np.array([0.05, 0.02, 0.025, 0.006, 1.1])


@pytest.fixture
def drawn() -> Drawn:
    """A shop of 23 builds."""
    return draw(np.random.default_rng(11), 23, scales=SCALES)


def test_value_is_the_dense_density(drawn: Drawn) -> None:
    """With proper priors the criterion is minus twice the log marginal density of the readings."""
    readings = drawn.readings
    columns = design(readings)
    covariance = own_covariance(readings, SCALES) + (columns * prior_variances(readings, SCALES)) @ columns.T
    dense = multivariate_normal(np.zeros(len(covariance)), covariance).logpdf(readings.values)
    problem = prepare(readings)
    assert evaluate(problem, SCALES, no_doubts(problem)).value == pytest.approx(-2 * dense, rel=1e-10)


def test_posterior_is_dense_bayes(drawn: Drawn) -> None:
    """Mean and covariance of the effects are those of Bayes' rule on the full normal distribution."""
    readings = drawn.readings
    columns, variances = design(readings), prior_variances(readings, SCALES)
    covariance = own_covariance(readings, SCALES) + (columns * variances) @ columns.T
    gain = np.linalg.solve(covariance, columns * variances).T
    problem = prepare(readings)
    state = evaluate(problem, SCALES, no_doubts(problem))
    mean, spread = natural(problem, readings, state.mean, state.covariance)
    assert mean == pytest.approx(gain @ readings.values, abs=1e-11)
    assert spread == pytest.approx(np.diag(variances) - gain @ (columns * variances), abs=1e-12)


@pytest.mark.parametrize("restricted", [True, False])
def test_gradient(drawn: Drawn, restricted: bool) -> None:
    """The gradient is the slope of the criterion along every log scale, with doubts and flat priors too."""
    flat = replace(drawn.readings, common_sd=np.full(3, np.inf))
    problem = prepare(flat)
    doubts = no_doubts(problem)
    doubts[1][:] += 0.01 + 0.02 * np.eye(doubts[1].shape[1])
    found = gradient(problem, evaluate(problem, SCALES, doubts, restricted=restricted))
    for place, slope in enumerate(found):
        step = np.ones(len(SCALES))
        step[place] = np.exp(1e-5)
        above = evaluate(problem, SCALES * step, doubts, restricted=restricted).value
        below = evaluate(problem, SCALES / step, doubts, restricted=restricted).value
        assert slope == pytest.approx((above - below) / 2e-5, rel=1e-5, abs=1e-4)


def test_prior_means_shift_the_effects(drawn: Drawn) -> None:
    """Readings moved by what a prior mean explains give effects moved by that mean, and the same criterion."""
    shift = np.array([0.3, -0.2, 0.1])
    readings = drawn.readings
    moved = replace(readings, common_mean=shift, values=readings.values + readings.common @ shift)
    first, second = prepare(readings), prepare(moved)
    before, after = (evaluate(problem, SCALES, no_doubts(problem)) for problem in (first, second))
    expected = natural(first, readings, before.mean, before.covariance)[0]
    expected[:3] += shift
    assert natural(second, moved, after.mean, after.covariance)[0] == pytest.approx(expected, abs=1e-12)
    assert after.value == pytest.approx(before.value)


def test_work_grows_with_the_builds_alone() -> None:
    """A build costs the columns that it touches, however many lots the others add: four times the builds, four times
    the numbers kept.
    """
    rng = np.random.default_rng(2)
    kept = [
        sum(block.design.size for block in prepare(draw(rng, builds).readings).blocks)
        for builds in (400, 1600)
    ]
    assert kept[1] / kept[0] == pytest.approx(4, rel=0.05)


def test_dependent_columns_are_refused(drawn: Drawn) -> None:
    """Columns that nothing can tell apart are an error that says what to do."""
    readings = drawn.readings
    twice = replace(
        readings,
        common=np.column_stack([readings.common, readings.common[:, 0]]),
        common_mean=np.zeros(4),
        common_sd=np.full(4, np.inf),
    )
    with pytest.raises(ValueError, match="give one of them a prior"):
        prepare(twice)


def test_rows_that_do_not_fit_are_refused(drawn: Drawn) -> None:
    """A column of another length is an error that names it."""
    with pytest.raises(ValueError, match="rows in tolerances"):
        prepare(replace(drawn.readings, tolerances=np.zeros((2, 1))))
