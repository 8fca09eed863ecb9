"""Whole bows solved with their two limbs as they are: tiller at brace, and weight at a draw."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from datasets.history import BowAt
from predictor.bow import Moduli, Refusal, limb_of, string_stiffness
from predictor.elastica import LimbGrid
from predictor.limb import Limb, limb_sections
from predictor.statics import Status
from predictor.unlike import TwoLimbs, brace, draw, tiller

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Pair:
    """A bow and the moduli of each of its limbs.

    Attributes:
        difference: logarithm of the upper limb's stiffness over the lower one's, beyond dimensions and moduli.
    """

    bow: BowAt
    upper: Moduli
    lower: Moduli
    difference: float = 0.0


@dataclass(frozen=True, eq=False)
class Balanced:
    """Bows in balance: tiller at brace in inches, upper less lower, and weight in pounds, shape (n,) each."""

    tiller_in: Array
    weight_lbf: Array


def balanced(pairs: Sequence[Pair], draw_in: float) -> Balanced | Refusal:
    """Solve bows on their rigid risers, held at the pivot and drawn at the nocking point.

    Args:
        pairs: the bows.
        draw_in: inches from the back of the riser.

    Returns:
        Their tillers and weights, or why one of them has none.
    """
    bows = [pair.bow for pair in pairs]
    upper, upper_belly = _limbs(
        [limb_of(pair.bow, pair.bow.upper, pair.upper) for pair in pairs],
        [pair.difference / 2 for pair in pairs],
    )
    lower, lower_belly = _limbs(
        [limb_of(pair.bow, pair.bow.lower, pair.lower) for pair in pairs],
        [-pair.difference / 2 for pair in pairs],
    )
    two = TwoLimbs(
        upper=upper,
        lower=lower,
        string_stiffness=np.array([string_stiffness(bow) for bow in bows]),
        pivot_distance=np.array([bow.pivot_above for bow in bows]),
        pivot_depth=np.array([bow.pivot_depth for bow in bows]),
        nocking_height=np.array([bow.pivot_above + bow.nocking_above for bow in bows]),
    )
    braced = brace(two, np.array([bow.brace for bow in bows]))
    drawn = draw(two, braced, [draw_in])
    for status, where in (
        (braced.status, f"at a brace of {bows[0].brace:.2f} in from the back"),
        (drawn.status[:, 0], f"asked for {draw_in:.2f} in from the back"),
    ):
        worst = Status(status.max())
        if worst is not Status.OK:
            return Refusal(reason=worst.reason, where=where)
    belly = np.stack([upper_belly, lower_belly], axis=-1)
    return Balanced(tiller(two, braced, belly), drawn.force[:, 0])


def _limbs(limbs: Sequence[Limb], stiffer: Sequence[float]) -> tuple[LimbGrid, Array]:
    """Return limbs, each stiffer by a logarithm, and how far their bellies are from the neutral axis at the fade."""
    sections = limb_sections(limbs)
    factor = np.exp(np.array(stiffer))[:, None, None]
    grid = replace(sections.grid, flexibility=sections.grid.flexibility / factor)
    return grid, (sections.thickness - sections.neutral_axis)[:, -1, 2]
