"""Passes with a weighing after each bring a heavy kit to its weight at the least expected cost."""

import numpy as np
import pytest
from scipy.stats import norm

from predictor.planning.passes import Finishing, Noise, Step, outlook
from predictor.planning.stakes import Stakes, expected_cost
from tests.predictor.best_aim import best_aim

USUAL = Stakes()
NOISE = Noise(share=0.16, weighing_lbf=0.5, after_lbf=0.45)
FINISHING = Finishing(shown_lbf=0.42, after_lbf=0.16, near_lbf=2.0)
UNFINISHED = Noise(share=0.16, weighing_lbf=0.5, after_lbf=0.45, finishing=FINISHING)


def test_no_pass_left_is_the_cost_of_stopping():
    """With no pass left the outlook is the expected cost of the weight as it is."""
    found = outlook(0.7, 0.4, USUAL, NOISE, most_passes=0)
    assert found.take_lbf == 0
    assert found.cost_lbf == pytest.approx(float(expected_cost(0.7, np.hypot(0.4, 0.45), USUAL)), rel=1e-12)


def test_one_pass_without_noise_of_its_own_reaches_the_best_aim():
    """One pass that costs what was meant, and no free weighing before it, leaves the best aim.

    With one pass left nothing is decided after its weighing, so this is the one-shot problem.
    """
    found = outlook(8.0, 1.0, USUAL, Noise(0.0, 0.5, 0.45), most_passes=1)
    aim = best_aim(float(np.hypot(1.0, 0.45)), USUAL)
    assert 8.0 - found.take_lbf == pytest.approx(aim, abs=0.15)
    assert found.cost_lbf - USUAL.pass_cost_lbf == pytest.approx(
        float(expected_cost(aim, np.hypot(1.0, 0.45), USUAL)), rel=0.02
    )


def test_two_cuts_with_a_weighing_between():
    """A cut, a weighing and a cut to the fractile cost between the bound of a cut that never binds and a fixed stop.

    Prior sd 2, weighing 0.5, settling 0.4, prices 1 to 9, no tolerance. The bound is (1 + 9) sd phi(z) with the sd that
    is left; what stopping 2.5 sd high first costs is simulated with 200,000 kits.
    """
    stakes = Stakes(
        tolerance_lbf=0.0, under_to_over=9.0, pass_cost_lbf=0.0, most_under=0.5, miss_cost_lbf=0.0
    )
    left = np.sqrt(2.0**2 * 0.5**2 / (2.0**2 + 0.5**2) + 0.4**2)
    bound = 10 * left * norm.pdf(norm.ppf(0.9))
    assert float(expected_cost(best_aim(left, stakes), left, stakes)) == pytest.approx(bound, rel=1e-9)
    found = outlook(10.0, 2.0, stakes, Noise(0.0, 0.5, 0.4), most_passes=2)
    rng = np.random.default_rng(11)
    excess = 10.0 + 2.0 * rng.standard_normal(200_000)
    aim = left * norm.ppf(0.9)
    first = 10.0 - 2.5 * 2.0
    expected = excess - first + (0.5 * rng.standard_normal(200_000))
    expected = (expected / 0.25 + 5.0 / 4.0) / (1 / 0.25 + 1 / 4.0)
    ended = excess - first - np.maximum(expected - aim, 0) + 0.4 * rng.standard_normal(200_000)
    fixed_stop = np.mean(np.maximum(ended, 0) + 9 * np.maximum(-ended, 0))
    assert bound < found.cost_lbf < fixed_stop


