"""Removals in steps: what they take against bows built so, in proportion to width, within limits, never less."""

from functools import cache
from typing import Any

import numpy as np
import pytest

from datasets.history import BowAt, bow_at
from datasets.materials import handbook
from datasets.record import Side
from datasets.schema import Event, Method, Removal
from predictor.bows.bow import handbook_moduli, weights
from predictor.planning.cut_patterns import (
    LEAST_GLASS,
    Patterns,
    Stiffer,
    patterns,
    rounding,
    sanding,
    trapping,
)
from predictor.planning.kit_state import Kit
from predictor.prediction.worth import Worth, worth
from tests.predictor.example_bows import GLASS, STRAIGHT, build, core
from tests.predictor.lost_stock import lost_lbf

DRAW_IN = 28.5
SHARP = {
    "edge_radius_in": "0",
    "widths": [
        {"at": "fade", "belly_in": "1 1/4", "back_in": "1 1/4"},
        {"at": "nock", "belly_in": "5/8", "back_in": "5/8"},
    ],
}
"""A bow whose tenths of width are whole 64ths at its fade and its nock: 1/8 and 1/16."""


def kit(*events: Event, **changes: Any) -> Kit:
    """Return the plain bow, or one with other dimensions, with a history."""
    return Kit(STRAIGHT, build(**changes), events)


def possible(stiffer: Stiffer | None = None, least: tuple[float, float] = (0.3, 0.2)) -> Patterns:
    """Return what can be taken off the plain bow's sides, up to a fifth of its width."""
    return patterns(kit(), DRAW_IN, handbook(), least, 0.2, stiffer)


@cache
def by(method: Method) -> Patterns:
    """Return what can be taken off the bow of whole 64ths by one method."""
    sharp = kit(**SHARP)
    found = {
        Method.SIDES: lambda: patterns(sharp, DRAW_IN, handbook(), (0.3, 0.2), 0.2),
        Method.TRAP: lambda: trapping(sharp, DRAW_IN, handbook(), 1 / 8),
        Method.EDGES: lambda: rounding(sharp, DRAW_IN, handbook(), 1 / 8),
        Method.BELLY_GLASS: lambda: sanding(sharp, DRAW_IN, handbook(), 0.005),
    }
    return found[method]()


def weight(bow: BowAt) -> float:
    """Return the weight by the statics."""
    return float(weights([bow], [handbook_moduli(bow, handbook())], np.array([[DRAW_IN]])).lbf[0, 0])


def built(**changes: Any) -> float:
    """Return the weight of a bow that is built otherwise."""
    return weight(bow_at(STRAIGHT, build(**{**SHARP, **changes})))


def backs(fade: str, nock: str) -> list[dict[str, str]]:
    """Return the bow's widths on the belly, and others on its back."""
    return [
        {"at": at, "belly_in": wide, "back_in": back}
        for at, wide, back in (("fade", "1 1/4", fade), ("nock", "5/8", nock))
    ]


def number(told: Patterns, amounts_in: np.ndarray | float) -> int:
    """Return the number of the pattern of some amounts."""
    alike = np.all(np.abs(told.amounts_in - amounts_in) < 1e-9, axis=(1, 2))
    (place,) = np.flatnonzero(alike)
    return int(place)


def test_equal_shares_cost_their_share_of_the_weight() -> None:
    """A tenth of the width off all along costs a tenth of the weight to 0.001, which the string's stretch gives back.

    Stiffness is proportional to width (Gere and Timoshenko, Mechanics of Materials, from memory).
    """
    told = by(Method.SIDES)
    assert told.left[number(told, told.sizes_in / 10)] == pytest.approx(0.9, abs=1e-3)


def test_weight_is_proportional_to_width() -> None:
    """A share of the width off all along costs the same share of the weight, but for rounding to 1/64 in."""
    told = possible()
    shares = (told.amounts_in / told.sizes_in).mean(axis=(1, 2))
    assert np.allclose(1 - told.left, shares, atol=0.01)
    assert 1 - told.left[-1] == pytest.approx(0.2, abs=0.01)


