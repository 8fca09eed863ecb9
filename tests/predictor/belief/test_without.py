"""Taking a build out of what taught a belief equals never having learned from it."""

import numpy as np
import pytest

from predictor.belief.posterior import Posterior, Rows, predict, without
from tests.simulated import design, draw, own_covariance, prior_variances, subset
from training.engine.readings import Readings, natural, prepare
from training.engine.restricted_likelihood import Doubts, evaluate
from training.engine.suspicion import no_doubts

SETS = np.array([[0.05, 0.02, 0.025, 0.006, 1.1], [0.03, 0.03, 0.015, 0.004, 0.9]])


def fitted(readings: Readings, doubts: Doubts | None = None) -> Posterior:
    """Return what readings say at two sets of scales, each weighed by its likelihood."""
    problem = prepare(readings)
    states = [evaluate(problem, scales, doubts or no_doubts(problem)) for scales in SETS]
    effects = [natural(problem, readings, state.mean, state.covariance) for state in states]
    likelihood = np.exp([-(state.value - states[0].value) / 2 for state in states])
    levels = (f"{group.name}: {level}" for group in readings.groups for level in group.levels)
    return Posterior(
        effects=(*readings.common_names, *levels),
        groups=tuple(group.name for group in readings.groups),
        build_columns=tuple(column.name for column in readings.build_columns),
        weights=likelihood / likelihood.sum(),
        scales=SETS,
        means=np.array([mean for mean, _ in effects]),
        covariances=np.array([covariance for _, covariance in effects]),
    )


def rows_of(readings: Readings, build: int) -> tuple[Rows, np.ndarray]:
    """Return a build's readings as rows, and what they read."""
    mine = readings.build == build
    rows = Rows(
        effects=design(readings)[mine],
        unseen={},
        build=np.stack([column.column[mine] for column in readings.build_columns], axis=1),
        tolerances=readings.tolerances[mine],
        sd=readings.sd[mine],
    )
    return rows, readings.values[mine]


def biggest(readings: Readings) -> int:
    """Return the build with the most readings."""
    return int(np.argmax(np.bincount(readings.build)))


def agree(found: Posterior, wanted: Posterior) -> None:
    """Hold two beliefs against each other."""
    assert found.weights == pytest.approx(wanted.weights, rel=1e-8)
    assert found.means == pytest.approx(wanted.means, abs=1e-10)
    assert found.covariances == pytest.approx(wanted.covariances, abs=1e-12)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_without_a_build_as_if_it_had_not_taught(seed: int) -> None:
    """Effects and weights of the sets of scales are those of a fit to the other builds."""
    readings = draw(np.random.default_rng(seed), 17, scales=SETS[0]).readings
    build = biggest(readings)
    found = without(fitted(readings), *rows_of(readings, build))

    agree(found, fitted(subset(readings, readings.build != build)))


def test_doubts_are_taken_out_as_they_went_in() -> None:
    """A build whose readings a suspected mistake made count for little is taken out for as little."""
    readings = draw(np.random.default_rng(4), 17, scales=SETS[0]).readings
    build, problem = biggest(readings), prepare(readings)
    count = int((readings.build == build).sum())
    added = 0.01 * (np.ones((count, count)) + np.eye(count))
    doubts = no_doubts(problem)
    for block, some in zip(problem.blocks, doubts, strict=True):
        some[block.builds == build] = added if block.rows.shape[1] == count else 0.0
    found = without(fitted(readings, doubts), *rows_of(readings, build), added)

    agree(found, fitted(subset(readings, readings.build != build)))


def test_counted_once() -> None:
    """Own readings given to the belief without them are as the joint normal of all builds has it, to 1e-8.

    The joint normal is a fit to all readings, of which the last one of the build is wanted and the others are its own.
    """
    readings = draw(np.random.default_rng(5), 17, scales=SETS[0]).readings
    build = biggest(readings)
    rows, values = rows_of(readings, build)
    last = len(values) - 1
    own, wanted = rows.part(slice(0, last)), rows.part(slice(last, None))
    keep = np.ones(len(readings.values), dtype=bool)
    keep[np.flatnonzero(readings.build == build)[-1]] = False
    taught = fitted(subset(readings, keep))
    found = predict(without(taught, own, values[:last]), wanted, own, values[:last])

    assert found.weights == pytest.approx(taught.weights, rel=1e-8)
    for place, scales in enumerate(SETS):
        mean, variance = _joint(readings, scales, ~keep)
        assert found.means[place] == pytest.approx(mean, abs=1e-8)
        assert found.covariances[place].ravel() == pytest.approx(variance, rel=1e-8)


def _joint(readings: Readings, scales: np.ndarray, out: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return mean and variance of a reading given all others, by the dense normal distribution."""
    columns = design(readings)
    joint = own_covariance(readings, scales) + (columns * prior_variances(readings, scales)) @ columns.T
    gain = np.linalg.solve(joint[np.ix_(~out, ~out)], joint[np.ix_(~out, out)]).T
    left = joint[np.ix_(out, out)] - gain @ joint[np.ix_(~out, out)]
    return gain @ readings.values[~out], left.ravel()


def test_readings_that_did_not_teach_are_refused() -> None:
    """A belief that knows less than some readings would have taught it has not learned from them."""
    readings = draw(np.random.default_rng(6), 3, scales=SETS[0]).readings
    build = biggest(readings)
    rows, values = rows_of(readings, build)
    others = fitted(subset(readings, readings.build != build))
    with pytest.raises(ValueError, match="taught"):
        without(others, rows, values)
