"""Arrows shot with a bow, as its weighings count them."""

from collections.abc import Iterable, Sequence

from datasets.schema import Event, Stage, WeighIn

A_FEW_DOZEN = 48
"""Arrows that a bow may shoot before it is finished, to see how it bends: common practice, no source."""

UNFINISHED = (Stage.BLANK, Stage.FIRST_DRAW, Stage.TILLERED)
"""Stages after which finishing and shooting in are still to take weight off."""


def most_shots(events: Iterable[Event]) -> int | None:
    """Return the most arrows that a weighing noted, if one did."""
    return max(
        (event.shots for event in events if isinstance(event, WeighIn) and event.shots is not None),
        default=None,
    )


def shot_unfinished(weigh_in: WeighIn, before: Sequence[Event]) -> int | None:
    """Return the arrows shot by the weighing of an unfinished bow where they are more than a few dozen.

    Args:
        weigh_in: the weighing.
        before: what happened to the bow before it.
    """
    shots = most_shots([*before, weigh_in]) or 0
    return shots if weigh_in.stage in UNFINISHED and shots > A_FEW_DOZEN else None


def notes_on_shot_unfinished(events: Sequence[Event]) -> tuple[str, ...]:
    """Return in words which weigh-ins of a history are of a bow that was shot and not finished, and how they count."""
    found = (
        (event, shot_unfinished(event, events[:place]))
        for place, event in enumerate(events)
        if isinstance(event, WeighIn)
    )
    return tuple(
        f"{event.id} is noted as {event.stage} after {shots} shots: {COUNTS_AS_UNFINISHED}"
        for event, shots in found
        if shots is not None
    )


COUNTS_AS_UNFINISHED = (
    "it counts as a bow that finishing and shooting in are still to take weight off; if they are done, correct its "
    "stage"
)
