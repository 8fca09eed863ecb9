"""The weight to aim at is the cheapest one, by closed forms of inventory and filling problems and by search."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate, optimize
from scipy.stats import norm

from predictor.stakes import Stakes, best_aim, chances, cheapest_aim, expected_cost, safe_aim

sds = st.floats(0.05, 4.0)
stakes_of_any = st.builds(
    Stakes,
    tolerance_lbf=st.floats(0.0, 3.0),
    under_to_over=st.floats(0.5, 30.0),
    most_under=st.floats(0.001, 0.3),
)


@pytest.mark.parametrize(
    ("ratio", "z", "loss"),
    [(4, 0.8416212335729143, 1.3998096020390416), (9, 1.2815515655446004, 1.7549833193248685)],
)
def test_fractile_rule_without_tolerance(ratio, z, loss):
    """With no tolerance the aim is the newsvendor's fractile, z = Phi^-1(r / (1 + r)), at a cost of (1 + r) sd phi(z).

    The rule: Edgeworth 1888; Arrow, Harris and Marschak, Econometrica 19 (1951), 250-272 (from memory). The digits are
    computed, by the line below each.
    """
    stakes = Stakes(tolerance_lbf=0.0, under_to_over=ratio)
    assert z == pytest.approx(norm.ppf(ratio / (1 + ratio)), rel=1e-14)
    assert loss == pytest.approx((1 + ratio) * norm.pdf(z), rel=1e-12)
    assert cheapest_aim(2.0, stakes) == pytest.approx(2 * z, rel=1e-10)
    assert expected_cost(2 * z, 2.0, stakes) == pytest.approx(2 * loss, rel=1e-10)


@given(sds, stakes_of_any)
def test_cost_is_the_integral(sd, stakes):
    """The closed form is the integral of the cost over the normal density."""

    def cost(x):
        off = x * sd + 0.3
        over, under = off - stakes.tolerance_lbf, -off - stakes.tolerance_lbf
        return (max(over, 0) + stakes.under_to_over * max(under, 0)) * norm.pdf(x)

    kinks = [(side * stakes.tolerance_lbf - 0.3) / sd for side in (-1, 1)]
    inside = [kink for kink in kinks if abs(kink) < 12]
    found = integrate.quad(cost, -12, 12, points=inside or None, epsabs=1e-11, limit=200)[0]
    assert expected_cost(0.3, sd, stakes) == pytest.approx(found, rel=1e-7, abs=1e-9)


@given(sds, stakes_of_any)
def test_cheapest_aim_is_the_minimum(sd, stakes):
    """No other aim costs less; a search over the cost itself finds none."""
    aim = cheapest_aim(sd, stakes)
    reach = stakes.tolerance_lbf + 10 * sd
    searched = optimize.minimize_scalar(
        lambda other: float(expected_cost(other, sd, stakes)), bounds=(-reach, reach), method="bounded"
    )
    assert expected_cost(aim, sd, stakes) <= searched.fun + 1e-9


@given(sds, stakes_of_any)
def test_condition_with_a_free_zone(sd, stakes):
    """At the cheapest aim the chance of ending over is r times the chance of ending under."""
    found = chances(cheapest_aim(sd, stakes), sd, stakes)
    assert found.over == pytest.approx(stakes.under_to_over * found.under, rel=1e-6, abs=1e-12)


def test_plain_fractile_does_not_hold_with_a_free_zone():
    """At a tolerance of one pound and an sd of one, the fractile rule would aim 0.5 lb too high and cost more."""
    stakes = Stakes(tolerance_lbf=1.0, under_to_over=9.0)
    fractile = norm.ppf(0.9)
    assert cheapest_aim(1.0, stakes) < fractile - 0.4
    assert expected_cost(cheapest_aim(1.0, stakes), 1.0, stakes) < 0.9 * expected_cost(fractile, 1.0, stakes)


@given(sds, stakes_of_any)
def test_chance_of_ending_under_is_kept(sd, stakes):
    """The aim keeps the largest chance of ending under, and exactly so where that decides."""
    aim = best_aim(sd, stakes)
    under = chances(aim, sd, stakes).under
    assert under <= stakes.most_under * (1 + 1e-9)
    if safe_aim(sd, stakes) > cheapest_aim(sd, stakes):
        assert under == pytest.approx(stakes.most_under, rel=1e-9)


@given(st.floats(0.05, 3.0), st.floats(0.05, 1.0))
def test_more_doubt_aims_higher(sd, more):
    """With a pound under dearer than a pound over, more doubt never aims lower."""
    assert best_aim(sd + more, Stakes()) >= best_aim(sd, Stakes())


def test_two_step_cost_with_different_prices():
    """Where a piece beyond either limit is lost whole, the cheapest mean is (L+U)/2 + s^2/(U-L) ln(cL/cU).

    Springer, Industrial Quality Control 8 (1951), 36-39 (from memory), by the chances that `chances` gives. The
    digits are computed, by the search below.
    """
    low, high, sd = 40.0, 50.0, 2.0
    stakes = Stakes(tolerance_lbf=(high - low) / 2)
    middle = (low + high) / 2

    def lost(mean):
        found = chances(mean - middle, sd, stakes)
        return 10 * found.under + found.over

    best = middle + sd**2 / (high - low) * np.log(10)
    assert best == pytest.approx(45.92103403719762, rel=1e-14)
    searched = optimize.minimize_scalar(lost, bounds=(low, high), method="bounded", options={"xatol": 1e-9})
    assert searched.x == pytest.approx(best, abs=1e-5)
    assert lost(best) == pytest.approx(0.036057082, rel=1e-7)
