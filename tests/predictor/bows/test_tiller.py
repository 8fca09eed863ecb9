"""Tiller: what a reading tells of the limbs, which limb is cut how much, and what it costs."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from datasets.history import BowAt, bow_at
from datasets.materials import handbook
from datasets.record import DrawLength, Side, ZeroPoint
from datasets.schema import Event, Removal, WeighIn
from predictor.bows.bow import Refusal, handbook_moduli
from predictor.bows.pairs import Balanced, Pair, balanced
from predictor.bows.tiller import AfterRemoval, Standing, Tillered, after, tillered
from tests.predictor.example_bows import STRAIGHT, build

DRAW = DrawLength(inch=28, zero=ZeroPoint.STANDARD)
DRAW_IN = 28.5


def weighed(upper: str, lower: str) -> WeighIn:
    """Return a weighing with both gaps."""
    return WeighIn.model_validate(
        {
            "id": "K-001/1", "build": "K-001", "on": "2026-03-01", "stage": "tillered",
            "readings": [{"draw": "28", "weight": "50"}], "gap_upper_in": upper, "gap_lower_in": lower,
        }
    )  # fmt: skip


def found(*events: Event, **wanted: Any) -> Tillered:
    """Return the tiller of the plain bow after some events."""
    result = tillered(STRAIGHT, build(), events, DRAW, handbook(), **wanted)
    assert isinstance(result, Tillered), result
    return result


def test_a_measured_tiller_is_believed_nearly() -> None:
    """What is believed lies between records and reading, nearer to the reading, and is surer than the records alone."""
    alone, told = found(), found(weighed("7", "7 3/16"))

    assert alone.tiller_in == pytest.approx(0.0, abs=1e-9)
    assert told.measured_in == pytest.approx(-3 / 16)
    assert told.measured_in < told.tiller_in < told.measured_in / 2
    assert told.tiller_sd_in < min(alone.tiller_sd_in, 1 / 32)
    assert told.difference > 0
    assert told.difference_sd < alone.difference_sd


def test_the_stiff_limb_is_cut_to_what_is_wanted() -> None:
    """With the upper gap too small the upper limb is cut, and the bow solved with that cut has the tiller wanted."""
    told = found(weighed("7", "7 3/16"))
    done = [{"at": str(cut.from_fade_in), "amount_in": f"{cut.amount_in:.6f}"} for cut in told.cuts]
    removal = {
        "id": "K-001/2",
        "build": "K-001",
        "on": "2026-03-02",
        "method": "sides",
        "limb": "upper",
        "done": done,
    }
    standing = Standing(STRAIGHT, build(), (), handbook(), told.difference, DRAW_IN)
    cut = after(standing, Removal.model_validate(removal))

    assert told.stiff is Side.UPPER
    assert isinstance(cut, AfterRemoval)
    assert cut.tiller_in == pytest.approx(3 / 16, abs=1e-3)
    assert cut.tiller_in == pytest.approx(told.after_in, abs=1e-4)
    assert cut.weight_lbf == pytest.approx(told.weight_after_lbf, rel=1e-4)


@pytest.mark.parametrize("limb", ["upper", "lower"])
def test_a_removal_from_one_limb_agrees_with_finite_differences(limb: str) -> None:
    """A small removal changes tiller and weight by central differences of bows with that limb's widths, to 1 %."""
    amount, step = 0.004, 0.0005
    fields = {"id": "K-001/1", "build": "K-001", "on": "2026-03-02", "method": "sides", "limb": limb}
    cut = Removal.model_validate(fields | {"done": [{"at": "mid", "amount_in": str(amount)}]})
    standing = Standing(STRAIGHT, build(), (), handbook(), 0.02, DRAW_IN)
    before, then = after(standing), after(standing, cut)
    bow = bow_at(STRAIGHT, build())
    moduli = handbook_moduli(bow, handbook())
    solved = balanced([Pair(widened(bow, limb, s * step), moduli, moduli, 0.02) for s in (-1, 1)], DRAW_IN)

    assert isinstance(before, AfterRemoval)
    assert isinstance(then, AfterRemoval)
    assert isinstance(solved, Balanced)
    tiller, weight = (np.diff(both)[0] / (2 * step) for both in (solved.tiller_in, solved.weight_lbf))
    assert then.tiller_in - before.tiller_in == pytest.approx(-amount * tiller, rel=0.01)
    assert then.weight_lbf - before.weight_lbf == pytest.approx(-amount * weight, rel=0.01)


def widened(bow: BowAt, side: str, more: float) -> BowAt:
    """Return a bow of which one limb is wider all along."""
    limb = getattr(bow, side)
    belly, back = (
        (at, tuple(width + more for width in to)) for at, to in (limb.width_belly, limb.width_back)
    )
    return replace(bow, **{side: replace(limb, width_belly=belly, width_back=back)})


def test_limbs_may_change_places() -> None:
    """With the gaps exchanged and the opposite wanted, the other limb is cut by as much, at the same cost."""
    one = found(weighed("7", "7 3/16"))
    other = found(weighed("7 3/16", "7"), wanted_in=(-1 / 4, -1 / 8))

    assert (one.stiff, other.stiff) == (Side.UPPER, Side.LOWER)
    assert one.cuts[0].amount_in == pytest.approx(other.cuts[0].amount_in, rel=1e-3)
    assert one.weight_after_lbf == pytest.approx(other.weight_after_lbf, rel=1e-5)


def test_a_tiller_as_wanted_is_left_alone() -> None:
    """Within the range nothing is cut, and nothing lost; so it is where no tiller was measured, which is said."""
    even = found(weighed("7 3/16", "7"))
    unknown = found()

    for told in (even, unknown):
        assert told.stiff is None
        assert told.cuts == ()
        assert told.weight_after_lbf == told.weight_lbf
    assert "no tiller measured" in unknown.notes[0]
    assert even.notes == ()


def test_correcting_an_eighth_costs_a_pound_or_two() -> None:
    """An eighth of an inch costs a fifty-pound bow half a pound to two (common practice, no source: keep two)."""
    told = found(weighed("7 1/16", "7"), wanted_in=(3 / 16, 3 / 16))

    assert 0.5 < told.weight_lbf - told.weight_after_lbf < 2.0


def test_a_large_fault_is_not_cut_away() -> None:
    """An inch is more than a fourth of the width can mend: the most is told, and to look for another cause."""
    told = found(weighed("6", "7"))

    assert told.cuts[0].amount_in == pytest.approx(told.cuts[0].width_in / 4)
    assert told.after_in < 1 / 8
    assert "not enough" in told.notes[-1]


def test_stock_taken_off_since_is_counted() -> None:
    """A removal after the reading changes what is believed now by what it does, and the note says to measure again."""
    before = found(weighed("7", "7 3/16"))
    removal = Removal.model_validate(
        {
            "id": "K-001/2", "build": "K-001", "on": "2026-03-02", "method": "sides", "limb": "upper",
            "done": [{"at": "fade", "amount_in": "1/16"}, {"at": "nock", "amount_in": "1/32"}],
        }
    )  # fmt: skip
    since = found(weighed("7", "7 3/16"), removal)

    assert since.difference == pytest.approx(before.difference)
    assert since.tiller_in > before.tiller_in + 1 / 16
    assert "measure it again" in since.notes[0]


def test_bows_that_cannot_be_drawn_are_refused() -> None:
    """A bow that cannot be drawn so far has no answer but why."""
    far = DrawLength(inch=40, zero=ZeroPoint.STANDARD)

    assert isinstance(tillered(STRAIGHT, build(length_in="46"), (), far, handbook()), Refusal)
