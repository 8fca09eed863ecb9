"""The invented shop's designs."""

import numpy as np
import pytest

from datasets.history import bow_at
from datasets.materials import handbook
from datasets.record import ZeroPoint
from datasets.schema import Build, Form
from datasets.zero_points import from_back
from predictor.bows.bow import limb_of, string_stiffness
from predictor.mechanics.limb import limb_grid
from predictor.mechanics.statics import brace, draw
from training.workshop.link_chain import chain_weights
from training.workshop.shop_designs import DESIGNS, GLASS, HOOK, PLACES
from training.workshop.shop_press import planned_layers

MODULI = {(name, None): handbook()[name].modulus_psi for name in ("hard maple", GLASS)}


def planned(design, cores_in, glass_in):
    """Return a bow of a design as planned, of hard maple."""
    layers = planned_layers(
        design, cores_in, glass_in, {"wood": ("hard maple", None), "glass": (GLASS, None)}
    )
    build = Build(
        id="K-001",
        form=design.name,
        length_in=design.length_in,
        layers=[{key: value for key, value in layer.items() if value is not None} for layer in layers],
        widths=[{"at": at, "belly_in": width} for at, width in zip(PLACES, design.widths_in, strict=True)],
        brace=design.brace_in,
    )
    return bow_at(Form.model_validate(design.form), build)


def weight_at_28(design, cores_in, glass_in):
    """Return what the link chain says of a design at handbook stiffness, as planned."""
    bow = planned(design, cores_in, glass_in)
    full = from_back(28.0, ZeroPoint.STANDARD, bow.pivot_depth)
    return float(chain_weights([bow], [MODULI], np.array([[full]]))[0, 0])


@pytest.mark.parametrize("design", DESIGNS, ids=lambda design: design.name)
def test_known_weights(design):
    """The weight that the shop goes by is the one that its known bow has at handbook stiffness (computed)."""
    assert weight_at_28(design, design.known_cores_in, design.known_glass_in) == pytest.approx(
        design.known_lbf, abs=0.1
    )


@pytest.mark.parametrize("design", DESIGNS, ids=lambda design: design.name)
@pytest.mark.parametrize("glass_in", [0.040, 0.050])
def test_rule_of_thumb(design, glass_in):
    """The shop's rule hits the weights that are ordered to a tenth: good enough to press by, not exact."""
    for target in design.targets_lbf:
        assert weight_at_28(design, design.cores_for(target, glass_in), glass_in) == pytest.approx(
            target, rel=0.1
        )


@pytest.mark.parametrize("glass_in", [0.040, 0.050])
def test_recurve_works(glass_in):
    """At either end of what is ordered the recurve's string lies on its tips at brace and leaves them in the draw.

    Its energy over weight times string travel, and over weight times draw, lie where Tuijn and Kooi (European Journal
    of Physics 13 (1992), table I, read) have four working recurves of 66 to 70 in; the quotients are computed from the
    table. Their limbs are not described, so the band is one of kind.
    """
    for target in HOOK.targets_lbf:
        bow = planned(HOOK, HOOK.cores_for(target, glass_in), glass_in)
        grid = limb_grid([limb_of(bow, bow.upper, MODULI)])
        strung = brace(grid, bow.brace, string_stiffness(bow))
        full = from_back(28.0, ZeroPoint.STANDARD, bow.pivot_depth)
        travel = np.linspace(bow.brace, full, 81)
        drawn = draw(grid, strung, travel[None, 1:])
        energy = np.trapezoid(np.concatenate([[0.0], drawn.force[0]]), travel)

        assert strung.hold.lift_off[0] > 1
        assert drawn.lift_off[0, -1] == 0
        assert 0.58 <= energy / (drawn.force[0, -1] * (full - bow.brace)) <= 0.60
        assert 0.385 <= energy / (drawn.force[0, -1] * (full - bow.pivot_depth)) <= 0.406
