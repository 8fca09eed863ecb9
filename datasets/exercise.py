"""Whether a bow had been drawn often enough when it was weighed: before, it reads higher than it will stay.

By how much, nobody has measured, so that such a reading is not weighed down: it does not count.
"""

from collections.abc import Iterator, Sequence

from datasets.schema import Event, Removal, Stage, WeighIn

ENOUGH_DRAWS = 30
"""Full draws since the last removal from which a reading counts: common practice, no source."""

_FIRST_STAGES = frozenset({Stage.BLANK, Stage.FIRST_DRAW})
"""By their nature among a bow's first draws."""


def too_few_draws(weigh_in: WeighIn, before: Sequence[Event]) -> int | None:
    """Return the full draws since the last removal where they are too few for a reading to count.

    Nothing noted is taken for enough. An arrow shot since the last removal is a full draw too.

    Args:
        weigh_in: the weighing.
        before: what happened to the bow before it, in order.
    """
    if weigh_in.stage in _FIRST_STAGES or weigh_in.pulls is None:
        return None
    draws = max(weigh_in.pulls, _shot_since_removal(weigh_in, before))
    return draws if draws < ENOUGH_DRAWS else None


def not_counted(events: Sequence[Event]) -> Iterator[tuple[WeighIn, int]]:
    """Yield the weigh-ins of a history that do not count, each with the full draws before it."""
    for place, event in enumerate(events):
        if isinstance(event, WeighIn):
            draws = too_few_draws(event, events[:place])
            if draws is not None:
                yield event, draws


def draws_in_words(draws: int) -> str:
    """Return why a reading after so many full draws does not count."""
    return (
        f"read after {draws} full draw{'' if draws == 1 else 's'}: does not count before about {ENOUGH_DRAWS}"
    )


def notes_on_not_counted(events: Sequence[Event]) -> tuple[str, ...]:
    """Return in words which weigh-ins of a history do not count; the bow is to be weighed again after the last one."""
    last = next((event for event in reversed(events) if isinstance(event, WeighIn)), None)
    again = "; pull it some more and weigh again"
    return tuple(
        f"{weigh_in.id} was {draws_in_words(draws)}{again if weigh_in is last else ''}"
        for weigh_in, draws in not_counted(events)
    )


def _shot_since_removal(weigh_in: WeighIn, before: Sequence[Event]) -> int:
    shot = by_removal = 0
    for event in before:
        if isinstance(event, WeighIn):
            shot = max(shot, event.shots or 0)
        elif isinstance(event, Removal):
            by_removal = shot
    return max((weigh_in.shots or 0) - by_removal, 0)
