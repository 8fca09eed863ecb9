"""A working recurve stores as much energy for its weight as measured ones do."""

import numpy as np
import pytest

from datasets.history import bow_at
from datasets.materials import handbook
from predictor.bows.bow import handbook_moduli, limb_of, string_stiffness
from predictor.mechanics.limb import limb_grid
from predictor.mechanics.statics import brace, draw
from tests.predictor.example_bows import GLASS, HOOKED, build, core

# Tuijn and Kooi, European Journal of Physics 13 (1992), table I, read: four one-string working recurves marked 66 to
# 70 in and 30 to 40 lb, brace 21.4 to 22 cm. Energy over weight times string travel is computed from the table as 0.581
# to 0.595, over weight times draw as 0.385 to 0.406. Their limbs are not described, so the band is one of kind.
BRACE_CM = 21.9
OVER_TRAVEL = (0.58, 0.60)
OVER_DRAW = (0.385, 0.406)


@pytest.mark.parametrize("length", ["69", "69 1/2"])
def test_stored_energy(length: str) -> None:
    """Energy over weight times travel, and over weight times draw, lie where those of measured recurves do."""
    recurve = build(
        form="crane-69",
        length_in=length,
        brace=f"{BRACE_CM} cm",
        layers=[GLASS, core(".055"), core(".065", taper_per_in=0.001), GLASS],
        widths=[
            {"at": "fade", "belly_in": "1 3/4"},
            {"at": "mid", "belly_in": "1 3/4"},
            {"at": "nock", "belly_in": "7/8"},
        ],
    )
    bow = bow_at(HOOKED, recurve)
    grid = limb_grid([limb_of(bow, bow.upper, handbook_moduli(bow, handbook()))])
    strung = brace(grid, np.array([bow.brace]), np.array([string_stiffness(bow)]))
    full = 28 - 1.75 + bow.pivot_depth
    travel = np.linspace(bow.brace, full, 81)
    force = np.concatenate([[0.0], draw(grid, strung, travel[None, 1:]).force[0]])
    energy = np.trapezoid(force, travel)

    assert strung.hold.lift_off[0] > 1  # the string lies on the tips
    assert OVER_TRAVEL[0] <= energy / (force[-1] * (full - bow.brace)) <= OVER_TRAVEL[1]
    assert OVER_DRAW[0] <= energy / (force[-1] * (full - bow.pivot_depth)) <= OVER_DRAW[1]
