"""The section's stiffness: worked examples, quadrature, laws, and what edges and traps are worth."""

import tomllib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from predictor.mechanics.section import bending_stiffness, strain, with_glue_lines

EXAMPLES = tomllib.loads((Path(__file__).parents[2] / "reference" / "composite_beams.toml").read_text())

GLASS_PSI = 5.5e6
WOOD_PSI = 1.7e6


def _by_quadrature(
    thickness: list[float], modulus: list[float], back: float, belly: float, radius: float
) -> tuple[float, float]:
    """Stiffness and neutral axis from the drawn outline, by numerical integration (computed)."""
    faces = np.concatenate([[0.0], np.cumsum(thickness)])
    whole = float(faces[-1])

    def width(depth: float) -> float:
        nearest_face = min(depth, whole - depth)
        inset = 0.0
        if nearest_face < radius:
            inset = radius - np.sqrt(radius**2 - (radius - nearest_face) ** 2)
        return back + (belly - back) * depth / whole - 2 * inset

    def integral(power: int, axis: float) -> float:
        total = 0.0
        for layer, young in enumerate(modulus):
            low, high = faces[layer], faces[layer + 1]
            corners = [p for p in (radius, whole - radius) if low < p < high]
            value, _ = quad(
                lambda z: width(z) * (z - axis) ** power,
                low,
                high,
                points=corners or None,
                epsabs=1e-14,
                epsrel=1e-12,
            )
            total += young * value
        return total

    axis = integral(1, 0.0) / integral(0, 0.0)
    return integral(2, axis), axis


def test_wood_on_steel_has_the_printed_axis_and_stresses() -> None:
    """The neutral axis and the stresses of the textbook's wood and steel beam come out as printed."""
    case = EXAMPLES["wood_on_steel"]
    printed = case["stress_psi"]
    section = bending_stiffness(case["thickness_in"], case["modulus_psi"], case["width_in"], case["width_in"])
    # The textbook's moment squeezes the top, which here would be the back: the curvature is negative.
    strains = strain(-case["moment_lbf_in"] / section.stiffness, section.neutral_axis, section.faces)
    wood, steel = case["modulus_psi"]

    assert section.neutral_axis == pytest.approx(case["neutral_axis_in"], abs=5e-4)
    assert strains[0] * wood == pytest.approx(printed["top"], rel=5e-3)
    assert strains[1] * wood == pytest.approx(printed["wood_at_joint"], rel=5e-3)
    assert strains[1] * steel == pytest.approx(printed["steel_at_joint"], rel=5e-3)
    assert strains[2] * steel == pytest.approx(printed["bottom"], rel=5e-3)


def test_sandwich_has_the_printed_stresses() -> None:
    """Face and core stresses of the textbook's sandwich beam come out as printed."""
    case = EXAMPLES["sandwich"]
    section = bending_stiffness(case["thickness_mm"], case["modulus_mpa"], case["width_mm"], case["width_mm"])
    strains = strain(case["moment_nmm"] / section.stiffness, section.neutral_axis, section.faces)

    assert strains[0] * case["modulus_mpa"][0] == pytest.approx(case["face_stress_mpa"], abs=0.05)
    assert strains[1] * case["modulus_mpa"][1] == pytest.approx(case["core_stress_mpa"], abs=5e-4)


@pytest.mark.parametrize(
    ("thickness_mm", "modulus_gpa"),
    [
        ([1.0, 8.0, 1.0], [41.0, 12.6, 41.0]),
        ([1.2, 8.0, 0.8], [41.0, 12.6, 41.0]),
        ([1.0, 4.0, 4.0, 1.0], [41.0, 12.6, 15.6, 41.0]),
    ],
)
def test_bow_sections_follow_the_parallel_axis_theorem(
    thickness_mm: list[float], modulus_gpa: list[float]
) -> None:
    """Square-edged layups agree with the sum of b t³/12 + b t d² over the layers (computed)."""
    width = 32.0
    thickness, young = np.array(thickness_mm), np.array(modulus_gpa)
    middle = np.cumsum(thickness) - thickness / 2
    axis = (young * thickness * middle).sum() / (young * thickness).sum()
    stiffness = (young * width * (thickness**3 / 12 + thickness * (middle - axis) ** 2)).sum()

    section = bending_stiffness(thickness_mm, modulus_gpa, width, width)

    assert section.neutral_axis == pytest.approx(axis, rel=1e-13)
    assert section.stiffness == pytest.approx(stiffness, rel=1e-12)


