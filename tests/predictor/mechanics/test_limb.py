"""From dimensions to grid: steps on jumps, known deflections, batches, and what the sections say."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.integrate import quad

from predictor.mechanics.limb import Layer, Limb, limb_grid, limb_sections
from predictor.mechanics.section import bending_stiffness
from tests.predictor.profiles import arc_profile

GLASS_PSI = 5.6e6
WOOD_PSI = 2.0e6
LENGTH = 26.0
OVERHANG = 27.0


def _plain(width_tip: float = 1.0, thickness_tip: float = 0.4, length: float = LENGTH) -> Limb:
    """A square-edged limb of one wood, 1 in wide and 0.4 in thick at the fade."""
    width = ((0.0, length), (1.0, width_tip))
    return Limb(
        length=length,
        layers=(Layer(((0.0, length), (0.4, thickness_tip)), WOOD_PSI),),
        width_back=width,
        width_belly=width,
        edge_radius=((0.0,), (0.0,)),
        profile=arc_profile(length, root_distance=9.0),
    )


def _laminated(power_end: float = 7.3) -> Limb:
    """A trapped, rounded longbow limb with glue lines and a power lam that runs out."""
    core = Layer(((-9.0, OVERHANG), (0.15, 0.11)), WOOD_PSI)
    glass = Layer(((-9.0, OVERHANG), (0.04, 0.04)), GLASS_PSI)
    power = Layer(((-9.0, power_end), (0.09, 0.03)), WOOD_PSI)
    return Limb(
        length=LENGTH,
        layers=(glass, core, power, core, glass),
        width_back=((0.0, 13.0, LENGTH), (1.15, 0.95, 0.5)),
        width_belly=((0.0, 13.0, LENGTH), (1.25, 1.05, 0.5)),
        edge_radius=((0.0,), (0.05,)),
        profile=arc_profile(LENGTH, 0.004, root_distance=9.0, root_depth=0.1, root_angle=0.05),
        glue_thickness=0.004,
        glue_modulus=5e5,
    )


def _bending(limb: Limb, steps: int) -> float:
    """Tip deflection of the limb, clamped at the fade, per unit load across its nock: ∫ (L − s)² / EI ds."""
    sections = limb_sections([limb], steps)
    lever = LENGTH - sections.station[0]
    parts = lever**2 * sections.grid.flexibility[0] @ np.array([1.0, 4.0, 1.0]) / 6
    return float(parts @ sections.grid.step[0])


def test_steps_run_from_nock_to_fade_without_gaps() -> None:
    """Each step begins where the last ended, the first at the nock, the last at the fade."""
    sections = limb_sections([_laminated()], 40)
    station = sections.station[0]

    assert station.shape == (40, 3)
    assert station[0, 0] == LENGTH
    assert station[-1, 2] == 0.0
    np.testing.assert_array_equal(station[1:, 0], station[:-1, 2])
    np.testing.assert_allclose(sections.grid.step[0], station[:, 0] - station[:, 2])


def test_steps_end_on_every_kink() -> None:
    """Lam ends, width stations and jumps of curvature are ends of steps; steps are near even otherwise."""
    limb = replace(_laminated(7.3), profile=replace(_laminated().profile, breakpoints=(20.1, 21.0)))
    sections = limb_sections([limb], 48)
    ends = sections.station[0, :, 0]

    for kink in (7.3, 13.0, 20.1, 21.0):
        assert kink in ends
    assert sections.grid.step.max() < 1.5 * LENGTH / 48


def test_a_lam_that_ends_is_there_up_to_its_end_only() -> None:
    """Stiffness jumps at the power lam's end, where both neighbouring steps hold their own value."""
    sections = limb_sections([_laminated(7.3)], 48)
    outside = sections.station[0, :, 2] == 7.3
    inside = sections.station[0, :, 0] == 7.3

    assert sections.thickness[0, inside, 0] - sections.thickness[0, outside, 2] == pytest.approx(
        0.03 + 0.004, abs=2e-3
    )
    assert np.all(sections.layer_shares[0, outside, 2, 2] == 0.0)
    assert np.all(sections.layer_shares[0, inside, 0, 2] > 0.0)


@pytest.mark.parametrize("ratio", [1.0, 0.75, 0.5, 1 / 3, 0.25])
def test_width_taper_bends_as_the_closed_form(ratio: float) -> None:
    """Of width tapered to r = 1 − k: deflection c P L³ / 3 EI with c = 3 (1/2k − r/k² − r² ln r / k³)."""
    k = 1.0 - ratio
    factor = 1.0 if k == 0 else 3 * (1 / (2 * k) - ratio / k**2 - ratio**2 / k**3 * np.log(ratio))
    stiffness = WOOD_PSI * 0.4**3 / 12

    assert _bending(_plain(width_tip=ratio), 48) == pytest.approx(
        factor * LENGTH**3 / (3 * stiffness), rel=1e-6
    )


