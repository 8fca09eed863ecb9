"""How errors and intervals have come down as builds came in: each time the first builds foretell the later ones."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.special import ndtri
from threadpoolctl import threadpool_limits

from training.evaluate import learned
from training.evidence import Evidence
from training.questions import Question

STOPS = (0, 1, 2, 3, 5, 8, 12, 20, 30, 50, 80, 130, 200, 300, 500, 800)
"""Numbers of builds after which it is looked ahead."""

MOST_LATER = 40
"""So many of the builds that came next are foretold."""

LEVEL = 0.9


@dataclass(frozen=True)
class Point:
    """What the first builds said of those that came next.

    Attributes:
        builds: that had taught.
        later: builds foretold.
        median_percent: median absolute error: half of the builds came nearer.
        rms_percent: root mean square of the errors, in which one slip of the pencil weighs much.
        half_width_percent: mean half width of the 90 % intervals.
        inside: how many lay inside.
    """

    builds: int
    later: int
    median_percent: float
    rms_percent: float
    half_width_percent: float
    inside: int


def curve(
    evidence: Evidence,
    asked: Sequence[Question],
    track: Callable[[Sequence[Any], str], Iterable[Any]],
) -> tuple[Point, ...]:
    """Fit the first builds at every stop, and foretell those that came next.

    Each time they teach all but how the shop carries out its plans, which is told from the whole book.

    Args:
        evidence: of the whole book.
        asked: one reading a build, in the order of time.
        track: tells how far it has come.
    """
    stops = [stop for stop in STOPS if stop < len(asked)]
    return tuple(_point(evidence, asked, stop) for stop in track(stops, "fitting the first builds"))


def _point(evidence: Evidence, asked: Sequence[Question], stop: int) -> Point:
    later = asked[stop : stop + MOST_LATER]
    with threadpool_limits(limits=1, user_api="blas"):
        taught = learned(evidence.weighings, [question.build for question in asked[:stop]])
    foretold = taught.answers(later)
    read = np.array([question.log_weight for question in later])
    errors = np.expm1(read - foretold.quantile(0.5))
    reach = foretold.quantile((1 + LEVEL) / 2) - foretold.quantile((1 - LEVEL) / 2)
    inside = np.abs(foretold.normal_score(read)) <= ndtri((1 + LEVEL) / 2)
    return Point(
        builds=stop,
        later=len(later),
        median_percent=100 * float(np.median(np.abs(errors))),
        rms_percent=100 * float(np.sqrt(np.mean(errors**2))),
        half_width_percent=100 * float(np.mean(reach)) / 2,
        inside=int(inside.sum()),
    )
