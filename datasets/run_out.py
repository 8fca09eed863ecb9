"""Where a cut that is named at one place of a limb runs out: at nothing, at the neighbouring measured places.

A bowyer who takes stock off at the nock blends it into the limb, and does not take it off the fade too. A record holds
this in full, with the places where nothing comes off; a record with one place only, as books of before have them,
means the whole limb.
"""

from typing import get_args

from datasets.record import NamedPlace, Place
from datasets.removals import place_in
from datasets.schema import Cut, Method, Removal

NEAR_IN = 1.0
"""A measured place nearer than this is the place itself: nobody blends a cut within an inch."""


def runs_out_at(at: Place, length: float) -> tuple[NamedPlace, ...]:
    """Return the measured places next to one on a limb: one at an end of it, else one inward and one outward.

    Args:
        at: the place of the cut.
        length: of the limb, inches.
    """
    here = place_in(at, length)
    apart = [(name, place_in(name, length) - here) for name in get_args(NamedPlace)]
    inner = [name for name, away in apart if away <= -NEAR_IN]
    outer = [name for name, away in apart if away >= NEAR_IN]
    return *inner[-1:], *outer[:1]


def all_along(removal: Removal) -> Cut | None:
    """Return the one cut of a removal that holds for the whole limb; nothing where it goes by places."""
    cuts = removal.done or removal.planned
    return cuts[0] if len(cuts) == 1 and removal.method is not Method.SHORTEN else None
