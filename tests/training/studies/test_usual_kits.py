"""Usual kits and how they would end: which stands for a form, and how a tolerance is read off the outlook."""

from math import sqrt

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm

from datasets.contents import Contents
from predictor.planning.stakes import Stakes
from training.checking.left_out_builds import left_out_at_once
from training.learning.train import train
from training.studies.first_draws import first_draws
from training.studies.usual_kits import (
    TOLERANCES_LBF,
    kept_at_best,
    kept_with_plan,
    share_kept,
    tolerance_kept,
    usual_kits,
)
from training.workshop.virtual_shop import simulate

SHARES = (0.9, 0.95, 0.99)


def normal(sd_lbf: float) -> list[tuple[float, float]]:
    """Return the shares of a normal within the tolerances looked at."""
    return [(wide, float(2 * norm.cdf(wide / sd_lbf) - 1)) for wide in TOLERANCES_LBF]


@given(st.floats(0.62, 1.9), st.floats(0.9, 0.99))
def test_of_a_normal_the_tolerance_is_its_quantile(sd_lbf: float, share: float) -> None:
    """Where orders end normally about their mark, the tolerance read off is the normal's quantile, and back again."""
    found = tolerance_kept(normal(sd_lbf), share)

    assert found == pytest.approx(max(TOLERANCES_LBF[0], norm.ppf((1 + share) / 2) * sd_lbf), rel=1e-6)
    assert found is not None
    assert share_kept(normal(sd_lbf), found) == pytest.approx(max(share, normal(sd_lbf)[0][1]), rel=1e-6)


def test_beyond_what_was_looked_at() -> None:
    """No tolerance is told that reaches no share; the narrowest is told where it reaches it; the last share stays."""
    kept = [(1.0, 0.92), (2.0, 0.97)]

    assert tolerance_kept(kept, 0.9) == 1.0
    assert tolerance_kept(kept, 0.99) is None
    assert share_kept(kept, 0.5) is None
    assert share_kept(kept, 4.0) == 0.97


def test_wider_tolerance_keeps_no_fewer_orders() -> None:
    """Where the plan for a wider tolerance keeps fewer, the one for a narrower still would; enough ends the search."""
    within = {1.0: 0.9, 2.0: 0.98, 3.0: 0.97, 5.0: 0.995}

    assert list(kept_at_best(within.__getitem__, 0.99)) == [
        (1.0, 0.9),
        (2.0, 0.98),
        (3.0, 0.98),
        (5.0, 0.995),
    ]
    assert list(kept_at_best(within.__getitem__, 0.95)) == [(1.0, 0.9), (2.0, 0.98)]


@pytest.mark.slow
def test_usual_kits_of_a_shop() -> None:
    """Each form has one kit, heavy as the shop's first draws are, and the plan keeps more orders than chance would.

    By chance: a normal about the mark with all that is unknown of the kit after its first draw, none of it weighed.
    """
    contents = Contents.of(simulate(seed=90210, builds=24).records)
    trained = train(contents, "0" * 64, 1)
    left_out = left_out_at_once(trained, contents).sound()
    drawn = first_draws(trained, contents, [build.build for build in left_out.builds])
    assert drawn is not None
    kits = list(usual_kits(contents, trained.model, left_out.builds, drawn))

    assert kits
    assert len({kit.form for kit in kits}) == len(kits)
    for kit in kits:
        state = kit.state
        kept = kept_with_plan(kit, Stakes(), max(SHARES))
        by_chance = 2 * norm.cdf(1 / sqrt(state.can_tell_lbf**2 + state.noise.after_lbf**2)) - 1
        assert contents.builds[kit.like].form == kit.form.split("/")[0]
        assert 0 < state.settled_lbf - kit.promise.weight_lbf < 0.3 * kit.promise.weight_lbf
        assert kept[0][1] > by_chance
        assert np.all(np.diff([share for _, share in kept]) >= 0)