def test_patterns_weigh_as_bows_built_so() -> None:
    """What a pattern leaves is what a bow weighs that was built narrower, trapped, rounded or with thinner glass."""
    thin = {**GLASS, "butt_in": f"{float(GLASS['butt_in']) - 0.003:.3f}"}
    sides, trap, edges, glass = (
        by(one) for one in (Method.SIDES, Method.TRAP, Method.EDGES, Method.BELLY_GLASS)
    )
    narrow = [
        {"at": "fade", "belly_in": "1 1/8", "back_in": "1 1/8"},
        {"at": "nock", "belly_in": "9/16", "back_in": "9/16"},
    ]
    found = {
        sides.left[number(sides, sides.sizes_in / 10)]: built(widths=narrow),
        trap.left[number(trap, trap.sizes_in / 10)]: built(widths=backs("1 1/8", "9/16")),
        edges.left[number(edges, 5 / 64)]: built(edge_radius_in="5/64"),
        glass.left[number(glass, 0.003)]: built(layers=[*build().layers[:-1], thin]),
    }
    for left, weighs in found.items():
        assert left == pytest.approx(weighs / built(), rel=1e-6)


@pytest.mark.parametrize("method", [Method.SIDES, Method.TRAP, Method.EDGES, Method.BELLY_GLASS])
def test_pounds_per_step_agree_with_the_influence(method: Method) -> None:
    """Each method's loss for one more step is what the influence of stiffness along the limb says, to 4 %.

    The patterns solve the statics at both ends of a step, the influence is a derivative. Of a radius it is told for
    1/32 in, as a corner costs more the rounder it is.
    """
    told, standing = by(method), kit(**SHARP)
    before, after = len(told.left) // 2, len(told.left) // 2 + 1
    if method is Method.EDGES:
        before, after = number(told, 3 / 64), number(told, 5 / 64)
    bow = after_pattern(standing, told, before)
    step = told.amounts_in[after] - told.amounts_in[before]
    limbs = (stock(bow).upper, stock(bow).lower)
    predicted = sum(
        lost_lbf(limb, method, (tuple(told.stations_in), tuple(amounts)))
        for limb, amounts in zip(limbs, step, strict=True)
    )
    assert weight(bow) - weight(after_pattern(standing, told, after)) == pytest.approx(predicted, rel=0.04)


def after_pattern(standing: Kit, told: Patterns, place: int) -> BowAt:
    """Return a bow that has got a pattern."""
    return bow_at(standing.form, standing.build, told.removals(standing, 0, place))


def stock(bow: BowAt) -> Worth:
    """Return what stock on a bow is worth."""
    found = worth(bow, handbook_moduli(bow, handbook()), DRAW_IN)
    assert isinstance(found, Worth), found
    return found


@pytest.mark.parametrize("method", [Method.SIDES, Method.TRAP, Method.EDGES, Method.BELLY_GLASS])
def test_a_deeper_pattern_takes_no_less_anywhere(method: Method) -> None:
    """Sizes are whole parts of an inch, amounts never fall, and each pattern weighs less than the one before."""
    told = by(method)
    parts = 1000 if method is Method.BELLY_GLASS else 64
    assert np.allclose(told.amounts_in * parts, np.rint(told.amounts_in * parts), atol=1e-9)
    assert np.all(np.diff(told.amounts_in, axis=0) >= 0)
    assert np.all(np.diff(told.left) < 0)


def test_least_widths_are_kept() -> None:
    """No cut goes below the least widths."""
    first = possible().sizes_in[0]
    least = (0.9 * first[0], 0.9 * first[-1])
    told = possible(least=least)
    assert np.all(told.sizes_after_in(-1) >= np.interp(told.stations_in, told.stations_in[[0, -1]], least))


def test_radius_trap_and_glass_stop_at_their_limits() -> None:
    """Each method ends at its limit; a radius is never over half the limb's thickness."""
    assert by(Method.EDGES).sizes_after_in(-1) == pytest.approx(1 / 8)
    apart = by(Method.SIDES).sizes_in - by(Method.TRAP).sizes_after_in(-1)
    assert apart.max() == pytest.approx(1 / 8)
    assert by(Method.BELLY_GLASS).amounts_in[-1] == pytest.approx(0.005)
    limb = bow_at(STRAIGHT, build(**SHARP)).upper
    told = rounding(kit(**SHARP), DRAW_IN, handbook(), 1.0)
    half = np.array([limb.stack_at(station) / 2 for station in told.stations_in])
    assert np.all((half - told.sizes_after_in(-1) >= 0) & (half - told.sizes_after_in(-1) < 1 / 64))


