"""Leaving builds out in closed form equals fitting without them."""

import numpy as np
import pytest

from tests.simulated import design, draw, own_covariance, prior_variances, subset
from training.engine.hierarchy import fit
from training.engine.leave_out import leave_builds_out, without_set
from training.engine.readings import Readings, prepare
from training.engine.restricted_likelihood import evaluate
from training.engine.suspicion import no_doubts

SCALES = np.array([0.05, 0.02, 0.025, 0.006, 1.1])


def _from_others(readings: Readings, scales: np.ndarray, out: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return mean and covariance of some readings given the rest, by the dense normal distribution."""
    columns = design(readings)
    joint = own_covariance(readings, scales) + (columns * prior_variances(readings, scales)) @ columns.T
    gain = np.linalg.solve(joint[np.ix_(~out, ~out)], joint[np.ix_(~out, out)]).T
    return gain @ readings.values[~out], joint[np.ix_(out, out)] - gain @ joint[np.ix_(~out, out)]


def test_build_left_out_equals_refit() -> None:
    """Mean and sd of every reading are those of the distribution given all other builds."""
    readings = draw(np.random.default_rng(5), 17, scales=SCALES).readings
    problem = prepare(readings)
    found = leave_builds_out(readings, problem, SCALES[None], np.ones(1), no_doubts(problem))
    for build in range(readings.builds):
        out = readings.build == build
        mean, covariance = _from_others(readings, SCALES, out)
        assert found.mean[out] == pytest.approx(mean, abs=1e-11)
        assert found.sd[out] == pytest.approx(np.sqrt(np.diag(covariance)), rel=1e-9)


def test_lot_left_out_equals_refit() -> None:
    """A build is predicted as if its lot were new: given only the other lots' builds."""
    readings = draw(np.random.default_rng(6), 17, scales=SCALES).readings
    problem = prepare(readings)
    state = evaluate(problem, SCALES, no_doubts(problem))
    for builds, wanted in ((np.arange(0, 5), 0), (np.arange(0, 5), 3), (np.arange(10, 15), 14)):
        left = without_set(problem, state, builds, wanted).left
        mine, out = readings.build == wanted, np.isin(readings.build, builds)
        mean, covariance = _from_others(readings, SCALES, out)
        assert readings.values[mine] - left.residual == pytest.approx(mean[mine[out]], abs=1e-11)
        own = own_covariance(readings, SCALES)[np.ix_(mine, mine)]
        theirs = covariance[np.ix_(mine[out], mine[out])]
        assert left.of_effects + own == pytest.approx(theirs, abs=1e-12)


def test_how_well_a_lot_was_expected_is_the_density_of_its_builds() -> None:
    """Between two sets of scales, what a left-out lot's readings say for one is their density given the others."""
    readings = draw(np.random.default_rng(11), 17, scales=SCALES).readings
    problem = prepare(readings)
    out = np.isin(readings.build, np.arange(5, 10))
    found, dense = [], []
    for scales in (SCALES, SCALES * [3, 1, 0.5, 1, 1.2]):
        state = evaluate(problem, scales, no_doubts(problem))
        found.append(without_set(problem, state, np.arange(5, 10), 7).log_density)
        mean, covariance = _from_others(readings, scales, out)
        off = readings.values[out] - mean
        misfit = np.linalg.slogdet(covariance).logabsdet + off @ np.linalg.solve(covariance, off)
        dense.append(-misfit / 2)

    assert found[1] - found[0] == pytest.approx(dense[1] - dense[0], abs=1e-8)
    assert abs(dense[1] - dense[0]) > 0.5


def test_a_scale_of_zero_leaves_no_effect() -> None:
    """With a group's scale at zero a lot left out is still the distribution given the other lots' builds."""
    scales = SCALES * [0, 1, 1, 1, 1]
    readings = draw(np.random.default_rng(7), 17, scales=SCALES).readings
    problem = prepare(readings)
    left = without_set(problem, evaluate(problem, scales, no_doubts(problem)), np.arange(0, 5), 2).left
    mean, _ = _from_others(readings, scales, readings.build < 5)

    assert readings.values[readings.build == 2] - left.residual == pytest.approx(
        mean[readings.build[readings.build < 5] == 2], abs=1e-11
    )


def test_sets_of_scales_are_weighed_without_the_build() -> None:
    """With two sets of scales, their weights for a build are those that the other builds give them."""
    readings = draw(np.random.default_rng(8), 9, scales=SCALES).readings
    problem = prepare(readings)
    sets = np.array([SCALES, SCALES * [1, 1, 3, 1, 1]])
    doubts = no_doubts(problem)
    log_evidence = np.array([-evaluate(problem, scales, doubts).value / 2 for scales in sets])
    weights = np.exp(log_evidence - log_evidence.max())
    found = leave_builds_out(readings, problem, sets, weights / weights.sum(), doubts)
    out = readings.build == 4
    columns = design(readings)[~out]
    others = []
    for scales in sets:
        covariance = own_covariance(readings, scales)[np.ix_(~out, ~out)]
        covariance = covariance + (columns * prior_variances(readings, scales)) @ columns.T
        y = readings.values[~out]
        others.append(-(np.linalg.slogdet(covariance).logabsdet + y @ np.linalg.solve(covariance, y)) / 2)
    shares = np.exp(np.array(others) - max(others))
    assert found.weights[:, out] == pytest.approx(
        np.tile((shares / shares.sum())[:, None], int(out.sum())), rel=1e-8
    )


def test_difference_to_a_full_refit_is_small() -> None:
    """Scales found without the build move its prediction by a small part of the predictive sd."""
    readings = draw(np.random.default_rng(9), 30, scales=SCALES).readings
    whole = fit(readings).leave_builds_out()
    for build in (0, 12, 29):
        out = readings.build == build
        again = fit(subset(readings, ~out)).posterior
        mean = (again.weights @ again.means) @ design(readings)[out].T
        assert np.max(np.abs(mean - whole.mean[out]) / whole.sd[out]) < 0.2
