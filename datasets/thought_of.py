"""Removals that are only thought of: records that no book holds, to see what they would do to a bow."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import date

from datasets.record import Dimension, NamedPlace, Side, Taken
from datasets.schema import Build, Cut, Event, Method, Removal

_UNDATED = date(2000, 1, 1)
_FIRST_NUMBER = 9000

OffLimb = Iterable[tuple[float | NamedPlace, float]]
"""Places, by name or in inches from the fade end, and amounts in inches as a method counts them."""


def thought_of(
    build: Build,
    events: Sequence[Event],
    method: Method,
    limbs: Mapping[Side, OffLimb],
    taken: Taken = Taken.PLANNED,
) -> tuple[Removal, ...]:
    """Return one removal for each limb named, on the day of the last event or else of the build.

    Args:
        build: that the stock is taken off.
        events: its history so far.
        method: how.
        limbs: where and how much.
        taken: how the amounts are known: as planned only, or as measured afterwards.
    """
    day = max((event.on for event in events), default=build.built or _UNDATED)
    noted = "planned" if taken is Taken.PLANNED else "done"

    def length(inch: float) -> Dimension:
        return Dimension(inch=inch, taken=taken)

    def cut(at: float | NamedPlace, amount_in: float) -> Cut:
        return Cut(at=at if isinstance(at, str) else length(at), amount_in=length(amount_in))

    return tuple(
        Removal.model_validate(
            {
                "id": f"{build.id}/{_FIRST_NUMBER + place}",
                "build": build.id,
                "on": day,
                "method": method,
                "limb": limb,
                noted: tuple(cut(*one) for one in off),
            }
        )
        for place, (limb, off) in enumerate(limbs.items())
    )
