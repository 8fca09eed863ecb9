"""Learning from the first builds: who foretells whom, and that it helps in a shop whose truth is known."""

from dataclasses import replace

import numpy as np
import pytest

from predictor.cutting import with_cut
from predictor.model import prior_belief
from tests.reports.fitted import sources
from training.learning_curve import STOPS, Point, curve
from training.questions import answers


def points(builds: int) -> tuple[Point, ...]:
    """Return the curve of an invented shop's first builds."""
    known = sources(builds)
    assert known.trained is not None
    assert known.left_out is not None
    return curve(known.trained.evidence, known.left_out.asked, lambda steps, _: steps)


def test_each_stop_foretells_the_builds_after_it() -> None:
    """At every stop the builds that had not come in are foretold, and one that has is not."""
    found = points(8)

    assert [point.builds for point in found] == [stop for stop in STOPS if stop < 8]
    assert all(point.builds + point.later == 8 for point in found)
    assert all(0 <= point.inside <= point.later for point in found)


def test_first_point_is_the_handbooks() -> None:
    """Before any build the error is that of the prior's belief, which no cut of the shop has told anything."""
    known = sources(3)
    assert known.left_out is not None
    asked = known.left_out.asked
    read = np.array([question.log_weight for question in asked])
    untold = [replace(question, columns=with_cut(question.columns, 0.0)) for question in asked]
    errors = np.expm1(read - answers(prior_belief(), untold).quantile(0.5))

    assert points(3)[0].rms_percent == pytest.approx(100 * np.sqrt(np.mean(errors**2)))


@pytest.mark.slow
def test_builds_narrow_intervals_and_lower_the_error() -> None:
    """In a shop of 24 builds the first twelve have brought half width and error below the handbook's."""
    found = {point.builds: point for point in points(24)}

    assert found[12].half_width_percent < found[0].half_width_percent
    assert found[12].rms_percent < found[0].rms_percent
