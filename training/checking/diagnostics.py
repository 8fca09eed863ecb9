"""What left-out errors depend on although they should not: trends, uneven spread, strong builds; by statsmodels."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.stats import spearmanr
from statsmodels.api import OLS
from statsmodels.nonparametric.smoothers_lowess import lowess
from statsmodels.stats.diagnostic import het_breuschpagan, het_white
from statsmodels.stats.multitest import multipletests
from statsmodels.stats.outliers_influence import OLSInfluence

Array = NDArray[np.float64]

FEWEST_FOR_A_TREND = 8
"""Below so many builds a rank correlation hardly ever passes for one, whatever it is."""

BUILDS_A_COLUMN = 5
"""So many builds a column of a regression at least."""

SMOOTHED_SHARE = 2 / 3
"""Of the builds that each point of the smooth looks at."""


@dataclass(frozen=True)
class Trend:
    """How errors go with one quantity.

    Attributes:
        smooth: of the errors, by local regression that doubts outliers, shape (n,).
        rank_correlation: Spearman's.
        p: chance of one as far from zero if there were no trend.
        p_of_all: the same, of the farthest among all trends looked at (Holm).
    """

    smooth: Array
    rank_correlation: float
    p: float
    p_of_all: float


def trends(errors: Array, quantities: Mapping[str, Array]) -> dict[str, Trend]:
    """Return how errors go with each quantity that differs among most builds; none where they are few.

    The smooth is that of Cleveland, Journal of the American Statistical Association 74 (1979), 829-836 (from memory).

    Args:
        errors: shape (n,).
        quantities: by name, shape (n,) each; nan where it is not known.
    """
    tested = {}
    for name, quantity in quantities.items():
        known = np.isfinite(quantity)
        if known.sum() >= FEWEST_FOR_A_TREND and _differs(quantity[known]):
            tested[name] = (known, spearmanr(quantity[known], errors[known]))
    if not tested:
        return {}
    together = multipletests([float(found.pvalue) for _, found in tested.values()], method="holm")[1]
    return {
        name: Trend(
            smooth=_smooth(errors, quantities[name], known),
            rank_correlation=float(found.statistic),
            p=float(found.pvalue),
            p_of_all=float(p_of_all),
        )
        for (name, (known, found)), p_of_all in zip(tested.items(), together, strict=True)
    }


def _differs(quantity: Array) -> bool:
    """Return whether a quantity differs among builds; one that most of them share leaves a local regression no room."""
    return int(np.unique(quantity, return_counts=True)[1].max()) < len(quantity) / 2


def _smooth(errors: Array, quantity: Array, known: NDArray[np.bool_]) -> Array:
    smooth = np.full(len(errors), np.nan)
    wide = float(np.ptp(quantity[known]))
    smooth[known] = lowess(
        errors[known], quantity[known], frac=SMOOTHED_SHARE, it=3, delta=0.01 * wide, return_sorted=False
    )
    return smooth


def columns(quantities: Mapping[str, Array], builds: int) -> tuple[tuple[str, ...], Array]:
    """Return quantities that are known of all builds and differ, standardised, with a constant before them.

    As many as the builds bear, in their order, and none that the ones before already give.

    Returns:
        Their names, and the columns, shape (n, 1 + names).
    """
    names: list[str] = []
    chosen = np.ones((builds, 1))
    for name, quantity in quantities.items():
        if builds < BUILDS_A_COLUMN * (len(names) + 2) or not np.isfinite(quantity).all():
            continue
        spread = float(quantity.std())
        if spread <= 1e-9 * max(1.0, float(np.abs(quantity).max())):
            continue
        wider = np.column_stack([chosen, (quantity - quantity.mean()) / spread])
        if np.linalg.cond(wider) < 1e4:
            names, chosen = [*names, name], wider
    return tuple(names), chosen


@dataclass(frozen=True)
class Spread:
    """Whether the spread of errors goes with anything.

    Attributes:
        on: names of the quantities.
        p: chance of as much if it goes with none.
    """

    on: tuple[str, ...]
    p: float


def breusch_pagan(errors: Array, quantities: Mapping[str, Array]) -> Spread | None:
    """Test whether the square of errors goes with quantities; nothing where builds are too few.

    Source: Breusch and Pagan, Econometrica 47 (1979), 1287-1294, in the form of Koenker, Journal of Econometrics 17
    (1981), 107-112 (both from memory).
    """
    names, design = columns(quantities, len(errors))
    if not names:
        return None
    return Spread(names, float(het_breuschpagan(_residuals(errors, design), design)[1]))


def white(errors: Array, quantities: Mapping[str, Array]) -> Spread | None:
    """Test the same with squares and products of the quantities; nothing where builds are too few.

    Source: White, Econometrica 48 (1980), 817-838 (from memory).
    """
    names, design = columns(quantities, len(errors))
    while names and BUILDS_A_COLUMN * (len(names) + 1) * (len(names) + 2) / 2 > len(errors):
        names, design = names[:-1], design[:, :-1]
    if not names:
        return None
    return Spread(names, float(het_white(_residuals(errors, design), design)[1]))


def _residuals(errors: Array, design: Array) -> Array:
    residuals: Array = OLS(errors, design).fit().resid
    return residuals


@dataclass(frozen=True)
class Influence:
    """How much one build pulls a regression of the errors on the quantities.

    Attributes:
        place: of the build.
        cook: its distance of Cook.
        leverage: how far out it lies in the quantities, from 1/n to 1.
        outlier_p: chance that the farthest of so many sound builds lies as far out (Bonferroni).
    """

    place: int
    cook: float
    leverage: float
    outlier_p: float


def influence(errors: Array, quantities: Mapping[str, Array]) -> tuple[tuple[str, ...], list[Influence]]:
    """Return the pull of each build on a regression of the errors, the strongest first.

    Cook, Technometrics 19 (1977), 15-18 (from memory); builds beyond 4 / n are commonly looked at.

    Returns:
        The quantities regressed on, and the builds; neither where builds are too few.
    """
    names, design = columns(quantities, len(errors))
    if not names:
        return (), []
    fitted = OLS(errors, design).fit()
    found = OLSInfluence(fitted)
    outlier_p = fitted.outlier_test(method="bonf")[:, 2]
    each = [
        Influence(place, float(cook), float(leverage), float(p))
        for place, (cook, leverage, p) in enumerate(
            zip(found.cooks_distance[0], found.hat_matrix_diag, outlier_p, strict=True)
        )
    ]
    return names, sorted(each, key=lambda one: -one.cook)