@pytest.mark.parametrize("ratio", [0.75, 0.5, 1 / 3, 0.25])
def test_thickness_taper_bends_as_the_closed_form(ratio: float) -> None:
    """A limb whose thickness tapers to r: c = (3/k³)(−ln r + 2r − r²/2 − 3/2)."""
    k = 1.0 - ratio
    factor = 3 / k**3 * (-np.log(ratio) + 2 * ratio - ratio**2 / 2 - 1.5)
    stiffness = WOOD_PSI * 0.4**3 / 12

    assert _bending(_plain(thickness_tip=0.4 * ratio), 48) == pytest.approx(
        factor * LENGTH**3 / (3 * stiffness), rel=1e-6
    )


def test_halved_thickness_is_the_textbook_cantilever() -> None:
    """Thickness tapered to half deflects by (ln 2 − 5/8) P L³ / E I_tip (Gere; attribution from memory)."""
    tip = WOOD_PSI * 0.2**3 / 12

    assert _bending(_plain(thickness_tip=0.2), 48) == pytest.approx(
        (np.log(2) - 5 / 8) * LENGTH**3 / tip, rel=1e-6
    )


def _exact_bending(limb: Limb, power_end: float) -> float:
    """The same deflection by adaptive quadrature over sections worked out one by one (computed)."""

    def at(station: float) -> float:
        thickness: list[float] = []
        modulus: list[float] = []
        for layer in limb.layers:
            stations, values = layer.thickness
            if stations[0] <= station <= stations[-1]:
                if thickness:
                    thickness.append(limb.glue_thickness)
                    modulus.append(limb.glue_modulus)
                thickness.append(float(np.interp(station, stations, values)))
                modulus.append(layer.modulus)
        back, belly = (float(np.interp(station, *width)) for width in (limb.width_back, limb.width_belly))
        return (LENGTH - station) ** 2 / float(
            bending_stiffness(thickness, modulus, back, belly, 0.05).stiffness
        )

    pieces = [(0.0, power_end), (power_end + 1e-12, 13.0), (13.0, LENGTH)]
    return sum(quad(at, low, high, epsrel=1e-11)[0] for low, high in pieces)


def test_steps_on_jumps_are_worth_having() -> None:
    """Of 24 steps, those on the power lam's end are right to 1e-6, and even ones across it miss 0.1 %."""
    limb = _laminated(7.3)
    exact = _exact_bending(limb, 7.3)
    even = np.linspace(LENGTH, 0.0, 25)
    nodes = np.stack([even[:-1], (even[:-1] + even[1:]) / 2, even[1:]], axis=-1)
    fine = limb_sections([limb], 2000)
    order = np.argsort(fine.station.ravel())
    sampled = np.interp(nodes, fine.station.ravel()[order], fine.grid.flexibility.ravel()[order])
    across = float((((LENGTH - nodes) ** 2 * sampled) @ np.array([1.0, 4.0, 1.0]) / 6).sum() * LENGTH / 24)

    assert _bending(limb, 24) == pytest.approx(exact, rel=1e-6)
    assert abs(across / exact - 1) > 1e-3


def test_convergence_is_of_fourth_order() -> None:
    """Twice the steps leave about a sixteenth of the error."""
    limb = _plain(thickness_tip=0.1)
    exact = (3 / 0.75**3 * (-np.log(0.25) + 0.5 - 0.03125 - 1.5)) * LENGTH**3 / (3 * WOOD_PSI * 0.4**3 / 12)
    coarse, fine = (abs(_bending(limb, steps) - exact) for steps in (12, 24))

    assert 12 < coarse / fine < 20


def test_batch_equals_one_by_one() -> None:
    """Limbs of different make in one batch get what they get alone, over more than one block."""
    limbs = [_plain(0.5), _laminated(), _plain(1.0, 0.3, 24.0), _laminated(5.0)] * 10 + [_plain()] * 40
    batch = limb_sections(limbs, 30)

    for row in (0, 1, 2, 39, 79):
        alone = limb_sections([limbs[row]], 30)
        for name in (
            "step",
            "flexibility",
            "unstrung_curvature",
            "nock_offset",
            "root_distance",
            "root_depth",
            "root_angle",
        ):
            np.testing.assert_allclose(
                getattr(batch.grid, name)[row], getattr(alone.grid, name)[0], rtol=1e-13
            )
        lams = len(limbs[row].layers)
        np.testing.assert_allclose(
            batch.layer_shares[row, ..., :lams], alone.layer_shares[0], rtol=1e-12, atol=1e-15
        )
        assert np.all(batch.layer_shares[row, ..., lams:] == 0.0)
    np.testing.assert_array_equal(limb_grid(limbs, 30).flexibility, batch.grid.flexibility)


