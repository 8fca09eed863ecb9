"""Digits follow from the interval, and halves round up."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reports.numbers import as_read, counted, decimals_for, fixed, with_intervals

# The worked examples of the Particle Data Group's rule (introduction of the Review of Particle Physics, from memory):
# 0.827 +- 0.119 is printed 0.83 +- 0.12, and 0.827 +- 0.367 is printed 0.8 +- 0.4.


@pytest.mark.parametrize(
    ("uncertainty", "decimals"),
    [
        (0.119, 2),
        (0.367, 1),
        (0.354, 2),
        (0.355, 1),
        (0.949, 1),
        (0.950, 1),
        (0.999, 1),
        (3.2, 1),
        (5.0, 0),
        (36.0, -1),
    ],
)
def test_decimals(uncertainty: float, decimals: int) -> None:
    """The number of decimals follows the published rule."""
    assert decimals_for(uncertainty) == decimals


def test_published_examples() -> None:
    """The rule's own examples print as published."""
    assert fixed(0.827, decimals_for(0.119)) == "0.83"
    assert fixed(0.827, decimals_for(0.367)) == "0.8"


@pytest.mark.parametrize(
    ("value", "decimals", "text"), [(2.675, 2, "2.68"), (0.5, 0, "1"), (-0.04, 1, "0.0"), (1250, -2, "1300")]
)
def test_halves_round_up(value: float, decimals: int, text: str) -> None:
    """Halves go away from zero, as read in decimal, and there is no minus zero."""
    assert fixed(value, decimals) == text


@given(st.floats(1e-4, 1e4))
def test_digits_scale(uncertainty: float) -> None:
    """Ten times the uncertainty takes one decimal away."""
    assert decimals_for(10 * uncertainty) in {decimals_for(uncertainty) - 1}


@pytest.mark.parametrize("uncertainty", [0.0, -1.0, float("nan"), float("inf")])
def test_refusal(uncertainty: float) -> None:
    """An uncertainty that is not a positive number is refused."""
    with pytest.raises(ValueError, match="positive uncertainty"):
        decimals_for(uncertainty)


def test_interval_digits() -> None:
    """A weight known to a few pounds prints with one decimal or none, not with the float's digits."""
    assert with_intervals([(51.2837, 48.1, 54.5)]) == [("51.3", "48.1", "54.5")]
    assert with_intervals([(51.2837, 44.0, 58.0)]) == [("51", "44", "58")]


def test_columns_have_one_number_of_decimals() -> None:
    """The narrowest interval and the finest reading say how many; hundredths are the finest kept of a reading."""
    rows = [(51.2837, 48.1, 54.5), (60.0, 50.0, 70.0)]

    assert with_intervals(rows) == [("51.3", "48.1", "54.5"), ("60.0", "50.0", "70.0")]
    assert with_intervals([]) == []
    assert as_read([45, 45.5, 45.25]) == ["45.00", "45.50", "45.25"]
    assert as_read([45.0, 100.0]) == ["45", "100"]
    assert as_read([23.58686]) == ["23.59"]


def test_one_thing_has_no_s() -> None:
    """One build is no builds; none and several are."""
    assert [counted(count, "build") for count in (0, 1, 2)] == ["0 builds", "1 build", "2 builds"]
