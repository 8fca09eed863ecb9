"""Removals that grow in steps: off the sides or the back's width, onto the corners' radius, off the belly's glass.

A limb's stiffness is proportional to its width, so equal shares all along leave its bend as it is and the weight falls
in proportion. Widths and radii are rounded to 1/64 in, glass to .001 in; glass is sanded alike all along, and corners
are rounded from the fade outward, 1/64 at a time, as most of the weight is got near the fade. As it grows each makes a
sequence in which no amount ever falls, so a later pass goes on from where an earlier one stopped. Where one limb is
too stiff its sides give the first part of the share alone.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from datasets.history import BowAt, LimbAt, bow_at
from datasets.materials import Material
from datasets.record import Side
from datasets.removals import Polyline
from datasets.schema import Method, Part, Removal
from datasets.thought_of import thought_of
from predictor.bows.bow import handbook_moduli, weights
from predictor.planning.kit_state import Kit

Array = NDArray[np.float64]

DIVISION = 64
"""Parts of an inch that a cut is marked to."""

GLASS_DIVISION = 1000
"""Parts of an inch that glass is measured to."""

ROUNDING = 1e-9
"""Shares of weight that differ by less are the same."""

UNEVEN = 0.05
"""Share of its width by which a place may be narrowed less than others, for being at its least, before a limb bends
otherwise. At the nock, where a limb hardly bends, it may be more. Common practice, no source."""

SHARES = 401
"""Shares tried, up to the largest."""

NEAR_IN = 0.5
"""Quarter points of a limb nearer than this to a place where a width was noted are left out."""

LEAST_GLASS = 0.5
"""Share of its pressed thickness that the belly's glass keeps, whatever else is allowed. Common practice, no source."""

_UNSOLVED = np.ones(1)


@dataclass(frozen=True)
class Patterns:
    """A sequence of removals from both limbs by one method, the first of nothing.

    Attributes:
        method: how.
        stations_in: from the fade end, shape (stations,).
        sizes_in: of the upper and the lower limb before any, shape (2, stations): the width, the back's width, the
            corners' radius or the thickness of the belly's glass.
        amounts_in: off that size, or onto the radius, shape (patterns, 2, stations).
        left: weight after each over the weight before any, by the statics, shape (patterns,).
    """

    method: Method
    stations_in: Array
    sizes_in: Array
    amounts_in: Array
    left: Array

    def deepest_within(self, share: float, gain: float = 1.0) -> int:
        """Return the number of the pattern that loses most but no more than a share of the weight.

        Args:
            share: of the weight before any, at least 0.
            gain: of the statics' loss that is got, both as logarithms.
        """
        return int(np.flatnonzero(1 - self.left**gain <= share + ROUNDING)[-1])

    def sizes_after_in(self, pattern: int) -> Array:
        """Return the sizes that a pattern leaves, shape (2, stations)."""
        sign = 1 if self.method is Method.EDGES else -1
        after: Array = self.sizes_in + sign * self.amounts_in[pattern]
        return after

    def removals(self, kit: Kit, before: int, after: int) -> tuple[Removal, ...]:
        """Return what is to be noted of a kit that has one pattern already and gets another."""
        further = self.amounts_in[after] - self.amounts_in[before]
        if self.method is not Method.EDGES:
            return removals(kit, self.stations_in, further, self.method)
        reached = np.where(np.any(further > 0, axis=1, keepdims=True), self.sizes_after_in(after), 0.0)
        return removals(kit, self.stations_in, reached, self.method)


@dataclass(frozen=True)
class Stiffer:
    """A limb that is too stiff, and the share of its width that sets the tiller right."""

    limb: Side
    share: float


