"""Checks of places along a limb: noted twice, beyond its ends, out of order, or without room for the work."""

from collections.abc import Iterator, Mapping, Sequence
from itertools import takewhile

import numpy as np

from datasets import tolerances
from datasets.contents import Contents
from datasets.finding import Check, Finding
from datasets.history import GeometryError, LimbAt, bow_at
from datasets.record import Dimension, Place, Record, Side
from datasets.removals import place_in
from datasets.run_out import runs_out_at
from datasets.schema import Build, Cut, Event, Form, Method, ProfileReading, Removal

BEYOND_IN = 0.25
"""By how much a place may lie beyond a limb's end before it is odd: common practice, no source."""

SAME_RADIUS_IN = 1e-6
"""Radii that differ by less are the same: their own rounding."""


def places_are_noted_once(record: Record, contents: Contents) -> Iterator[Finding]:
    """Of one place on one limb a list of widths or cuts says one thing."""
    for side, limb in _limbs(record, contents).items():
        for name, places in _lists(record, side):
            first: dict[float, int] = {}
            for index, place in places:
                at = round(place_in(place, limb.length), 3)
                if at in first:
                    yield Finding(
                        f"{name}.{index}.at",
                        f"wanted each place once, got {at:g} in from the fade again, as in {name}.{first[at] + 1}; "
                        "leave one out",
                        refuses=True,
                    )
                first.setdefault(at, index)


def places_lie_on_the_limb(record: Record, contents: Contents) -> Iterator[Finding]:
    """Widths, cuts and kinks lie between fade and nock."""
    for side, limb in _limbs(record, contents).items():
        for name, places in _lists(record, side):
            for index, place in places:
                at = place_in(place, limb.length)
                yield from _beyond(f"{name}.{index}.at", at, limb.length, refuses=isinstance(record, Removal))
    if isinstance(record, Form):
        for index, kink in enumerate(record.kinks_in):
            yield from _beyond(f"kinks_in.{index}", kink.inch, record.limb_length_in.inch)


def profiles_run_outward(record: Record, _contents: Contents) -> Iterator[Finding]:
    """A profile is read from the fade outward, and does not double back."""
    profile = record.profile if isinstance(record, Form | Build) else ()
    points = [(reading.at_in.inch, reading.offset_in.inch) for reading in profile]
    if points and points[-1][0] < points[0][0]:
        yield Finding(
            "profile",
            f"wanted readings from the fade outward, got {points[0][0]:g} in first and {points[-1][0]:g} in last; "
            "turn them round",
            refuses=True,
        )
        return
    steps = np.diff(np.array(points).reshape(-1, 2), axis=0)
    for index in np.flatnonzero((steps[1:] * steps[:-1]).sum(axis=1) < 0).tolist():
        yield Finding(
            f"profile.{index + 2}",
            f"wanted readings from the fade outward, got {_point(profile, index + 2)} after "
            f"{_point(profile, index + 1)}, which doubles back; check both and their signs",
            refuses=True,
        )


def bows_are_shortened_at_the_nock(record: Record, contents: Contents) -> Iterator[Finding]:
    """Length comes off the nock ends, and nowhere else."""
    if not isinstance(record, Removal) or record.method is not Method.SHORTEN:
        return
    for limb in _limbs(record, contents).values():
        for name, cuts in _cuts(record):
            for index, cut in enumerate(cuts):
                if round(place_in(cut.at, limb.length) - limb.length, 3) != 0:
                    yield Finding(
                        f"{name}.{index}.at",
                        f"wanted the nock, where a bow is shortened, got {_named(cut.at)}; "
                        "write nock, with what comes off each end",
                        refuses=True,
                    )


def cuts_say_where_they_run_out(record: Record, contents: Contents) -> Iterator[Finding]:
    """A cut at one place says where it runs out; one for the whole limb names no place."""
    if not isinstance(record, Removal) or record.method is Method.SHORTEN:
        return
    kept = next((one for one in contents.events.get(record.build, ()) if one.id == record.id), None)
    before = dict(_cuts(kept)) if isinstance(kept, Removal) else {}
    for name, cuts in _cuts(record):
        if len(cuts) == 1 and "at" in cuts[0].model_fields_set and before.get(name) != cuts:
            beside = next(
                (runs_out_at(cuts[0].at, limb.length) for limb in _limbs(record, contents).values()), ()
            )
            nothing = " and ".join(f'at = "{place}"' for place in beside)
            yield Finding(
                f"{name}.0.at",
                f"wanted where the cut runs out, got {_named(cuts[0].at)} alone; add {nothing} with amount_in = 0, "
                "or leave the place out for the whole limb",
                refuses=True,
            )


