"""Each build is predicted once from the others, at its main reading, with what its records say of it."""

import numpy as np
import pytest

from predictor.calibration import stretch
from tests.reports.fitted import shop, sources
from training.left_out_builds import LeftOutBuilds


@pytest.fixture(scope="module")
def left_out() -> LeftOutBuilds:
    """Return two dozen builds, each left out."""
    found = sources(24).left_out
    assert found is not None
    return found


def test_scores_are_those_of_calibration(left_out: LeftOutBuilds) -> None:
    """A score is the stored one over the stretch that the other builds' scores ask for, up to the mixture's shape."""
    trained = sources(24).trained
    assert trained is not None
    stored = {one.build: one.score for one in trained.model.calibration.builds}
    for build in left_out.builds:
        if build.build in stored:
            wider = stretch([score for other, score in stored.items() if other != build.build])
            assert build.score == pytest.approx(stored[build.build] / wider, abs=0.15)


def test_reads_what_the_book_says(left_out: LeftOutBuilds) -> None:
    """The reading, its day and its draw are those of the build's last weighing nearest to 28 in."""
    for build in left_out.builds:
        weigh_in = shop().event(build.weigh_in)
        assert weigh_in is not None
        assert weigh_in.on == build.weighed_on
        weights = [reading.weight.lbf for reading in weigh_in.readings]
        assert min(abs(build.read_lbf - weight) for weight in weights) < 1e-9
        assert build.lots


def test_in_order_of_time(left_out: LeftOutBuilds) -> None:
    """Builds stand in the order of their weighings, each once, and predictions with them."""
    days = [build.weighed_on for build in left_out.builds]

    assert days == sorted(days)
    assert len({build.build for build in left_out.builds}) == len(left_out.builds) == 24
    expected = [build.expected_lbf for build in left_out.builds]
    assert np.exp(left_out.predicted.quantile(0.5)) == pytest.approx(expected)
    assert [build.read_lbf for build in left_out.builds] == pytest.approx(
        np.exp(left_out.log_weight).tolist()
    )


def test_sound_ones_do_not_look_wrong(left_out: LeftOutBuilds) -> None:
    """Builds that look like a mistake are set apart by the model's own naming."""
    trained = sources(24).trained
    assert trained is not None
    named = {build for build, _ in trained.model.doubtful}

    assert {b.build for b in left_out.builds} - {b.build for b in left_out.sound().builds} == named
