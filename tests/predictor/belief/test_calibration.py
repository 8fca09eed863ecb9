"""Scores of left-out builds: exact ranks, refusals below the builds that a level needs, and how much they stretch."""

from fractions import Fraction
from itertools import product
from math import log

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from mapie.regression import SplitConformalRegressor
from scipy.stats import beta, norm
from sklearn.dummy import DummyRegressor

from datasets.materials import handbook
from datasets.record import DrawLength, ZeroPoint
from predictor.belief.calibration import (
    BuildScore,
    Calibration,
    builds_needed,
    check,
    checked_reach,
    highest_level,
    in_words,
    luck_of_ratio,
    rank,
    stretch,
)
from predictor.belief.model import FORMAT, Model, prior_belief
from predictor.prediction.predict import DrawPrediction, Prediction, predict
from tests.predictor.example_bows import STRAIGHT, build

LEVELS = (0.5, 0.68, 0.8, 0.9, 0.95, 0.98, 0.99)
scores_of_builds = st.lists(st.floats(-6, 6), max_size=60)


def test_ranks_are_exact() -> None:
    """The rank is the smallest k with k / (n + 1) at least the level, by trying every k in whole numbers."""
    for builds, level in product(range(301), LEVELS):
        hundredths = round(level * 100)
        enough = [k for k in range(1, builds + 1) if 100 * k >= hundredths * (builds + 1)]

        assert rank(builds, level) == (enough[0] if enough else None), (builds, level)


@pytest.mark.parametrize(
    ("level", "builds"), [(0.5, 1), (0.68, 3), (0.8, 4), (0.9, 9), (0.95, 19), (0.99, 99)]
)
def test_fewest_builds(level: float, builds: int) -> None:
    """The fewest builds that a level needs are alpha n >= 1 - alpha solved for n, and one less has no rank."""
    assert builds_needed(level) == builds
    assert rank(builds, level) is not None
    assert rank(builds - 1, level) is None


@pytest.mark.parametrize(
    ("builds", "level"), [(0, 0.0), (1, 0.5), (4, 0.8), (5, 0.8), (8, 0.85), (9, 0.9), (19, 0.95)]
)
def test_highest_level(builds: int, level: float) -> None:
    """The highest level that n builds can check is n / (n + 1), told in steps of 5 %."""
    assert highest_level(builds) == level


@pytest.mark.parametrize(
    ("builds", "level", "mean", "low", "high"),
    [
        (10, 0.9, 0.9091, 0.7411, 0.9949),
        (20, 0.9, 0.9048, 0.7839, 0.9819),
        (50, 0.9, 0.9020, 0.8262, 0.9598),
        (20, 0.8, 0.8095, 0.6563, 0.9286),
    ],
)
def test_coverage_has_the_law_of_an_order_statistic(
    builds: int, level: float, mean: float, low: float, high: float
) -> None:
    """Over shops, coverage of the checked reach is Beta(k, n + 1 - k) (Vovk, Asian Conference on Machine Learning 25,
    2012, 475-490, from memory), here with scores of no normal distribution; the numbers are computed from that law.

    Of 4000 shops the mean has a standard error below 0.0016 and the quantiles below 0.004; the tolerance is four.
    """
    k = rank(builds, level)
    assert k is not None
    law = beta(k, builds + 1 - k)
    assert [law.mean(), *law.ppf([0.05, 0.95])] == pytest.approx([mean, low, high], abs=5e-5)

    rng = np.random.default_rng(20261125)
    covered = []
    for shop in np.sqrt(rng.uniform(size=(4000, builds))):
        reach = checked_reach(shop.tolist(), level)
        assert reach is not None
        covered.append(reach**2)
    assert np.mean(covered) == pytest.approx(mean, abs=0.0064)
    assert np.quantile(covered, [0.05, 0.95]) == pytest.approx([low, high], abs=0.016)


@pytest.mark.parametrize(("builds", "level"), [(10, 0.9), (19, 0.9), (24, 0.68), (29, 0.9), (39, 0.95)])
def test_reach_agrees_with_mapie(builds: int, level: float) -> None:
    """The reach is the half width that MAPIE gives from the same scores, where it takes so few."""
    scores = np.random.default_rng(builds).standard_normal(builds)
    nothing = np.zeros((builds, 1))
    zero = DummyRegressor(strategy="constant", constant=0.0).fit(nothing, scores)
    mapie = SplitConformalRegressor(zero, confidence_level=level, prefit=True).conformalize(nothing, scores)
    _, interval = mapie.predict_interval(nothing[:1])

    assert checked_reach(scores.tolist(), level) == pytest.approx(interval[0, 1, 0], rel=1e-12)


