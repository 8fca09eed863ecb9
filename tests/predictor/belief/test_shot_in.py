"""Bows weighed again after shooting: their share of the finished weight, apart from brace and string, and the band."""

import numpy as np
import pytest

from datasets.contents import Contents
from datasets.history import bow_at
from datasets.materials import handbook
from datasets.record import Record, ZeroPoint
from datasets.schema import Rigging, WeighIn
from datasets.zero_points import from_back
from predictor.belief.columns import COMMON_PRIORS
from predictor.belief.model import prior_belief
from predictor.belief.scatter import PRIOR_SCATTER, SCATTER_SDS, SHOOTING_IN
from predictor.belief.settling import SettlingLaw
from predictor.belief.shot_in import ShotReading, left_after, settling_curve
from predictor.bows.bow import handbook_moduli, weights
from tests.predictor.example_bows import STRAIGHT, build


def weigh_in(number: int, lbf: float, **changes: object) -> WeighIn:
    """Return a weighing of the plain bow at 28 in, with some fields changed."""
    plain = {
        "id": f"K-001/{number}",
        "build": "K-001",
        "on": f"2026-03-{number:02d}",
        "stage": "finished",
        "readings": [{"draw": "28", "weight": f"{lbf}"}],
    }
    return WeighIn.model_validate({**plain, **changes})


def settled(number: int, lbf: float, **changes: object) -> WeighIn:
    """Return a weighing after 400 shots."""
    return weigh_in(number, lbf, **{"stage": "settled", "shots": 400, **changes})


SETTLED = settled(3, 49)


def readings(*events: Record) -> tuple[ShotReading, ...]:
    """Return what is told of the plain bow."""
    return settling_curve(Contents.of([STRAIGHT, build(), *events])).readings


def curve(*events: Record) -> list[tuple[int, float]]:
    """Return shots and shares of the plain bow."""
    return [(one.shots, one.share) for one in readings(*events)]


def test_a_share_of_the_finished_weight() -> None:
    """A bow finished at 50 lb that reads 49 after 400 shots keeps 98 %; weighings before finishing say nothing."""
    ((shots, share),) = curve(weigh_in(1, 53, stage="tillered"), weigh_in(2, 50), SETTLED)

    assert (shots, share) == (400, pytest.approx(0.98))


def test_shots_that_nobody_counted_say_nothing() -> None:
    """A settled weighing without a count of shots is no point of the curve, nor is a bow weighed once."""
    assert curve(weigh_in(2, 50), weigh_in(3, 49, stage="settled")) == []
    assert curve(SETTLED) == []


def test_a_sitting_is_one_weighing() -> None:
    """Weighings of one day are told once: their mean, their number, and the air of the day counted once.

    A reading by itself errs by .15 lb of the scale (from `predictor.belief.scatter`) and the air by 1 %; of three
    readings the first shrinks by the root of three and the second does not.
    """
    first = [weigh_in(number, lbf, on="2026-03-01") for number, lbf in ((1, 49.5), (2, 50), (3, 50.5))]
    again = [settled(number, lbf, on="2026-05-01") for number, lbf in ((4, 48.8), (5, 49), (6, 49.2))]
    (told,) = readings(*first, *again)
    (once,) = readings(first[1], again[1])

    assert (told.first_weighings, told.weighings, told.shots) == (3, 3, 400)
    assert (once.first_weighings, once.weighings) == (1, 1)
    assert told.share == pytest.approx((48.8 * 49 * 49.2 / (49.5 * 50 * 50.5)) ** (1 / 3), rel=1e-9)
    air = 2 * PRIOR_SCATTER.climate**2
    assert told.log_sd**2 - air == pytest.approx((once.log_sd**2 - air) / 3, rel=0.01)


