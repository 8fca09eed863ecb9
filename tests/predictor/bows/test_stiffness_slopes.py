"""How stiffness changes with dimensions: a rectangle's closed form, and differences of sections."""

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from predictor.bows.stiffness_slopes import stiffness_slopes
from predictor.mechanics.section import bending_stiffness

STEP = 1e-6

Arguments = tuple[np.ndarray, np.ndarray, float, float, float]


def slopes(whole: Arguments) -> np.ndarray:
    """Return all slopes of one section: by its layers, then by back, belly and radius."""
    _, modulus, back, belly, radius = whole
    section = bending_stiffness(*whole)
    found = stiffness_slopes(section, modulus, np.array(back), np.array(belly), np.array(radius))
    return np.array([*found.thickness, found.width_back, found.width_belly, found.edge_radius])


def differences(whole: Arguments) -> np.ndarray:
    """Return central differences of log EI by the same dimensions."""
    thickness, modulus, *rest = whole
    plain = np.array([*thickness, *rest])
    lams = len(thickness)

    def log_stiffness(numbers: np.ndarray) -> Any:
        return np.log(bending_stiffness(numbers[:lams], modulus, *numbers[lams:]).stiffness)

    steps = STEP * np.eye(len(plain))
    return np.array(
        [(log_stiffness(plain + step) - log_stiffness(plain - step)) / (2 * STEP) for step in steps]
    )


def test_a_rectangle_goes_with_width_and_the_cube_of_thickness() -> None:
    """For a single layer d log EI is 3 dt / t, and dw / w for both widths together."""
    found = slopes((np.array([0.5]), np.array([2e6]), 1.5, 1.5, 0.0))

    np.testing.assert_allclose(found, [3 / 0.5, 0.5 / 1.5, 0.5 / 1.5, 0.0], rtol=1e-12, atol=1e-15)


@given(
    st.lists(st.tuples(st.floats(0.02, 0.2), st.floats(0.5e6, 7e6)), min_size=1, max_size=5),
    st.floats(0.4, 2.0),
    st.floats(0.4, 2.0),
    st.floats(0.001, 0.3),
)
def test_slopes_agree_with_differences(
    layers: list[tuple[float, float]], back: float, belly: float, radius: float
) -> None:
    """Stacks, trapped sides and any radius: every slope is the central difference, to 1e-5 of the largest."""
    thickness, modulus = np.array(layers).T
    bound = min(thickness.sum(), back, belly) / 2
    if abs(radius - bound) < 10 * STEP or abs(belly - back) < 10 * STEP:
        return  # at the very bound, and where either face is as narrow, the slopes jump
    whole: Arguments = (thickness, modulus, back, belly, radius)
    by_difference = differences(whole)

    np.testing.assert_allclose(
        slopes(whole), by_difference, rtol=1e-5, atol=1e-5 * np.abs(by_difference).max()
    )


@pytest.mark.parametrize("narrow", ["back", "belly"])
def test_a_radius_that_a_face_bounds_grows_with_the_face(narrow: str) -> None:
    """Where the narrower face cannot hold the radius, widening it enlarges the corners too."""
    widths = {"back": 0.5, "belly": 0.5} | {narrow: 0.3}
    whole: Arguments = (np.array([0.3, 0.3]), np.array([5e6, 2e6]), widths["back"], widths["belly"], 0.25)

    np.testing.assert_allclose(slopes(whole), differences(whole), rtol=1e-6, atol=1e-7)
