"""Standardised errors in order of time: whether they have shifted, by the charts of statistical process control.

For errors that are independent with mean 0 and standard deviation 1 if all is well, such as those of builds foretold
from the ones before: a chart with standards given.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import pi, sqrt

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Marks = NDArray[np.bool_]

RANGE_OF_TWO = 2 / sqrt(pi)
"""Mean range of two standard normal numbers: the constant d2 for moving ranges of two."""

EWMA_SHARE, EWMA_REACH = 0.2, 2.962
"""Weight of the newest error in the moving average, and its limits in standard deviations: by itself one false alarm in
500 builds. Montgomery, Introduction to Statistical Quality Control, table of EWMA schemes (from memory)."""

AVERAGE_OUT = "the moving average leaves its usual range"

BUILDS_A_FALSE_ALARM = 88
"""So many builds pass on average until the first false alarm of run rules and moving average together; computed, see
`tests.training.checking.test_control_chart`."""

SERIES = 4000
"""Charts that chances are counted in: to 0.8 % at worst."""


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
    """A run rule that was broken, or a moving average out of its range.

    Attributes:
        told: which, in words.
        places: of the errors behind it, in order of time; the last one raised the alarm.
    """

    told: str
    places: tuple[int, ...]


def alarms(scores: Sequence[float]) -> list[Alarm]:
    """Return every alarm, in order of time; one that goes on is told once.

    Args:
        scores: errors in standard deviations, in order of time.
    """
    found = [*_of_rules(np.asarray(scores, dtype=float)), *_of_average(scores)]
    return sorted(found, key=lambda alarm: alarm.places[-1])


def _of_rules(scores: Array) -> Iterator[Alarm]:
    for rule in RULES:
        for side in (1, -1):
            for end in np.flatnonzero(_starts(_broken(side * scores, rule))).tolist():
                window = range(max(0, end + 1 - rule.among), end + 1)
                yield Alarm(rule.told, tuple(place for place in window if side * scores[place] > rule.beyond))


def _of_average(scores: Sequence[float]) -> Iterator[Alarm]:
    """Yield where the average leaves its range, with the errors since it last was on the other side of 0."""
    average = moving_average(scores)
    for end in np.flatnonzero(_starts(average.outside)).tolist():
        other = np.flatnonzero(average.value[:end] * average.value[end] <= 0)
        yield Alarm(AVERAGE_OUT, tuple(range(int(other[-1]) + 1 if len(other) else 0, end + 1)))


def _broken(scores: Array, rule: Rule) -> Marks:
    """Return at which errors a rule is broken on the upper side, shape (..., n)."""
    out = scores > rule.beyond
    count = np.cumsum(out, axis=-1, dtype=np.intp)
    count[..., rule.among :] -= count[..., : -rule.among].copy()
    return out & (count >= rule.needed)


def _starts(marks: Marks) -> Marks:
    """Return the first of each run of marks."""
    first = marks.copy()
    first[..., 1:] &= ~marks[..., :-1]
    return first


def first_alarms(scores: Array) -> NDArray[np.intp]:
    """Return how many errors of each chart it takes until its first alarm; one more than it has where there is none.

    Args:
        scores: shape (charts, n).
    """
    raised = moving_average(scores).outside
    for rule in RULES:
        raised |= _broken(scores, rule) | _broken(-scores, rule)
    silent = np.ones((len(scores), 1), dtype=np.bool_)
    first: NDArray[np.intp] = np.argmax(np.hstack([raised, silent]), axis=1) + 1
    return first


@dataclass(frozen=True)
class Caught:
    """How soon a chart sees a shift.

    Attributes:
        chance: of an alarm before its errors end.
        half_after: errors after which an alarm is as likely as not; nothing where that is not reached.
    """

    chance: float
    half_after: int | None


def caught(shift: Array) -> Caught:
    """Return how soon a chart raises an alarm while its errors are shifted, counted in `SERIES` fixed series.

    Args:
        shift: of each error's mean, in standard deviations, shape (n,).
    """
    quiet = np.random.default_rng(0).standard_normal((SERIES, len(shift)))
    first = first_alarms(quiet + shift)
    half = int(np.sort(first)[(SERIES - 1) // 2])
    return Caught(float(np.mean(first <= len(shift))), half if half <= len(shift) else None)


@dataclass(frozen=True)
class MovingAverage:
    """Exponentially weighted moving average of errors, and its limits, shape (..., n) and (n,)."""

    value: Array
    limit: Array

    @property
    def outside(self) -> Marks:
        """Where the average is out of its range, shape (..., n)."""
        marks: Marks = np.abs(self.value) > self.limit
        return marks


def moving_average(scores: Sequence[float] | Array) -> MovingAverage:
    """Return the moving average from 0 on along the last axis, with limits that widen to their final distance.

    Source: Roberts, Technometrics 1 (1959), 239-250 (from memory): the variance after t errors is
    share / (2 - share) (1 - (1 - share)^(2 t)).
    """
    errors = np.asarray(scores, dtype=float)
    value, count = np.zeros_like(errors), errors.shape[-1]
    before = np.zeros(errors.shape[:-1])
    for place in range(count):
        before = EWMA_SHARE * errors[..., place] + (1 - EWMA_SHARE) * before
        value[..., place] = before
    steps = np.arange(1, count + 1)
    variance = EWMA_SHARE / (2 - EWMA_SHARE) * (1 - (1 - EWMA_SHARE) ** (2 * steps))
    return MovingAverage(value, EWMA_REACH * np.sqrt(variance))


def sd_by_moving_range(scores: Sequence[float]) -> float | None:
    """Return the standard deviation from build to build, which slow drift does not widen; nothing below two builds."""
    if len(scores) < 2:
        return None
    return float(np.abs(np.diff(scores)).mean()) / RANGE_OF_TWO