def patterns(
    kit: Kit,
    draw_in: float,
    materials: Mapping[str, Material],
    least_in: tuple[float, float],
    most_share: float,
    stiffer: Stiffer | None = None,
) -> Patterns:
    """Return what can be taken off a kit's sides, in order; what the statics refuse ends the sequence.

    Args:
        kit: as it stands.
        draw_in: from the back of the riser.
        materials: every material that its layers name.
        least_in: widths at fade and nock that a limb may not fall below; straight between them.
        most_share: largest share of the width, mean of both limbs.
        stiffer: the limb to begin with.
    """
    limbs, stations = _limbs_of(kit)
    widths = _sizes([limb.width_belly for limb in limbs], stations)
    least = np.interp(stations, [0.0, stations[-1]], least_in)
    amounts = _equal_shares(widths, least, _shares(most_share, stiffer))
    return _solved(Patterns(Method.SIDES, stations, widths, amounts, _UNSOLVED), kit, draw_in, materials)


def trapping(kit: Kit, draw_in: float, materials: Mapping[str, Material], most_in: float) -> Patterns:
    """Return what can be taken off the width of a kit's back, in order.

    Args:
        kit: as it stands.
        draw_in: from the back of the riser.
        materials: every material that its layers name.
        most_in: by which the back may be narrower than the belly.
    """
    limbs, stations = _limbs_of(kit)
    widths = _sizes([limb.width_back for limb in limbs], stations)
    least = _sizes([limb.width_belly for limb in limbs], stations) - most_in
    most = float(np.max(1 - least / widths))
    amounts = _equal_shares(widths, least, _shares(max(most, 0.0), None))
    return _solved(Patterns(Method.TRAP, stations, widths, amounts, _UNSOLVED), kit, draw_in, materials)


def rounding(kit: Kit, draw_in: float, materials: Mapping[str, Material], most_in: float) -> Patterns:
    """Return how far a kit's corners can be rounded, in order.

    Args:
        kit: as it stands.
        draw_in: from the back of the riser.
        materials: every material that its layers name.
        most_in: largest radius; nowhere is it more than half the limb's thickness.
    """
    limbs, stations = _limbs_of(kit)
    radii = _sizes([limb.edge_radius for limb in limbs], stations)
    half = np.array([[limb.stack_at(station) / 2 for station in stations] for limb in limbs])
    tops = np.floor(DIVISION * np.minimum(most_in, half) + ROUNDING)
    steps = np.arange(np.rint(DIVISION * radii.min()) + 1, tops.max() + 1)
    from_fade = np.arange(len(stations)) < np.arange(1, len(stations) + 1)[:, None]
    before = np.where(np.arange(len(steps)) > 0, steps - 1, 0.0)
    asked = np.where(from_fade, steps[:, None, None], before[:, None, None]).reshape(-1, 1, len(stations))
    reached = np.maximum(np.minimum(asked, tops) / DIVISION, radii)
    amounts = np.unique(np.concatenate([radii[None], reached]) - radii, axis=0)
    return _solved(Patterns(Method.EDGES, stations, radii, amounts, _UNSOLVED), kit, draw_in, materials)


def sanding(kit: Kit, draw_in: float, materials: Mapping[str, Material], most_in: float) -> Patterns:
    """Return what can be sanded off the glass of a kit's belly, in order; nothing where there is none.

    Args:
        kit: as it stands.
        draw_in: from the back of the riser.
        materials: every material that its layers name.
        most_in: sanded off in all, with what is sanded off already.
    """
    limbs, stations = _limbs_of(kit)
    pressed = bow_at(kit.form, kit.build)
    now, first = (
        _sizes([(one.lams[-1].stations, one.lams[-1].thickness) for one in some], stations)
        for some in (limbs, (pressed.upper, pressed.lower))
    )
    room = np.minimum(most_in, (1 - LEAST_GLASS) * first) - (first - now)
    glass = all(limb.lams[-1].part is Part.GLASS for limb in limbs)
    steps = int(np.floor(GLASS_DIVISION * room.min() + ROUNDING)) if glass else 0
    amounts = np.arange(max(steps, 0) + 1)[:, None, None] / GLASS_DIVISION * np.ones_like(now)
    return _solved(Patterns(Method.BELLY_GLASS, stations, now, amounts, _UNSOLVED), kit, draw_in, materials)


