"""How much a bow was cut to bring it to its weight tells of its stiffness, and never of a bow that nobody cut yet."""

from dataclasses import replace

import numpy as np
import pytest

from datasets.contents import Contents
from datasets.removals import gain_of
from datasets.schema import Method, Stage
from predictor.cutting import CUT, over_usual
from predictor.usual_cut import UsualCut
from training.cuts import usual_cut, with_cuts
from training.evaluate import learned, marks, solved, trial
from training.questions import first_on_record
from training.virtual_shop import simulate


@pytest.fixture(scope="module")
def contents():
    """Return the book of a small invented shop."""
    return Contents.of(simulate(seed=43, builds=8, held_lots=2, fresh_lots=2).records)


@pytest.fixture(scope="module")
def weighings(contents):
    """Return all its weighings."""
    return solved(contents, list(contents.builds))


def _narrower(weighing, share):
    sizes = weighing.columns.sizes_in
    width = sizes["width at mid-limb"] * (1 - share)
    return replace(weighing.columns, sizes_in={**sizes, "width at mid-limb": width})


def test_weight_goes_with_width(weighings):
    """A bow narrowed by a tenth is cut by -log(0.9) more: weight is proportional to width."""
    one = weighings[0]
    usual = UsualCut(first_width_in={one.moment.form: one.columns.sizes_in["width at mid-limb"]})
    narrowed = over_usual(_narrower(one, 0.1), one.moment, usual) - over_usual(one.columns, one.moment, usual)
    assert narrowed == pytest.approx(-np.log(0.9), rel=1e-12)


def test_other_ways_count_by_the_statics(weighings):
    """What edges took counts by the gain's column, a loss below zero; what sides took counts as width only."""
    one = weighings[0]
    usual = UsualCut(first_width_in={one.moment.form: one.columns.sizes_in["width at mid-limb"]})
    lost = np.full(len(one.columns.offset), -0.04)
    for method, wanted in ((Method.EDGES, 0.04), (Method.SIDES, 0.0)):
        told = replace(one.columns, common={**one.columns.common, gain_of(method): lost})
        without = {name: column for name, column in told.common.items() if name != gain_of(method)}
        added = over_usual(told, one.moment, usual) - over_usual(
            replace(told, common=without), one.moment, usual
        )
        assert added == pytest.approx(wanted, abs=1e-12)


def test_finished_bows_are_cut_as_usual_on_average(weighings):
    """Over the finished bows of a shop the column is zero on average, and the same in all weighings of a bow."""
    told = with_cuts(weighings, usual_cut(weighings))
    of_build = {}
    for weighing in told:
        of_build.setdefault(weighing.build, set()).update(weighing.columns.common[CUT].tolist())
    assert all(len(values) == 1 for values in of_build.values())
    last = {weighing.build: weighing.moment.stage for weighing in told}
    finished = [
        min(of_build[name]) for name, stage in last.items() if stage in {Stage.FINISHED, Stage.SETTLED}
    ]
    assert len(finished) >= 4
    assert np.mean(finished) == pytest.approx(0, abs=1e-12)
    assert np.ptp(finished) > 0.01


def test_a_bow_still_on_the_bench_is_cut_as_usual(weighings):
    """Weighings before a bow is finished have a column of zeros: what is to be taken off yet tells nothing."""
    bench = [weighing for weighing in weighings if weighing.moment.stage is Stage.FIRST_DRAW]
    assert bench
    for weighing in with_cuts(bench, usual_cut(weighings)):
        assert not weighing.columns.common[CUT].any()


def test_questions_before_any_cut_are_told_none(contents, weighings):
    """Asked for its first draw, a bow's widths say nothing of its own stiffness."""
    tried = trial(contents, weighings, list(contents.builds), first_on_record)
    taught = learned(weighings, list(contents.builds))
    first = [question for question in tried.asked if question.moment.stage is Stage.FIRST_DRAW]
    assert first
    assert not any(taught.told(question).columns.common[CUT].any() for question in first)


@pytest.mark.slow
def test_the_cut_tells_of_finished_bows():
    """In six shops that cut to orders, the score of bows to come is lower by the cut than with every cut as usual."""
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
