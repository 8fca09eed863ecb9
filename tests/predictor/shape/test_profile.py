"""The unstrung shape from bench readings: exact recovery, noise, steep tips, and doubts."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.interpolate import BSpline

from predictor.shape.profile import Profile, Reading, fit_profile, with_follow
from predictor.shape.profile_doubts import Doubt
from tests.predictor.profiles import FADE, RECURVE, REFLEX_DEFLEX, arc_profile, noisy, readings_of, shape


def _stations(profile: Profile) -> NDArray[np.float64]:
    return np.linspace(0.0, profile.length, 40)


def test_arc_path_is_a_circle() -> None:
    """An even curvature of 1/R turns by L/R and ends at R sin, R (1 − cos)."""
    profile = arc_profile(26.0, 0.02, root_distance=FADE, root_depth=0.3)

    assert float(profile.angle(26.0)) == pytest.approx(0.52)
    assert profile.tip == pytest.approx((FADE + 50 * math.sin(0.52), 0.3 + 50 * (1 - math.cos(0.52))))


@pytest.mark.parametrize("curvature", [-0.04, 0.0, 0.005, 0.03])
@pytest.mark.parametrize("root_angle", [0.0, 0.08])
def test_an_arc_is_recovered_exactly(curvature: float, root_angle: float) -> None:
    """Readings of a straight or evenly bent limb give back its curvature, root and angle."""
    true = arc_profile(26.0, curvature, root_distance=FADE, root_depth=0.1, root_angle=root_angle)

    fitted = fit_profile(readings_of(true, 6), FADE, 26.0)

    np.testing.assert_allclose(fitted.curvature(_stations(true)), curvature, atol=1e-9)
    assert fitted.root_angle == pytest.approx(root_angle, abs=1e-9)
    assert fitted.tip == pytest.approx(true.tip, abs=1e-8)
    assert fitted.findings == ()


def test_the_neutral_axis_lies_within_the_back() -> None:
    """A depth that shrinks toward the tip is taken off square to the back."""
    true = arc_profile(26.0, 0.02, root_distance=FADE - 0.2 * math.sin(0.05), root_depth=0.1, root_angle=0.05)
    readings = readings_of(true, 7, depth=0.2, taper=0.1)

    fitted = fit_profile(readings, FADE, 26.0, neutral_depth=(0.2, 0.1))

    assert fitted.root_depth == pytest.approx(0.1, abs=1e-5)
    assert fitted.root_distance == pytest.approx(true.root_distance, abs=1e-5)
    assert fitted.tip == pytest.approx(true.tip, abs=1e-4)


def test_a_clothoid_is_recovered_as_readings_grow() -> None:
    """A curvature that grows evenly along the limb is found ever better from more exact readings."""
    true = Profile(26.0, BSpline([0.0, 0.0, 26.0, 26.0], np.array([0.01, -0.05]), 1), (), FADE, 0.1, 0.0)
    at = np.linspace(3.0, 23.0, 20)
    fits = [fit_profile(readings_of(true, count), FADE, 26.0, tolerance=1e-6) for count in (6, 12, 24)]
    errors = [np.abs(fitted.curvature(at) - true.curvature(at)).max() for fitted in fits]

    assert errors[0] < 0.05 * 0.06
    assert errors[1] < errors[0]
    assert errors[2] < errors[0] / 50


@pytest.mark.parametrize("true", [REFLEX_DEFLEX, RECURVE], ids=["reflex-deflex", "recurve"])
def test_exact_readings_put_the_tip_where_it_is(true: Profile) -> None:
    """The end of an S-shaped limb, and of a tip turned by 94 degrees, is found in place and direction."""
    fitted = fit_profile(readings_of(true, 16), FADE, true.length, tolerance=1e-3)

    assert math.dist(fitted.tip, true.tip) < 2e-3
    assert float(fitted.angle(true.length)) == pytest.approx(
        float(true.angle(true.length)), abs=math.radians(2)
    )
    assert fitted.findings == ()


def test_a_recurve_may_turn_back_over_its_own_stations() -> None:
    """Stations that shrink again toward the tip are followed in order."""
    true = shape(24.0, 0.0, 0.0, -0.02, -0.12, -0.24, -0.24, -0.24)
    readings = readings_of(true, 16)

    fitted = fit_profile(readings, FADE, 24.0, tolerance=1e-3)

    assert readings[-1][0] < max(station for station, _ in readings)
    assert math.dist(fitted.tip, true.tip) < 2e-3


@pytest.mark.parametrize("true", [REFLEX_DEFLEX, RECURVE], ids=["reflex-deflex", "recurve"])
def test_rule_readings_leave_the_tip_within_the_rule(true: Profile) -> None:
    """Eight readings, each off by 1/32 in (one standard deviation), leave the tip within 1/16 in and the root
    within 3 degrees, root mean square over 40 trials.
    """
    rng = np.random.default_rng(5)
    fits = [fit_profile(noisy(readings_of(true, 8), rng, 1 / 32), FADE, true.length) for _ in range(40)]
    tips = np.array([math.dist(fitted.tip, true.tip) for fitted in fits])
    roots = np.array([fitted.root_angle - true.root_angle for fitted in fits])

    assert np.sqrt(np.mean(tips**2)) < 1 / 16
    assert np.sqrt(np.mean(roots**2)) < math.radians(3)


def test_residuals_have_the_size_of_the_tolerance() -> None:
    """Over many trials the residuals are neither far below nor above the tolerance that they were told."""
    rng = np.random.default_rng(6)
    residuals = [
        residual
        for _ in range(30)
        for residual in fit_profile(noisy(readings_of(REFLEX_DEFLEX, 10), rng, 1 / 32), FADE, 27.0).residuals
    ]

    assert 0.5 < np.sqrt(np.mean(np.square(residuals))) * 32 < 1.1


def test_two_readings_give_an_even_bend_along_the_riser_at_the_fade() -> None:
    """With fade and tip alone the limb leaves the riser without an angle, in an arc through the tip."""
    true = arc_profile(26.0, -0.01, root_distance=FADE, root_depth=0.1)

    fitted = fit_profile(readings_of(true, 2), FADE, 26.0)

    assert fitted.root_angle == 0.0
    assert fitted.tip == pytest.approx(true.tip, abs=1e-8)
    assert [finding.doubt for finding in fitted.findings] == [Doubt.FEW]


def test_one_reading_gives_a_straight_limb() -> None:
    """A single offset at the fade sets the root's depth and nothing else."""
    fitted = fit_profile([(FADE, -0.25)], FADE, 26.0)

    assert fitted.tip == pytest.approx((FADE + 26.0, 0.25))