@pytest.mark.parametrize("radius", [0.0, 0.03, 0.0625, 0.125, 0.18])
@pytest.mark.parametrize(("back", "belly"), [(1.2, 1.2), (0.9, 1.25), (0.62, 0.5)])
def test_rounded_trapezoids_agree_with_quadrature(radius: float, back: float, belly: float) -> None:
    """Stiffness and neutral axis of a trapped, rounded layup equal the integral over its drawn outline."""
    thickness, modulus = [0.043, 0.09, 0.07, 0.12, 0.04], [5.6e6, 1.9e6, 2.2e6, 1.7e6, 5.9e6]
    stiffness, axis = _by_quadrature(thickness, modulus, back, belly, radius)

    section = bending_stiffness(thickness, modulus, back, belly, radius)

    assert section.stiffness == pytest.approx(stiffness, rel=1e-9)
    assert section.neutral_axis == pytest.approx(axis, rel=1e-9)


def test_full_round_is_a_circle_when_it_can_be() -> None:
    """A square section whose corners are rounded as far as they go is a circle: I = π d⁴/64."""
    section = bending_stiffness([0.1, 0.2], [3.0, 3.0], 0.3, 0.3, 0.15)

    assert section.stiffness == pytest.approx(3.0 * np.pi * 0.3**4 / 64, rel=1e-12)
    assert section.neutral_axis == pytest.approx(0.15, rel=1e-12)


def test_radius_beyond_what_the_section_holds_is_a_full_round() -> None:
    """A radius above half the thickness gives the section of half the thickness."""
    held = bending_stiffness([0.1, 0.1], [1.0, 2.0], 1.0, 0.9, 0.1)
    asked = bending_stiffness([0.1, 0.1], [1.0, 2.0], 1.0, 0.9, 0.2)

    assert asked.stiffness == held.stiffness


layer_counts = st.integers(1, 6)


@st.composite
def layups(draw: st.DrawFn) -> tuple[list[float], list[float], float, float, float]:
    """Plausible limbs in inches and psi: layers, moduli, back and belly width, edge radius."""
    count = draw(layer_counts)
    thickness = draw(st.lists(st.floats(0.02, 0.15), min_size=count, max_size=count))
    modulus = draw(st.lists(st.floats(0.5e6, 2e7), min_size=count, max_size=count))
    back, belly = draw(st.floats(0.4, 2.0)), draw(st.floats(0.4, 2.0))
    return thickness, modulus, back, belly, draw(st.floats(0.0, 0.1))


@given(layups())
def test_shares_are_the_logarithmic_derivatives(
    layup: tuple[list[float], list[float], float, float, float],
) -> None:
    """Each share equals d log EI / d log E by central differences, and shares sum to one."""
    thickness, modulus, back, belly, radius = layup
    section = bending_stiffness(thickness, modulus, back, belly, radius)
    step = 1e-4
    count = len(modulus)
    factors = np.exp(step * np.concatenate([np.eye(count), -np.eye(count)]))
    stiffness = bending_stiffness(thickness, np.array(modulus) * factors, back, belly, radius).stiffness
    slopes = np.log(stiffness[:count] / stiffness[count:]) / (2 * step)

    assert section.shares.sum() == pytest.approx(1.0, rel=1e-12)
    np.testing.assert_allclose(section.shares, slopes, atol=1e-7)


