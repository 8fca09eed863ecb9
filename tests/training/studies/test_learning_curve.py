"""Learning from the first builds: who foretells whom, and that it helps in a shop whose truth is known."""

import numpy as np
import pytest

from predictor.belief.model import prior_belief
from tests.reports.fitted import sources
from training.checking.evaluate import learned
from training.checking.questions import Question, answers
from training.studies.learning_curve import Point, curve


def points(builds: int) -> tuple[Point, ...]:
    """Return the curve of an invented shop's first builds."""
    known = sources(builds)
    assert known.trained is not None
    return curve(known.trained.evidence, left_out(builds), lambda steps, _: steps)


def test_the_same_bows_are_foretold_at_every_stop() -> None:
    """Of eight builds the newest three are foretold by the first none to five of them, which none of those have met."""
    found = points(8)

    assert [point.builds for point in found] == [0, 1, 2, 3, 5]
    assert {point.later for point in found} == {3}
    assert all(0 <= point.inside <= 3 for point in found)
    asked = left_out(8)[5:]
    known = sources(8).trained
    assert known is not None
    for point in found:
        builds = [question.build for question in left_out(8)[: point.builds]]
        medians = np.exp(learned(known.evidence.weighings, builds).answers(asked).quantile(0.5))
        read = np.exp([question.log_weight for question in asked])
        assert point.off_percent == pytest.approx(100 * np.abs(read / medians - 1))


def left_out(builds: int) -> tuple[Question, ...]:
    """Return one reading each of an invented shop's first builds, in the order of time."""
    found = sources(builds).left_out_at_once
    assert found is not None
    return found.asked


def test_first_point_is_the_handbooks() -> None:
    """Before any build the error is that of the prior's belief, which no cut of the shop has told anything."""
    asked = left_out(3)[2:]
    read = np.array([question.log_weight for question in asked])
    errors = np.expm1(read - answers(prior_belief(), asked).quantile(0.5))

    assert points(3)[0].rms_percent == pytest.approx(100 * np.sqrt(np.mean(errors**2)))


@pytest.mark.slow
def test_builds_narrow_intervals_and_lower_the_error() -> None:
    """In a shop of 24 builds the first twelve have brought half width and error below the handbook's."""
    found = {point.builds: point for point in points(24)}

    assert found[12].half_width_percent < found[0].half_width_percent
    assert found[12].rms_percent < found[0].rms_percent