@pytest.mark.slow
def test_following_the_plan_ends_as_it_says():
    """Over 4,000 simulated kits the cost, the chances and the passes are those that the outlook states.

    Bounds are three standard errors of the simulation, and a hundredth of a pound for the grid.
    """
    rng = np.random.default_rng(5)
    start, sd = 6.0, 1.0
    stated = outlook(start, sd, USUAL, NOISE)
    ended, passes = zip(*(_follow(rng, start, sd) for _ in range(4000)), strict=True)
    off = np.array(ended)
    cost = np.maximum(off - 1, 0) + 9 * np.maximum(-off - 1, 0) + 0.05 * np.array(passes)
    assert cost.mean() == pytest.approx(stated.cost_lbf, abs=3 * cost.std() / np.sqrt(4000) + 0.01)
    assert np.mean(off < -1) == pytest.approx(stated.under, abs=3 * np.sqrt(stated.under / 4000) + 0.002)
    assert np.mean(off > 1) == pytest.approx(stated.over, abs=3 * np.sqrt(stated.over / 4000) + 0.01)
    assert np.mean(passes) == pytest.approx(stated.passes, abs=0.1)


def _follow(rng, mean, sd):
    """Return where one kit ends, less its target, and after how many passes."""
    excess, passes = mean + sd * rng.standard_normal(), 0
    while passes < 6:
        take = outlook(mean, sd, USUAL, NOISE, 6 - passes).take_lbf
        if take == 0:
            break
        passes += 1
        excess -= take * (1 + NOISE.share * rng.standard_normal())
        before = np.hypot(sd, NOISE.share * take) ** 2
        read = excess + NOISE.weighing_lbf * rng.standard_normal()
        told = before / (before + NOISE.weighing_lbf**2)
        mean = mean - take + told * (read - mean + take)
        sd = np.sqrt(before * (1 - told))
    return excess + NOISE.after_lbf * rng.standard_normal(), passes


@pytest.mark.parametrize("start", [2.0, 5.0, 10.0])
def test_more_passes_never_cost_more(start):
    """Leave to make another pass is never worth less than nothing, but for the grid."""
    costs = [outlook(start, 0.8, USUAL, NOISE, passes).cost_lbf for passes in range(5)]
    assert np.all(np.diff(costs) < 2e-3)


def test_free_passes_are_used_more():
    """Where a pass costs nothing there are more of them."""
    free = Stakes(pass_cost_lbf=0.0)
    assert outlook(6.0, 1.0, free, NOISE).passes > outlook(6.0, 1.0, USUAL, NOISE).passes + 0.2


@pytest.mark.parametrize("start", [0.5, 2.0, 6.0, 12.0])
@pytest.mark.parametrize("sd", [0.3, 1.0, 2.0])
def test_no_pass_goes_deeper_than_allowed(start, sd):
    """If the pass were the last, ending under the tolerance would be no likelier than the shop wants."""
    take = outlook(start, sd, USUAL, NOISE).take_lbf
    total = np.sqrt(sd**2 + (NOISE.share * take) ** 2 + NOISE.after_lbf**2)
    assert take > 0 or start < 6
    assert take == 0 or norm.cdf((-1 - start + take) / total) <= USUAL.most_under * 1.001


def test_too_light_a_kit_is_left_alone():
    """What is already under its target loses nothing more."""
    assert outlook(-2.0, 0.5, USUAL, NOISE).take_lbf == 0


@pytest.mark.parametrize("after", [0.3, 0.6, 0.9])
@pytest.mark.parametrize("start", [4.0, 8.0])
def test_chance_of_ending_under_is_kept_over_all_passes(start, after):
    """However much finishing scatters, all passes together end under no likelier than the shop wants, to 0.001."""
    found = outlook(start, 1.0, USUAL, Noise(share=0.16, weighing_lbf=0.5, after_lbf=after))
    assert found.take_lbf > 0
    assert found.under <= USUAL.most_under + 1e-3


def test_a_bow_is_finished_once_the_rest_can_be_done_by_hand():
    """Far from its target stock comes off first; near it the bow is finished; shot in and at its target it is done."""
    far, near = (outlook(excess, 0.4, USUAL, UNFINISHED) for excess in (6.0, 1.5))
    assert (far.step, near.step) == (Step.TAKE_OFF, Step.FINISH)
    assert outlook(0.2, 0.3, USUAL, UNFINISHED.finished()).step is Step.STOP


