"""Checks of how a bow was weighed."""

from collections.abc import Iterator, Sequence
from operator import itemgetter

from datasets.arrows import COUNTS_AS_UNFINISHED, shot_unfinished
from datasets.contents import Contents
from datasets.exercise import ENOUGH_DRAWS, too_few_draws
from datasets.finding import Check, Finding
from datasets.record import BraceHeight, Record, Taken
from datasets.schema import Build, Event, Rigging, Stage, WeighIn
from datasets.zero_points import from_back

STAGES = tuple(Stage)
"""The stages in the order in which a bow goes through them."""

MOST_BRACE_MOVES_IN = 0.5
"""By how much a brace height may move between weighings before it is odd: common practice, no source."""


def is_exercised(record: Record, contents: Contents) -> Iterator[Finding]:
    """A bow that was tillered or finished has been drawn some thirty times before a reading counts."""
    if not isinstance(record, WeighIn):
        return
    draws = too_few_draws(record, _around(record, contents)[0])
    if draws is not None:
        yield Finding(
            "pulls",
            f"wanted about {ENOUGH_DRAWS} full draws since the last removal, got {draws}: this reading does not "
            "count yet; pull it some more and weigh again",
        )


def stages_go_forward(record: Record, contents: Contents) -> Iterator[Finding]:
    """A bow is weighed at no earlier stage than before, and at no later one than afterwards."""
    if not isinstance(record, WeighIn):
        return
    before, after = _around(record, contents)
    for event in before:
        if isinstance(event, WeighIn) and STAGES.index(event.stage) > STAGES.index(record.stage):
            yield _stage_is_odd(record, event, "later")
            return
    for event in after:
        if isinstance(event, WeighIn) and STAGES.index(event.stage) < STAGES.index(record.stage):
            yield _stage_is_odd(record, event, "earlier")
            return


def _stage_is_odd(record: WeighIn, other: WeighIn, way: str) -> Finding:
    return Finding(
        "stage",
        f"wanted {other.stage} or {way}, since {other.id} says so on {other.on}, "
        f"got {record.stage} on {record.on}; check stage and date",
    )


def shots_go_forward(record: Record, contents: Contents) -> Iterator[Finding]:
    """Arrows are counted from the first one on: no weighing has fewer than one before it, or more than one after it."""
    if not isinstance(record, WeighIn) or record.shots is None:
        return
    before, after = _around(record, contents)
    more = max(_shots(before), key=itemgetter(0), default=None)
    fewer = min(_shots(after), key=itemgetter(0), default=None)
    if more is not None and more[0] > record.shots:
        yield _shots_are_odd(record, *more, "or more")
    elif fewer is not None and fewer[0] < record.shots:
        yield _shots_are_odd(record, *fewer, "or fewer")


def _shots(events: Sequence[Event]) -> list[tuple[int, WeighIn]]:
    return [(one.shots, one) for one in events if isinstance(one, WeighIn) and one.shots is not None]


def _shots_are_odd(record: WeighIn, shots: int, other: WeighIn, way: str) -> Finding:
    return Finding(
        "shots",
        f"wanted {shots} shots {way}, since {other.id} says so on {other.on}, "
        f"got {record.shots} on {record.on}; count all arrows shot so far, or check the date",
    )


def bows_are_finished_before_they_are_shot(record: Record, contents: Contents) -> Iterator[Finding]:
    """A bow that more than a few dozen arrows were shot with has been finished."""
    if not isinstance(record, WeighIn):
        return
    shots = shot_unfinished(record, _around(record, contents)[0])
    if shots is not None:
        yield Finding(
            "stage",
            f"wanted finished or settled after {shots} shots, got {record.stage}: {COUNTS_AS_UNFINISHED}",
        )


def brace_keeps_its_place(record: Record, contents: Contents) -> Iterator[Finding]:
    """A brace height is counted from where it was counted before, and moves little unless the bow is rigged anew."""
    if not isinstance(record, WeighIn) or record.brace is None:
        return
    build = contents.builds.get(record.build)
    form = None if build is None else contents.form_of(build)
    if build is None or form is None:
        return
    last = _last_brace(record, build, contents)
    if last is None:
        return
    if record.brace.zero is not last.zero:
        yield Finding(
            "brace",
            f"wanted a brace height from the {last.zero} as before, got one from the {record.brace.zero}; "
            "check where it was taken from",
        )
        return
    now, was = (from_back(one.inch, one.zero, form.handle_depth_in.inch) for one in (record.brace, last))
    if abs(now - was) > MOST_BRACE_MOVES_IN:
        yield Finding(
            "brace",
            f"wanted a brace height within {MOST_BRACE_MOVES_IN:g} in of the {last.inch:g} in before, "
            f"got {record.brace.inch:g} in; check it, or note the new string or twist as a rigging",
        )


def _last_brace(record: WeighIn, build: Build, contents: Contents) -> BraceHeight | None:
    """Return the brace height as last noted before a weighing; nothing where it was only planned."""
    noted = [event.brace for event in _around(record, contents)[0] if isinstance(event, WeighIn | Rigging)]
    planned = build.planned or build.brace.taken is Taken.PLANNED
    first = None if planned else build.brace
    return next((brace for brace in reversed(noted) if brace is not None), first)


def _around(record: WeighIn, contents: Contents) -> tuple[Sequence[Event], Sequence[Event]]:
    """Return what happened to a bow before a weighing, and after it."""
    history = contents.plus(record).events[record.build]
    place = history.index(record)
    return history[:place], history[place + 1 :]


WEIGHING_CHECKS: Sequence[Check] = (
    is_exercised,
    stages_go_forward,
    shots_go_forward,
    bows_are_finished_before_they_are_shot,
    brace_keeps_its_place,
)
