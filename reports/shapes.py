"""The shapes of a bow's limbs: unstrung, at brace and at full draw, by the statics at handbook moduli."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from datasets.history import BowAt, LimbAt, bow_at
from datasets.materials import Material
from datasets.record import DrawLength
from datasets.schema import Build, Event, Form
from datasets.zero_points import from_back
from predictor.bows.bow import Refusal, handbook_moduli, unstrung
from predictor.bows.pairs import Outline, Pair, outlines

Array = NDArray[np.float64]

STRAIGHT = 1e-6
"""Angle in radians below which a string is taken as straight."""


@dataclass(frozen=True, eq=False)
class Line:
    """A line in the plane of the bow, in inches.

    Attributes:
        toward_string: from the back of the riser, toward the string.
        along: from the bow's centre along the bow, the upper limb positive.
    """

    toward_string: Array
    along: Array


@dataclass(frozen=True)
class Shapes:
    """One state of a bow: both limbs from nock to fade, and the string, which an unstrung bow has none of."""

    state: str
    limbs: tuple[Line, Line]
    string: Line | None


def shapes(
    form: Form, build: Build, events: Sequence[Event], full: DrawLength, materials: Mapping[str, Material]
) -> tuple[Shapes, ...] | Refusal:
    """Return a build's shapes unstrung, at brace and at full draw, seen from the riser.

    Args:
        form: the form revision that the build points at.
        build: the build.
        events: its history so far.
        full: the full draw.
        materials: every material that its layers name.
    """
    bow = bow_at(form, build, events)
    moduli = handbook_moduli(bow, materials)
    full_in = from_back(full.inch, full.zero, bow.pivot_depth)
    bent = outlines(Pair(bow, moduli, moduli), full_in)
    if isinstance(bent, Refusal):
        return bent
    unstrung_limbs = (_unstrung(bow, bow.upper), _mirrored(_unstrung(bow, bow.lower)))
    at_brace, at_full = bent
    return (
        Shapes("unstrung", unstrung_limbs, None),
        strung("at brace", at_brace),
        strung(f"at {full.inch:g} in", at_full),
    )


def _unstrung(bow: BowAt, limb: LimbAt) -> Line:
    along, toward = unstrung(bow, limb).path(np.linspace(0.0, limb.length, 60))
    return Line(toward[::-1], along[::-1])


def _mirrored(line: Line) -> Line:
    return Line(line.toward_string, -line.along)


def strung(state: str, outline: Outline) -> Shapes:
    """Return a state with its string, drawn along the limbs' bellies where it lies on them."""
    upper, lower = (Line(*limb) for limb in (outline.upper, outline.lower))
    point = np.array(outline.nocking_point)
    over, under = (_taut(Line(*seat), point) for seat in (outline.upper_seat, outline.lower_seat))
    toward, along = np.concatenate([over, point[None], under[::-1]]).T
    return Shapes(state, (upper, lower), Line(toward, along))


def riser(form: Form, build: Build, events: Sequence[Event]) -> Line:
    """Return corners that stand for a build's riser: its back between the fades, and the hand's pivot."""
    bow = bow_at(form, build, events)
    upper, lower = _unstrung(bow, bow.upper), _mirrored(_unstrung(bow, bow.lower))
    toward = [upper.toward_string[-1], 0.0, 0.0, lower.toward_string[-1], bow.pivot_depth]
    along = [upper.along[-1], upper.along[-1], lower.along[-1], lower.along[-1], bow.pivot_above]
    return Line(np.array(toward), np.array(along))


def _taut(limb: Line, point: Array) -> Array:
    """Return where a string from the nock to a point is held by the limb's belly, the nock first, shape (places, 2).

    It turns about whatever of the limb it would pass through, the way a thread is wrapped about a shape: from each
    place on to the one that lies farthest round on the string's side (Jarvis's march, from memory).
    """
    places = np.stack([limb.toward_string, limb.along], axis=1)
    held, here = [0], 0
    while True:
        ahead = point - places[here]
        beyond = places[here + 1 :] - places[here]
        side = np.sign(ahead[1]) * (ahead[1] * beyond[:, 0] - ahead[0] * beyond[:, 1])
        turn = np.arctan2(side, beyond @ ahead)
        if not len(turn) or turn.max() <= STRAIGHT:
            return places[held]
        here += 1 + int(np.argmax(turn))
        held.append(here)