def test_shooting_in_before_the_last_pass_pays():
    """Seeing most of finishing and settling before the last pass costs less and ends within the tolerance more often.

    The same bow is compared with one whose finishing and shooting in show only when it is done.
    """
    seen, unseen = outlook(6.0, 0.6, USUAL, UNFINISHED), outlook(6.0, 0.6, USUAL, NOISE)
    assert seen.cost_lbf < unseen.cost_lbf - 0.02
    assert seen.under + seen.over < unseen.under + unseen.over - 0.04


def test_what_finishing_shows_is_as_good_as_another_weighing_tells():
    """If finishing shows nothing and takes nothing, it is a free weighing: the outlook is that of the finished bow.

    By the law of total expectation a weighing that is free never costs.
    """
    idle = Noise(0.16, 0.5, 0.16, Finishing(shown_lbf=0.0, after_lbf=0.16, near_lbf=100.0))
    assert (
        outlook(1.5, 0.4, USUAL, idle).cost_lbf <= outlook(1.5, 0.4, USUAL, idle.finished()).cost_lbf + 2e-3
    )


def test_too_little_known_is_weighed_again():
    """A kit far above its target of which next to nothing is known is weighed, not cut."""
    found = outlook(3.0, 6.0, USUAL, UNFINISHED)
    assert (found.step, found.take_lbf) == (Step.WEIGH, 0.0)


@pytest.mark.parametrize("doubt", [0.4, 0.6])
def test_a_cost_of_missing_decides_between_plans_of_nearly_equal_cost(doubt):
    """It makes ending within the tolerance likelier, and costs less of all else than a fifth of a pass."""
    plain, careful = (
        outlook(8.0, doubt, Stakes(miss_cost_lbf=missing), UNFINISHED) for missing in (0.0, 0.2)
    )
    missed = careful.under + careful.over
    assert missed < plain.under + plain.over - 0.005
    assert careful.cost_lbf - 0.2 * missed < plain.cost_lbf + USUAL.pass_cost_lbf / 5


@pytest.mark.slow
def test_an_unfinished_kit_ends_as_its_outlook_says():
    """Over 2,000 simulated kits that are finished on the way, chances and passes are those of the outlook.

    Bounds are three standard errors of the simulation, and 0.01 for the grid.
    """
    rng = np.random.default_rng(8)
    stated = outlook(6.0, 0.6, USUAL, UNFINISHED)
    ended, passes = (
        np.array(one) for one in zip(*(_finished_on_the_way(rng) for _ in range(2000)), strict=True)
    )
    assert np.mean(ended < -1) == pytest.approx(stated.under, abs=3 * np.sqrt(stated.under / 2000) + 0.002)
    assert np.mean(ended > 1) == pytest.approx(stated.over, abs=3 * np.sqrt(stated.over / 2000) + 0.01)
    assert np.mean(passes) == pytest.approx(stated.passes, abs=0.1)


def _finished_on_the_way(rng):
    """Return where one kit ends, less its target, and after how many passes."""
    mean, sd, noise, passes = 6.0, 0.6, UNFINISHED, 0
    excess = mean + sd * rng.standard_normal()
    for left in range(6, 0, -1):
        ahead = outlook(mean, sd, USUAL, noise, left)
        if ahead.step is Step.STOP:
            break
        if ahead.step is Step.FINISH:
            excess += FINISHING.shown_lbf * rng.standard_normal()
            before, noise = np.hypot(sd, FINISHING.shown_lbf) ** 2, noise.finished()
        else:
            passes += ahead.take_lbf > 0
            excess -= ahead.take_lbf * (1 + noise.share * rng.standard_normal())
            before = np.hypot(sd, noise.share * ahead.take_lbf) ** 2
        read = excess + noise.weighing_lbf * rng.standard_normal()
        told = before / (before + noise.weighing_lbf**2)
        mean = mean - ahead.take_lbf + told * (read - mean + ahead.take_lbf)
        sd = np.sqrt(before * (1 - told))
    return excess + noise.after_lbf * rng.standard_normal(), passes
