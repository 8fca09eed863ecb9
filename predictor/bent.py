"""Whole bows bent to brace and to draws: how much each limb is bent, and the strain in its lams."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from datasets.history import BowAt, LimbAt
from predictor.bow import Moduli, Refusal, limb_of, refusal, string_stiffness
from predictor.limb import LimbSections, limb_sections
from predictor.statics import Shape, brace, draw, shape
from predictor.strain import lam_strains

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
    """Bend a bow's limbs, each as half of a symmetric bow.

    The strains hardly depend on the moduli: brace height and draw fix the shape, and only the ratios of stiffness
    along the limb and between its lams matter.

    Args:
        bow: geometry at its moment.
        moduli: of its materials and lots.
        draws_in: inches from the back of the riser.

    Returns:
        The bent bow, or why it cannot be braced or drawn so far.
    """
    limbs = (bow.upper,) if bow.upper == bow.lower else (bow.upper, bow.lower)
    sections = limb_sections([limb_of(bow, limb, moduli) for limb in limbs])
    braced = brace(sections.grid, bow.brace, string_stiffness(bow))
    drawn = draw(sections.grid, braced, np.asarray(draws_in, dtype=np.float64))
    for row in range(len(limbs)):
        refused = refusal(braced, drawn, row)
        if refused is not None:
            return refused
    holds = [braced.hold, *(drawn.hold(column) for column in range(len(draws_in)))]
    states = [shape(sections.grid, braced, hold) for hold in holds]
    bent = [_bent(limb, row, sections, states) for row, limb in enumerate(limbs)]
    return BentBow(bent[0], bent[-1])


def _bent(limb: LimbAt, row: int, sections: LimbSections, states: Sequence[Shape]) -> BentLimb:
    """Return one limb of the batch in all its states."""
    back, belly = lam_strains(sections, np.stack([state.bend for state in states]))
    lams = slice(len(limb.lams))
    return BentLimb(
        limb=limb,
        station=sections.station[row],
        bend=np.stack([state.bend[row] for state in states]),
        back=back[:, row, ..., lams],
        belly=belly[:, row, ..., lams],
    )