def test_no_part_is_narrowed_far_beyond_another() -> None:
    """Where one place is at its least the others go on by a twentieth of their width at most, but for the nock."""
    fade, *_, nock = possible().sizes_in[0]
    at_the_fade = possible(least=(0.96 * fade, 0.2))
    shares = at_the_fade.amounts_in[-1] / at_the_fade.sizes_in
    assert shares.max() - shares.min() == pytest.approx(0.05, abs=1 / 64 / nock)
    at_the_nock = possible(least=(0.3, nock))
    shares = at_the_nock.amounts_in[-1] / at_the_nock.sizes_in
    assert np.all(shares[:, -1] == 0)
    assert shares[:, 0] == pytest.approx(0.2, abs=1 / 64 / fade)


def test_corners_are_rounded_from_the_fade_outward() -> None:
    """The first step rounds the corners at the fade alone, and no step is smaller than half a 64th."""
    told = rounding(kit(edge_radius_in=".04"), DRAW_IN, handbook(), 1 / 8)
    assert told.sizes_after_in(1)[0].tolist() == pytest.approx(
        [1 / 16, *[0.04] * (len(told.stations_in) - 1)]
    )
    assert told.amounts_in[told.amounts_in > 0].min() > 1 / 128


def test_what_is_done_already_counts_toward_the_limits() -> None:
    """Glass that is sanded and corners that are round leave only the rest of their limits."""
    sanded = kit(done(Method.BELLY_GLASS, ".003"), **SHARP)
    assert sanding(sanded, DRAW_IN, handbook(), 0.005).amounts_in[-1] == pytest.approx(0.002)
    rounded = kit(done(Method.EDGES, "3/32"), **SHARP)
    assert rounding(rounded, DRAW_IN, handbook(), 1 / 8).amounts_in[-1] == pytest.approx(1 / 32)
    assert len(rounding(rounded, DRAW_IN, handbook(), 1 / 16).left) == 1


def test_glass_is_never_sanded_to_the_core() -> None:
    """Half of the glass is left whatever the shop allows, and a belly of wood is not sanded at all."""
    told = sanding(kit(**SHARP), DRAW_IN, handbook(), 0.5)
    assert np.all(told.sizes_after_in(-1) >= LEAST_GLASS * told.sizes_in)
    wooden = kit(**{**SHARP, "layers": [GLASS, core(".300")]})
    assert len(sanding(wooden, DRAW_IN, handbook(), 0.005).left) == 1


def done(method: Method, amount: str) -> Removal:
    """Return a removal as measured afterwards."""
    data = {"id": "K-001/1", "build": "K-001", "on": "2026-03-01", "method": method}
    return Removal.model_validate({**data, "done": [{"at": "fade", "amount_in": amount}]})


def test_the_stiffer_limb_begins() -> None:
    """The limb that is too stiff gives its share alone before the other one gives anything."""
    told = possible(Stiffer(Side.LOWER, 0.06))
    upper, lower = told.amounts_in.sum(axis=2).T
    alone = upper == 0
    assert lower[alone].max() / told.sizes_in[1].sum() == pytest.approx(0.06, abs=0.01)
    apart = (lower - upper)[-1] / told.sizes_in[1].sum()
    assert apart == pytest.approx(0.06, abs=0.01)


@pytest.mark.parametrize("method", [Method.SIDES, Method.TRAP, Method.EDGES, Method.BELLY_GLASS])
def test_noted_in_two_parts_a_pattern_leaves_the_same_bow(method: Method) -> None:
    """The removals of a pattern noted in two passes leave the bow that it leaves in one."""
    told, standing = by(method), kit(**SHARP)
    half = told.removals(standing, 0, len(told.left) // 2)
    rest = told.removals(standing, len(told.left) // 2, len(told.left) - 1)
    twice = weight(bow_at(standing.form, standing.build, (*half, *rest)))
    assert twice == pytest.approx(told.left[-1] * built(), rel=1e-9)
