"""What the book expects: many weigh-ins at once as one by one, and as predict says."""

from dataclasses import replace
from math import exp
from statistics import NormalDist

import pytest

from datasets.book import read_record
from datasets.contents import Contents
from datasets.schema import Removal, Stage, WeighIn
from predictor.belief.columns import COMMON_PRIORS
from predictor.belief.scatter import SHOOTING_IN
from predictor.bows.bow import Refusal
from reports.expectation import (
    SURE,
    compare,
    compare_all,
    expect,
    last_shots,
    last_stage,
    stage_and_shots,
    usual_draws,
    worth,
)
from tests import shop


@pytest.fixture(scope="module")
def contents() -> Contents:
    """Return a book of one bow, weighed before and after its sides were taken in."""
    book = Contents()
    typed = [
        shop.form(),
        shop.build(),
        shop.weigh_in(id="K-001/1"),
        shop.removal(id="K-001/2"),
        shop.weigh_in(id="K-001/3", on="2026-03-07", stage="finished"),
    ]
    for raw in typed:
        record = read_record(raw.kind, raw.data, book).record
        assert record is not None
        book = book.plus(record)
    return book


def weigh_ins(contents: Contents) -> list[WeighIn]:
    """Return the bow's weigh-ins."""
    return [event for event in contents.events["K-001"] if isinstance(event, WeighIn)]


def test_many_at_once_are_as_one_by_one(contents: Contents) -> None:
    """A batch gives each weigh-in what it gets alone, and the lighter bow less."""
    before, after = compare_all(contents, weigh_ins(contents))

    assert not isinstance(before, Refusal)
    assert not isinstance(after, Refusal)
    for told, weigh_in in zip((before, after), weigh_ins(contents), strict=True):
        alone = compare(contents, weigh_in)
        assert not isinstance(alone, Refusal)
        for one, other in zip(told, alone, strict=True):
            assert one.expected_lbf == pytest.approx(other.expected_lbf, rel=1e-6)
            assert one.high_lbf == pytest.approx(other.high_lbf, rel=1e-4)
    assert all(less.expected_lbf < more.expected_lbf for less, more in zip(after, before, strict=True))


def test_a_reading_is_held_against_what_predict_says(contents: Contents) -> None:
    """The weight expected of a reading is that of a prediction at its stage, and the range the normal one."""
    last, final = weigh_ins(contents)
    build = contents.builds["K-001"]
    predicted = expect(
        contents,
        build,
        [one.draw for one in last.readings],
        (last,),
        last.stage,
        shots=last.shots,
        scale=last.scale,
        count_own=False,
    )
    compared = compare(contents, last)

    assert not isinstance(predicted, Refusal)
    assert not isinstance(compared, Refusal)
    assert last_stage(contents, build) is final.stage
    for one, draw in zip(compared, predicted.draws, strict=True):
        reach = exp(NormalDist().inv_cdf((1 + SURE) / 2) * draw.log_sd)
        assert one.expected_lbf == pytest.approx(draw.weight_lbf, rel=1e-9)
        assert one.high_lbf == pytest.approx(draw.weight_lbf * reach, rel=1e-9)
        assert one.low_lbf == pytest.approx(draw.weight_lbf / reach, rel=1e-9)


def test_a_reading_after_few_full_draws_is_compared_and_tells_nothing_of_the_next(contents: Contents) -> None:
    """It has an expectation beside it as every reading has, and the next one is expected as if it were not there."""
    early = WeighIn.model_validate(shop.weigh_in(id="K-001/4", on="2026-03-09", pulls=3).data)
    later = WeighIn.model_validate(shop.weigh_in(id="K-001/5", on="2026-03-10", pulls=40).data)
    (told, after), (after_alone,) = (
        compare_all(contents.plus(early), [early, later]),
        compare_all(contents, [later]),
    )

    assert not isinstance(told, Refusal)
    assert len(told) == len(early.readings)
    assert after == after_alone