@given(layups(), st.floats(0.2, 5.0), st.floats(0.2, 5.0))
def test_stiffness_scales_with_modulus_and_the_fourth_power_of_size(
    layup: tuple[list[float], list[float], float, float, float], size: float, stiffer: float
) -> None:
    """EI goes with E and with the fourth power of all lengths together; the neutral axis with lengths."""
    thickness, modulus, back, belly, radius = layup
    one = bending_stiffness(thickness, modulus, back, belly, radius)
    other = bending_stiffness(
        np.array(thickness) * size, np.array(modulus) * stiffer, back * size, belly * size, radius * size
    )

    assert other.stiffness == pytest.approx(one.stiffness * stiffer * size**4, rel=1e-11)
    assert other.neutral_axis == pytest.approx(one.neutral_axis * size, rel=1e-11)


@given(layups())
def test_turning_the_section_over_keeps_its_stiffness(
    layup: tuple[list[float], list[float], float, float, float],
) -> None:
    """Back and belly exchanged, EI is the same and the neutral axis is mirrored."""
    thickness, modulus, back, belly, radius = layup
    one = bending_stiffness(thickness, modulus, back, belly, radius)
    other = bending_stiffness(thickness[::-1], modulus[::-1], belly, back, radius)

    assert other.stiffness == pytest.approx(one.stiffness, rel=1e-11)
    assert other.neutral_axis == pytest.approx(float(one.thickness - one.neutral_axis), rel=1e-11)


@given(layups(), st.integers(0, 5))
def test_a_layer_that_has_ended_changes_nothing(
    layup: tuple[list[float], list[float], float, float, float], place: int
) -> None:
    """A layer of no thickness is harmless and takes no glue line."""
    thickness, modulus, back, belly, radius = layup
    place = min(place, len(thickness))
    longer, moduli = list(thickness), list(modulus)
    longer.insert(place, 0.0)
    moduli.insert(place, 2e6)

    one = bending_stiffness(*with_glue_lines(thickness, modulus, 0.003, 4e5), back, belly, radius)
    other = bending_stiffness(*with_glue_lines(longer, moduli, 0.003, 4e5), back, belly, radius)

    assert other.stiffness == pytest.approx(one.stiffness, rel=1e-12)
    assert other.shares[2 * place] == 0.0


def test_batch_equals_one_by_one() -> None:
    """A batch gives what its members give alone."""
    rng = np.random.default_rng(11)
    thickness = rng.uniform(0.02, 0.1, (3, 4, 5))
    modulus = rng.uniform(1e6, 6e6, (3, 4, 5))
    back, belly = rng.uniform(0.5, 1.5, (2, 3, 4))
    radius = rng.uniform(0, 0.05, (3, 4))
    batch = bending_stiffness(thickness, modulus, back, belly, radius)
    alone = bending_stiffness(thickness[1, 2], modulus[1, 2], back[1, 2], belly[1, 2], radius[1, 2])

    assert batch.stiffness.shape == (3, 4)
    assert batch.shares.shape == (3, 4, 5)
    assert batch.faces.shape == (3, 4, 6)
    assert batch.stiffness[1, 2] == pytest.approx(float(alone.stiffness), rel=1e-13)


def test_glue_lines_stand_between_lams() -> None:
    """Three lams take two glue lines, and a lam that is absent takes none."""
    thickness, modulus = with_glue_lines([0.04, 0.3, 0.04], [5.0, 2.0, 5.0], 0.003, 0.5)
    skipped, _ = with_glue_lines([0.04, 0.0, 0.04], [5.0, 2.0, 5.0], 0.003, 0.5)
    marked, _ = with_glue_lines([0.04, 0.3, 0.0], [5.0, 2.0, 5.0], 0.003, 0.5, [True, True, True])

    np.testing.assert_array_equal(thickness, [0.04, 0.003, 0.3, 0.003, 0.04])
    np.testing.assert_array_equal(modulus, [5.0, 0.5, 2.0, 0.5, 5.0])
    np.testing.assert_array_equal(skipped, [0.04, 0.003, 0.0, 0.0, 0.04])
    np.testing.assert_array_equal(marked, [0.04, 0.003, 0.3, 0.003, 0.0])


