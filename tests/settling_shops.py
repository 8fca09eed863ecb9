"""Finished bows that came back to be weighed, drawn with a law of settling that is known."""

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from datasets.schema import Stage
from predictor.belief.columns import COMMON_PRIORS, Columns, Moment, Tolerance
from predictor.belief.scatter import BOW, BUILD_COLUMNS, SHOOTING_IN
from predictor.belief.settling import settling
from predictor.belief.weighings import Weighing

Array = NDArray[np.float64]
LossLaw = Callable[[float], float]
"""Share of the loss at 500 shots that has come about after some shots."""


def bows(
    rng: np.random.Generator,
    law: LossLaw,
    count: int,
    shots: Sequence[Sequence[int]],
    *,
    loss: float = 0.012,
    climate: float = 0.01,
) -> list[Weighing]:
    """Return the weighings of some bows.

    Args:
        rng: source of chance.
        law: the true one.
        count: of bows.
        shots: before each weighing of a bow, the bows taking turns.
        loss: mean loss at 500 shots; a bow's own strays by two fifths of it.
        climate: log sd of one weighing by the air.
    """
    found = []
    for bow in range(count):
        level, own = rng.normal(0, 0.03), rng.gamma(6.25, loss / 6.25)
        for number, shot in enumerate(shots[bow % len(shots)]):
            off = level - own * law(shot) + rng.normal(0, climate)
            found.append(weighing(f"K-{bow:03d}", number, shot, off + rng.normal(0, 0.004, 3), climate))
    return found


def weighing(bow: str, number: int, shots: int, off: Array, climate: float) -> Weighing:
    """Return a weighing, each on a day of its own, whose readings stray from the statics by some logarithms."""
    stage = Stage.SETTLED if number else Stage.FINISHED
    ones, none = np.ones_like(off), np.zeros_like(off)
    build = dict.fromkeys(BUILD_COLUMNS, none) | {BOW: ones, SHOOTING_IN: ones * settling(shots, stage)}
    told = Columns(
        offset=none,
        sizes_in={},
        common={SHOOTING_IN: ones * settling(shots, stage)},
        priors={SHOOTING_IN: COMMON_PRIORS[SHOOTING_IN]},
        groups={},
        build=build,
        tolerances=(),
        weighing=(Tolerance("air", "air", ones * climate, f"day {number}"),),
        sd=ones * 0.004,
    )
    return Weighing(bow, f"{bow}/{number}", Moment("plain/1", (27.0, 28.0, 29.0), stage, shots), told, off)
