"""Weighings to come: at which draw a kit is weighed, and what it is expected to read there."""

from functools import cache

import numpy as np
import pytest

from datasets.history import bow_at
from datasets.materials import handbook
from predictor.bows.bow import handbook_moduli, weights
from predictor.planning.awaited import LEAST_PAST_BRACE_IN, Awaited, Readings
from predictor.prediction.predict import Prediction, predict
from tests.predictor.example_bows import STRAIGHT, build
from tests.predictor.kits import DRAW, DRAW_IN, readings, weigh_in

KIT = weigh_in(1, 52)
TARGET_LBF = 45.0


@cache
def heavy() -> Readings:
    """Return the readings of a kit of 52 lb that is to have 45."""
    return readings(KIT)


def now(told: Readings) -> Awaited:
    """Return the next weighing where there is one."""
    weighing = told.now()
    assert weighing is not None
    return weighing


def test_a_heavy_kit_is_weighed_where_it_reaches_its_target() -> None:
    """Of the half inches it is the last one at which the target is not passed; the promised draw passes it."""
    told, weighing = heavy(), now(heavy())
    assert weighing.reading.lbf <= TARGET_LBF
    assert (2 * weighing.draw.inch).is_integer()
    longer = told.draws.index(weighing.draw) - 1
    assert told.draws[longer].inch == weighing.draw.inch + 0.5
    assert told.readings[longer].lbf > TARGET_LBF
    assert told.readings[0].lbf > TARGET_LBF + 2


def test_two_pounds_over_are_drawn_in_full() -> None:
    """A kit over its target by two pounds or less is weighed at the promised draw: settling is ahead of it."""
    for lbf, in_full in ((46.5, True), (47.5, False)):
        assert (now(readings(weigh_in(1, lbf))).draw == DRAW) is in_full


def test_draws_go_down_by_half_inches() -> None:
    """Below a promised draw of 28 in follow 27 1/2 in, 27 in and so on, to the shortest beyond the brace."""
    inches = [draw.inch for draw in heavy().draws]
    assert inches[:3] == [28, 27.5, 27]
    bow = bow_at(STRAIGHT, build(), (KIT,))
    shortest = bow.brace + LEAST_PAST_BRACE_IN
    assert 0 <= inches[-1] - (shortest - (DRAW_IN - DRAW.inch)) < 0.5


def test_readings_at_shorter_draws_are_those_of_the_prediction() -> None:
    """What is expected at each draw, with its range, is what `predict` says of the same weighing, to 1e-5.

    Derivatives hang a little on how many draws are solved together.
    """
    told = heavy()
    draws = list(told.draws[:6])
    predicted = predict(STRAIGHT, build(), (KIT,), draws, handbook(), shots=0, scale="hook")
    assert isinstance(predicted, Prediction)
    for reading, at_draw in zip(told.readings, predicted.draws, strict=False):
        interval = next(one for one in at_draw.intervals if one.level == pytest.approx(0.9))
        expected = (at_draw.weight_lbf, interval.low_lbf, interval.high_lbf)
        assert (reading.lbf, reading.low_lbf, reading.high_lbf) == pytest.approx(expected, rel=1e-5)


def test_shorter_draws_follow_the_statics() -> None:
    """Readings fall with the draw as the statics do, to 2 % of the weight at the promised one."""
    told = heavy()
    bow = bow_at(STRAIGHT, build(), (KIT,))
    draws_in = np.array([[DRAW_IN - DRAW.inch + draw.inch for draw in told.draws]])
    lbf = weights([bow], [handbook_moduli(bow, handbook())], draws_in).lbf[0]
    read = np.array([one.lbf for one in told.readings])
    np.testing.assert_allclose(read / read[0], lbf / lbf[0], atol=0.02)
    assert (np.diff(read) < 0).all()


def test_a_lighter_kit_is_drawn_further() -> None:
    """After passes the draw grows with what came off, and the range is that of the doubt about the reading."""
    told = heavy()
    before, after = now(told), told.after(49.0, 0.03)
    assert after is not None
    assert before.draw.inch < after.draw.inch < 28
    assert after.reading.lbf <= TARGET_LBF
    full = told.after(46.0, 0.03)
    assert full is not None
    assert full.draw == DRAW
    assert full.reading.lbf == pytest.approx(46.0)
    assert np.log(full.reading.high_lbf / 46.0) == pytest.approx(1.645 * 0.03)
    wider = told.after(49.0, 0.06)
    assert wider is not None
    assert wider.reading.high_lbf > after.reading.high_lbf


def test_no_draw_is_short_enough_for_a_far_too_heavy_kit() -> None:
    """A kit that passes its target just beyond its brace is not weighed, whatever is meant to come off it."""
    told = readings(KIT, target_lbf=8.0)
    assert told.now() is None
    assert told.after(50.0, 0.03) is None


def test_what_the_statics_refuse_is_not_weighed() -> None:
    """Without any draw that can be solved no weighing is told."""
    assert Readings(TARGET_LBF, (), (), np.zeros(0)).after(50.0, 0.03) is None
