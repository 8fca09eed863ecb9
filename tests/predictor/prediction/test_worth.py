"""What stock is worth in pounds: against whole bows solved again after it was taken off."""

import numpy as np
import pytest

from datasets.history import BowAt, bow_at
from datasets.materials import handbook
from datasets.schema import Method, Removal
from predictor.bows.bow import Refusal, handbook_moduli, weights
from predictor.prediction.worth import UNIT_IN, Worth, worth
from tests.predictor.example_bows import GLASS, REFLEXED, STRAIGHT, build, core
from tests.predictor.lost_stock import lost_lbf

DRAW_IN = 28.5
SHARP = {"edge_radius_in": "0.05"}
RECURVE = {
    "form": "swan-62", "length_in": "62", "brace": "7 3/4",
    "layers": [GLASS, core(".080"), core(".085", taper_per_in=0.001), GLASS],
    "widths": [{"at": at, "belly_in": width} for at, width in (("fade", "1 3/4"), ("mid", "1 5/8"), ("nock", "3/4"))],
}  # fmt: skip
BOWS = {"straight": (STRAIGHT, SHARP), "recurve": (REFLEXED, SHARP | RECURVE)}
PLACES = {"whole": (1, 1, 1), "fade": (1, 1, 0), "outer": (0, 0, 1)}
STATIONS = ("0", "8", "8.25")
"""Units taken off at stations: everywhere, from the fade to 8 in, and from there to the nock."""


def removal(method: Method, units: tuple[int, ...], limb: str = "both", already: float = 0.0) -> Removal:
    """Return a removal of so many units at the stations, beyond what is off already."""
    done = [
        {"at": at, "amount_in": f"{already + unit * UNIT_IN[method]:.6f}"}
        for at, unit in zip(STATIONS, units, strict=True)
    ]
    return Removal.model_validate(
        {"id": "K-001/1", "build": "K-001", "on": "2026-03-01", "method": method, "limb": limb, "done": done}
    )


def found(bow: BowAt) -> Worth:
    """Return the worth of stock on a bow."""
    result = worth(bow, handbook_moduli(bow, handbook()), DRAW_IN)
    assert isinstance(result, Worth), result
    return result


def weight(bow: BowAt) -> float:
    """Return the solved weight."""
    return weights([bow], [handbook_moduli(bow, handbook())], np.array([[DRAW_IN]])).lbf[0, 0]


@pytest.mark.parametrize("method", UNIT_IN)
@pytest.mark.parametrize("places", PLACES)
@pytest.mark.parametrize("name", BOWS)
def test_worth_agrees_with_the_solved_bow(name: str, places: str, method: Method) -> None:
    """A unit off both limbs costs what the solved bow loses, to 2 %; of glass, which also moves the string, to 4 %."""
    form, changes = BOWS[name]
    made = build(**changes)
    already = 0.05 if method is Method.EDGES else 0.0
    after = bow_at(form, made, (removal(method, PLACES[places], already=already),))
    before = bow_at(form, made)
    stock = found(before)
    amounts = tuple(map(float, STATIONS)), tuple(unit * UNIT_IN[method] for unit in PLACES[places])
    predicted = sum(lost_lbf(limb, method, amounts) for limb in (stock.upper, stock.lower))
    glass = method in (Method.BACK_GLASS, Method.BELLY_GLASS)

    assert stock.weight_lbf == pytest.approx(weight(before), rel=1e-9)
    assert predicted == pytest.approx(weight(before) - weight(after), rel=0.04 if glass else 0.02)


def test_one_limb_costs_half() -> None:
    """Stock off one of two limbs that are alike costs half of what it costs off both."""
    stock = found(bow_at(STRAIGHT, build()))
    everywhere = (0.0,), (UNIT_IN[Method.SIDES],)
    lost = lost_lbf(stock.upper, Method.SIDES, everywhere)
    whole = weight(bow_at(STRAIGHT, build()))
    narrowed = weight(bow_at(STRAIGHT, build(), (removal(Method.SIDES, (1, 1, 1), "upper"),)))

    assert lost == pytest.approx(lost_lbf(stock.lower, Method.SIDES, everywhere))
    assert lost == pytest.approx(whole - narrowed, rel=0.01)


@pytest.mark.parametrize("factor", [0.85, 1.15])
@pytest.mark.parametrize("name", BOWS)
def test_shares_hold_for_stiffer_and_softer_limbs(name: str, factor: float) -> None:
    """Limbs stiffer or softer all along lose the same share of their weight, to 1 %: so pounds go with the weight."""
    form, changes = BOWS[name]
    bow = bow_at(form, build(**changes))
    moduli = handbook_moduli(bow, handbook())
    other = worth(bow, {lam: factor * modulus for lam, modulus in moduli.items()}, DRAW_IN)
    assert isinstance(other, Worth)
    scaled = found(bow).of_weight(other.weight_lbf)

    assert scaled.weight_lbf == other.weight_lbf
    for method in UNIT_IN:
        pounds = [one.upper.lost_between(method, 0, 99) for one in (scaled, other)]
        assert pounds[0] == pytest.approx(pounds[1], rel=0.01)


def test_stretches_add_up_to_the_limb() -> None:
    """What a unit off neighbouring stretches costs adds up to what it costs off the whole limb."""
    limb = found(bow_at(STRAIGHT, build())).upper
    stretches = [limb.lost_between(Method.EDGES, inner, inner + 6.5) for inner in (0.0, 6.5, 13.0, 19.5)]

    assert sum(stretches) == pytest.approx(lost_lbf(limb, Method.EDGES, ((0.0,), (UNIT_IN[Method.EDGES],))))
    assert sorted(stretches, reverse=True) == stretches


def test_stiffness_counts_once() -> None:
    """The limbs' stiffness makes nearly all of the weight, the string's stretch the little rest."""
    stock = found(bow_at(STRAIGHT, build()))
    limbs = sum(float((limb.length * limb.stiffness).sum()) for limb in (stock.upper, stock.lower))

    assert limbs == pytest.approx(1.0, abs=0.05)


def test_back_and_belly_glass_are_worth_alike() -> None:
    """In a symmetric stack a thousandth of glass is worth the same on either side; trap is worth half of the sides."""
    level = [
        {"at": at, "belly_in": width, "back_in": width} for at, width in (("fade", "1 1/4"), ("nock", "1/2"))
    ]
    stock = found(
        bow_at(STRAIGHT, build(layers=[GLASS, core(".150"), core(".150"), GLASS], widths=level))
    ).upper

    np.testing.assert_allclose(stock.lost[Method.BACK_GLASS], stock.lost[Method.BELLY_GLASS], rtol=1e-9)
    np.testing.assert_allclose(stock.lost[Method.TRAP], stock.lost[Method.SIDES] / 2, rtol=0.02)


def test_bows_that_cannot_be_drawn_are_refused() -> None:
    """Stock has no worth at a draw that the bow does not reach."""
    bow = bow_at(STRAIGHT, build(length_in="46"))

    assert isinstance(worth(bow, handbook_moduli(bow, handbook()), 40.0), Refusal)
