"""The model and its rivals are scored on the same builds left out, with honest uncertainty of their difference."""

import numpy as np
import pytest
from scipy.stats import binomtest, ttest_1samp, ttest_rel

from predictor.belief.mixture import NormalMixture
from tests.reports.fitted import sources
from training.checking.compared import (
    FEWEST_FOR_A_VERDICT,
    Difference,
    errors,
    mean,
    paired,
    rivals_left_out,
)
from training.checking.rivals import RIVALS, one_factor
from training.checking.surprise import most_surprising, reasons


def test_errors_by_hand() -> None:
    """A reading of 55 where the median is 50 is 5 lb and 10 % off."""
    found = errors(NormalMixture(np.ones((1, 1)), np.log([[50.0]]), np.array([[0.05]])), np.log([55.0]))

    assert (found.off_lbf[0], found.off_percent[0]) == pytest.approx((5, 10))
    low, high = 50 * np.exp(-1.6448536 * 0.05), 50 * np.exp(1.6448536 * 0.05)
    assert found.interval_lbf[0] == pytest.approx(high - low + 20 * (55 - high), rel=1e-6)


def test_mean_is_students() -> None:
    """The interval of a mean is that of `scipy.stats.ttest_1samp`; one value has none."""
    values = np.random.default_rng(1).normal(0.3, 2, 12)
    theirs = ttest_1samp(values, 0).confidence_interval(0.95)
    found = mean(values)

    assert found.half is not None
    assert (found.value - found.half, found.value + found.half) == pytest.approx((theirs.low, theirs.high))
    assert mean(values[:1]).half is None


def test_paired_differences_are_students_and_holms() -> None:
    """Each chance is that of a paired t test; Holm's is three times the smallest, then twice the next."""
    rng = np.random.default_rng(4)
    ours = rng.normal(3, 1, 20)
    theirs = {name: ours + rng.normal(shift, 1, 20) for name, shift in (("a", 0.1), ("b", 0.6), ("c", 0.9))}
    found = paired({name: values - ours for name, values in theirs.items()})
    p = {name: float(ttest_rel(values, ours).pvalue) for name, values in theirs.items()}
    first, second, third = sorted(p, key=lambda name: p[name])
    by_hand = {first: min(1, 3 * p[first])}
    by_hand[second] = max(by_hand[first], min(1, 2 * p[second]))
    by_hand[third] = max(by_hand[second], p[third])

    assert {name: one.p for name, one in found.items()} == pytest.approx(p)
    assert {name: one.p_of_all for name, one in found.items()} == pytest.approx(by_hand)


def test_no_verdict_without_a_difference() -> None:
    """One build, or scores that are all alike, give no chance, and do not count among those looked at."""
    found = paired(
        {"same": np.zeros(10), "other": np.array([1.0, 2.0, 0.5, 1.5, 1.0, 2.0, 0.5, 1.5, 1.0, 3.0])}
    )

    assert found["same"].p is None
    assert found["other"].p is not None
    assert found["other"].p == found["other"].p_of_all
    assert paired({"one": np.ones(1)})["one"].p is None


def test_no_verdict_on_few_builds() -> None:
    """A verdict takes as many builds as a sign test on one side needs to be sure at 95 % for all rivals together."""
    few = FEWEST_FOR_A_VERDICT - 1
    worse = np.linspace(1.0, 1.2, FEWEST_FOR_A_VERDICT)
    by_sign = {count: binomtest(count, count).pvalue * len(RIVALS) for count in (few, FEWEST_FOR_A_VERDICT)}

    assert by_sign[FEWEST_FOR_A_VERDICT] <= 0.05 < by_sign[few]
    assert paired({"rival": worse})["rival"].p_of_all is not None
    assert paired({"rival": worse[:few]})["rival"] == Difference(mean(worse[:few]), None, None)


def test_rivals_do_not_see_the_build() -> None:
    """A rival's word on a build is that of a fit without it, and the build's own reading does not change it."""
    left_out = sources(8).left_out
    assert left_out is not None
    told = rivals_left_out(left_out, lambda steps, _what: steps)
    others = np.arange(8) != 3
    alone = one_factor(left_out.table.rows(others), left_out.table.rows(~others))

    assert told["statics with one factor"].means[:, 3] == pytest.approx(alone.means[:, 0])
    assert all(rival.means.shape == (1, 8) for rival in told.values())


def test_reasons_for_surprises() -> None:
    """Every build has a reason; a probable mistake comes first, an only lot is told, an ordinary one is luck."""
    left_out = sources(24).left_out
    assert left_out is not None
    builds = list(left_out.builds)
    far = builds[0].model_copy(update={"score": -4.0, "mistake": 0.9, "lots": ("oak, new",)})
    told = reasons(far, [far, *builds[1:]])

    assert told[0].startswith("looks like a mistake")
    assert "the only bow of oak, new" in told
    plain = builds[1].model_copy(update={"score": 0.1, "mistake": 0.0})
    assert reasons(plain, builds)[0].startswith("as usual")
    assert reasons(plain, [plain]) == ["as usual: 92% of builds lie as far out by luck"]
    assert most_surprising([*builds[1:], far], 1) == [far]
