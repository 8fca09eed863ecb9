"""Strain at full draw: which way it goes when stock is taken off, and bows that must not be drawn so far."""

from typing import Any

import pytest

from datasets.history import bow_at
from datasets.materials import handbook
from predictor.bows.bow import Refusal
from predictor.bows.full_draw import drawn
from tests.predictor.example_bows import GLASS, STRAIGHT, build, core
from tests.predictor.kits import DRAW, DRAW_IN

GLASS_IN, CORE_IN = 0.050, 0.300


def strains(
    off_in: float = 0.0, back: tuple[str, str] = ("1", "1"), limit: float | None = None, **changes: Any
) -> tuple[float, float]:
    """Return the highest strain of the back and of the belly of a limb of one width, its belly's glass sanded."""
    layers = [
        {**GLASS, "butt_in": f"{GLASS_IN}"},
        core(f"{CORE_IN}"),
        {**GLASS, "butt_in": f"{GLASS_IN - off_in}"},
    ]
    widths = [
        {"at": at, "belly_in": "1", "back_in": wide} for at, wide in zip(("fade", "nock"), back, strict=True)
    ]
    made = build(**{"layers": layers, "widths": widths, "edge_radius_in": "0", **changes})
    places = drawn(bow_at(STRAIGHT, made), DRAW, DRAW_IN, handbook(), limit)
    assert not isinstance(places, Refusal), places
    return max(one.strain for one in places), -min(one.strain for one in places)


def test_sanding_the_belly_glass_strains_the_belly_more() -> None:
    """The belly's face comes nearer to the back, but the neutral axis moves further: belly up in strain, back down.

    Of a limb of one section all along the bend at full draw hardly depends on it, so strain goes with the distance
    from the neutral axis, the centre of stiffness (Gere and Timoshenko, Mechanics of Materials, composite beams, from
    memory). The thousandth left to the ratio is for the string's place in the nock.
    """
    (back, belly), (back_after, belly_after) = strains(), strains(off_in=0.010)
    before, after = from_axis(0.0), from_axis(0.010)

    assert back_after < back
    assert belly_after > belly
    assert back_after / back == pytest.approx(after[0] / before[0], rel=2e-3)
    assert belly_after / belly == pytest.approx(after[1] / before[1], rel=2e-3)


def from_axis(off_in: float) -> tuple[float, float]:
    """Return the distances of back and belly from the centre of stiffness of three layers of one width; no glue."""
    moduli = [handbook()[name].modulus_psi for name in ("limb glass", "hard maple", "limb glass")]
    thick = [GLASS_IN, CORE_IN, GLASS_IN - off_in]
    middles = [GLASS_IN / 2, GLASS_IN + CORE_IN / 2, GLASS_IN + CORE_IN + thick[2] / 2]
    stiffness = [modulus * inch for modulus, inch in zip(moduli, thick, strict=True)]
    axis = sum(one * at for one, at in zip(stiffness, middles, strict=True)) / sum(stiffness)
    return axis, sum(thick) - axis


def test_a_limb_narrowed_alike_is_strained_alike() -> None:
    """Nine tenths of the width all along leave the strain as it is, but for the stretch of the string."""
    narrow = [{"at": at, "belly_in": ".9", "back_in": ".9"} for at in ("fade", "nock")]
    assert strains(widths=narrow) == pytest.approx(strains(), rel=1e-3)


def test_a_narrower_back_is_strained_more() -> None:
    """Trapping moves the neutral axis toward the belly: the back's strain rises, the belly's falls."""
    (back, belly), (back_after, belly_after) = strains(), strains(back=(".8", ".8"))
    assert back_after > 1.01 * back
    assert belly_after < 0.99 * belly


def test_strain_over_the_limit_is_refused_with_its_place() -> None:
    """Below the limit of the shop a bow has its strains, above it the place that is strained most."""
    most = max(strains())
    assert max(strains(limit=1.001 * most)) == most
    bow = bow_at(STRAIGHT, build())
    refused = drawn(bow, DRAW, DRAW_IN, handbook(), 0.001)
    assert isinstance(refused, Refusal)
    assert "in from the fade, drawn to 28 in" in refused.where


def test_a_draw_that_is_not_reached_is_refused() -> None:
    """A bow that the string cannot bend so far has no strains."""
    assert isinstance(drawn(bow_at(STRAIGHT, build(length_in="46")), DRAW, 40.0, handbook()), Refusal)
