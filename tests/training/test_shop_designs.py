"""The invented shop's designs."""

import numpy as np
import pytest

from datasets.history import bow_at
from datasets.materials import handbook
from datasets.record import ZeroPoint
from datasets.schema import Build, Form
from datasets.zero_points import from_back
from training.link_chain import chain_weights
from training.shop_designs import DESIGNS, GLASS, PLACES
from training.shop_press import planned_layers


def weight_at_28(design, cores_in, glass_in):
    """Return what the link chain says of a design at handbook stiffness, as planned."""
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
    bow = bow_at(Form.model_validate(design.form), build)
    moduli = {(name, None): handbook()[name].modulus_psi for name in ("hard maple", GLASS)}
    draw = from_back(28.0, ZeroPoint.STANDARD, bow.pivot_depth)
    return float(chain_weights([bow], [moduli], np.array([[draw]]))[0, 0])


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
