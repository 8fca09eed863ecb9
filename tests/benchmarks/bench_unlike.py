"""Times two unlike limbs: bows per second, and how many times a symmetric bow they take.

Seconds are of processor time, so that other work on the machine counts less.
Run `python -m tests.benchmarks.bench_unlike`.
"""

import time
from dataclasses import replace

import numpy as np

from predictor.mechanics.unlike import Drawn, TwoLimbs, brace, draw
from tests.benchmarks.bench_statics import DRAWS, HEIGHT, STRING, limbs, timed


def two_limbs(count: int, recurve: float) -> TwoLimbs:
    """Bows whose lower limbs are 5 % stiffer than the upper ones, held and nocked off the middle."""
    upper = limbs(count, recurve)
    lower = replace(upper, flexibility=upper.flexibility / 1.05)
    string, above, depth, height = (np.full(count, value) for value in (STRING, -0.5, 1.5, 0.25))
    return TwoLimbs(upper, lower, string, above, depth, height)


def timed_two(count: int, recurve: float) -> tuple[float, float, Drawn]:
    """Seconds to brace and to draw a batch, and what came of it."""
    bows = two_limbs(count, recurve)
    start = time.process_time()
    braced = brace(bows, HEIGHT)
    strung = time.process_time()
    drawn = draw(bows, braced, DRAWS)
    return strung - start, time.process_time() - strung, drawn


def main() -> None:
    """Print the table."""
    count = 10_000
    for name, recurve in (("no contact", -0.03), ("contact", -0.2)):
        alone, _, _ = timed(count, recurve)
        strung, pulled, drawn = timed_two(count, recurve)
        good = np.mean(drawn.status == 0)
        print(  # noqa: T201 - a command's output
            f"{name}: {count / (strung + pulled):.0f} bows/s at {len(DRAWS)} draws, {good:.1%} solved; "
            f"brace {strung:.2f} s, draws {pulled:.2f} s, {(strung + pulled) / alone:.1f} times a symmetric bow"
        )


if __name__ == "__main__":
    main()