def test_a_stated_sharp_bend_is_found() -> None:
    """An ear that turns by 0.4 in one inch is found from readings about it when its ends are stated."""
    ear = (18.0, 19.0)
    knots = np.array([0.0, *ear, 24.0])
    true = Profile(24.0, BSpline(knots, np.array([0.004, -0.4, 0.0]), 0), ear, FADE, 0.0, 0.0)
    readings = readings_of(true, 13)

    told = fit_profile(readings, FADE, 24.0, breakpoints=ear)
    untold = fit_profile(readings, FADE, 24.0)
    inside, before = np.array([18.5]), np.array([17.0])

    assert told.curvature(inside)[0] == pytest.approx(-0.4, rel=0.1)
    assert abs(told.curvature(before)[0] - 0.004) < 0.01
    assert abs(untold.curvature(inside)[0] + 0.4) > abs(told.curvature(inside)[0] + 0.4)


@pytest.mark.parametrize("follow", [-0.5, 0.625, 2.0])
def test_follow_moves_the_tip_and_not_the_root(follow: float) -> None:
    """String follow brings the nock toward the string by its amount, by an even added curvature."""
    moved = with_follow(REFLEX_DEFLEX, follow)
    added = moved.curvature(_stations(moved)) - REFLEX_DEFLEX.curvature(_stations(moved))

    assert moved.tip[1] - REFLEX_DEFLEX.tip[1] == pytest.approx(follow, abs=1e-9)
    assert moved.root_angle == REFLEX_DEFLEX.root_angle
    np.testing.assert_allclose(added, added[0], atol=1e-12)


def test_readings_that_stop_short_are_doubted() -> None:
    """Readings that end well inside the nock say how far."""
    fitted = fit_profile(readings_of(REFLEX_DEFLEX, 8)[:6], FADE, 27.0)

    assert Doubt.SHORT in {finding.doubt for finding in fitted.findings}


def test_readings_out_of_order_are_doubted() -> None:
    """Two readings exchanged make the limb double back."""
    readings = readings_of(REFLEX_DEFLEX, 8)
    readings[3], readings[4] = readings[4], readings[3]

    assert Doubt.ORDER in {finding.doubt for finding in fit_profile(readings, FADE, 27.0).findings}


def test_a_gap_where_the_limb_turns_is_doubted() -> None:
    """Four readings of a recurve can't follow its hook."""
    fitted = fit_profile(readings_of(RECURVE, 4), FADE, 24.0)

    assert Doubt.SPARSE in {finding.doubt for finding in fitted.findings}


