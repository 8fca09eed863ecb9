"""Weights of whole bows: like limbs by one of them, unlike ones together on their riser."""

from dataclasses import replace

import numpy as np
import pytest

from datasets.history import BowAt, bow_at
from datasets.materials import handbook
from datasets.schema import Removal
from predictor.bows.bow import (
    Moduli,
    Weights,
    handbook_moduli,
    limb_by_limb,
    limb_of,
    notes_on,
    string_stiffness,
    weights,
)
from predictor.bows.features import Case, Features, features
from predictor.mechanics import unlike
from predictor.mechanics.limb import limb_grid
from tests.predictor.bows.test_features import LONG_RECURVE
from tests.predictor.example_bows import HOOKED, STRAIGHT, build

DRAWS_IN = (18.0, 24.0, 28.5)
LIKE = bow_at(STRAIGHT, build())


def moduli(bow: BowAt) -> Moduli:
    """Return the handbooks' moduli of a bow's lams."""
    return handbook_moduli(bow, handbook())


def apart(bow: BowAt, share: float) -> BowAt:
    """Return a bow whose limbs' widths are so far apart, as a share of their mean."""
    limbs = {}
    for side, factor in (("upper", 1 + share / 2), ("lower", 1 - share / 2)):
        limb = getattr(bow, side)
        belly, back = (
            (at, tuple(factor * width for width in widths))
            for at, widths in (limb.width_belly, limb.width_back)
        )
        limbs[side] = replace(limb, width_belly=belly, width_back=back)
    return replace(bow, **limbs)


def weighed(*bows: BowAt, draws_in: tuple[float, ...] = DRAWS_IN) -> Weights:
    """Return the weights of bows of handbook moduli."""
    found = weights(bows, [moduli(bow) for bow in bows], np.array([draws_in] * len(bows)))
    assert not any(found.refused), found.refused
    return found


def on_riser(bow: BowAt, draws_in: tuple[float, ...] = DRAWS_IN) -> unlike.Drawn:
    """Return a bow's two limbs drawn together, put together here from its dimensions."""
    upper, lower = (limb_grid([limb_of(bow, limb, moduli(bow))]) for limb in (bow.upper, bow.lower))
    two = unlike.TwoLimbs(
        upper=upper,
        lower=lower,
        string_stiffness=np.array([string_stiffness(bow)]),
        pivot_distance=np.array([bow.pivot_above]),
        pivot_depth=np.array([bow.pivot_depth]),
        nocking_height=np.array([bow.pivot_above + bow.nocking_above]),
    )
    return unlike.draw(two, unlike.brace(two, bow.brace), draws_in)


def mean_of_limbs(bow: BowAt) -> np.ndarray:
    """Return the mean of the symmetric bows that each limb would make."""
    solved = limb_by_limb([bow], [moduli(bow)], np.array([DRAWS_IN]))
    return solved.mean(solved.drawn.force)[0]


RECURVE = bow_at(HOOKED, build(**LONG_RECURVE))
UNLIKE = {
    "limbs 10 % apart": apart(LIKE, 0.10),
    "recurve, limbs 10 % apart": apart(RECURVE, 0.10),
    "held above the centre": replace(LIKE, pivot_above=1.5),
    "nocked above the pivot": replace(LIKE, pivot_above=-1.0, nocking_above=0.5),
}


@pytest.mark.parametrize("name", UNLIKE)
def test_unlike_limbs_weigh_what_they_do_on_their_riser(name: str) -> None:
    """Weight and its slope are those of both limbs solved together, to 1e-6."""
    found, drawn = weighed(UNLIKE[name]), on_riser(UNLIKE[name])

    np.testing.assert_allclose(found.lbf, drawn.force, rtol=1e-6)
    np.testing.assert_allclose(found.lbf_per_in, drawn.slope, rtol=1e-6)


def test_like_limbs_weigh_what_one_of_them_says_to_the_last_bit() -> None:
    """A bow of like limbs, held at its centre, is solved by one of them; an unlike one in its batch changes no bit."""
    bows, draws_in = [LIKE, UNLIKE["limbs 10 % apart"]], np.array([DRAWS_IN] * 2)
    solved = limb_by_limb(bows, [moduli(bow) for bow in bows], draws_in)
    found = weighed(*bows)

    assert solved.owner.tolist() == [0, 1, 1]
    assert np.array_equal(found.lbf[0], solved.drawn.force[0])
    assert np.array_equal(found.lbf_per_in[0], solved.drawn.slope[0])


def test_bows_keep_their_places() -> None:
    """Among like and unlike bows each has its own weights, and one that cannot be drawn spoils no other."""
    short = bow_at(STRAIGHT, build(length_in="46"))
    bows = [LIKE, apart(LIKE, 0.1), apart(short, 0.1), RECURVE, apart(LIKE, 0.2)]
    found = weights(bows, [moduli(bow) for bow in bows], np.array([[28.5], [28.5], [40.0], [28.5], [26.0]]))

    assert [refused is None for refused in found.refused] == [True, True, False, True, True]
    assert np.isnan(found.lbf[2, 0])
    for place, draw in ((0, 28.5), (1, 28.5), (3, 28.5), (4, 26.0)):
        assert found.lbf[place, 0] == pytest.approx(
            weighed(bows[place], draws_in=(draw,)).lbf[0, 0], rel=1e-9
        )


