"""Unstrung limbs of one's own making, and readings of them: sound, noisy, and with wrong ones among them."""

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import BSpline

from predictor.shape.profile import Profile, Reading

FADE = 9.0
RULE = 1 / 32
"""What a reading with a rule is good to, as one standard deviation: common practice, no source."""


def arc_profile(
    length: float,
    curvature: float = 0.0,
    *,
    root_distance: float,
    root_depth: float = 0.0,
    root_angle: float = 0.0,
) -> Profile:
    """Return a limb of even curvature; of none at all, a straight one."""
    bend = BSpline(np.array([0.0, length]), np.array([float(curvature)]), 0)
    return Profile(length, bend, (), root_distance, root_depth, root_angle)


def shape(length: float, *bend: float, root_angle: float = 0.0) -> Profile:
    """Return a limb whose curvature is a spline with the given coefficients, evenly knotted."""
    inner = np.linspace(0.0, length, len(bend) - 2)
    knots = np.concatenate([[0.0] * 3, inner, [length] * 3])
    return Profile(length, BSpline(knots, np.array(bend), 3), (), FADE, 0.1, root_angle)


def eared(turn: float, start: float = 18.0, within: float = 1.0) -> Profile:
    """Return a limb of 24 in with a straight ear, bent toward the back by a turn within an inch."""
    ends = (start, start + within)
    bend = BSpline(np.array([0.0, *ends, 24.0]), np.array([0.004, -turn / within, 0.0]), 0)
    return Profile(24.0, bend, ends, FADE, 0.0, 0.0)


STRAIGHT = arc_profile(26.0, root_distance=FADE)
REFLEX_DEFLEX = shape(27.0, 0.0, 0.015, 0.01, -0.01, -0.03, -0.02, root_angle=0.03)
RECURVE = shape(24.0, 0.005, 0.01, 0.0, -0.05, -0.2, -0.15, -0.05, root_angle=0.05)
EARED = eared(0.4)


def readings_of(profile: Profile, count: int, depth: float = 0.0, taper: float = 0.0) -> list[Reading]:
    """Return readings of the back: `depth` behind the neutral axis at the fade, less by `taper` at the nock."""
    at = np.linspace(0.0, profile.length, count)
    distance, toward = profile.path(at)
    angle = profile.angle(at)
    behind = depth - taper * at / profile.length
    return list(
        zip(
            (distance + behind * np.sin(angle)).tolist(),
            (behind * np.cos(angle) - toward).tolist(),
            strict=True,
        )
    )


def noisy(readings: list[Reading], rng: np.random.Generator, sd: float) -> list[Reading]:
    """Return readings whose offsets scatter."""
    return [(station, offset + float(rng.normal(0.0, sd))) for station, offset in readings]


def shifted(readings: list[Reading], places: NDArray[np.intp], by: NDArray[np.float64]) -> list[Reading]:
    """Return readings of which some offsets are off."""
    offsets = np.array([offset for _, offset in readings])
    offsets[places] += by
    return list(zip([station for station, _ in readings], offsets.tolist(), strict=True))