def _limbs_of(kit: Kit) -> tuple[tuple[LimbAt, LimbAt], Array]:
    """Return a kit's limbs as they stand, and the stations to be marked."""
    bow = bow_at(kit.form, kit.build, kit.events)
    return (bow.upper, bow.lower), _stations(bow)


def _sizes(curves: Sequence[Polyline], stations: Array) -> Array:
    return np.array([np.interp(stations, *curve) for curve in curves])


def _equal_shares(widths: Array, least: Array, shares: Array) -> Array:
    """Return amounts off the widths of both limbs that are equal shares of them, down to the least widths.

    They end where a place inside the nock has come short of its share by so much that the limb would bend otherwise.
    """
    room = np.floor(DIVISION * np.maximum(widths - least, 0) + ROUNDING)
    asked = shares[:, :, None] * widths
    short = (asked - room / DIVISION) / widths
    even = np.all(short[:, :, :-1] <= UNEVEN, axis=(1, 2))
    return np.unique(np.minimum(np.rint(DIVISION * asked[even]), room), axis=0) / DIVISION


def _solved(asked: Patterns, kit: Kit, draw_in: float, materials: Mapping[str, Material]) -> Patterns:
    """Return patterns by how much they take, with the weight that each leaves, up to the first that is refused."""
    order = np.argsort(asked.amounts_in.sum(axis=(1, 2)), kind="stable")
    asked = replace(asked, amounts_in=asked.amounts_in[order])
    if len(order) == 1:
        return asked
    bows = [
        bow_at(kit.form, kit.build, (*kit.events, *asked.removals(kit, 0, place)))
        for place in range(len(order))
    ]
    moduli = handbook_moduli(bows[0], materials)
    lbf = weights(bows, [moduli] * len(bows), np.full((len(bows), 1), draw_in)).lbf[:, 0]
    solved = int(np.argmax(np.append(np.isnan(lbf), True)))
    return replace(asked, amounts_in=asked.amounts_in[:solved], left=lbf[:solved] / lbf[0])


def removals(
    kit: Kit, stations_in: Array, amounts_in: Array, method: Method = Method.SIDES
) -> tuple[Removal, ...]:
    """Return planned removals off the upper and the lower limb: one if both are alike, none of nothing.

    Args:
        kit: the bow.
        stations_in: from the fade end.
        amounts_in: as a removal by the method counts them, shape (2, stations).
        method: how.
    """
    upper, lower = amounts_in
    limbs = {Side.BOTH: upper} if np.all(upper == lower) else {Side.UPPER: upper, Side.LOWER: lower}
    places = stations_in.tolist()
    off = {limb: zip(places, amounts.tolist(), strict=True) for limb, amounts in limbs.items()}
    found = thought_of(kit.build, kit.events, method, off)
    return tuple(one for one in found if any(cut.amount_in.inch > 0 for cut in one.planned))


def _stations(bow: BowAt) -> Array:
    """Return where widths were noted on a limb, and its quarter points."""
    length = min(bow.upper.length, bow.lower.length)
    noted = {0.0, length, *(at for limb in (bow.upper, bow.lower) for at in _noted(limb) if at < length)}
    quarters = [
        at for at in length * np.array([0.25, 0.5, 0.75]) if min(abs(at - one) for one in noted) > NEAR_IN
    ]
    return np.array(sorted([*noted, *quarters]))


def _noted(limb: LimbAt) -> tuple[float, ...]:
    return tuple(at for at in limb.width_belly[0] if at > 0)


def _shares(most: float, stiffer: Stiffer | None) -> Array:
    """Return shares of the width of the upper and the lower limb, shape (shares, 2)."""
    mean = np.linspace(0, most, SHARES)
    alone = 0.0 if stiffer is None else stiffer.share
    more, less = np.minimum(2 * mean, mean + alone / 2), np.maximum(0, mean - alone / 2)
    upper_first = stiffer is None or stiffer.limb is Side.UPPER
    return np.stack([more, less] if upper_first else [less, more], axis=1)
