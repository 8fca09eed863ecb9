"""Cuts as they are typed: an amount for the whole limb, amounts at places, or one place from which the cut runs out."""

from collections.abc import Mapping, Sequence
from typing import get_args

from pydantic import TypeAdapter, ValidationError

from datasets.contents import Contents
from datasets.history import GeometryError, bow_at
from datasets.record import NamedPlace, Place
from datasets.removals import place_in
from datasets.run_out import runs_out_at
from datasets.schema import Build, Event, Method

_PLACE: TypeAdapter[Place] = TypeAdapter(Place)


def in_full(
    method: Method,
    typed: Sequence[Mapping[str, str]],
    build: Build,
    past: Sequence[Event],
    contents: Contents,
) -> list[Mapping[str, str]]:
    """Return cuts with all places that they mean: of one place alone, also where it runs out to nothing.

    Args:
        method: how stock is taken off.
        typed: fields of each cut; without a place it is for the whole limb.
        build: of the book, or planned.
        past: what happened to it before.
        contents: the book.

    Raises:
        ValueError: an amount is given twice, for the whole limb and at places, or at no place of a limb; in one line.
    """
    placed = [cut["at"] for cut in typed if "at" in cut]
    for at in placed:
        if not any(letter.isdigit() for letter in at) and _read(at) is None:
            raise ValueError(
                f"wanted a place on the limb, got {at!r}; write {', '.join(get_args(NamedPlace))} or inches from the "
                "fade, or the amount alone for the whole limb (one limb: drawweight reduce ... --limb upper)"
            )
    if method is Method.SHORTEN:
        return list(typed)
    if len(placed) < len(typed) and len(typed) > 1:
        amounts = " and ".join(cut["amount_in"] for cut in typed)
        raise ValueError(
            f"wanted one amount for the whole limb, or amounts at places, of {method}, got {amounts}; "
            "say it once, added up"
        )
    length = limb_length(build, past, contents)
    places = [_read(at) for at in placed]
    if length is None or None in places:  # which is told where the record is read
        return list(typed)
    stations = [place_in(place, length) for place in places if place is not None]
    for index, station in enumerate(stations):
        if round(station, 3) in {round(one, 3) for one in stations[:index]}:
            raise ValueError(
                f"wanted one amount of {method} at {placed[index]}, got two; say it once, added up"
            )
    if len(typed) != 1 or not placed:
        return list(typed)
    nothing = [
        {"at": name, "amount_in": "0"}
        for place in places
        if place is not None
        for name in runs_out_at(place, length)
    ]
    return sorted([*typed, *nothing], key=lambda cut: place_in(_PLACE.validate_python(cut["at"]), length))


def limb_length(build: Build, past: Sequence[Event], contents: Contents) -> float | None:
    """Return how long a build's limb is, in inches; nothing where the book cannot tell."""
    form = contents.form_of(build)
    if form is None:
        return None
    try:
        return bow_at(form, build, past).upper.length
    except GeometryError:
        return None


def runs_out_in_words(at: str, length: float | None) -> str:
    """Return where a cut at one place runs out: `running out to nothing at the fade and the nock`."""
    place = _read(at)
    if place is None or length is None:
        return ""
    return f"running out to nothing at the {' and the '.join(runs_out_at(place, length))}"


def _read(at: str) -> Place | None:
    try:
        return _PLACE.validate_python(at)
    except ValidationError:
        return None
