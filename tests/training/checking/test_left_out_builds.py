"""Each build is predicted once from the others, at its main reading, with what its records say of it."""

import numpy as np
import pytest

from datasets.schema import WeighIn
from predictor.belief.habits import Habits
from reports.sources import in_silence
from tests.reports.fitted import shop, sources
from training.checking.evaluate import learned, only
from training.checking.left_out_builds import LeftOutBuilds, left_out_builds
from training.learning.carried_out import carrying_out
from training.learning.evidence import evidence


@pytest.fixture(scope="module")
def left_out() -> LeftOutBuilds:
    """Return two dozen builds, each left out."""
    found = sources(24).left_out
    assert found is not None
    return found


@pytest.mark.parametrize("place", [2, 9, 23])
def test_scores_are_of_models_that_never_met_the_build(left_out: LeftOutBuilds, place: int) -> None:
    """A build's score is that of a book without it, solved and trained from its records on."""
    asked, told = left_out.asked[place], left_out.builds[place]
    others = [build.build for build in left_out.builds if build.build != told.build]

    book = only(shop(), others)
    weighings = evidence(book, Habits(carrying_out=carrying_out(book))).weighings
    said = learned(weighings, others).answers([asked])

    assert left_out.refitted
    assert told.score == pytest.approx(said.normal_score(np.array([asked.log_weight]))[0], abs=0.02)


def test_long_books_share_the_scales(monkeypatch: pytest.MonkeyPatch, left_out: LeftOutBuilds) -> None:
    """Where training anew would take too long, scores are at the shared scales, near the others, and said to be so."""
    monkeypatch.setattr("training.checking.left_out_builds.MOST_REFITTED", 23)
    trained = sources(24).trained
    assert trained is not None
    shared = left_out_builds(trained, sources(24).contents, in_silence)
    apart = np.array(
        [
            one.score - other.score
            for one, other in zip(shared.builds, left_out.builds, strict=True)
            if not other.looks_wrong
        ]
    )

    assert not shared.refitted
    assert np.all(apart != 0)
    assert np.max(np.abs(apart)) < 0.5


def test_reads_what_the_book_says(left_out: LeftOutBuilds) -> None:
    """The reading, its day and its draw are those of the build's last weighing nearest to 28 in."""
    for build in left_out.builds:
        weigh_in = shop().event(build.weigh_in)
        assert isinstance(weigh_in, WeighIn)
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
