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
from predictor.bow import Moduli, Refusal, handbook_moduli, limb_of, string_stiffness, unstrung
from predictor.limb import limb_grid
from predictor.statics import Status, brace, draw, shape

Array = NDArray[np.float64]


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
    """Return a build's shapes unstrung, at brace and at full draw; each limb as half of a symmetric bow.

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
    states = [_bent(bow, limb, moduli, full_in) for limb in (bow.upper, bow.lower)]
    if isinstance(states[0], Refusal):
        return states[0]
    if isinstance(states[1], Refusal):
        return states[1]
    straight = (_unstrung(bow, bow.upper), _mirrored(_unstrung(bow, bow.lower)))
    names = ("at brace", f"at {full.inch:g} in")
    bent = [
        _strung(name, upper, _mirrored(lower), pulled)
        for name, upper, lower, pulled in zip(names, *states, (bow.brace, full_in), strict=True)
    ]
    return (Shapes("unstrung", straight, None), *bent)


def _bent(bow: BowAt, limb: LimbAt, moduli: Moduli, full_in: float) -> tuple[Line, Line] | Refusal:
    """Return one limb at brace and at full draw."""
    grid = limb_grid([limb_of(bow, limb, moduli)])
    braced = brace(grid, np.array([bow.brace]), np.array([string_stiffness(bow)]))
    drawn = draw(grid, braced, np.array([[full_in]]))
    for status, where in (
        (Status(braced.status[0]), "brace"),
        (Status(drawn.status[0, 0]), f"{full_in:.2f} in from the back"),
    ):
        if status is not Status.OK:
            return Refusal(reason=status.reason, where=where)
    at_brace, at_full = (shape(grid, braced, hold) for hold in (braced.hold, drawn.hold(0)))
    return Line(at_brace.x[0], at_brace.y[0]), Line(at_full.x[0], at_full.y[0])


def _unstrung(bow: BowAt, limb: LimbAt) -> Line:
    along, toward = unstrung(bow, limb).path(np.linspace(0.0, limb.length, 60))
    return Line(toward[::-1], along[::-1])


def _mirrored(line: Line) -> Line:
    return Line(line.toward_string, -line.along)


def _strung(state: str, upper: Line, lower: Line, pulled_in: float) -> Shapes:
    """Return a state with its string drawn straight from nock to nocking point to nock."""
    string = Line(
        np.array([upper.toward_string[0], pulled_in, lower.toward_string[0]]),
        np.array([upper.along[0], 0.0, lower.along[0]]),
    )
    return Shapes(state, (upper, lower), string)