def edges_have_room(record: Record, contents: Contents) -> Iterator[Finding]:
    """No corner is rounded to more than half the limb's thickness or width there."""
    limbs = _limbs(record, contents).values()
    if isinstance(record, Build) and record.edge_radius_in is not None:
        for limb in limbs:
            widest = max(_room(limb, at) for at in limb.width_belly[0])
            yield from _crowded("edge_radius_in", record.edge_radius_in, widest)
    if isinstance(record, Removal) and record.method is Method.EDGES:
        for limb in limbs:
            for name, cuts in _cuts(record):
                for index, cut in enumerate(cuts):
                    room = _room(limb, place_in(cut.at, limb.length))
                    yield from _crowded(f"{name}.{index}.amount_in", cut.amount_in, room)


def edges_get_rounder(record: Record, contents: Contents) -> Iterator[Finding]:
    """The radius that corners are rounded to is larger than the one they had, as noted or as is usual."""
    if not isinstance(record, Removal) or record.method is not Method.EDGES:
        return
    for side, limb in _limbs(record, contents).items():
        if record.limb not in (side, Side.BOTH):
            continue
        for name, cuts in _cuts(record):
            for index, cut in enumerate(cuts):
                had = float(np.interp(place_in(cut.at, limb.length), *limb.edge_radius))
                if 0 < cut.amount_in.inch < had - SAME_RADIUS_IN:
                    what = _had_before(had, contents.builds.get(record.build))
                    yield Finding(
                        f"{name}.{index}.amount_in",
                        f"wanted more than {what}, got {cut.amount_in.inch:g} in, which takes nothing off; "
                        "give the radius reached, not what comes off",
                    )


def _had_before(radius_in: float, build: Build | None) -> str:
    """Say what radius a corner had, and what to do where that is a guess."""
    if radius_in > tolerances.DEFAULT_RADIUS_IN + SAME_RADIUS_IN or (
        build and build.edge_radius_in is not None
    ):
        return f"the radius of {radius_in:.3f} in that the corner has"
    return f"{radius_in:.3f} in, a usual corner, for its radius is not noted (edge_radius_in of the build)"


PLACE_CHECKS: Sequence[Check] = (
    places_are_noted_once,
    places_lie_on_the_limb,
    profiles_run_outward,
    bows_are_shortened_at_the_nock,
    cuts_say_where_they_run_out,
    edges_have_room,
    edges_get_rounder,
)


def _limbs(record: Record, contents: Contents) -> Mapping[Side, LimbAt]:
    """Return the limbs that a record's places lie on: as pressed, or as they were before a removal."""
    before: tuple[Event, ...] = ()
    if isinstance(record, Build):
        build = record
    elif isinstance(record, Removal) and record.build in contents.builds:
        build = contents.builds[record.build]
        history = contents.plus(record).events[record.build]
        before = tuple(takewhile(lambda event: event.id != record.id, history))
    else:
        return {}
    form = contents.form_of(build)
    if form is None:
        return {}
    try:
        bow = bow_at(form, build, before)
    except GeometryError:  # which another check tells
        return {}
    return {Side.UPPER: bow.upper, Side.LOWER: bow.lower}


def _lists(record: Record, side: Side) -> Iterator[tuple[str, list[tuple[int, Place]]]]:
    """Yield the lists of a record that go by place, each with the places on one limb and their numbers."""
    if isinstance(record, Build):
        widths = enumerate(record.widths)
        yield "widths", [(index, width.at) for index, width in widths if width.limb in (side, Side.BOTH)]
    elif isinstance(record, Removal) and record.limb in (side, Side.BOTH):
        for name, cuts in _cuts(record):
            yield name, [(index, cut.at) for index, cut in enumerate(cuts)]


def _cuts(removal: Removal) -> Sequence[tuple[str, Sequence[Cut]]]:
    return ("planned", removal.planned), ("done", removal.done)


def _beyond(field: str, at: float, length: float, *, refuses: bool = False) -> Iterator[Finding]:
    if not -BEYOND_IN <= at <= length + BEYOND_IN:
        yield Finding(
            field,
            f"wanted a place on the limb, 0 to {length:g} in from the fade, got {at:g} in; count from the fade end",
            refuses,
        )


def _room(limb: LimbAt, at: float) -> float:
    """Return the largest radius that all four corners can have at a place."""
    widths = (float(np.interp(at, *width)) for width in (limb.width_belly, limb.width_back))
    return min(limb.stack_at(at), *widths) / 2


def _crowded(field: str, radius: Dimension, room: float) -> Iterator[Finding]:
    if radius.inch > room + tolerances.RADIUS_SD_IN[radius.taken]:
        yield Finding(
            field,
            f"wanted a radius of at most {room:.3f} in, half of the limb's thickness or width, "
            f"got {radius.inch:g} in; give the radius of the corner",
            refuses=True,
        )


def _point(profile: Sequence[ProfileReading], index: int) -> str:
    return f"{profile[index].offset_in.inch:g} in off at {profile[index].at_in.inch:g} in"


def _named(place: Place) -> str:
    return f"{place.inch:g} in from the fade" if isinstance(place, Dimension) else place
