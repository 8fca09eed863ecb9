"""Why a profile that was fitted to readings may not be trusted: findings in words, and a verdict."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from predictor.shape.bad_readings import Suspicion

Array = NDArray[np.float64]

ENOUGH_READINGS = 5
"""Readings that leave one to spare beside the root's offset, its angle and an evenly changing curvature."""

MUCH_TURN = math.radians(10)
"""Turning along a limb that fewer readings than enough can't be trusted to follow: a choice, no source."""

FAR_TURN = math.radians(35)
"""Turning from one reading to the next in which a bend can hide: a choice, no source."""

HOPELESS_NOISE = 3.0
"""Tolerances by which readings scatter that can't be trusted: a choice, no source."""

HOPELESS_SHARE = 0.25
"""Share of wrong readings above which the others can't be trusted either: a choice, no source."""


WORTH_A_LOOK = 0.1
"""Probability of being wrong from which a reading that is not named is told: a choice, no source."""


class Doubt(StrEnum):
    """Why a fitted profile may not be trusted."""

    FEW = "too few readings"
    SPARSE = "readings too far apart for the bend"
    ORDER = "readings out of order"
    SHORT = "readings stop short of the nock"
    ROOT = "no reading at the fade"
    OFF = "a reading may be off"
    SLIP = "readings disagree with the rest"
    NOISE = "readings scatter"


ABOUT_READINGS = frozenset({Doubt.OFF, Doubt.SLIP, Doubt.NOISE})
"""Doubts about how well a limb was read, not about where."""


class Verdict(StrEnum):
    """Whether to build on a profile."""

    TRUSTED = "trusted"
    DOUBTFUL = "doubtful"
    UNTRUSTED = "not to be trusted"


@dataclass(frozen=True)
class Finding:
    """One doubt about a profile: what, where along the straight edge, in words, and whether it is the end of trust."""

    doubt: Doubt
    station: float
    message: str
    grave: bool = False


def verdict(findings: Sequence[Finding]) -> Verdict:
    """Return what findings amount to."""
    if any(finding.grave for finding in findings):
        return Verdict.UNTRUSTED
    return Verdict.DOUBTFUL if findings else Verdict.TRUSTED


def doubts_about_places(
    points: Array, angles: Array, fade: float, reached: float, length: float
) -> Iterator[Finding]:
    """Yield doubts about where the limb was read.

    Args:
        points: station and offset of each reading, shape (n, 2).
        angles: of the fitted limb at the readings, shape (n,) [radian].
        fade: station of the fade.
        reached: distance of the last reading from the fade along the limb.
        length: of the limb from the fade to the nock.
    """
    yield from _out_of_order(points)
    first, last = float(points[0, 0]), float(points[-1, 0])
    for index in np.flatnonzero(np.abs(np.diff(angles)) > FAR_TURN):
        text = "the limb turns by over 35 degrees to the next reading; read in between"
        yield Finding(Doubt.SPARSE, float(points[index, 0]), text)
    count, turn = len(points), float(np.ptp(angles))
    if count < 3:
        yield Finding(Doubt.FEW, first, f"{count} can't tell a bend from the root's angle; read 6 or more")
    elif count < ENOUGH_READINGS and turn > MUCH_TURN:
        text = f"{count} can't show where a limb that turns by {math.degrees(turn):.0f} degrees bends"
        yield Finding(Doubt.FEW, first, f"{text}; read 6 or more")
    if first > fade + 0.75:
        yield Finding(Doubt.ROOT, first, f"the first lies beyond the fade at {fade:g} in; read there too")
    missing = length - reached
    if missing > max(1.0, 0.06 * length):
        yield Finding(Doubt.SHORT, last, f"the last is {missing:.1f} in short of the nock; read there")


def _out_of_order(points: Array) -> Iterator[Finding]:
    headings = np.arctan2(*np.diff(points, axis=0).T[::-1])
    turns = np.abs((np.diff(headings) + math.pi) % (2 * math.pi) - math.pi)
    text = "the readings double back here; note them from the fade outward"
    for index in np.flatnonzero(turns > math.pi / 2):
        yield Finding(Doubt.ORDER, float(points[index + 1, 0]), text, grave=True)


def doubts_about_readings(
    points: Array, residuals: Array, angles: Array, suspicion: Suspicion, tolerance: float
) -> Iterator[Finding]:
    """Yield doubts about how well the limb was read; none where the readings are thought sound.

    Args:
        points: station and offset of each reading, shape (n, 2).
        residuals: of all readings off the curve of the sound ones, square to it, shape (n,).
        angles: of the fitted limb at the readings, shape (n,) [radian].
        suspicion: what is thought of the readings.
        tolerance: standard deviation of a sound reading, as stated.
    """
    if not suspicion.doubted:
        return
    named, stations = suspicion.named, points[:, 0]
    if len(named):
        meant = points[named, 1] - residuals[named] * np.cos(angles[named])
        text = _wrong(stations[named], residuals[named], meant)
        worst = named[np.argmax(np.abs(residuals[named]))]
        yield Finding(Doubt.SLIP, float(stations[worst]), text, len(named) > HOPELESS_SHARE * len(points))
    likeliest = int(np.argmax(np.where(np.isin(np.arange(len(points)), named), 0.0, suspicion.wrong)))
    at, share = float(stations[likeliest]), float(suspicion.wrong[likeliest])
    worth_a_look = f"; likeliest off is the one at {at:g} in ({share:.0%})" if share > WORTH_A_LOOK else ""
    if suspicion.noisy:
        text = (
            f"the readings scatter by about {suspicion.noise * tolerance:.2f} in, {suspicion.noise:.0f} times what "
            f"they are taken to be good to, and the curve is drawn the smoother{worth_a_look}: read them again"
        )
        yield Finding(Doubt.NOISE, at, text, suspicion.noise > HOPELESS_NOISE)
    elif not len(named):
        text = (
            f"the readings do not lie on a smooth curve as well as they should{worth_a_look}: read them again"
        )
        yield Finding(Doubt.OFF, at, text)


def _wrong(stations: Array, off: Array, meant: Array) -> str:
    """Which readings are wrong, by how much, and where they should lie, in words."""
    by, there = _listed([f"{value:+.2f}" for value in off]), _listed([f"{value:+.2f}" for value in meant])
    where = _listed([f"{value:g}" for value in stations])
    if len(stations) == 1:
        subject, end = f"the reading at {where} in lies", "it is left out: read it again"
    else:
        subject, end = f"the readings at {where} in lie", "they are left out: read them again"
    return f"{subject} {by} in off the curve of the others, whose offset there is {there} in; {end}"


def _listed(parts: Sequence[str]) -> str:
    return " and ".join(part for part in (", ".join(parts[:-1]), parts[-1]) if part)
