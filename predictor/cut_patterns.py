"""Ways to narrow a bow's limbs: equal shares of the width all along, in steps that a rule can mark.

A limb's stiffness is proportional to its width, so equal shares all along leave its bend as it is and the weight falls
in proportion. Amounts are rounded to 1/64 in and stop at the least widths. As the share grows they make a sequence in
which no amount ever falls, so a later pass goes on from where an earlier one stopped. Where one limb is too stiff it
gives the first part of the share alone.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from datasets.history import BowAt, LimbAt, bow_at
from datasets.materials import Material
from datasets.record import Dimension, Side, Taken
from datasets.schema import Cut, Method, Removal
from predictor.bow import handbook_moduli, weights
from predictor.kit_state import Kit

Array = NDArray[np.float64]

DIVISION = 64
"""Parts of an inch that a cut is marked to."""

ROUNDING = 1e-9
"""Shares of weight that differ by less are the same."""

SHARES = 401
"""Shares tried, up to the largest."""

UNDATED = date(2000, 1, 1)
"""Stands on a thought-of removal of a bow that has no date at all."""

NEAR_IN = 0.5
"""Quarter points of a limb nearer than this to a place where a width was noted are left out."""


@dataclass(frozen=True)
class Patterns:
    """A sequence of removals from both limbs, the first of nothing.

    Attributes:
        stations_in: from the fade end, shape (stations,).
        widths_in: of the upper and the lower limb before any, shape (2, stations).
        amounts_in: off the whole width, shape (patterns, 2, stations).
        left: weight after each over the weight before any, by the statics, shape (patterns,).
    """

    stations_in: Array
    widths_in: Array
    amounts_in: Array
    left: Array

    def deepest_within(self, share: float, gain: float = 1.0) -> int:
        """Return the number of the pattern that loses most but no more than a share of the weight.

        Args:
            share: of the weight before any, at least 0.
            gain: of the statics' loss that is got, both as logarithms.
        """
        return int(np.flatnonzero(1 - self.left**gain <= share + ROUNDING)[-1])


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
    """Return the removals possible of a kit, in order; those that the statics refuse end the sequence.

    Args:
        kit: as it stands.
        draw_in: from the back of the riser.
        materials: every material that its layers name.
        least_in: widths at fade and nock that a limb may not fall below; straight between them.
        most_share: largest share of the width, mean of both limbs.
        stiffer: the limb to begin with.
    """
    bow = bow_at(kit.form, kit.build, kit.events)
    stations = _stations(bow)
    widths = np.array([np.interp(stations, *limb.width_belly) for limb in (bow.upper, bow.lower)])
    least = np.interp(stations, [0.0, stations[-1]], least_in)
    room = np.floor(DIVISION * np.maximum(widths - least, 0) + ROUNDING)
    asked = np.rint(DIVISION * _shares(most_share, stiffer)[:, :, None] * widths)
    steps = np.unique(np.minimum(asked, room), axis=0)
    amounts = steps[np.argsort(steps.sum(axis=(1, 2)))] / DIVISION
    bows = [bow_at(kit.form, kit.build, (*kit.events, *removals(kit, stations, one))) for one in amounts]
    moduli = handbook_moduli(bow, materials)
    lbf = weights(bows, [moduli] * len(bows), np.full((len(bows), 1), draw_in)).lbf[:, 0]
    solved = int(np.argmax(np.append(np.isnan(lbf), True)))
    return Patterns(stations, widths, amounts[:solved], lbf[:solved] / lbf[0])


def removals(kit: Kit, stations_in: Array, amounts_in: Array, first: int = 9000) -> tuple[Removal, ...]:
    """Return planned removals off the upper and the lower limb: one if both are alike, none of nothing.

    Args:
        kit: the bow.
        stations_in: from the fade end.
        amounts_in: off the whole width, shape (2, stations).
        first: number of the first as an event of the build.
    """
    upper, lower = amounts_in
    limbs: Sequence[tuple[Side, Array]] = ((Side.UPPER, upper), (Side.LOWER, lower))
    if np.all(upper == lower):
        limbs = ((Side.BOTH, upper),)
    day = max((event.on for event in kit.events), default=kit.build.built or UNDATED)
    return tuple(
        Removal(
            id=f"{kit.build.id}/{first + place}",
            build=kit.build.id,
            on=day,
            method=Method.SIDES,
            limb=limb,
            planned=_cuts(stations_in, off),
        )
        for place, (limb, off) in enumerate(limbs)
        if np.any(off > 0)
    )


def _cuts(stations_in: Array, off_in: Array) -> tuple[Cut, ...]:
    places = zip(stations_in.tolist(), off_in.tolist(), strict=True)
    return tuple(Cut(at=planned(at), amount_in=planned(amount)) for at, amount in places)


def planned(inch: float) -> Dimension:
    """Return a planned length."""
    return Dimension(inch=inch, taken=Taken.PLANNED)


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
