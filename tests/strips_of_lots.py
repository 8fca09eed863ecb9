"""Strips of an invented shop's lots, bent on the bench as it would bend them."""

from collections.abc import Iterable

import numpy as np

from datasets.materials import Kind, handbook
from datasets.schema import StripTest, Support
from predictor.belief.lots import read_strip
from predictor.belief.strip import load_number
from training.workshop.shop_press import FIRST_DAY, Typed
from training.workshop.shop_truth import Key, Scatter, ShopTruth

SPAN_IN, WIDTH_IN, WOOD_IN, GLASS_IN = 20.0, 1.5, 0.125, 0.050
RATIOS = (0.02, 0.04, 0.06)
"""Deflections over the span."""


def strip_tests(
    rng: np.random.Generator,
    shop: ShopTruth,
    lots: Iterable[Key],
    sd: float = 0.02,
    scatter: Scatter | None = None,
) -> list[Typed]:
    """Bend a strip of each lot between edges, under three weights.

    Args:
        rng: source of chance.
        shop: with the lots.
        lots: materials and lots to be tested.
        sd: of the logarithm of a strip's modulus as read, which the record claims too: the thickness is known as
            well as that takes.
        scatter: of the strip about its lot, as of a bow's lams (default: the usual one).

    Returns:
        One record a lot, as typed.

    Raises:
        ValueError: the other dimensions alone are known worse than `sd` asks.
    """
    scatter = scatter or Scatter()
    typed = []
    for number, (material, lot) in enumerate(lots, 1):
        own = scatter.glass_bow if handbook()[material].kind is Kind.GLASS else scatter.wood_bow
        psi = shop.lots[material, lot] * float(np.exp(rng.normal(0, own) + rng.normal(0, sd)))
        typed.append(_claiming(_bent(f"STRIP-{number:03d}", material, lot, psi), sd))
    return typed


def _bent(name: str, material: str, lot: str | None, psi: float) -> Typed:
    """Return the record of a strip that reads as a modulus exactly."""
    thickness = GLASS_IN if handbook()[material].kind is Kind.GLASS else WOOD_IN
    stiffness = psi * WIDTH_IN * thickness**3 / 12
    loads = load_number(Support.THREE_POINT, RATIOS) * stiffness / SPAN_IN**2
    return Typed(
        "strip",
        {
            "id": name,
            "material": material,
            "lot": lot,
            "on": FIRST_DAY.isoformat(),
            "span_in": {"inch": SPAN_IN, "taken": "caliper"},
            "width_in": {"inch": WIDTH_IN, "taken": "caliper"},
            "thickness_in": {"inch": thickness, "taken": "caliper"},
            "loads": [
                {"load": {"lbf": load}, "deflection_in": {"inch": ratio * SPAN_IN, "taken": "caliper"}}
                for load, ratio in zip(loads.tolist(), RATIOS, strict=True)
            ],
        },
    )


def _claiming(typed: Typed, sd: float) -> Typed:
    """Return a record whose thickness is known so well that its modulus is read to a standard deviation."""
    found = read_strip(StripTest.model_validate(typed.data), handbook()).found
    others = float(np.sqrt(found.log_sd**2 - found.dimension_sds["thickness"] ** 2))
    if others >= sd:
        raise ValueError(
            f"wanted strips read to {sd:g}, got {others:.3f} without the thickness; ask for more"
        )
    thickness = typed.data["thickness_in"]["inch"]
    claimed = thickness * float(np.sqrt(sd**2 - others**2)) / 3
    return Typed(typed.kind, typed.data | {"thickness_sd_in": claimed})
