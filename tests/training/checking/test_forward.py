"""Builds foretold from those before them: later builds have no part in it, and a step of all readings is seen."""

import numpy as np
import pytest

from tests.reports.fitted import sources
from training.checking.evaluate import learned
from training.checking.forward import FEWEST_BEFORE, first_foretold, foretold, raised

BUILDS = 14


def _scores(builds: int, late: int = 0, percent: float = 0.0) -> np.ndarray:
    """Return the scores of a shop's first builds, as if the latest of them had read higher."""
    made = sources(BUILDS)
    assert made.trained is not None
    assert made.left_out is not None
    asked = made.left_out.asked[:builds]
    higher = {question.build for question in asked[builds - late :]}
    weighings = raised(made.trained.evidence.weighings, higher, percent)
    return foretold(weighings, raised(asked, higher, percent), lambda steps, _: steps)


def test_later_builds_have_no_part() -> None:
    """What is said of a build does not change by a bit when later builds come."""
    assert _scores(10).tolist() == _scores(BUILDS)[: 10 - FEWEST_BEFORE].tolist()


def test_first_is_what_training_on_the_few_before_says() -> None:
    """The first build's score is that of a model trained on the builds before it alone."""
    made = sources(BUILDS)
    assert made.trained is not None
    assert made.left_out is not None
    asked = made.left_out.asked
    before = [question.build for question in asked[:FEWEST_BEFORE]]
    said = learned(made.trained.evidence.weighings, before).answers(asked[FEWEST_BEFORE : FEWEST_BEFORE + 1])

    (score,) = said.normal_score(np.array([asked[FEWEST_BEFORE].log_weight]))

    assert _scores(BUILDS)[0] == pytest.approx(score)


def test_a_step_raises_the_scores_that_follow_and_no_other() -> None:
    """Six per cent on the last five builds moves them up, the last less than the first, and none before."""
    moved = _scores(BUILDS, late=5, percent=6.0) - _scores(BUILDS)

    assert np.all(moved[:-5] == 0)
    assert np.all(moved[-5:] > 0)
    assert moved[-1] < moved[-5]


@pytest.mark.parametrize(("builds", "first"), [(0, 0), (2, 2), (9, FEWEST_BEFORE), (1000, 800)])
def test_first_foretold(builds: int, first: int) -> None:
    """A few builds come before the first one on the chart; of a long book the newest two hundred are on it."""
    assert first_foretold(builds) == first