def _log_stiffness(limb: Limb) -> NDArray[np.float64]:
    return np.asarray(np.log(limb_sections([limb]).stiffness[0]))


def test_shares_chain_to_the_whole_limb() -> None:
    """A lam's modulus raises log EI at every node by the lam's share, and shares add up with the glue's."""
    limb = _laminated()
    sections = limb_sections([limb])
    stiffer = [
        replace(layer, modulus=layer.modulus * (1 + 1e-5 * (place == 1)))
        for place, layer in enumerate(limb.layers)
    ]
    slope = (_log_stiffness(replace(limb, layers=tuple(stiffer))) - _log_stiffness(limb)) / np.log1p(1e-5)

    np.testing.assert_allclose(slope, sections.layer_shares[0, ..., 1], atol=1e-5)
    np.testing.assert_allclose(sections.layer_shares.sum(axis=-1) + sections.glue_share, 1.0, rtol=1e-12)


def test_faces_of_lams_lie_in_order() -> None:
    """Lams lie back to belly with a glue line between, the first on the back, the last on the belly."""
    sections = limb_sections([_laminated()])

    assert np.all(sections.layer_back[..., 0] == 0.0)
    np.testing.assert_allclose(sections.layer_belly[..., -1], sections.thickness)
    gaps = sections.layer_back[..., 1:] - sections.layer_belly[..., :-1]
    assert gaps.min() > -1e-15
    assert gaps.max() == pytest.approx(0.004)


def test_the_string_sits_half_the_tip_off_the_neutral_axis() -> None:
    """Unless it is told, the string's offset is half the limb's thickness at the nock."""
    limb = _laminated()
    sections = limb_sections([limb, replace(limb, nock_offset=0.2)])

    assert sections.grid.nock_offset[0] == pytest.approx(sections.thickness[0, 0, 0] / 2)
    assert sections.grid.nock_offset[1] == 0.2


def test_values_hold_beyond_their_end_stations() -> None:
    """Widths noted from 2 in to 20 in hold their end values outside."""
    limb = replace(_plain(), width_back=((2.0, 20.0), (1.2, 0.8)), width_belly=((2.0, 20.0), (1.2, 0.8)))
    sections = limb_sections([limb])
    width = sections.stiffness[0] / (WOOD_PSI * 0.4**3 / 12)

    np.testing.assert_allclose(width, np.interp(sections.station[0], [2.0, 20.0], [1.2, 0.8]), rtol=1e-12)


@pytest.mark.parametrize(
    ("limb", "message"),
    [
        (replace(_plain(), length=0.0), "wanted a limb length above zero, got 0"),
        (replace(_plain(), layers=()), r"wanted lams, got none"),
        (
            replace(_plain(), layers=(Layer(((0.0, 20.0), (0.4, 0.3)), 2e6),)),
            r"got none 2\d\.\d\d in from the fade",
        ),
        (_plain(width_tip=-0.2), r"wanted a limb of some thickness and width, got none"),
        (replace(_plain(), width_back=((0.0, 9.0, 5.0), (1.0, 1.0, 0.8))), "strictly ascending order"),
    ],
)
def test_a_limb_that_is_none_is_refused(limb: Limb, message: str) -> None:
    """A limb without length, lams or width somewhere is refused in one line that says where."""
    with pytest.raises(ValueError, match=message):
        limb_grid([limb])


@pytest.mark.parametrize("asked", [8, 48])
def test_more_kinks_than_steps_get_more_steps(asked: int) -> None:
    """A limb measured at 60 places has a step end at each, and bends as if it were measured at two."""
    stations = tuple(float(x) for x in np.linspace(0.0, LENGTH, 60))
    straight = _plain(width_tip=0.5)
    width = (stations, tuple(float(x) for x in np.linspace(1.0, 0.5, 60)))
    limb = replace(straight, width_back=width, width_belly=width)
    sections = limb_sections([limb, straight], asked)

    assert sections.station.shape == (2, 59, 3)
    np.testing.assert_allclose(sections.station[0, :, 2], stations[-2::-1], atol=1e-12)
    assert _bending(limb, asked) == pytest.approx(_bending(straight, 200), rel=1e-6)


def test_no_limbs_are_refused() -> None:
    """An empty batch is refused."""
    with pytest.raises(ValueError, match="wanted at least one limb, got none"):
        limb_grid([])
