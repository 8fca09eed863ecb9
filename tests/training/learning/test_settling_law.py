"""The law of settling is chosen by held-out bows where they can tell, and is a labelled default where they cannot."""

from dataclasses import replace

import numpy as np
import pytest

from predictor.belief.own_history import Slips
from predictor.belief.scatter import SCALES, SHOOTING_IN
from predictor.belief.settling import DEFAULT_LAW, LawBasis, LawKind, SettlingLaw
from predictor.belief.weighings import Weighing
from tests.settling_shops import bows, weighing
from training.engine.hierarchy import Fit, fit
from training.engine.readings import Readings
from training.learning import settling_law
from training.learning.settling_law import FEWEST_HISTORIES, choose_law, under_law

FOLLOWED = ((0, 30, 150, 500, 1500),)
"""Shots of bows that are followed for long, in one air."""


@pytest.mark.parametrize(
    "law",
    [
        SettlingLaw(parameter=100.0),
        SettlingLaw(kind=LawKind.POWER, parameter=0.5),
        SettlingLaw(parameter=3.0),
    ],
)
def test_bows_followed_for_long_tell_their_law(law: SettlingLaw) -> None:
    """A dozen bows followed over 1500 shots in one air bring out the law that they were drawn with."""
    chosen = choose_law(
        bows(np.random.default_rng(545_001), law.share, 12, FOLLOWED, loss=0.04, climate=0.001)
    )

    assert (chosen.kind, chosen.parameter) == (law.kind, law.parameter)
    assert (chosen.basis, chosen.histories) == (LawBasis.HELD_OUT, 12)


def test_too_few_bows_leave_the_default() -> None:
    """One bow too few, however clear, leaves the default, with their number."""
    law = SettlingLaw(kind=LawKind.POWER, parameter=0.5)
    few = bows(
        np.random.default_rng(545_002), law.share, FEWEST_HISTORIES - 1, FOLLOWED, loss=0.04, climate=0.001
    )

    told = {"histories": FEWEST_HISTORIES - 1, "longest_shots": 1500}
    assert choose_law(few) == DEFAULT_LAW.model_copy(update=told)
    assert choose_law([]) == DEFAULT_LAW


