"""One draw length told from three zero points."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from datasets.record import ZeroPoint
from datasets.zero_points import from_back, from_zero

depths = st.floats(0.5, 4)
draws = st.floats(10, 40)


@pytest.mark.parametrize("depth", [1.5, 1.75, 2.5])
def test_standard_is_pivot_plus_an_inch_and_three_quarters(depth: float) -> None:
    """26 1/4 in to the pivot point is 28 in (AMO Field Publication FP-3), whatever the handle."""
    from_pivot = from_back(26.25, ZeroPoint.PIVOT, depth)

    assert from_pivot == pytest.approx(from_back(28, ZeroPoint.STANDARD, depth), abs=1e-12)
    assert from_zero(from_pivot, ZeroPoint.STANDARD, depth) == pytest.approx(28, abs=1e-12)


def test_the_back_is_the_standard_at_an_ordinary_handle_only() -> None:
    """The dealers' shortcut, back of the bow, is the standard where the handle is 1 3/4 in deep (FP-3)."""
    assert from_back(28, ZeroPoint.STANDARD, 1.75) == pytest.approx(28)
    assert from_back(28, ZeroPoint.STANDARD, 2.5) == pytest.approx(28.75)
    assert from_back(28, ZeroPoint.BACK, 2.5) == 28


@given(draws, st.sampled_from(ZeroPoint), depths)
def test_there_and_back(inch: float, zero: ZeroPoint, depth: float) -> None:
    """Telling a length from the back and from its own zero point again gives the length."""
    assert from_zero(from_back(inch, zero, depth), zero, depth) == pytest.approx(inch, abs=1e-12)


@given(draws, depths)
def test_zero_points_keep_their_distances(inch: float, depth: float) -> None:
    """At one string position the draw from the back exceeds that from the pivot by the handle's depth."""
    back = from_back(inch, ZeroPoint.BACK, depth)

    assert back - from_zero(back, ZeroPoint.PIVOT, depth) == pytest.approx(depth, abs=1e-12)
    assert from_zero(back, ZeroPoint.STANDARD, depth) - from_zero(
        back, ZeroPoint.PIVOT, depth
    ) == pytest.approx(1.75)
