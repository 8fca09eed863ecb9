"""Bows that were weighed more than once as they stood: what tells a hand and a scale from the bow.

A bow stands the same from one weighing to the next while nothing is taken off it, its string and brace height stay,
and its stage and count of shots are noted alike.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby

import numpy as np
from numpy.typing import NDArray

from datasets.contents import Contents
from datasets.record import ZeroPoint
from datasets.schema import Event, Form, WeighIn
from datasets.zero_points import from_back, from_zero

Array = NDArray[np.float64]

USUAL_DRAW_IN = 28.0

DRAW_STEP_IN = 0.01
"""Draws this near are the same."""


@dataclass(frozen=True, order=True)
class Appraiser:
    """Who weighed, on what; empty where nobody noted it."""

    by: str
    scale: str

    def __str__(self) -> str:
        return f"{self.by or 'hand not noted'} on {self.scale or 'scale not noted'}"


@dataclass(frozen=True)
class Occasion:
    """One bow as it stood, and all its weighings then, at one draw.

    Attributes:
        build: id.
        draw_in: as the standard counts it.
        read_lbf: by each appraiser, in the order of weighing.
    """

    build: str
    draw_in: float
    read_lbf: Mapping[Appraiser, tuple[float, ...]]


@dataclass(frozen=True)
class Study:
    """The largest balanced study that a book holds.

    Attributes:
        builds: bows that every appraiser weighed.
        appraisers: in alphabetical order.
        read_lbf: shape (builds, appraisers, trials).
    """

    builds: tuple[str, ...]
    appraisers: tuple[Appraiser, ...]
    read_lbf: Array


def occasions(contents: Contents) -> tuple[Occasion, ...]:
    """Return every occasion on which a bow was weighed at least twice at one draw as it stood."""
    return tuple(
        found
        for build in contents.builds.values()
        if (form := contents.form_of(build)) is not None
        for weighed in _as_it_stood(contents.events.get(build.id, ()))
        if (found := _occasion(build.id, weighed, form)) is not None
    )


def _as_it_stood(events: Sequence[Event]) -> Iterator[list[WeighIn]]:
    """Yield the weighings of a history in runs between which the bow changed."""
    for is_weigh_in, run in groupby(events, key=lambda event: isinstance(event, WeighIn)):
        if is_weigh_in:
            weighed = [event for event in run if isinstance(event, WeighIn)]
            for _, alike in groupby(weighed, key=lambda weigh_in: (weigh_in.stage, weigh_in.shots)):
                yield list(alike)


def _occasion(build: str, weighed: Sequence[WeighIn], form: Form) -> Occasion | None:
    """Return the weighings at the draw that most of them share, the one nearest to 28 in among such."""
    at_draws: dict[int, list[tuple[Appraiser, float]]] = {}
    for weigh_in in weighed:
        appraiser = Appraiser(weigh_in.by or "", weigh_in.scale or "")
        for reading in weigh_in.readings:
            depth = form.handle_depth_in.inch
            back = from_back(reading.draw.inch, reading.draw.zero, depth)
            step = round(from_zero(back, ZeroPoint.STANDARD, depth) / DRAW_STEP_IN)
            at_draws.setdefault(step, []).append((appraiser, reading.weight.lbf))
    step = max(at_draws, key=lambda at: (len(at_draws[at]), -abs(at * DRAW_STEP_IN - USUAL_DRAW_IN)))
    if len(at_draws[step]) < 2:
        return None
    read: dict[Appraiser, tuple[float, ...]] = {}
    for appraiser, lbf in at_draws[step]:
        read[appraiser] = (*read.get(appraiser, ()), lbf)
    return Occasion(build, step * DRAW_STEP_IN, read)


def repeats(found: Sequence[Occasion]) -> list[tuple[float, ...]]:
    """Return the readings of one bow by one hand on one scale, wherever there are two or more."""
    return [read for occasion in found for read in occasion.read_lbf.values() if len(read) > 1]


def on_one_scale(found: Sequence[Occasion]) -> list[tuple[float, ...]]:
    """Return the readings of one bow on one scale, whoever weighed, wherever there are two or more."""
    sets = []
    for occasion in found:
        by_scale: dict[str, tuple[float, ...]] = {}
        for appraiser, read in occasion.read_lbf.items():
            by_scale[appraiser.scale] = (*by_scale.get(appraiser.scale, ()), *read)
        sets += [read for read in by_scale.values() if len(read) > 1]
    return sets


def largest_study(found: Sequence[Occasion]) -> Study | None:
    """Return the balanced study with the most readings, or nothing where there is none.

    It needs two bows that the same two appraisers weighed twice each. Appraisers are tried from those who repeated the
    most bows on; where one weighed oftener than another, his first weighings count. A bow counts once, as it was first
    weighed so.
    """
    repeated: dict[Appraiser, int] = {}
    for occasion in found:
        for appraiser, read in occasion.read_lbf.items():
            repeated[appraiser] = repeated.get(appraiser, 0) + (len(read) > 1)
    busiest = sorted(repeated, key=lambda appraiser: (-repeated[appraiser], appraiser))
    studies = [_study(found, busiest[:count]) for count in range(2, len(busiest) + 1)]
    return max((study for study in studies if study), key=lambda study: study.read_lbf.size, default=None)


def _study(found: Sequence[Occasion], appraisers: Sequence[Appraiser]) -> Study | None:
    """Return the study that some appraisers make together, if they repeated two bows at least."""
    in_order = tuple(sorted(appraisers))
    read: dict[str, list[tuple[float, ...]]] = {}
    for occasion in found:
        mine = [occasion.read_lbf.get(appraiser, ()) for appraiser in in_order]
        if min(map(len, mine)) > 1:
            read.setdefault(occasion.build, mine)
    if len(read) < 2:
        return None
    trials = min(len(one) for rows in read.values() for one in rows)
    cut = [[one[:trials] for one in rows] for rows in read.values()]
    return Study(tuple(read), in_order, np.array(cut))