def test_too_few_bows_all_sound_are_asked_under_one_law(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the default stands anyhow and no bow looks odd, no other law is fitted: it could change nothing."""
    asked = []

    def counted(readings: Readings, slips: Slips) -> Fit:
        asked.append(readings)
        return fit(readings, slips)

    monkeypatch.setattr(settling_law, "fit", counted)
    few = bows(np.random.default_rng(545_002), DEFAULT_LAW.share, FEWEST_HISTORIES - 1, FOLLOWED)
    chosen = choose_law(few)

    assert chosen.histories == FEWEST_HISTORIES - 1
    assert len(asked) == 1


def test_of_many_bows_the_last_are_asked(monkeypatch: pytest.MonkeyPatch) -> None:
    """A shop whose bows settle otherwise than they used to has the law of the last ones, and their number."""
    monkeypatch.setattr(settling_law, "MOST_HISTORIES", 12)
    rng = np.random.default_rng(545_006)
    laws = (SettlingLaw(kind=LawKind.POWER, parameter=0.5), SettlingLaw(parameter=3.0))
    earlier, last = (bows(rng, law.share, 12, FOLLOWED, loss=0.04, climate=0.001) for law in laws)
    chosen = choose_law([*(replace(one, build=f"earlier {one.build}") for one in earlier), *last])

    assert (chosen.kind, chosen.parameter, chosen.histories) == (LawKind.LOG, 3.0, 12)


def test_a_tie_leaves_the_default() -> None:
    """Bows that come back once, in another air, cannot tell laws apart: the default stands and says so."""
    chosen = choose_law(
        bows(np.random.default_rng(545_003), SettlingLaw(parameter=30).share, 10, ((0, 250),))
    )

    assert (chosen.kind, chosen.parameter, chosen.basis) == (LawKind.LOG, 10.0, LawBasis.DEFAULT)
    assert "do not tell laws apart" in chosen.in_words()


def test_weighing_often_in_one_air_tells_no_more_of_the_air() -> None:
    """Bows weighed eight times at each sitting, in that day's air, tell laws apart no better than bows weighed once."""
    rng = np.random.default_rng(545_007)
    once = bows(rng, SettlingLaw(kind=LawKind.POWER, parameter=0.5).share, 10, ((0, 60, 400),))
    often = [
        replace(one, weigh_in=f"{one.weigh_in}.{time}", log_weight=one.log_weight + rng.normal(0, 0.004, 3))
        for one in once
        for time in range(8)
    ]

    assert choose_law(once) == choose_law(often)
    assert choose_law(often).basis is LawBasis.DEFAULT


def test_another_scale_is_no_settling() -> None:
    """Bows read on a lighter scale from 500 shots on bring out their law where the scale is noted.

    Where it is not, the same readings are taken for another law: what the scale takes looks like a loss.
    """
    rng = np.random.default_rng(545_008)
    read, noted = [], []
    for one in bows(rng, DEFAULT_LAW.share, 16, FOLLOWED, loss=0.04, climate=0.001):
        late = (one.moment.shots or 0) >= 500
        read.append(replace(one, log_weight=one.log_weight - 0.02 * late))
        noted.append(on_scale(read[-1], "lighter" if late else "usual"))

    assert choose_law(read).basis is LawBasis.HELD_OUT
    assert choose_law(noted).basis is LawBasis.DEFAULT


def test_scales_of_one_day_share_its_air() -> None:
    """Bows weighed on eight scales at each sitting, in that day's air, tell laws apart no better than on one."""
    rng = np.random.default_rng(545_007)
    once = bows(rng, SettlingLaw(kind=LawKind.POWER, parameter=0.5).share, 10, ((0, 60, 400),))
    often = [
        replace(
            on_scale(one, f"scale {number}"),
            weigh_in=f"{one.weigh_in}.{number}",
            log_weight=one.log_weight + rng.normal(0, 0.004, 3),
        )
        for one in once
        for number in range(8)
    ]

    assert choose_law(often) == choose_law(once)
    assert choose_law(often).basis is LawBasis.DEFAULT


def on_scale(one: Weighing, scale: str) -> Weighing:
    """Return a weighing on a scale that is noted."""
    groups = {SCALES: {scale: np.ones_like(one.log_weight)}}
    return replace(one, moment=replace(one.moment, scale=scale), columns=replace(one.columns, groups=groups))


def test_a_slip_of_the_pencil_is_left_aside() -> None:
    """A bow with one weighing off by a third is no history to choose by."""
    sound = bows(np.random.default_rng(545_004), DEFAULT_LAW.share, 10, FOLLOWED)
    slipped = [
        weighing("K-100", number, shots, np.full(3, off), 0.01)
        for number, (shots, off) in enumerate(((0, 0.0), (200, -0.3), (600, -0.01)))
    ]

    assert choose_law([*sound, *slipped]).histories == 10


def test_the_longest_follow_up_is_that_of_a_sound_bow() -> None:
    """A law knows after how many shots a bow was last weighed, whether chosen or by default; a slip does not count."""
    followed = bows(np.random.default_rng(545_004), DEFAULT_LAW.share, 10, ((0, 250), (0, 100, 800)))
    slipped = [
        weighing("K-100", number, shots, np.full(3, off), 0.01)
        for number, (shots, off) in enumerate(((0, 0.0), (200, -0.3), (6000, -0.01)))
    ]

    assert choose_law(followed).longest_shots == choose_law([*followed, *slipped]).longest_shots == 800


def test_under_a_law_the_columns_follow_it() -> None:
    """Another law changes the loss's columns, common and each bow's own, and nothing else."""
    law = SettlingLaw(kind=LawKind.POWER, parameter=0.5)
    (before,) = bows(np.random.default_rng(545_005), law.share, 1, ((125,),))
    (after,) = under_law([before], law)

    assert after.columns.common[SHOOTING_IN] == pytest.approx(0.5)
    assert after.columns.build[SHOOTING_IN] == pytest.approx(after.columns.common[SHOOTING_IN])
    assert after.columns.sd is before.columns.sd