# What edges and traps are worth in the trade. Derived with two-material beam theory, not measured: glass .040
# at 5.5 Msi over wood at 1.7 Msi; the figures are rounded to whole or half percents.
@pytest.mark.parametrize(
    ("width", "core", "glass", "radius", "percent"),
    [
        (1.2, 0.315, 0.040, 1 / 16, -3.0),
        (1.2, 0.315, 0.040, 1 / 8, -9.0),
        (1.2, 0.315, 0.040, 3 / 16, -16.0),
        (0.75, 0.315, 0.040, 1 / 16, -4.5),
        (0.75, 0.315, 0.040, 1 / 8, -14.0),
        (1.6, 0.160, 0.0415, 1 / 16, -2.6),
        (1.6, 0.160, 0.0415, 1 / 8, -7.6),
    ],
)
def test_rounding_all_corners_costs_its_derived_percentage(
    width: float, core: float, glass: float, radius: float, percent: float
) -> None:
    """Rounding four corners takes the derived percentage of stiffness, to half a percent."""
    layup = ([glass, core, glass], [GLASS_PSI, WOOD_PSI, GLASS_PSI], width, width)
    lost = bending_stiffness(*layup, radius).stiffness / bending_stiffness(*layup).stiffness - 1

    assert 100 * lost == pytest.approx(percent, abs=0.5)


@pytest.mark.parametrize(("narrower", "percent"), [(1 / 8, -5.0), (1 / 4, -11.0)])
def test_a_narrower_back_costs_about_the_mean_width_lost(narrower: float, percent: float) -> None:
    """Trapping the back of a 1.2 in limb takes about the share of mean width that it loses."""
    layup = ([0.04, 0.315, 0.04], [GLASS_PSI, WOOD_PSI, GLASS_PSI])
    lost = (
        bending_stiffness(*layup, 1.2 - narrower, 1.2).stiffness
        / bending_stiffness(*layup, 1.2, 1.2).stiffness
        - 1
    )

    assert 100 * lost == pytest.approx(percent, abs=0.5)
    assert lost == pytest.approx(-narrower / 2 / 1.2, abs=0.006)


# Wood's share of stiffness and the gain for .001 in of core, derived with the same two moduli; the share of
# the first row is also what a magazine's how-to article on recurves gives (12 %, 1950s-60s).
@pytest.mark.parametrize(
    ("core", "glass", "share_percent", "gain_percent"),
    [
        (0.160, 0.0415, 11, 1.1),
        (0.190, 0.040, 14, 1.0),
        (0.280, 0.040, 22, 0.7),
        (0.315, 0.040, 24, 0.66),
        (0.340, 0.050, 21, 0.6),
    ],
)
def test_wood_carries_its_derived_share(
    core: float, glass: float, share_percent: float, gain_percent: float
) -> None:
    """Wood's share of stiffness and the gain per thousandth of core follow two-material theory."""
    modulus = [GLASS_PSI, WOOD_PSI, GLASS_PSI]
    section = bending_stiffness([glass, core, glass], modulus, 1.0, 1.0)
    thicker = bending_stiffness([glass, core + 0.001, glass], modulus, 1.0, 1.0)

    assert 100 * section.shares[1] == pytest.approx(share_percent, abs=0.6)
    assert 100 * (thicker.stiffness / section.stiffness - 1) == pytest.approx(gain_percent, abs=0.06)


def test_bending_toward_the_string_stretches_the_back() -> None:
    """Strain is positive at the back, nought at the neutral axis, negative at the belly."""
    strains = strain(0.05, 0.2, [0.0, 0.2, 0.4])

    np.testing.assert_allclose(strains, [0.01, 0.0, -0.01])
