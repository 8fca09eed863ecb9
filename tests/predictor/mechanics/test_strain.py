"""Strain in the lams of a bent limb: worked examples of layered beams, balance of force and moment."""

import tomllib
from pathlib import Path

import numpy as np
import pytest
from scipy.interpolate import BSpline

from predictor.mechanics.limb import Layer, Limb, LimbSections, limb_sections
from predictor.mechanics.strain import lam_strains
from predictor.shape.profile import Profile

BEAMS = tomllib.loads((Path(__file__).parents[2] / "reference" / "composite_beams.toml").read_text())
LENGTH = 20.0


def sections(thickness: list[float], modulus: list[float], width: float) -> LimbSections:
    """Return an even limb of sharp edges without glue lines."""
    straight = Profile(LENGTH, BSpline([0.0] * 4 + [LENGTH] * 4, [0.0] * 4, 3), (), 8.0, 0.1, 0.0)
    layers = tuple(Layer(((0.0, LENGTH), (t, t)), e) for t, e in zip(thickness, modulus, strict=True))
    across = ((0.0,), (width,))
    return limb_sections([Limb(LENGTH, layers, across, across, ((0.0,), (0.0,)), straight)], steps=4)


def stresses(thickness: list[float], modulus: list[float], width: float, moment: float) -> np.ndarray:
    """Return the stress at each lam's back and belly face, shape (L, 2), under a moment that stretches the back."""
    limb = sections(thickness, modulus, width)
    back, belly = lam_strains(limb, moment / limb.stiffness)
    return np.stack([back[0, 0, 0], belly[0, 0, 0]], axis=-1) * np.array(modulus)[:, None]


def test_stresses_of_wood_on_steel() -> None:
    """The printed stresses of a wooden beam on a steel plate come out, to half a unit of their third digit."""
    beam = BEAMS["wood_on_steel"]
    wanted = beam["stress_psi"]
    found = stresses(beam["thickness_in"], beam["modulus_psi"], beam["width_in"], -beam["moment_lbf_in"])

    assert found[0, 0] == pytest.approx(wanted["top"], abs=5)
    assert found[0, 1] == pytest.approx(wanted["wood_at_joint"], abs=0.5)
    assert found[1, 0] == pytest.approx(wanted["steel_at_joint"], abs=5)
    assert found[1, 1] == pytest.approx(wanted["bottom"], abs=5)


def test_stresses_of_a_sandwich() -> None:
    """The printed stresses of a sandwich beam come out in all their digits."""
    beam = BEAMS["sandwich"]
    found = stresses(beam["thickness_mm"], beam["modulus_mpa"], beam["width_mm"], beam["moment_nmm"])

    assert found[0, 0] == pytest.approx(beam["face_stress_mpa"], abs=0.05)
    assert found[2, 1] == pytest.approx(-beam["face_stress_mpa"], abs=0.05)
    assert found[1, 0] == pytest.approx(beam["core_stress_mpa"], abs=0.0005)


def test_the_stresses_carry_the_moment_and_no_force() -> None:
    """Summed over a section of unlike lams, the stresses make no force along the limb, and the moment put on it."""
    thickness, modulus, width = (
        np.array([0.05, 0.16, 0.12, 0.03]),
        np.array([6.0e6, 2.0e6, 1.5e6, 6.0e6]),
        1.3,
    )
    back, belly = stresses(list(thickness), list(modulus), width, 800.0).T
    depth = np.concatenate([[0.0], np.cumsum(thickness)])
    force = width * thickness * (back + belly) / 2
    moment = (
        width
        * thickness
        * (back * (depth[:-1] / 3 + depth[1:] / 6) + belly * (depth[:-1] / 6 + depth[1:] / 3))
    )

    assert force.sum() == pytest.approx(0.0, abs=1e-9 * np.abs(force).max())
    assert -moment.sum() == pytest.approx(800.0, rel=1e-9)


def test_strain_is_continuous_through_the_stack() -> None:
    """Lams that touch are strained alike where they touch."""
    limb = sections([0.05, 0.16, 0.12], [6.0e6, 2.0e6, 1.5e6], 1.3)
    back, belly = lam_strains(limb, np.full((1, 4, 3), 0.02))

    np.testing.assert_allclose(belly[..., :-1], back[..., 1:], rtol=1e-12)


def test_an_absent_lam_has_no_strain() -> None:
    """Where a short lam has ended its strain is not a number, and is one where it is there."""
    straight = Profile(LENGTH, BSpline([0.0] * 4 + [LENGTH] * 4, [0.0] * 4, 3), (), 8.0, 0.1, 0.0)
    whole, short = (Layer(((0.0, end), (0.1, 0.1)), 2.0e6) for end in (LENGTH, 5.0))
    width = ((0.0,), (1.2,))
    limb = limb_sections([Limb(LENGTH, (whole, short), width, width, ((0.0,), (0.0,)), straight)], steps=8)
    back, belly = lam_strains(limb, np.full((1, 8, 3), 0.02))
    there = limb.station[0, :, 1] < 5.0

    for strains in (back, belly):
        np.testing.assert_array_equal(np.isnan(strains[0, :, 1, 1]), ~there)
        assert not np.isnan(strains[..., 0]).any()
