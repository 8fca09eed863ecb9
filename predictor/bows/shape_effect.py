"""What doubt about the readings of an unstrung shape does to a weight: solved with the sound ones and with all."""

from dataclasses import dataclass

import numpy as np

from datasets.history import BowAt
from predictor.bows.bow import Moduli, Refusal, limb_of, solve, unstrung
from predictor.mechanics.limb import limb_grid
from predictor.shape.profile_doubts import ABOUT_READINGS


@dataclass(frozen=True)
class ShapeEffect:
    """A weight by the statics, with doubted readings followed and with them forgiven.

    Attributes:
        followed_lbf: with every reading taken to be as good as stated.
        forgiven_lbf: without the readings that are likely wrong, and as smooth as the others' scatter wants.
    """

    followed_lbf: float
    forgiven_lbf: float

    @property
    def change_lbf(self) -> float:
        """What following the doubted readings would change."""
        return self.followed_lbf - self.forgiven_lbf

    @property
    def change_percent(self) -> float:
        """The same in percent of the weight with the readings forgiven."""
        return 100 * self.change_lbf / self.forgiven_lbf


def shape_effect(bow: BowAt, moduli: Moduli, draw_in: float) -> ShapeEffect | Refusal | None:
    """Return a bow's weight with doubted readings of its unstrung shape followed and forgiven; nothing without doubt.

    Args:
        bow: the bow at a moment.
        moduli: of its materials and lots.
        draw_in: from the back of the riser.

    Returns:
        The two weights, or why the statics refuse the bow with one of the two shapes.
    """
    limbs = (bow.upper, bow.lower)
    if not any(doubt.doubt in ABOUT_READINGS for limb in limbs for doubt in unstrung(bow, limb).findings):
        return None
    shaped = [
        limb_of(bow, limb, moduli, unstrung(bow, limb, forgiving=forgiving))
        for forgiving in (False, True)
        for limb in limbs
    ]
    owner = np.repeat([0, 1], len(limbs))
    solved = solve([bow, bow], owner, limb_grid(shaped), np.full((2, 1), draw_in))
    refused = next((one for one in solved.refused if one), None)
    if refused:
        return refused
    followed, forgiven = solved.mean(solved.drawn.force)[:, 0].tolist()
    return ShapeEffect(followed, forgiven)
