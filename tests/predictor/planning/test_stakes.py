"""The weight to aim at is the cheapest one, by closed forms of inventory and filling problems and by search."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate, optimize
from scipy.stats import norm

from predictor.planning.stakes import Stakes, chances, cheapest_aim, expected_cost, safe_aim
from tests.predictor.best_aim import best_aim

sds = st.floats(0.05, 4.0)
stakes_of_any = st.builds(
    Stakes,
    tolerance_lbf=st.floats(0.0, 3.0),
    under_to_over=st.floats(0.5, 30.0),
    most_under=st.floats(0.001, 0.3),
    miss_cost_lbf=st.just(0.0),
)


@pytest.mark.parametrize("ratio", [1.5, 4.0, 9.0, 19.0])
def test_fractile_rule_without_tolerance(ratio):
    """With no tolerance the aim is the newsvendor's fractile, z = Phi^-1(r / (1 + r)); its cost is the integral there.

    The rule: Edgeworth 1888; Arrow, Harris and Marschak, Econometrica 19 (1951), 250-272 (from memory).
    """
    stakes = Stakes(tolerance_lbf=0.0, under_to_over=ratio, miss_cost_lbf=0.0)
    aim = cheapest_aim(2.0, stakes)

    def cost(off):
        return (max(off, 0) + ratio * max(-off, 0)) * norm.pdf(off, aim, 2.0)

    integral = integrate.quad(cost, aim - 24, aim + 24, points=[0], epsabs=1e-12, limit=200)[0]
    assert aim == pytest.approx(2 * norm.ppf(ratio / (1 + ratio)), rel=1e-10)
    assert expected_cost(aim, 2.0, stakes) == pytest.approx(integral, rel=1e-9)


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
    stakes = Stakes(tolerance_lbf=1.0, under_to_over=9.0, miss_cost_lbf=0.0)
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

    Springer, Industrial Quality Control 8 (1951), 36-39 (from memory), by the chances that `chances` gives; these are
    the integrals of the density.
    """
    low, high, sd = 40.0, 50.0, 2.0
    stakes = Stakes(tolerance_lbf=(high - low) / 2)
    middle = (low + high) / 2

    def lost(mean):
        found = chances(mean - middle, sd, stakes)
        return 10 * found.under + found.over

    best = middle + sd**2 / (high - low) * np.log(10)
    searched = optimize.minimize_scalar(lost, bounds=(low, high), method="bounded", options={"xatol": 1e-9})
    under, over = (
        integrate.quad(norm.pdf, *limits, args=(best, sd), epsabs=1e-13)[0]
        for limits in ((best - 12 * sd, low), (high, best + 12 * sd))
    )
    assert searched.x == pytest.approx(best, abs=1e-5)
    assert lost(best) == pytest.approx(10 * under + over, rel=1e-7)


GIVEN_AWAY = Stakes(tolerance_lbf=0.0, under_to_over=0.0, miss_cost_lbf=0.0)
"""Only what lies above the target costs, by the pound."""


def cheapest(cost, low, high):
    """Return the mean that costs least, by search."""
    found = optimize.minimize_scalar(cost, bounds=(low, high), method="bounded", options={"xatol": 1e-10})
    return found.x


@pytest.mark.parametrize("u", [0.05, 0.2, 0.5])
def test_sold_cheaper_below_the_limit(u):
    """A piece below the limit sells for less, one above it gives the rest away: phi(d) / Phi(d) = g s / (a - r).

    Hunter and Kartha, Journal of Quality Technology 9 (1977), 176-181 (from memory; the condition was derived anew).
    """
    less, sd = 1 / u, 1.0
    d = optimize.brentq(lambda at: norm.pdf(at) / norm.cdf(at) - u, -1, 5)

    def lost(aim):
        return less * chances(aim, sd, GIVEN_AWAY).under + float(expected_cost(aim, sd, GIVEN_AWAY))

    light = integrate.quad(norm.pdf, d - 12, 0, args=(d, sd), epsabs=1e-13)[0]
    given_away = integrate.quad(lambda off: off * norm.pdf(off, d, sd), 0, d + 12, epsabs=1e-13)[0]
    assert cheapest(lost, -1, 5) == pytest.approx(d * sd, abs=1e-5)
    assert lost(d) == pytest.approx(less * light + given_away, rel=1e-9)


@pytest.mark.parametrize(("sd", "refill"), [(1.0, 2.0), (1.0, 0.5), (2.0, 1.0)])
def test_filled_again_below_the_limit(sd, refill):
    """A piece below the limit is made again until one is above it: s (1 - h (h + d)) = R h / Phi(d), h = phi / Phi.

    Golhar, Journal of Quality Technology 19 (1987), 201-207 (from memory; the condition was derived anew), with
    material at one a pound and R for filling again. Only R / s matters.
    """

    def condition(d):
        h = norm.pdf(d) / norm.cdf(d)
        return sd * (1 - h * (h + d)) - refill * h / norm.cdf(d)

    def cost(aim):
        under = chances(aim, sd, GIVEN_AWAY).under
        return (float(expected_cost(aim, sd, GIVEN_AWAY)) + refill * under) / (1 - under)

    assert cheapest(cost, -sd, 4 * sd) == pytest.approx(sd * optimize.brentq(condition, -1, 4), abs=1e-5)


MISSING = Stakes(miss_cost_lbf=0.2)


@pytest.mark.parametrize("aim", [-0.5, 0.2, 0.9])
def test_missing_as_such_costs_its_chance(aim):
    """With a cost of missing the expected cost is the integral of what each weight costs (`scipy.integrate.quad`)."""

    def cost(weight):
        beyond = max(weight - 1, 0) + 9 * max(-weight - 1, 0)
        return (beyond + 0.2 * (abs(weight) > 1)) * norm.pdf(weight, aim, 0.4)

    whole = integrate.quad(cost, aim - 6, aim + 6, points=[-1, 1], epsabs=1e-12, limit=200)[0]
    assert float(expected_cost(aim, 0.4, MISSING)) == pytest.approx(whole, abs=1e-9)


@pytest.mark.parametrize("sd", [0.3, 0.6, 1.2])
def test_cheapest_aim_with_a_cost_of_missing(sd):
    """No aim on a fine grid costs less than the cheapest one, which lies lower than without that cost."""
    cheapest = cheapest_aim(sd, MISSING)
    grid = np.linspace(cheapest - 1, cheapest + 1, 2001)
    assert float(expected_cost(cheapest, sd, MISSING)) <= expected_cost(grid, sd, MISSING).min() + 1e-12
    assert cheapest < cheapest_aim(sd, Stakes(miss_cost_lbf=0.0))


def test_without_a_tolerance_missing_as_such_changes_nothing():
    """Without a tolerance every bow misses, so the aim is the newsvendor's fractile whatever that costs."""
    stakes = Stakes(tolerance_lbf=0.0, miss_cost_lbf=3.0)
    assert cheapest_aim(0.7, stakes) == pytest.approx(0.7 * norm.ppf(0.9), abs=1e-9)
