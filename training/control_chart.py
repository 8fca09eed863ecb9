"""Standardised errors in order of time: whether they have shifted, by the charts of statistical process control.

Errors are of left-out builds, so with a right model they scatter about 0 with standard deviation 1: a chart with
standards given. Builds of one lot stray together, which raises more alarms than independent errors would.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import pi, sqrt

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

RANGE_OF_TWO = 2 / sqrt(pi)
"""Mean range of two standard normal numbers: the constant d2 for moving ranges of two."""

EWMA_SHARE, EWMA_REACH = 0.2, 2.962
"""Weight of the newest error in the moving average, and its limits in standard deviations: one false alarm in 500
builds. Montgomery, Introduction to Statistical Quality Control, table of EWMA schemes (from memory)."""

BUILDS_A_FALSE_ALARM = 92
"""So many builds lie between two false alarms of the run rules on average, if errors are independent: Champ and
Woodall, Technometrics 29 (1987), 393-399, give 91.75 (from memory)."""


@dataclass(frozen=True)
class Rule:
    """A run rule: so many of the latest errors, all on one side, beyond so many standard deviations.

    Attributes:
        told: in words.
        needed: how many.
        among: of the latest how many.
        beyond: how far out.
    """

    told: str
    needed: int
    among: int
    beyond: float


RULES = (
    Rule("one beyond 3 sd", 1, 1, 3.0),
    Rule("two of three beyond 2 sd on one side", 2, 3, 2.0),
    Rule("four of five beyond 1 sd on one side", 4, 5, 1.0),
    Rule("eight in a row on one side", 8, 8, 0.0),
)
"""Western Electric, Statistical Quality Control Handbook (1956), from memory."""


@dataclass(frozen=True)
class Alarm:
    """A run rule that was broken.

    Attributes:
        rule: which.
        places: of the errors that broke it, in order of time; the last one raised the alarm.
    """

    rule: Rule
    places: tuple[int, ...]


def alarms(scores: Sequence[float]) -> list[Alarm]:
    """Return every alarm of the run rules, in order of time; one that goes on is told once.

    Args:
        scores: errors in standard deviations, in order of time.
    """
    found = [alarm for rule in RULES for alarm in _first_of_each_run(_broken(scores, rule))]
    return sorted(found, key=lambda alarm: alarm.places[-1])


def _broken(scores: Sequence[float], rule: Rule) -> Iterator[Alarm]:
    for end in range(1, len(scores) + 1):
        window = range(max(0, end - rule.among), end)
        for side in (1, -1):
            out = tuple(place for place in window if side * scores[place] > rule.beyond)
            if len(out) >= rule.needed and out[-1] == end - 1:
                yield Alarm(rule, out)


def _first_of_each_run(found: Iterator[Alarm]) -> Iterator[Alarm]:
    """Yield alarms that do not only carry on the one before."""
    last = -2
    for alarm in found:
        if alarm.places[-1] != last + 1:
            yield alarm
        last = alarm.places[-1]


@dataclass(frozen=True)
class MovingAverage:
    """Exponentially weighted moving average of errors, and its limits, shape (n,) each."""

    value: Array
    limit: Array


def moving_average(scores: Sequence[float]) -> MovingAverage:
    """Return the moving average from 0 on, with limits that widen to their final distance.

    Source: Roberts, Technometrics 1 (1959), 239-250 (from memory): the variance after t errors is
    share / (2 - share) (1 - (1 - share)^(2 t)).
    """
    value = np.zeros(len(scores))
    before = 0.0
    for place, score in enumerate(scores):
        before = value[place] = EWMA_SHARE * score + (1 - EWMA_SHARE) * before
    steps = np.arange(1, len(scores) + 1)
    variance = EWMA_SHARE / (2 - EWMA_SHARE) * (1 - (1 - EWMA_SHARE) ** (2 * steps))
    return MovingAverage(value, EWMA_REACH * np.sqrt(variance))


def sd_by_moving_range(scores: Sequence[float]) -> float | None:
    """Return the standard deviation from build to build, which slow drift does not widen; nothing below two builds."""
    if len(scores) < 2:
        return None
    return float(np.abs(np.diff(scores)).mean()) / RANGE_OF_TWO
