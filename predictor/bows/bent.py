"""Whole bows bent to brace and to draws: how much each limb is bent, and the strain in its lams."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from datasets.history import BowAt, LimbAt
from predictor.bows.bow import Moduli, Refusal, limb_of, refusal, string_stiffness
from predictor.bows.pairs import Pair, bends
from predictor.mechanics.limb import LimbSections, limb_sections
from predictor.mechanics.statics import brace, draw, shape
from predictor.mechanics.strain import lam_strains

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class BentLimb:
    """One limb in s states: at brace, then at each draw asked for. It has m steps from nock to fade and L lams.

    Attributes:
        limb: its dimensions.
        station: of the steps' outer ends, middles and inner ends, inches from the fade, shape (m, 3).
        bend: change of curvature from the unstrung limb, positive toward the string, per inch, (s, m, 3).
        back: strain of each lam's face toward the back, tension positive, shape (s, m, 3, L); not a number where
            the lam is absent.
        belly: the same of its face toward the belly.
    """

    limb: LimbAt
    station: Array
    bend: Array
    back: Array
    belly: Array


@dataclass(frozen=True)
class BentBow:
    """Both limbs of a bow at brace and at draws."""

    upper: BentLimb
    lower: BentLimb


def bent_bow(bow: BowAt, moduli: Moduli, draws_in: Sequence[float]) -> BentBow | Refusal:
    """Bend a bow's limbs: like ones as a symmetric bow, unlike ones together on their riser.

    The weaker of two unlike limbs is bent more than a symmetric bow of two like it would be: the riser turns until
    both pull alike.

    The strains hardly depend on the moduli: brace height and draw fix the shape, and only the ratios of stiffness
    along the limb and between its lams matter.

    Args:
        bow: geometry at its moment.
        moduli: of its materials and lots.
        draws_in: inches from the back of the riser.

    Returns:
        The bent bow, or why it cannot be braced or drawn so far.
    """
    if bow.upper == bow.lower:
        return _symmetric(bow, moduli, draws_in)
    bent = bends(Pair(bow, moduli, moduli), draws_in)
    if isinstance(bent, Refusal):
        return bent
    sections = limb_sections([limb_of(bow, limb, moduli) for limb in (bow.upper, bow.lower)])
    upper, lower = _limbs((bow.upper, bow.lower), sections, np.stack(bent, axis=1))
    return BentBow(upper, lower)


def _symmetric(bow: BowAt, moduli: Moduli, draws_in: Sequence[float]) -> BentBow | Refusal:
    """Bend a bow of like limbs by one of them, which is much faster."""
    sections = limb_sections([limb_of(bow, bow.upper, moduli)])
    braced = brace(sections.grid, bow.brace, string_stiffness(bow))
    drawn = draw(sections.grid, braced, np.asarray(draws_in, dtype=np.float64))
    refused = refusal(braced, drawn, 0)
    if refused is not None:
        return refused
    holds = [braced.hold, *(drawn.hold(column) for column in range(len(draws_in)))]
    bend = np.stack([shape(sections.grid, braced, hold).bend for hold in holds])
    (limb,) = _limbs((bow.upper,), sections, bend)
    return BentBow(limb, limb)


def _limbs(limbs: Sequence[LimbAt], sections: LimbSections, bend: Array) -> list[BentLimb]:
    """Return n limbs in all their s states, from their bends of shape (s, n, m, 3)."""
    back, belly = lam_strains(sections, bend)
    return [
        BentLimb(
            limb=limb,
            station=sections.station[row],
            bend=bend[:, row],
            back=back[:, row, ..., : len(limb.lams)],
            belly=belly[:, row, ..., : len(limb.lams)],
        )
        for row, limb in enumerate(limbs)
    ]
