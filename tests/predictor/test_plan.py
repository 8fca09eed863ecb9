"""The removal plan: what a weighing can tell, passes that end near the target, limits, refusals."""

from functools import lru_cache
from typing import Any

import numpy as np
import pytest

from datasets.materials import handbook
from datasets.record import DrawLength, Side, ZeroPoint
from datasets.schema import Event, Method, WeighIn
from predictor.blanks import widths_of
from predictor.bow import Refusal
from predictor.cut_patterns import patterns
from predictor.kit_state import Kit, KitState, kit_state
from predictor.plan import Plan, plan
from predictor.prospects import Judged, Knowledge, Promise
from predictor.stakes import Stakes
from predictor.ways import Limits
from tests.predictor.bows import STRAIGHT, build

DRAW = DrawLength(inch=28, zero=ZeroPoint.STANDARD)
DRAW_IN = 28.5
WIDE_OPEN = Limits((0.3, 0.2), None, (1 / 8, 1 / 4))


def weigh_in(number: int, lbf: float, **changes: Any) -> WeighIn:
    """Return a weighing of the bow at 28 in."""
    data = {
        "id": f"K-001/{number}",
        "build": "K-001",
        "on": f"2026-03-0{number}",
        "stage": "tillered",
        "scale": "hook",
        "readings": [{"draw": "28", "weight": f"{lbf}"}],
    }
    return WeighIn.model_validate(data | changes)


def kit(*events: Event) -> Kit:
    """Return the plain bow with a history."""
    return Kit(STRAIGHT, build(), events)


def promise(lbf: float, scale: str | None = "hook") -> Promise:
    """Return a promise at 28 in after 500 shots."""
    return Promise(lbf, 1.0, Judged(DRAW, 500, scale))


@lru_cache
def found(lbf: float, *events: Event, limits: Limits = WIDE_OPEN) -> Plan | Refusal:
    """Return the plan of the plain bow after some events."""
    return plan(kit(*events), promise(lbf), Stakes(), limits, Knowledge(handbook()))


def planned(lbf: float, *events: Event, limits: Limits = WIDE_OPEN) -> Plan:
    """Return the plan where there is one."""
    told = found(lbf, *events, limits=limits)
    assert isinstance(told, Plan), told
    return told


def state(*events: Event, scale: str | None = "hook") -> KitState:
    """Return the state of the plain bow for a promise of 45 lb."""
    told = kit_state(kit(*events), promise(45.0, scale), Knowledge(handbook()))
    assert isinstance(told, KitState)
    return told


def test_weighings_narrow_what_they_can_tell() -> None:
    """A second weighing narrows what weighings can tell, and leaves what finishing and shooting in bring."""
    once, twice = state(weigh_in(1, 50)), state(weigh_in(1, 50), weigh_in(2, 50))
    assert twice.can_tell_lbf < 0.85 * once.can_tell_lbf < 0.85 * state().can_tell_lbf
    assert twice.noise.after_lbf == pytest.approx(once.noise.after_lbf, rel=0.02)


def test_what_a_weighing_tells_comes_true() -> None:
    """Doubt after a second weighing is what the state before it says one more weighing would leave, within a tenth.

    The state is one normal; the belief weighs slips too, so the two agree no better.
    """
    before = state(weigh_in(1, 50))
    expected = (
        before.can_tell_lbf
        * before.noise.weighing_lbf
        / np.hypot(before.can_tell_lbf, before.noise.weighing_lbf)
    )
    after = state(weigh_in(1, 50), weigh_in(2, round(before.reading_lbf, 2)))
    assert after.can_tell_lbf == pytest.approx(expected, rel=0.1)


def test_finishing_is_kept_back_until_it_is_done() -> None:
    """Of a tillered bow finish sanding is kept back, of a finished one only shooting in."""
    tillered, finished = planned(45, weigh_in(1, 50)), planned(45, weigh_in(1, 50, stage="finished"))
    assert tillered.kept_for_finishing_lbf > 0.5
    assert finished.kept_for_finishing_lbf == pytest.approx(0, abs=1e-9)
    assert finished.kept_for_shooting_lbf == pytest.approx(tillered.kept_for_shooting_lbf, rel=0.05)


def test_the_passes_end_near_the_target() -> None:
    """Followed as expected, a finished bow ends inside the tolerance, on the safe side, the last pass by hand."""
    told = planned(45, weigh_in(1, 52, stage="finished"))
    end = told.settled_lbf - sum(one.loss_lbf for one in told.passes)
    assert 45 < end < 46
    assert [one.by_hand for one in told.passes] == [False] * (len(told.passes) - 1) + [True]
    assert told.under <= told.most_under


def test_the_first_pass_leaves_room_for_its_error() -> None:
    """The first pass takes less than all of the excess, and readings expected go down from pass to pass."""
    told = planned(42, weigh_in(1, 52))
    assert told.passes[0].loss_lbf < told.settled_lbf - 42
    readings = [52, *(one.reading_lbf for one in told.passes)]
    assert readings == sorted(readings, reverse=True)
    assert all(one.low_lbf < one.reading_lbf < one.high_lbf for one in told.passes)


def test_the_same_kit_gets_the_same_plan() -> None:
    """Made twice a plan is the same to the last digit."""
    once = planned(45, weigh_in(1, 52))
    found.cache_clear()
    assert planned(45, weigh_in(1, 52)) == once


def test_a_target_out_of_reach_is_told() -> None:
    """Within narrow limits the plan says what settled weight they leave."""
    fade, _, nock = widths_of(STRAIGHT, build())
    least = (0.97 * fade, 0.97 * nock)
    told = planned(40, weigh_in(1, 52), limits=Limits(least, None, (1 / 8, 1 / 4)))
    (sides, together) = told.out_of_reach
    assert (sides.method, together.method) == (Method.SIDES, None)
    assert sides.settled_lbf == together.settled_lbf
    possible = patterns(kit(), DRAW_IN, handbook(), least, 0.4)
    share = (possible.amounts_in[-1] / possible.sizes_in).mean()
    assert sides.settled_lbf == pytest.approx((1 - share) * told.settled_lbf, rel=0.02)
    assert (told.passes, told.over) == ((), 1)


def test_a_light_bow_is_left_alone() -> None:
    """Nothing is taken off a light bow; shortening it is told to make it heavier, the more the more."""
    told = planned(52, weigh_in(1, 50))
    assert told.too_light
    assert told.passes == ()
    weights = [one.settled_lbf for one in told.shortened if one.refused is None]
    assert weights == sorted(weights)
    assert weights[0] > told.settled_lbf


def test_a_strain_over_the_limit_refuses() -> None:
    """No plan is made for a bow that its promise strains more than the shop allows."""
    told = found(45, weigh_in(1, 52), limits=Limits((0.3, 0.2), 0.001, (1 / 8, 1 / 4)))
    assert isinstance(told, Refusal)
    assert "strain over the shop's limit of 0.10%" in told.reason


def test_a_tiller_that_is_off_is_set_right_first() -> None:
    """A lower limb that is too stiff is cut more than the upper one."""
    told = planned(42, weigh_in(1, 52, gap_upper_in="8", gap_lower_in="7 1/2"))
    off = {Side.UPPER: 0.0, Side.LOWER: 0.0}
    for one in told.passes:
        for cut in one.cuts:
            off[cut.limb] += cut.size_in - cut.new_size_in
    assert off[Side.LOWER] > off[Side.UPPER] > 0