def test_a_bow_shot_little_is_expected_to_have_lost_little(contents: Contents) -> None:
    """Of a settled bow less is expected the more it has shot, by the law of settling.

    The loss in full is the prior's to 1e-3 only: what is expected is the middle of a mixture that allows for slips.
    """
    settled = shop.weigh_in(id="K-001/4", on="2026-03-09", stage="settled").data
    after = [WeighIn.model_validate({**settled, "shots": shots}) for shots in (0, 50, 500)]
    expected = []
    for told in compare_all(contents, after):
        assert not isinstance(told, Refusal)
        expected.append(told[0].expected_lbf)

    assert expected[0] > expected[1] > expected[2]
    assert expected[2] / expected[0] == pytest.approx(exp(COMMON_PRIORS[SHOOTING_IN].mean), rel=1e-3)


def test_without_its_form_nothing_is_expected(contents: Contents) -> None:
    """A weigh-in of a bow whose form the book lacks is refused by itself, and the others are compared."""
    other = read_record("build", shop.build(id="K-002").data, contents).record
    weighed = read_record("weigh_in", shop.weigh_in(build="K-002", id="K-002/1").data, contents).record
    assert other is not None
    assert isinstance(weighed, WeighIn)
    book = contents.plus(other.model_copy(update={"form_revision": 9})).plus(weighed)
    told = compare_all(book, [weighed, weigh_ins(contents)[0]])

    assert isinstance(told[0], Refusal)
    assert told[0].where == "plain-64/9"
    assert not isinstance(told[1], Refusal)


def test_arrows_of_the_last_weighing_count_at_its_stage_only(contents: Contents) -> None:
    """A question that names nothing is of the bow as weighed last; of another stage nobody has said the arrows."""
    build = contents.builds["K-001"]
    shot = shop.weigh_in(id="K-001/4", on="2026-03-08", stage="settled", shots=250)
    record = read_record(shot.kind, shot.data, contents).record
    assert record is not None
    later = contents.plus(record)

    assert (last_shots(contents, build), last_shots(later, build)) == (None, 250)
    assert stage_and_shots(contents, build, None, None) == (Stage.FINISHED, None)
    assert stage_and_shots(later, build, None, None) == (Stage.SETTLED, 250)
    assert stage_and_shots(later, build, Stage.SETTLED, None) == (Stage.SETTLED, 250)
    assert stage_and_shots(later, build, Stage.SETTLED, 900) == (Stage.SETTLED, 900)
    assert stage_and_shots(later, build, Stage.FINISHED, None) == (Stage.FINISHED, None)
    unweighed = build.model_copy(update={"id": "K-009"})
    assert stage_and_shots(later, unweighed, None, None) == (Stage.TILLERED, None)


def test_what_a_removal_takes_off_goes_with_the_force_expected(contents: Contents) -> None:
    """Pounds are of the force that predict expects before; what that share usually takes lies in their range."""
    build = contents.builds["K-001"]
    typed = shop.removal(id="K-001/9", on="2026-03-20")
    event = read_record(typed.kind, typed.data, contents).record
    assert isinstance(event, Removal)
    removals = tuple(one for one in contents.events["K-001"] if isinstance(one, Removal))
    unweighed = replace(contents, events={"K-001": removals})
    light, heavy = worth(unweighed, event), worth(contents, event)
    now = expect(contents, build, usual_draws(contents), stage=Stage.FINISHED)

    assert not isinstance(light, Refusal)
    assert not isinstance(heavy, Refusal)
    assert not isinstance(now, Refusal)
    assert heavy.before.lbf == pytest.approx(now.force.weight_lbf)
    assert heavy.before.lbf != pytest.approx(light.before.lbf, rel=0.01)
    usual = (light.after.lbf / light.before.lbf - 1) * heavy.before.lbf
    range_90 = heavy.difference.intervals[-1]
    assert range_90.low_lbf < usual < range_90.high_lbf < 0
