"""Whole bows with unlike limbs: the symmetric bow, its mirror, and which way the tiller goes."""

import numpy as np
import pytest

from datasets.history import BowAt, bow_at
from datasets.materials import handbook
from datasets.schema import Removal
from predictor.bows.bow import Refusal, handbook_moduli, weights
from predictor.bows.pairs import Balanced, Outline, Pair, balanced, outlines
from tests.predictor.example_bows import STRAIGHT, build

DRAW_IN = 28.5


def pair(bow: BowAt, difference: float = 0.0) -> Pair:
    """Return a bow of handbook moduli."""
    moduli = handbook_moduli(bow, handbook())
    return Pair(bow, moduli, moduli, difference)


def solved(*pairs: Pair) -> Balanced:
    """Return bows in balance."""
    found = balanced(pairs, DRAW_IN)
    assert isinstance(found, Balanced), found
    return found


def narrowed(limb: str, fade: str = "1/8", nock: str = "1/16") -> BowAt:
    """Return a bow of which one limb, or both, lost some width."""
    removal = {"id": "K-001/1", "build": "K-001", "on": "2026-03-01", "method": "sides", "limb": limb}
    off = [{"at": at, "amount_in": amount} for at, amount in (("fade", fade), ("nock", nock))]
    return bow_at(STRAIGHT, build(), (Removal.model_validate({**removal, "done": off}),))


def test_limbs_that_are_alike_make_the_symmetric_bow() -> None:
    """Held and drawn at the centre, a bow of like limbs has no tiller, and the weight of the symmetric solution."""
    bow = bow_at(STRAIGHT, build())
    found = solved(pair(bow))

    assert found.tiller_in[0] == pytest.approx(0.0, abs=1e-9)
    symmetric = weights([bow], [handbook_moduli(bow, handbook())], np.array([[DRAW_IN]]))
    assert found.weight_lbf[0] == pytest.approx(symmetric.lbf[0, 0], rel=1e-6)


def test_the_weaker_limb_has_the_larger_gap() -> None:
    """With the upper limb narrowed, the lower one is the stiffer and the tiller positive; and the other way round."""
    found = solved(pair(narrowed("upper")), pair(narrowed("lower")))

    assert found.tiller_in[0] > 1 / 16
    assert found.tiller_in[1] == pytest.approx(-found.tiller_in[0], rel=1e-6)
    assert found.weight_lbf[1] == pytest.approx(found.weight_lbf[0], rel=1e-6)


def test_one_limb_narrowed_costs_half() -> None:
    """A little off one limb costs half of what it costs off both, to 2 %: what is left goes with the square."""
    none, one, both = solved(
        pair(bow_at(STRAIGHT, build())),
        pair(narrowed("upper", "1/32", "1/64")),
        pair(narrowed("both", "1/32", "1/64")),
    ).weight_lbf

    assert none - one == pytest.approx((none - both) / 2, rel=0.02)


def test_a_stiffer_upper_limb_has_the_smaller_gap() -> None:
    """A difference in stiffness goes into the tiller with the opposite sign, in proportion while it is small."""
    bow = bow_at(STRAIGHT, build())
    found = solved(pair(bow, 0.02), pair(bow, 0.04), pair(bow, -0.02)).tiller_in

    assert found[0] < 0
    assert found[1] == pytest.approx(2 * found[0], rel=1e-2)
    assert found[2] == pytest.approx(-found[0], rel=1e-6)


def test_bows_that_cannot_be_drawn_are_refused() -> None:
    """Where one of the bows cannot be drawn so far, the answer is why."""
    refused = balanced([pair(bow_at(STRAIGHT, build(length_in="46")))], 40.0)

    assert isinstance(refused, Refusal)


def test_outlines_hold_the_string_where_it_was_put() -> None:
    """The nocking point is at the brace height and at the draw from the back, on the straight string at brace."""
    bow = bow_at(STRAIGHT, build())
    at_brace, at_draw = drawn_outlines(bow)

    assert at_brace.nocking_point == pytest.approx((bow.brace, 0.0))
    assert at_draw.nocking_point == pytest.approx((DRAW_IN, 0.0))
    assert at_brace.upper[:, 0] == pytest.approx(at_brace.lower[:, 0] * (1, -1))


def test_limbs_keep_their_length() -> None:
    """Bent as it may be, a neutral axis is as long as it was: its chords are shorter by their sagittas only."""
    bow = bow_at(STRAIGHT, build())
    for state in drawn_outlines(bow):
        chords = np.hypot(*np.diff(state.upper, axis=1)).sum()

        assert bow.upper.length * (1 - 1e-4) < chords < bow.upper.length


def test_the_weaker_limb_is_bent_farther() -> None:
    """With the upper limb narrowed its nock comes nearer to the string's side, seen from the riser, in both states."""
    for state in drawn_outlines(narrowed("upper")):
        assert state.upper[0, 0] > state.lower[0, 0] + 1


def test_the_nocking_point_stays_on_the_string() -> None:
    """At brace it is on the straight line of the nocks; drawn, each half is as long as then, to 0.2 % of stretch."""
    (over, under), (over_drawn, under_drawn) = (
        (state.upper_seat[:, 0] - state.nocking_point, state.lower_seat[:, 0] - state.nocking_point)
        for state in drawn_outlines(narrowed("upper"))
    )

    assert over[0] * under[1] - over[1] * under[0] == pytest.approx(0.0, abs=1e-5)
    for drawn, braced in ((over_drawn, over), (under_drawn, under)):
        assert np.hypot(*drawn) == pytest.approx(np.hypot(*braced), rel=2e-3)


def drawn_outlines(bow: BowAt) -> tuple[Outline, Outline]:
    """Return a bow at brace and drawn."""
    found = outlines(pair(bow), DRAW_IN)
    assert not isinstance(found, Refusal), found
    return found