@pytest.mark.parametrize("count", [3, 4])
def test_few_readings_of_a_recurve_are_doubted(count: int) -> None:
    """Readings too few to check a strong bend by say so, however closely the curve passes them."""
    fitted = fit_profile(readings_of(RECURVE, count), FADE, RECURVE.length)

    assert Doubt.FEW in {finding.doubt for finding in fitted.findings}


@pytest.mark.parametrize("curvature", [-0.005, 0.0, 0.005])
def test_three_readings_of_a_nearly_straight_limb_are_enough(curvature: float) -> None:
    """A limb that turns by a few degrees, evenly, is not doubted for having three readings."""
    true = arc_profile(26.0, curvature, root_distance=FADE)

    assert fit_profile(readings_of(true, 3), FADE, 26.0).findings == ()


def test_a_missing_fade_is_doubted() -> None:
    """Readings that begin beyond the fade leave the root to guesswork."""
    fitted = fit_profile(readings_of(REFLEX_DEFLEX, 8)[1:], FADE, 27.0)

    assert Doubt.ROOT in {finding.doubt for finding in fitted.findings}


@pytest.mark.parametrize("true", [REFLEX_DEFLEX, RECURVE], ids=["reflex-deflex", "recurve"])
@pytest.mark.parametrize("index", [2, 4, 6])
def test_a_slip_of_an_inch_is_named_and_left_out(true: Profile, index: int) -> None:
    """One offset written an inch off is named among ten noisy ones, and the tip lies where the others put it."""
    sound = noisy(readings_of(true, 10), np.random.default_rng(index), 1 / 64)
    readings = [*sound]
    readings[index] = (readings[index][0], readings[index][1] + 1.0)

    fitted = fit_profile(readings, FADE, true.length)

    assert [(found.doubt, found.station) for found in fitted.findings] == [(Doubt.SLIP, readings[index][0])]
    assert len(fitted.residuals) == 9
    assert math.dist(fitted.tip, fit_profile(sound, FADE, true.length).tip) < 1 / 16


def test_three_slips_are_told_with_where_they_should_lie() -> None:
    """Three offsets a quarter inch off are named in one line, each with its distance and its sound offset."""
    readings = [(station, 0.0) for station in np.linspace(9.0, 35.0, 12).tolist()]
    for index, off in ((3, 0.25), (5, -0.25), (8, 0.25)):
        readings[index] = (readings[index][0], off)
    readings[6] = (readings[6][0], 1 / 32)

    (found,) = fit_profile(readings, FADE, 26.0).findings

    assert found.doubt is Doubt.SLIP
    assert found.message.startswith("the readings at 16.0909, 20.8182 and 27.9091 in lie +0.2")
    assert "whose offset there is" in found.message
    assert found.message.endswith("they are left out: read them again")


def test_noise_is_not_followed() -> None:
    """Readings of a straight limb that scatter by an eighth bend the fit less than half as much as followed ones."""
    rng = np.random.default_rng(11)
    scattered = [noisy([(at, 0.0) for at in np.linspace(9.0, 35.0, 12)], rng, 1 / 8) for _ in range(12)]
    at = np.linspace(0.0, 26.0, 40)
    forgiven, followed = (
        np.sqrt(
            np.mean([fit_profile(one, FADE, 26.0, forgiving=way).curvature(at) ** 2 for one in scattered])
        )
        for way in (True, False)
    )

    assert forgiven < followed / 2


def test_all_readings_may_be_followed() -> None:
    """Without forgiveness every reading is used and none is doubted."""
    readings = [(station, 0.0) for station in np.linspace(9.0, 35.0, 12).tolist()]
    readings[5] = (readings[5][0], 0.5)

    followed = fit_profile(readings, FADE, 26.0, forgiving=False)

    assert len(followed.residuals) == 12
    assert followed.findings == ()


@given(
    st.lists(st.tuples(st.floats(8.6, 40.0), st.floats(-12.0, 12.0)), min_size=1, max_size=9),
    st.floats(18.0, 32.0),
)
@settings(max_examples=60, deadline=None)
def test_whatever_was_noted_is_answered(readings: list[Reading], length: float) -> None:
    """Readings that no limb can have still give finite numbers, so that their doubts can be told."""
    fitted = fit_profile(readings, FADE, length)

    assert np.all(np.isfinite(fitted.curvature(np.linspace(0.0, length, 9))))
    assert np.all(np.isfinite([*fitted.tip, *fitted.residuals, fitted.root_angle]))


def test_no_reading_on_the_limb_is_refused() -> None:
    """Readings that all lie on the riser are refused with what to do."""
    with pytest.raises(
        ValueError, match=r"wanted profile readings at the fade \(9 in\) and beyond, got none"
    ):
        fit_profile([(2.0, 0.0)], FADE, 26.0)
