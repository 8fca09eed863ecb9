"""Rivals do what they say, learn from one reading a build, and never look at the weights they are asked for."""

from dataclasses import replace

import numpy as np
import pytest

from training.checking.rivals import RIVALS, Table, nearest_build, one_factor

FORMS, WOODS = np.array(["A/1", "B/1"]), np.array(["hard maple", "red elm"])


def builds(count: int, seed: int = 1) -> Table:
    """Return bows whose weight follows the rule of thumb from their dimensions, 45 lb of stack .36 and width 1.1."""
    rng = np.random.default_rng(seed)
    stack, width = rng.uniform(0.3, 0.42, count), rng.uniform(0.95, 1.25, count)
    limb, draw = rng.uniform(23, 26, count), rng.uniform(27, 29, count)
    dimensions = np.column_stack([stack, np.full(count, 0.1), width, limb, np.full(count, 9.0), draw])
    log_weight = np.log(45 * width / 1.1 * (stack / 0.36) ** 2.6 * (limb / 24.5) ** -2.2) + 0.055 * (
        draw - 28
    )
    names = (FORMS[rng.integers(2, size=count)], WOODS[rng.integers(2, size=count)])
    return Table(dimensions, *names, np.zeros(count), log_weight - 0.07, log_weight)


@pytest.mark.parametrize("name", RIVALS)
@pytest.mark.parametrize("count", [2, 5, 40])
def test_answers_are_proper(name, count):
    """Every rival gives a finite mean and a positive sd from two builds on, also for a form and wood never met."""
    asked = replace(builds(6, seed=2), forms=np.full(6, "C/1"), woods=np.full(6, "white ash"))
    found = RIVALS[name](builds(count), asked)
    assert found.means.shape == found.sds.shape == (1, 6)
    assert np.all(np.isfinite(found.means))
    assert np.all(found.sds > 0)


@pytest.mark.parametrize("name", RIVALS)
def test_does_not_look(name):
    """Answers stay the same whatever the bows asked for weigh."""
    asked = builds(6, seed=2)
    other = replace(asked, log_weight=asked.log_weight + 1)
    assert np.array_equal(RIVALS[name](builds(12), asked).means, RIVALS[name](builds(12), other).means)


def test_rule_of_thumb_is_exact_where_it_holds():
    """Where weights follow the rule, one past build of each form and wood is enough."""
    asked = builds(30, seed=2)
    assert nearest_build(builds(8), asked).mean == pytest.approx(asked.log_weight, abs=1e-12)


def test_nearest_is_of_the_same_form():
    """A bow of the same form is nearer than one of another with the same dimensions."""
    past = replace(builds(2), forms=FORMS, woods=np.full(2, WOODS[0]))
    asked = replace(past.rows(np.array([True, False])), forms=FORMS[1:])
    shifted = replace(past, log_weight=past.log_weight + np.array([0.0, 0.5]))
    assert nearest_build(shifted, asked).mean == pytest.approx(asked.log_weight + 0.5, abs=1e-12)


def test_one_factor_is_the_mean_ratio():
    """The statics with one factor take the geometric mean of past ratios, here exp(.07)."""
    asked = builds(5, seed=2)
    assert one_factor(builds(9), asked).mean == pytest.approx(asked.log_weight, abs=1e-12)


@pytest.mark.parametrize("name", ["ridge on log dimensions", "Gaussian process on dimensions"])
def test_regressions_learn(name):
    """From 80 bows without any error a regression foretells weights to a tenth of their scatter."""
    asked = builds(40, seed=2)
    off = RIVALS[name](builds(80), asked).mean - asked.log_weight
    assert np.sqrt(np.mean(off**2)) < 0.1 * np.std(asked.log_weight)
