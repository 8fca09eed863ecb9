"""What removals take off a limb: amounts along it, as measured afterwards or as planned.

A removal also has a share of its loss of weight that the shop gets by its method; the geometry rests on it as on a
recorded dimension.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from datasets import tolerances
from datasets.ledger import Ledger
from datasets.record import Dimension, Place
from datasets.schema import Cut, Method, Removal

Array = NDArray[np.float64]

Polyline = tuple[tuple[float, ...], tuple[float, ...]]
"""Stations and values; straight between stations, constant beyond the end ones."""

CARRIED_OUT = "removal carried out, "
"""What the source of the doubt about a removal of which only the plan is noted starts with."""

GAIN_OF = "gain of "
"""What the source of the doubt about a way of taking stock off starts with."""


class AmountKind(StrEnum):
    """What is taken off by one kind of work: hands differ from one to the other."""

    WIDTH = "width"
    CORNERS = "corners"
    GLASS = "glass"
    LENGTH = "length"


KIND_OF_AMOUNT = {
    Method.SIDES: AmountKind.WIDTH,
    Method.TRAP: AmountKind.WIDTH,
    Method.EDGES: AmountKind.CORNERS,
    Method.BELLY_GLASS: AmountKind.GLASS,
    Method.BACK_GLASS: AmountKind.GLASS,
    Method.SHORTEN: AmountKind.LENGTH,
}


@dataclass(frozen=True)
class Cuts:
    """What one removal took off one limb, and the share of its loss of weight that the shop gets by that method."""

    method: Method
    amounts: Polyline
    gain: float


def cuts_of(removal: Removal, name: str, length: float, ledger: Ledger) -> Cuts:
    """Return a removal's amounts: as measured afterwards, or as planned with the scatter of carrying a plan out."""
    gain = _gain(removal.method, ledger)
    of_corner = removal.method is Method.EDGES
    times = 1.0 if of_corner else gain
    if removal.done:
        sds = _CUT_SD_IN[removal.method]
        shift = ledger.note(name, "removal measured", 0.0, sds[removal.done[0].amount_in.taken])
        # Where nothing came off, nothing was misread.
        amounts = _polyline(removal.done, length, lambda amount: (amount + shift if amount else 0.0) * times)
    else:
        source = carried_out(KIND_OF_AMOUNT[removal.method])
        share = ledger.note(name, source, 1.0, tolerances.CARRIED_OUT) * times
        amounts = _polyline(removal.planned, length, lambda amount: amount * share)
    return Cuts(removal.method, amounts, gain)


def carried_out(amount: AmountKind) -> str:
    """Return the source of the doubt about a plan for a kind of amount."""
    return f"{CARRIED_OUT}{amount}"


def amount_of(source: str) -> AmountKind | None:
    """Return the kind of amount that a source of doubt is about, if it is a plan that is carried out."""
    return AmountKind(source.removeprefix(CARRIED_OUT)) if source.startswith(CARRIED_OUT) else None


def gain_of(method: Method) -> str:
    """Return the name of the share of the statics' loss that a method gets."""
    return f"{GAIN_OF}{method.replace('-', ' ')}"


def _gain(method: Method, ledger: Ledger) -> float:
    """Return the share of the statics' loss that a method gets; 1 but for a shift asked for.

    One share holds for all removals of a method. A shortened bow gets heavier: it has no such share.
    """
    if method is Method.SHORTEN:
        return 1.0
    return ledger.note(gain_of(method), gain_of(method), 1.0, tolerances.GAIN_SD)


_CUT_SD_IN = {
    Method.SIDES: tolerances.WIDTH_SD_IN,
    Method.TRAP: tolerances.WIDTH_SD_IN,
    Method.EDGES: tolerances.RADIUS_SD_IN,
    Method.BELLY_GLASS: tolerances.GLASS_SD_IN,
    Method.BACK_GLASS: tolerances.GLASS_SD_IN,
    Method.SHORTEN: tolerances.WIDTH_SD_IN,
}


def _polyline(cuts: Sequence[Cut], length: float, amount: Callable[[float], float]) -> Polyline:
    points = sorted((place_in(cut.at, length), amount(cut.amount_in.inch)) for cut in cuts)
    return tuple(at for at, _ in points), tuple(value for _, value in points)


def place_in(place: Place, length: float) -> float:
    """Return a place on a limb of `length` inches as inches from the fade end."""
    if isinstance(place, Dimension):
        return place.inch
    return {"fade": 0.0, "mid": length / 2, "nock": length}[place]


CORNER_POWER = 1.6
"""Power of its radius that a corner costs, glass about wood: less than two, as the glass lies at the face (computed by
`predictor.mechanics.section`; the tests hold it)."""


def rounded(before: Array, reached: Array, gain: float) -> Array:
    """Return the radius after a rounding of which a share of the loss is got."""
    after = np.maximum(reached, before)
    had = np.divide(before, after, out=np.ones_like(after), where=after > 0) ** CORNER_POWER
    return np.asarray(after * (1 + (gain - 1) * (1 - had)) ** (1 / CORNER_POWER))


def combined(curve: Polyline, other: Polyline, combine: Callable[[Array, Array], Array]) -> Polyline:
    """Return two polylines combined value by value at the stations of both that the first one spans."""
    ends = (curve[0][0], curve[0][-1]) if len(curve[0]) > 1 else (-np.inf, np.inf)
    stations = np.array(sorted({*curve[0], *(at for at in other[0] if ends[0] < at < ends[1])}))
    values = combine(np.interp(stations, *curve), np.interp(stations, *other))
    return tuple(stations.tolist()), tuple(values.tolist())