def test_nine_builds_check_ninety_per_cent() -> None:
    """With nine builds 90 % is checked by the largest score (9 / 10 exactly), with eight by none."""
    scores = [0.3, -2.5, 0.1, 1.0, -0.4, 0.8, 0.2, -1.1, 0.6]

    assert checked_reach(scores, 0.9) == 2.5
    assert checked_reach(scores[:8], 0.9) is None


def calibration(*scores: float, form: str = "plain-64/1") -> Calibration:
    """Return the scores of some builds on one form."""
    return Calibration(
        builds=tuple(BuildScore(build=f"K-{n}", form=form, score=s) for n, s in enumerate(scores))
    )


def test_too_few_builds() -> None:
    """A check says how many builds it has, how many the level needs, and which level they allow."""
    told = check(calibration(0.5, -1.2, 0.3, 0.0, 2.0), 0.9, "plain-64/1")

    assert told.ratio is None
    assert (told.builds, told.builds_needed, told.highest_level) == (5, 9, 0.8)
    assert in_words(told, 1.0) == (
        "as wide as calculated; the test: 5 builds, each foretold without its own weighings. That is too few to "
        "test 90%: 9 are needed, and 80% is the most that can be tested so far"
    )


def test_where_widths_come_from_is_told_in_plain_words() -> None:
    """A sentence says whether ranges are widened and why, how the test went, and what it would ask for by itself."""
    passed = check(calibration(*[0.5] * 8, 3.0), 0.9)

    assert in_words(check(Calibration(), 0.9), 1.0) == (
        "as wide as calculated; no past build has put them to the test yet"
    )
    assert in_words(passed, 1.12) == (
        "12% wider than calculated, for past builds strayed further than that; the test: 9 builds, each foretold "
        "without its own weighings. 8 of them lay inside their 90% range; by this test alone it would be given "
        f"{passed.ratio:.2f} times as wide (more than luck: luck alone brings 0.65 to 1.68 with so many, 90% of the "
        "time, so trust the range less)"
    )
    assert "1 build, foretold without its own weighings. That is too few" in in_words(
        check(calibration(0.5), 0.9), 1.0
    )


@pytest.mark.parametrize(("builds", "level"), [(4, 0.8), (9, 0.9), (15, 0.9), (60, 0.95)])
def test_luck_of_a_ratio(builds: int, level: float) -> None:
    """Of 20,000 sets of standard normal scores 5 % lie below the told range of ratios and 5 % above it.

    The band is four binomial standard errors, 0.0062.
    """
    scores = np.abs(np.random.default_rng(builds).standard_normal((20000, builds)))
    place = rank(builds, level)
    told = luck_of_ratio(builds, level)
    assert place is not None
    assert told is not None
    ratios = np.sort(scores, axis=1)[:, place - 1] / norm.ppf((1 + level) / 2)

    assert np.mean(ratios < told[0]) == pytest.approx(0.05, abs=0.0062)
    assert np.mean(ratios > told[1]) == pytest.approx(0.05, abs=0.0062)
    assert luck_of_ratio(3, 0.8) is None


def test_luck_by_hand() -> None:
    """Of 15 builds at 90 % the largest decides: its share is the fifteenth root of a uniform number, Beta(15, 1)."""
    shares = 0.05 ** (1 / 15), 0.95 ** (1 / 15)
    reaches = [norm.ppf((1 + share) / 2) for share in shares]

    assert luck_of_ratio(15, 0.9) == pytest.approx([reach / norm.ppf(0.95) for reach in reaches])


@pytest.mark.parametrize(
    ("largest", "said"),
    [
        (2.55, "1.55 times as wide (luck alone brings 0.81 to 1.78 with so many, 90% of the time, so that"),
        (3.29, "given 2.00 times as wide (more than luck: luck alone brings 0.81 to 1.78 with so many"),
        (0.99, "given 0.60 times as wide (less than luck: luck alone brings 0.81 to 1.78 with so many"),
        (0.01, "given under a tenth as wide (less than luck: "),
    ],
)
def test_why_a_test_is_not_followed_is_told(largest: float, said: str) -> None:
    """What 15 builds ask by their ranks stands beside what luck brings; builds that read as foretold tell no width."""
    told = check(calibration(*[largest / 100] * 14, largest), 0.9)

    assert said in in_words(told, 1.0)


def test_check_by_rank() -> None:
    """With nine builds of a form the 90 % interval is set against the largest score of that form alone."""
    here = calibration(*[0.5] * 8, 3.0)
    both = Calibration(builds=(*here.builds, *calibration(*[1.0] * 9, form="other/1").builds))
    told = check(both, 0.9, "plain-64/1")

    assert (told.form, told.builds, told.held) == ("plain-64/1", 9, 8)
    assert told.ratio == pytest.approx(3.0 / (1.644854 * stretch(both.scores())), rel=1e-6)
    assert check(both, 0.95, "plain-64/1").form is None


