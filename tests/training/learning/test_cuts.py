"""How much a bow was cut to bring it to its weight tells of its stiffness, and never of a bow that nobody cut yet."""

from dataclasses import replace

import numpy as np
import pytest

from datasets.contents import Contents
from datasets.removals import gain_of
from datasets.schema import Method, Stage
from predictor.belief.beyond import WIDTH
from predictor.belief.columns import FINISHED, Prior
from predictor.belief.cutting import LEFT_OPEN, NOTED_SD, RECKONED_SD, SeenCut, cut_of, seen_of
from predictor.belief.usual_cut import UsualCut
from training.checking.evaluate import learned, marks, solved, trial
from training.checking.questions import first_on_record
from training.learning.cuts import likeliest_called_for, usual_cut, with_cuts
from training.learning.evidence import readings
from training.workshop.virtual_shop import simulate


@pytest.fixture(scope="module")
def contents():
    """Return the book of a small invented shop."""
    return Contents.of(simulate(seed=43, builds=8, held_lots=2, fresh_lots=2).records)


@pytest.fixture(scope="module")
def weighings(contents):
    """Return all its weighings."""
    return solved(contents, list(contents.builds))


@pytest.fixture(scope="module")
def usual(weighings):
    """Return what is usual in it."""
    return usual_cut(weighings)


@pytest.fixture(scope="module")
def finished_alone(weighings):
    """Return a finished weighing of a bow of which nothing else is on record."""
    return next(
        one
        for one in weighings
        if one.moment.stage is Stage.FINISHED
        and not any(name.startswith("gain of ") for name in one.columns.common)
        and sum(other.build == one.build for other in weighings) == 1
    )


def _narrower(weighing, share):
    sizes = weighing.columns.sizes_in
    width = sizes[WIDTH] * (1 - share)
    return replace(weighing, columns=replace(weighing.columns, sizes_in={**sizes, WIDTH: width}))


def test_weight_goes_with_width(finished_alone):
    """Without a record of removals a bow narrowed by a tenth is cut by -log(0.9) more: weight goes with width."""
    width = finished_alone.columns.sizes_in[WIDTH]
    usual = UsualCut(first_width_in={finished_alone.moment.form: width}, first_width_sd=0.03)
    seen = seen_of([_narrower(finished_alone, 0.1)], usual)
    assert seen.log_share == pytest.approx(-np.log(0.9), rel=1e-12)
    assert seen.sd == pytest.approx(np.hypot(NOTED_SD, 0.03))


def test_removals_on_record_count_by_the_statics(finished_alone, usual):
    """What removals took by the statics is what a bow was cut by, whatever its width."""
    columns, ones = finished_alone.columns, np.ones(len(finished_alone.columns.offset))
    for methods, wanted in (
        ({Method.EDGES: 0.04}, 0.04),
        ({Method.SIDES: 0.05, Method.TRAP: 0.02}, 0.07),
    ):
        lost = {gain_of(method): -share * ones for method, share in methods.items()}
        told = replace(
            columns,
            common={**columns.common, **lost},
            priors={**columns.priors, **dict.fromkeys(lost, Prior(0.0, 0.1))},
        )
        for share in (0.0, 0.1):
            seen = seen_of([_narrower(replace(finished_alone, columns=told), share)], usual)
            assert seen.log_share == pytest.approx(wanted, abs=1e-12)
            assert seen.sd == pytest.approx(np.hypot(NOTED_SD, RECKONED_SD * wanted))


def test_first_widths_are_those_before_any_finish(weighings, usual):
    """The usual first width of a form is the geometric mean over bows weighed before they were finished."""
    first = {}
    for one in weighings:
        first.setdefault(one.build, one)
    for form, width in usual.first_width_in.items():
        widths = [
            one.columns.sizes_in[WIDTH]
            for one in first.values()
            if one.moment.form == form and one.moment.stage not in FINISHED
        ]
        assert np.log(width) == pytest.approx(np.mean(np.log(widths)), abs=1e-12)
    assert usual.first_width_in


def test_only_the_last_weighing_of_a_finished_bow_tells(weighings, usual):
    """A bow has one cut, at its last weighing and where that finds it finished; one on the bench has none."""
    told = with_cuts(weighings, usual)
    assert any(one.cut for one in told)
    for place, one in enumerate(told):
        last = place + 1 == len(told) or told[place + 1].build != one.build
        assert one.cut is None or (last and one.moment.stage in FINISHED)
    bench = [one for one in weighings if one.moment.stage is Stage.FIRST_DRAW]
    assert bench
    assert not any(one.cut for one in with_cuts(bench, usual))