def test_slopes_are_those_of_the_weights() -> None:
    """The slope of an unlike bow's weight is its central difference over a thousandth of an inch."""
    bow = UNLIKE["limbs 10 % apart"]
    less, more = weighed(bow, draws_in=(28.499, 28.501)).lbf[0]

    assert weighed(bow).lbf_per_in[0, -1] == pytest.approx((more - less) / 0.002, rel=1e-6)


def test_the_mean_of_the_limbs_is_off_by_the_square_of_their_difference() -> None:
    """At full draw the mean of the limbs is above the weight by a quarter as much for half the difference, to 2 %.

    At 10 % it is 0.2 to 0.3 % above (computed here).
    """
    off = [
        np.log(mean_of_limbs(bow) / weighed(bow).lbf[0])[-1] for bow in (apart(LIKE, 0.1), apart(LIKE, 0.05))
    ]

    assert off[0] == pytest.approx(4 * off[1], rel=0.02)
    assert 0.002 < off[0] < 0.003


def test_features_have_the_same_weights() -> None:
    """What the regression starts from is what the statics say of both limbs together, and so is its slope."""
    longer = build(upper_longer_in="1")
    (told,) = features([Case(STRAIGHT, longer, (), DRAWS_IN)], handbook())
    drawn = on_riser(bow_at(STRAIGHT, longer))

    assert isinstance(told, Features)
    assert told.weight_lbf == pytest.approx(drawn.force[0], rel=1e-6)
    assert told.per_inch_lbf == pytest.approx(drawn.slope[0], rel=1e-6)


def test_derivatives_of_unlike_limbs_are_nearly_those_on_their_riser() -> None:
    """With limbs 10 % apart moduli change the weight on the riser as told, to 0.1 %; one limb's own width to 12 %."""
    places = {"upper": ("1.3125", "1.05", ".525"), "lower": ("1.1875", ".95", ".475")}
    read = [
        {"at": at, "belly_in": width, "limb": limb}
        for limb, widths in places.items()
        for at, width in zip(("fade", "mid", "nock"), widths, strict=True)
    ]
    recorded, draw_in = build(widths=read), DRAWS_IN[-1:]
    (told,) = features([Case(STRAIGHT, recorded, (), draw_in)], handbook())
    assert isinstance(told, Features)
    bow = bow_at(STRAIGHT, recorded)

    for modulus in told.moduli:
        key = (modulus.material, modulus.lot)
        changed = [{**moduli(bow), key: moduli(bow)[key] * np.exp(by)} for by in (-1e-3, 1e-3)]
        less, more = np.log(weights([bow] * 2, changed, np.array([draw_in] * 2)).lbf[:, 0])
        assert modulus.log_effect[0] == pytest.approx((more - less) / 2e-3, rel=1e-3)
    widths = [effect for effect in told.inputs if effect.input.source == "width"]
    for effect in widths:
        shifted = [bow_at(STRAIGHT, recorded, (), {effect.input.name: by}) for by in (-1e-3, 1e-3)]
        less, more = np.log(weighed(*shifted, draws_in=draw_in).lbf[:, 0])
        assert effect.log_effect[0] == pytest.approx((more - less) / 2e-3, rel=0.12)
    assert len(widths) == 6


def removal(method: str) -> Removal:
    """Return a sixteenth taken off, or put onto the radius of the corners, along the whole limbs."""
    return Removal.model_validate(
        {
            "id": "K-001/1",
            "build": "K-001",
            "on": "2026-03-04",
            "method": method,
            "done": [{"amount_in": "1/16"}],
        }
    )


def test_what_was_noted_later_is_not_called_unnoted() -> None:
    """Once edges or backs were worked on, or some backs were measured, a note says what is still not known."""
    some_backs = [
        {"at": "fade", "belly_in": "1 1/4", "back_in": "1 1/8"},
        {"at": "nock", "belly_in": "1/2"},
    ]
    edges, trap = (bow_at(STRAIGHT, build(), (removal(method),)) for method in ("edges", "trap"))
    some = bow_at(STRAIGHT, build(widths=some_backs))
    usual = ": a usual value is taken"

    assert notes_on(LIKE) == (f"edges not noted{usual}", f"trap not noted{usual}")
    assert notes_on(edges) == (
        f"edges' radius before their removal not noted{usual}",
        f"trap not noted{usual}",
    )
    assert notes_on(trap) == (f"edges not noted{usual}", f"trap before its removal not noted{usual}")
    assert notes_on(some) == (
        f"edges not noted{usual}",
        f"trap not noted where only the belly's width is{usual}",
    )
