"""What is got of a removal's loss, by each method: from the shop's belief, and from the kit's own weighings."""

from functools import cache
from math import hypot

import numpy as np
import pytest

from datasets import tolerances
from datasets.materials import handbook
from datasets.schema import Event, Method, Removal, Stage
from predictor.belief.columns import Prior
from predictor.bows.bow import Refusal
from predictor.planning.cut_patterns import Patterns, patterns, rounding, trapping
from predictor.planning.kit_state import Kit
from predictor.planning.knowledge import Knowledge
from predictor.planning.promise import Judged
from predictor.planning.removal_gains import Got, believed_gain, got_by
from tests.predictor.example_bows import STRAIGHT, build
from tests.predictor.kits import DRAW, DRAW_IN, kit, state, weigh_in
from tests.reports import fitted


@cache
def got(*events: Event) -> dict[Method, Got]:
    """Return what is got of a bow with a history, by each method but the last."""
    standing = Kit(STRAIGHT, build(edge_radius_in=".04"), events)
    some = (
        patterns(standing, DRAW_IN, handbook(), (0.3, 0.2), 0.2),
        rounding(standing, DRAW_IN, handbook(), 1 / 4),
        trapping(standing, DRAW_IN, handbook(), 1 / 4),
    )
    tried = {one.method: (cut(one, standing, 0.01), cut(one, standing, 0.05)) for one in some}
    found = got_by(standing, Judged(DRAW, 500), Knowledge(handbook()), tried, Stage.TILLERED)
    assert not isinstance(found, Refusal), found
    return dict(found)


def cut(possible: Patterns, standing: Kit, share: float) -> tuple[Removal, ...]:
    """Return the deepest removal within a share of the weight."""
    return possible.removals(standing, 0, possible.deepest_within(share))


def done(method: Method, amount: str) -> Removal:
    """Return a removal as measured afterwards."""
    data = {"id": "K-001/2", "build": "K-001", "on": "2026-03-02", "method": method}
    return Removal.model_validate({**data, "done": [{"at": "fade", "amount_in": amount}]})


def test_before_anything_is_learned_the_statics_are_got() -> None:
    """Nothing known, each loss of the statics is expected.

    Off the widths it scatters by the gain's doubt and that of carrying a plan out, whatever its size.
    """
    for method, one in got().items():
        assert one.gain == pytest.approx(1.0, abs=0.02)
        assert one.offset == pytest.approx(0.0, abs=1e-3)
        if method is not Method.EDGES:
            assert one.sd(0.03) == pytest.approx(
                0.03 * hypot(tolerances.GAIN_SD, tolerances.CARRIED_OUT), rel=0.1
            )


def test_a_corner_that_is_planned_is_hardly_known() -> None:
    """Of 1 % planned off the corners about half is in doubt, of more a smaller share; off the sides a sixth.

    From .040 in, known to .008, to 1/16, missed by 12 % of itself: hypot(.008, .0075) of .0225 in is 0.49.
    """
    sides, edges = got()[Method.SIDES], got()[Method.EDGES]
    assert edges.sd(0.01) / 0.01 == pytest.approx(0.49, abs=0.1)
    assert edges.sd(0.05) / 0.05 < edges.sd(0.01) / 0.01
    assert edges.sd(0.01) > 3 * sides.sd(0.01)


def test_the_sides_agree_with_the_kits_state() -> None:
    """Foretold as a removal, the sides have the gain and the scatter that the kit's state tells of them."""
    first = weigh_in(1, 50)
    sides, told = got(first)[Method.SIDES], state(first)
    assert sides.gain == pytest.approx(told.gain, abs=0.01)
    assert sides.sd(0.05) == pytest.approx(told.noise.share * told.gain * 0.05, rel=0.05)


@pytest.mark.parametrize(("method", "amount"), [(Method.SIDES, ".060"), (Method.TRAP, ".120")])
def test_a_kit_that_lost_otherwise_has_another_gain(method: Method, amount: str) -> None:
    """A way that cost more than the statics say will cost more again, and less if less; the other ways less so."""
    other = Method.TRAP if method is Method.SIDES else Method.SIDES
    usual = got(weigh_in(1, 50))
    for after_lbf, sign in ((44.0, 1), (49.0, -1)):
        found = got(weigh_in(1, 50), done(method, amount), weigh_in(3, after_lbf))
        more = sign * (found[method].gain - usual[method].gain)
        assert more > 0.05
        assert sign * (found[other].gain - usual[other].gain) < more


def test_corners_that_cost_more_are_rounder_than_noted() -> None:
    """Corners that cost more than the statics say are believed rounder, so less is expected of a little more."""
    found = got(weigh_in(1, 50), done(Method.EDGES, "7/64"), weigh_in(3, 44.0))[Method.EDGES]
    assert found.offset < -0.002
    assert found.expected(np.array([0.0, 0.01]))[1] < 0.01
    assert found.expected(np.zeros(2)).tolist() == [0.0, 0.0]


def test_nothing_tried_is_nothing_told() -> None:
    """Without a method to try there is nothing to solve."""
    assert got_by(kit(), Judged(DRAW, 500), Knowledge(handbook()), {}, Stage.TILLERED) == {}


@pytest.mark.slow
def test_what_a_shop_gets_is_a_tenth_in_doubt_before_it_is_learned() -> None:
    """Before training a shop gets what the statics say, give or take a tenth; afterwards what its removals showed."""
    assert believed_gain(Knowledge(handbook()), Method.SIDES) == Prior(1.0, tolerances.GAIN_SD)
    trained = fitted.sources(16).trained
    assert trained is not None
    learned = believed_gain(Knowledge(handbook(), trained.model), Method.SIDES)
    effect = trained.model.belief().effect("gain of sides")
    assert (learned.mean, learned.sd) == (1 + effect.mean[0], effect.sd[0])
    assert learned.sd < tolerances.GAIN_SD
