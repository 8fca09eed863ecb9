"""How numbers are printed: digits follow from the interval, and halves round up.

The rule for digits is the one of the Particle Data Group (Review of Particle Physics, introduction, section 5.3, from
memory): with the first three digits of the uncertainty between 100 and 354 two of them are kept, between 355 and 949
one, and from 950 it counts as 1000 with two kept.
"""

from collections.abc import Sequence
from math import floor, isfinite, log10

from datasets.notation import round_half_up

Row = tuple[float, float, float]
"""A value and the ends of its interval."""


def counted(count: int, thing: str) -> str:
    """Return a number of things with their noun: `1 build`, `2 builds`."""
    return f"{count} {thing}" if count == 1 else f"{count} {thing}s"


def decimals_for(uncertainty: float) -> int:
    """Return how many decimals a value with this uncertainty deserves; negative for tens and hundreds.

    Args:
        uncertainty: half the width of its interval, in the unit that is printed.

    Raises:
        ValueError: the uncertainty is not a positive number.
    """
    if not isfinite(uncertainty) or uncertainty <= 0:
        raise ValueError(f"wanted a positive uncertainty, got {uncertainty}")
    exponent = floor(log10(uncertainty))
    leading = round_half_up(uncertainty / 10.0**exponent * 100, 0)
    if leading >= 1000:
        exponent, leading = exponent + 1, leading / 10
    two_digits = leading < 355 or leading >= 950
    if leading >= 950:
        exponent += 1
    return (1 if two_digits else 0) - exponent


def fixed(value: float, decimals: int) -> str:
    """Return a value as text, rounded half up to so many decimals."""
    return f"{round_half_up(value, decimals):f}"


def with_intervals(rows: Sequence[Row]) -> list[tuple[str, str, str]]:
    """Return values and their intervals' ends as text, all with the digits that the narrowest interval deserves."""
    decimals = max((decimals_for((high - low) / 2) for _, low, high in rows), default=0)
    return [
        (fixed(value, decimals), fixed(low, decimals), fixed(high, decimals)) for value, low, high in rows
    ]


def as_read(values: Sequence[float], most: int = 2) -> list[str]:
    """Return readings as text with as many decimals as the finest of them has, `most` at most."""
    digits = [round_half_up(value, most).normalize() for value in values]
    decimals = max((len(f"{number:f}".partition(".")[2]) for number in digits), default=0)
    return [fixed(value, decimals) for value in values]
