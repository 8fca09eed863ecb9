"""Where the width of a prediction comes from, source by source, also after a bow's own weighings.

All doubt is a sum of independent sources: effects that builds teach, lots, dimensions, readings. Given own readings y,
a wanted w is missed by w - E[w|y] = (a - G b) z summed over the sources z, where a is what a source does to w, b what
it does to y, and G the gain. So the variances of the terms add up exactly to that of the prediction, and each is
positive: also the errors of the own readings have their part.
"""

from collections import defaultdict
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from predictor.belief.foresight import Foretold
from predictor.belief.own_history import USUAL_SLIPS
from predictor.belief.scatter import (
    BOW,
    CUT_TO_ORDER,
    FINISH_SANDING,
    FORMS,
    LOTS_OF_GLASS,
    LOTS_OF_WOOD,
    SCALES,
    SHOOTING_IN,
    SMOOTH,
    UNNOTED_SCALE,
)

Array = NDArray[np.float64]

GROUP_SOURCES = {
    LOTS_OF_WOOD: "lot of wood",
    LOTS_OF_GLASS: "lot of glass",
    FORMS: "the form's true shape",
    SCALES: "the scale",
    SMOOTH: "statics off by stack, length and share of wood",
}
BUILD_SOURCES = {
    BOW: "this bow's own scatter",
    FINISH_SANDING: "finish sanding of this bow",
    SHOOTING_IN: "shooting in of this bow",
    UNNOTED_SCALE: "a scale that nobody noted",
    CUT_TO_ORDER: "what it was cut by besides its weight",
}
LEARNED = "what builds and strip tests so far leave open"
READING = "reading the scale and the draw"
SLIP = "a slip in its record or in a weighing"


def log_variances(foretold: Foretold, directions: Array) -> dict[str, float]:
    """Return the variance of a sum of logarithms of wanted weights by source, largest first; they add up to the whole.

    Args:
        foretold: what is believed.
        directions: the factors of the sum, shape (n,).
    """
    told = foretold.told
    found: dict[str, float] = defaultdict(float)
    for source, variances in _by_part(foretold, _followed(foretold, directions)):
        found[source] += float(np.sum(told.weights * variances))
    means = told.means @ directions
    middle = np.sum(told.weights * means)
    by_slip = told.weights.sum(axis=1)
    centres = np.sum(told.weights * means, axis=1) / np.where(by_slip > 0, by_slip, 1.0)
    between = float(by_slip @ (centres - middle) ** 2)
    found[SLIP] += between
    found[LEARNED] += float(np.sum(told.weights * (means - middle) ** 2)) - between
    return dict(sorted(found.items(), key=lambda item: -item[1]))


def _followed(foretold: Foretold, directions: Array) -> Array:
    """Return how a miss of the sum follows from each row, own ones first, shape (H, K, m + n)."""
    own = -np.einsum("n,hknm->hkm", directions, foretold.told.gains)
    wanted = np.broadcast_to(directions, (*own.shape[:2], len(directions)))
    return np.concatenate([own, wanted], axis=-1)


def _by_part(foretold: Foretold, followed: Array) -> Iterator[tuple[str, Array]]:
    """Yield each part of each source with its variance, shape (H, K) or what broadcasts to it."""
    belief, rows = foretold.belief, foretold.seen.rows
    effects = followed @ rows.effects
    yield LEARNED, np.einsum("hki,kij,hkj->hk", effects, belief.covariances, effects, optimize=True)
    for source, column in zip(foretold.seen.sources, rows.tolerances.T, strict=True):
        yield source, (followed @ column) ** 2
    for group, levels in rows.unseen.items():
        yield GROUP_SOURCES[group], belief.scale(group) ** 2 * np.sum((followed @ levels) ** 2, axis=-1)
    for name, column in zip(belief.build_columns, rows.build.T, strict=True):
        yield BUILD_SOURCES[name], belief.scale(name) ** 2 * (followed @ column) ** 2
    yield READING, belief.scale("noise") ** 2 * (followed**2 @ rows.sd**2)
    shifted = np.einsum("hkr,hr->hk", followed, foretold.told.shifts)
    yield SLIP, USUAL_SLIPS.sd**2 * shifted**2
