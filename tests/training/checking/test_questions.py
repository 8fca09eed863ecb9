"""A question tells how a bow was built and cut, and nothing of what its own weighings said."""

from dataclasses import fields

import numpy as np
import pytest

from datasets.contents import Contents
from datasets.record import DrawLength, ZeroPoint
from datasets.schema import Stage, WeighIn
from predictor.belief.model import prior_belief
from predictor.prediction.predict import predict
from training.checking.questions import answers, cut_to_weight, first_on_record, only_asked, questions
from training.learning.evidence import evidence
from training.workshop.virtual_shop import simulate


@pytest.fixture(scope="module")
def contents():
    """Return the book of a shop of eight bows."""
    return Contents.of(simulate(seed=31, builds=8).records)


@pytest.fixture(scope="module")
def asked(contents):
    """Return a question of each bow."""
    asked = evidence(only_asked(contents, contents.builds, cut_to_weight)).weighings
    return questions(contents, asked, cut_to_weight)


def weighed(contents, build):
    """Return a build's weighings."""
    return [event for event in contents.events[build] if isinstance(event, WeighIn)]


def test_cut_to_weight(contents, asked):
    """Every build is asked for once, at its last tillered weighing, or else at its first finished one."""
    assert [question.build for question in asked] == list(contents.builds)
    for question in asked:
        of_stage = {
            stage: [e for e in weighed(contents, question.build) if e.stage is stage] for stage in Stage
        }
        wanted = (of_stage[Stage.TILLERED][::-1] or of_stage[Stage.FINISHED])[0]
        assert cut_to_weight(weighed(contents, question.build)) == wanted
        assert question.moment.stage is wanted.stage


def test_first_on_record(contents):
    """At the first weighing on record no stock was off, where the book keeps more than the finished bow."""
    alone = only_asked(contents, contents.builds, first_on_record)
    for build, history in alone.events.items():
        assert len(history) == 1
        assert history[0] == weighed(contents, build)[0]


def test_reading_nearest_to_28(contents, asked):
    """The reading is the one nearest to 28 in by the standard's count."""
    for question in asked:
        picked = cut_to_weight(weighed(contents, question.build))
        assert round(float(np.exp(question.log_weight)), 6) in {r.weight.lbf for r in picked.readings}
        assert abs(question.moment.draws_in[0] - 28) <= 1.01


def test_no_other_weighing_is_told(contents):
    """The contents that a question is made of hold no weighing but its own, which is their last event."""
    for history in only_asked(contents, contents.builds, cut_to_weight).events.values():
        assert [isinstance(event, WeighIn) for event in history] == [False] * (len(history) - 1) + [True]


def test_earlier_weighings_change_nothing(contents, asked):
    """Solved with all weighings of the book, a question has the same columns as when told alone."""
    whole = {q.build: q for q in questions(contents, evidence(contents).weighings, cut_to_weight)}
    for question in asked:
        for field in fields(question.columns):
            mine, theirs = (getattr(q.columns, field.name) for q in (question, whole[question.build]))
            np.testing.assert_equal(theirs, mine)


def test_answers_are_the_predictions_of_the_bench(contents, asked):
    """Answers untrained are those that the bench gets, interval by interval."""
    found = answers(prior_belief(), asked)
    low, middle, high = (np.exp(found.quantile(p)) for p in (0.05, 0.5, 0.95))
    for place, question in enumerate(asked):
        build = contents.builds[question.build]
        draw = DrawLength(inch=question.moment.draws_in[0], zero=ZeroPoint.STANDARD)
        events = only_asked(contents, [build.id], cut_to_weight).events[build.id]
        form = contents.form_of(build)
        said = predict(
            form, build, events, [draw], contents.materials, stage=question.moment.stage, count_own=False
        )
        if question.moment.stage is Stage.TILLERED:
            ends = next(interval for interval in said.draws[0].intervals if interval.level == 0.9)
            assert (ends.low_lbf, said.draws[0].weight_lbf, ends.high_lbf) == pytest.approx(
                (low[place], middle[place], high[place]), rel=1e-9
            )