def test_cuts_stand_below_all_readings(weighings, usual):
    """To a fit, cuts are rows of their builds after all readings, which stay as they are without them."""
    plain, told = readings(weighings), readings(with_cuts(weighings, usual))
    cuts = [one for one in with_cuts(weighings, usual) if one.cut]
    n = plain.weighed
    assert n == len(plain.values) == told.weighed == len(told.values) - len(cuts)
    assert told.values[:n] == pytest.approx(plain.values, abs=0)
    assert told.values[n:] == pytest.approx([one.cut.log_share for one in cuts], abs=0)
    names = list(dict.fromkeys(one.build for one in weighings))
    assert [names[build] for build in told.build[n:]] == [one.build for one in cuts]


def test_what_all_bows_share_is_no_part_of_a_cut(weighings, usual):
    """A shop reckons with its woods, its forms and the statics' own error: a cut tells of lots and of the bow."""
    some = next(one.cut for one in with_cuts(weighings, usual) if one.cut)
    assert not any("stiffness" in name or "statics" in name for name in some.columns.common)
    assert set(some.columns.groups) == {"lots of wood", "lots of glass", "scales"}


def test_nothing_is_told_before_a_shop_has_shown_its_widths(finished_alone):
    """Without any build weighed before its cut there is no usual first width, and a cut tells nothing."""
    assert cut_of([finished_alone], UsualCut()) is None


def test_questions_before_any_cut_are_told_none(contents, weighings):
    """Asked for its first draw, a bow's widths say nothing of its own stiffness."""
    tried = trial(contents, weighings, list(contents.builds), first_on_record)
    taught = learned(weighings, list(contents.builds))
    first = [question for question in tried.asked if question.moment.stage is Stage.FIRST_DRAW]
    assert first
    assert not any(taught.told(question).cut for question in first)


@pytest.mark.slow
def test_what_bows_call_for_is_found_again():
    """Of cuts drawn from the censored model, mean and scatter are found within four of their standard errors."""
    rng = np.random.default_rng(5)
    called = rng.normal(0.07, 0.08, 3000)
    cuts = np.where(called > 0.01, called, 0.0) + rng.normal(0, 0.02, 3000)
    found = likeliest_called_for(UsualCut(), [SeenCut(cut, 0.02) for cut in cuts])
    assert found.called_for == pytest.approx(0.07, abs=4 * 0.08 / np.sqrt(3000))
    assert found.called_for_sd == pytest.approx(0.08, abs=4 * 0.08 / np.sqrt(3000))


@pytest.mark.slow
def test_the_cut_tells_of_finished_bows():
    """In six shops that cut to orders, the score of bows to come is lower by the cut than without it."""
    with_cut, without = [], []
    for seed in range(620, 626):
        book = Contents.of(simulate(seed, 50, held_lots=5, fresh_lots=5).records)
        names = list(book.builds)
        tried = trial(book, solved(book, names[:40]), names[40:])
        taught = learned(tried.weighings, names[:40])
        plain = replace(taught, usual=UsualCut())
        for scores, one in ((with_cut, taught), (without, plain)):
            scores.extend(marks(one.answers(tried.asked), tried.wanted.log_weight).crps_percent)
    assert np.mean(with_cut) < 0.95 * np.mean(without)


def test_a_cut_shares_the_errors_of_the_reading_that_called_for_it(weighings, usual):
    """Its air is that of the weighing before the last removal, and its gains are those of removals before that."""
    builds = {}
    for one in weighings:
        builds.setdefault(one.build, []).append(one)
    compared = 0
    for mine in builds.values():
        cut = cut_of(mine, usual)
        losses = [
            sum(float(c[0]) for n, c in one.columns.common.items() if n.startswith("gain of "))
            for one in mine
        ]
        before = [one for one, loss in zip(mine, losses, strict=True) if loss > losses[-1]]
        if cut and before:
            compared += 1
            air = next(given for given in before[-1].columns.weighing)
            shared = next(given for given in cut.columns.weighing if given.name == air.name)
            assert shared.name_beside("cut") == air.name_beside(before[-1].weigh_in)
            assert shared.column[0] == air.column[0]
            gains = {name for name in before[-1].columns.common if name.startswith("gain of ")}
            assert {name for name in cut.columns.common if name.startswith("gain of ")} == gains
    assert compared >= 2


def test_a_bow_finished_unweighed_shares_no_reading(finished_alone):
    """Where no reading called for it, a cut has no air of a day and no gain in it."""
    width = finished_alone.columns.sizes_in[WIDTH]
    usual = UsualCut(first_width_in={finished_alone.moment.form: 1.05 * width}, first_width_sd=0.03)
    cut = cut_of([finished_alone], usual)
    assert [given.name for given in cut.columns.weighing] == [LEFT_OPEN]