@given(scores_of_builds)
def test_stretch_is_between_belief_and_scores(scores: list[float]) -> None:
    """The stretch lies between one and the scores' root mean square, and is one without scores."""
    if not scores:
        assert stretch(scores) == 1
        return
    size = np.sqrt(np.mean(np.minimum(np.abs(scores), 4) ** 2))

    assert min(1, size) - 1e-12 <= stretch(scores) <= max(1, size) + 1e-12


@given(scores_of_builds, st.floats(-6, 6))
def test_a_larger_score_never_narrows(scores: list[float], other: float) -> None:
    """Making one score larger makes neither the stretch nor the checked reach smaller."""
    less, more = [*scores, other], [*scores, other * 1.5]

    assert stretch(less) <= stretch(more)
    for level in LEVELS:
        if rank(len(less), level):
            assert (checked_reach(less, level) or 0) <= (checked_reach(more, level) or 0)


def test_many_scores_outweigh_belief() -> None:
    """With a thousand builds whose scores have sd 1.3, intervals are stretched by 1.3 to 1 %; with five by a part."""
    scores = 1.3 * np.tile([-1.0, 1.0], 500)

    assert stretch(scores.tolist()) == pytest.approx(1.3, rel=0.01)
    assert 1 < stretch(scores[:5].tolist()) < 1.15


def test_scores_that_tell_of_a_planned_bow() -> None:
    """A bow of new lots is judged by lots left out, and a form's own scores can be had alone."""
    builds = tuple(
        BuildScore(build=f"K-{n}", form=form, score=n / 10, as_new_lots=new)
        for n, (form, new) in enumerate([("a/1", 0.9), ("a/1", None), ("b/1", -0.7)])
    )
    told = Calibration(builds=builds)

    assert told.scores() == (0.0, 0.1, 0.2)
    assert told.scores(form="a/1") == (0.0, 0.1)
    assert told.scores(new_lots=True) == (0.9, -0.7)


def test_level_is_taken_as_written() -> None:
    """A level is its decimal fraction: 0.9 of nine builds needs rank 9, though the binary 0.9 times 10 is not exact."""
    assert rank(9, 0.9) == 9
    assert Fraction(0.9) != Fraction("0.9")


def _predicted(found_out: Calibration) -> DrawPrediction:
    """Return what a model that learned nothing but its builds' scores says of a straight bow at 28 in."""
    model = Model(
        format=FORMAT,
        tool="0",
        trained_at="2026-01-01",
        data_hash="0" * 64,
        records=1,
        builds=1,
        readings=1,
        builds_by_form={},
        builds_by_material={},
        calibration=found_out,
        posterior=prior_belief().to_json(),
    )
    draws = (DrawLength(inch=28, zero=ZeroPoint.STANDARD),)
    found = predict(STRAIGHT, build(), (), draws, handbook(), model)
    assert isinstance(found, Prediction)
    main = found.draws[0]
    assert sum(s.sd_lbf**2 for s in found.shares) == pytest.approx((main.log_sd * main.weight_lbf) ** 2)
    return main


def test_scores_stretch_a_prediction_alike() -> None:
    """Interval, standard deviation and shares of a prediction are all stretched by the factor; the weight stays."""
    scores = [1.9, -1.6, 2.2, -2.0, 1.8, 2.1]
    plain, stretched = _predicted(Calibration()), _predicted(calibration(*scores))

    assert stretched.weight_lbf == pytest.approx(plain.weight_lbf, rel=1e-12)
    assert stretched.log_sd == pytest.approx(plain.log_sd * stretch(scores))
    for before, after in zip(plain.intervals, stretched.intervals, strict=True):
        reach = [log(one.high_lbf / one.low_lbf) for one in (before, after)]
        assert reach[1] == pytest.approx(reach[0] * stretch(scores))


@pytest.mark.parametrize(("lots", "asked"), [(2.5, 2.5), (0.5, 1.5)])
def test_a_bow_of_new_lots_is_as_wide_as_builds_without_their_lots_ask(lots: float, asked: float) -> None:
    """Where no build had its lots, a prediction is stretched by the larger of what both ways of leaving out ask for."""
    builds = tuple(
        BuildScore(build=f"K-{n}", form="plain-64/1", score=1.5, as_new_lots=lots) for n in range(6)
    )
    plain, stretched = _predicted(Calibration()), _predicted(Calibration(builds=builds))

    assert stretched.log_sd == pytest.approx(plain.log_sd * stretch([asked] * 6))
    assert Calibration(builds=builds).wider() == stretch([1.5] * 6)
