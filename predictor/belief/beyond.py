"""How far weight is believed to go by the statics beyond the sizes that a shop's bows have had.

Within the sizes of its bows a shop learns what the statics leave out. Beyond them it leans on how the statics' weight
goes with a size, and that is a power of it: near the third of the stack, near minus the third of the limb's length, the
first of the width. Each of these exponents is believed to a twentieth of itself, as the weight itself is where no bow
has shown it.

A shop's truth would have to be so for one standard deviation: weight goes with the stack to the power 2.85 or 3.15
rather than 3. A bow whose every stack is noted .015 in thinner than it is, by glue that nobody counted, is such a one
at .3 in, for d log(t + c)^3 / d log t = 3 t / (t + c); so is one whose limb bends an inch and a quarter farther into
the fade than is noted, at 25 in. Both sizes are guesses: common practice, no source.
"""

from collections.abc import Iterator, Mapping
from math import log
from typing import NamedTuple

STACK, LENGTH, WIDTH = "stack at mid-limb", "limb length", "width at mid-limb"
"""Names of a bow's main dimensions."""

EXPONENT_SDS = {STACK: 0.15, LENGTH: 0.15, WIDTH: 0.05}
"""Standard deviation of what is to be added to the statics' exponent of each dimension."""

BEYOND = {
    STACK: "statics beyond the stacks seen so far",
    LENGTH: "statics beyond the limb lengths seen so far",
    WIDTH: "statics beyond the widths seen so far",
}
"""What these exponents are called among the sources of doubt."""

Ranges = Mapping[str, tuple[float, float]]
"""Smallest and largest that a shop's bows have had of each dimension, in inches."""


class Beyond(NamedTuple):
    """A dimension that no bow has reached.

    Attributes:
        name: of the doubtful exponent.
        log_ratio: logarithm of the size over the nearest one that a bow had: below zero where it is smaller.
        exponent_sd: standard deviation of the exponent.
    """

    name: str
    log_ratio: float
    exponent_sd: float


def beyond(sizes_in: Mapping[str, float], seen_in: Ranges) -> Iterator[Beyond]:
    """Yield the dimensions of a bow that lie beyond those of a shop's bows; none before it has taught anything.

    Args:
        sizes_in: of the bow by name, in inches.
        seen_in: of the shop.
    """
    for dimension, (low, high) in seen_in.items():
        size = sizes_in[dimension]
        nearest = min(max(size, low), high)
        if size != nearest:
            yield Beyond(BEYOND[dimension], log(size / nearest), EXPONENT_SDS[dimension])