def test_each_day_has_its_own_air() -> None:
    """A bow weighed on three days before it was shot has a surer start: the air's variance is a third of one day's."""
    first = [weigh_in(number, lbf) for number, lbf in ((1, 49.5), (2, 50), (3, 50.5))]
    again = settled(4, 49)
    (told,) = readings(*first, again)
    (once,) = readings(first[1], again)

    assert (told.first_weighings, told.weighings) == (3, 1)
    assert told.log_sd**2 == pytest.approx(once.log_sd**2 * (1 + 1 / 3) / 2, rel=0.01)


def test_like_is_compared_with_like_scale() -> None:
    """A scale that reads two pounds less is no settling: each reading is held to the first on its own scale."""
    first = [weigh_in(1, 50, scale="brass"), weigh_in(1, 48, id="K-001/2", scale="digital")]
    (brass, digital) = readings(
        *first, settled(3, 49, scale="brass"), settled(3, 47, id="K-001/4", scale="digital")
    )

    assert (brass.share, digital.share) == (pytest.approx(49 / 50), pytest.approx(47 / 48))


def test_another_scale_makes_a_share_less_sure() -> None:
    """Read on another scale, the variance is more by both biases', .6 % each; so it is where one was not noted."""
    (alike,) = readings(weigh_in(1, 50, scale="brass"), settled(2, 49, scale="brass"))
    for scale in ("digital", None):
        (other,) = readings(weigh_in(1, 50, scale="brass"), settled(2, 49, scale=scale))
        assert other.log_sd**2 - alike.log_sd**2 == pytest.approx(2 * 0.006**2)
    (nowhere,) = readings(weigh_in(1, 50), settled(2, 49))
    assert nowhere.log_sd == pytest.approx(alike.log_sd)


def test_weighed_often_but_never_shot() -> None:
    """A bow weighed many times at one count of shots says nothing of settling."""
    assert curve(*(weigh_in(number, 50 + number / 10) for number in range(1, 6))) == []


def test_brace_is_not_settling() -> None:
    """What a lower brace explains is no loss by shooting in: the share is of the weight solved at the new brace."""
    lower = Rigging.model_validate({"id": "K-001/2", "build": "K-001", "on": "2026-03-02", "brace": "5 1/2"})
    ((_, alike),) = curve(weigh_in(1, 50), SETTLED)
    ((_, rigged),) = curve(weigh_in(1, 50), lower, SETTLED)

    bows = [bow_at(STRAIGHT, build(), events) for events in ((), (lower,))]
    moduli = [handbook_moduli(bow, handbook()) for bow in bows]
    draw_in = from_back(28.0, ZeroPoint.STANDARD, STRAIGHT.handle_depth_in.inch)
    before, after = weights(bows, moduli, np.full((2, 1), draw_in)).lbf[:, 0]

    assert abs(after / before - 1) > 0.003  # or nothing would be told apart
    assert alike == pytest.approx(0.98)
    assert rigged / alike == pytest.approx(before / after, rel=1e-4)


def test_the_band_before_any_bow_came_back() -> None:
    """Without a model the band is the prior's: its mean, its doubt and its scatter from bow to bow."""
    prior, own = COMMON_PRIORS[SHOOTING_IN], SCATTER_SDS[SHOOTING_IN]
    left = left_after(prior_belief(), SettlingLaw(), 500)
    half = 1.6448536 * np.hypot(prior.sd, own)

    assert [left.low, left.middle, left.high] == pytest.approx(
        np.exp([prior.mean - half, prior.mean, prior.mean + half]), rel=1e-6
    )
    assert left_after(prior_belief(), SettlingLaw(), 0).low == 1


def test_the_band_goes_down_with_every_shot() -> None:
    """A book without any bow has no reading and a default law, whose band starts at the whole weight and falls."""
    found = settling_curve(Contents.of([STRAIGHT]))
    middles = [left.middle for left in found.band]

    assert (found.bows, found.readings, found.law) == (0, (), SettlingLaw())
    assert middles[0] == 1
    assert middles == sorted(middles, reverse=True)
    assert all(left.low < left.middle < left.high for left in found.band[1:])
