"""How errors and intervals have come down as builds came in: the first builds foretell the newest, always the same."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri
from threadpoolctl import threadpool_limits

from training.checking.evaluate import learned
from training.checking.questions import Question
from training.learning.evidence import Evidence
from training.progress import Track

STOPS = (0, 1, 2, 3, 5, 8, 12, 20, 30, 50, 80, 130, 200, 300, 500, 800)
"""Numbers of builds after which it is looked ahead."""

MOST_LATER, LATER_SHARE = 40, 0.35
"""The newest builds that are foretold at every stop: at most so many, and this share of all."""

LEVEL = 0.9


@dataclass(frozen=True)
class Point:
    """What the first builds said of the newest.

    Attributes:
        builds: that had taught.
        later: builds foretold.
        off_percent: absolute error of each, in the order of time; the same bows at every stop.
        median_percent: median of these: half of the builds came nearer.
        rms_percent: root mean square of the errors, in which one slip of the pencil weighs much.
        half_width_percent: mean half width of the 90 % intervals.
        inside: how many lay inside.
    """

    builds: int
    later: int
    off_percent: tuple[float, ...]
    median_percent: float
    rms_percent: float
    half_width_percent: float
    inside: int


def curve(
    evidence: Evidence,
    asked: Sequence[Question],
    track: Track,
) -> tuple[Point, ...]:
    """Fit the first builds at every stop, and foretell the newest, which have taught at none.

    Each time they teach all but how the shop carries out its plans, which is told from the whole book.

    Args:
        evidence: of the whole book.
        asked: one reading a build, in the order of time.
        track: tells how far it has come.
    """
    before = len(asked) - min(len(asked), MOST_LATER, max(1, round(LATER_SHARE * len(asked))))
    stops = [stop for stop in STOPS if stop <= before and asked]
    return tuple(
        _point(evidence, asked[:stop], asked[before:]) for stop in track(stops, "fitting the first builds")
    )


def _point(evidence: Evidence, first: Sequence[Question], later: Sequence[Question]) -> Point:
    with threadpool_limits(limits=1, user_api="blas"):
        taught = learned(evidence.weighings, [question.build for question in first])
    foretold = taught.answers(later)
    read = np.array([question.log_weight for question in later])
    off = 100 * np.abs(np.expm1(read - foretold.quantile(0.5)))
    reach = foretold.quantile((1 + LEVEL) / 2) - foretold.quantile((1 - LEVEL) / 2)
    inside = np.abs(foretold.normal_score(read)) <= ndtri((1 + LEVEL) / 2)
    return Point(
        builds=len(first),
        later=len(later),
        off_percent=tuple(off.tolist()),
        median_percent=float(np.median(off)),
        rms_percent=float(np.sqrt(np.mean(off**2))),
        half_width_percent=100 * float(np.mean(reach)) / 2,
        inside=int(inside.sum()),
    )
