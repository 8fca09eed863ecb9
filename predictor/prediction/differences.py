"""Why two bows differ in weight: pounds by each recorded difference, by what builds have taught, and what is left.

The statics' part is shared out along two ways from one bow to the other, one kind of dimension after another, in one
order and in the reverse order; each kind gets the mean of its two steps. So the parts add up exactly, and they change
sign when the bows change places. It is the Shapley value cut down to two orders, exact for it where no three kinds act
together: Shapley, in Contributions to the Theory of Games II (1953), 307-317 (from memory).
"""

from collections.abc import Mapping, Sequence
from math import log

import numpy as np

from datasets.history import bow_at
from datasets.materials import Material
from datasets.record import ZeroPoint
from datasets.zero_points import from_back
from predictor.belief.columns import Columns
from predictor.belief.posterior import Array, Posterior
from predictor.belief.seen import level_name
from predictor.bows.bow import Refusal, handbook_moduli, weights
from predictor.prediction.between import KINDS, Stood, mixed


def by_statics(first: Stood, second: Stood, materials: Mapping[str, Material]) -> dict[str, float] | Refusal:
    """Return the logarithm of the first bow's weight over the second's, by kind of dimension.

    Args:
        first: one bow.
        second: the other.
        materials: of the layers of both.

    Returns:
        For each kind its part, at handbook moduli, adding up to the whole; or why a bow on the way has no weight.
    """
    one, other = first.plain(), second.plain()
    ways = [KINDS, tuple(reversed(KINDS))]
    stops = [frozenset(way[:count]) for way in ways for count in range(len(KINDS) + 1)]
    found = _log_weights([mixed(one, other, taken) for taken in stops], materials)
    if isinstance(found, Refusal):
        return found
    parts = dict.fromkeys(KINDS, 0.0)
    for way, logs in zip(ways, found.reshape(2, -1), strict=True):
        for kind, step in zip(way, np.diff(logs).tolist(), strict=True):
            parts[kind] -= step / 2
    return parts


def _log_weights(stood: Sequence[Stood], materials: Mapping[str, Material]) -> Array | Refusal:
    try:
        bows = [bow_at(one.form, one.build, one.events) for one in stood]
    except ValueError as error:
        return Refusal(reason=str(error), where="in a bow between the two")
    draws = [[from_back(one.draw_in, ZeroPoint.STANDARD, one.form.handle_depth_in.inch)] for one in stood]
    solved = weights(bows, [handbook_moduli(bow, materials) for bow in bows], np.array(draws))
    refused = next((refusal for refusal in solved.refused if refusal), None)
    logs: Array = np.log(np.where(solved.lbf[:, 0] > 0, solved.lbf[:, 0], np.nan))
    return refused or logs


def logarithmic_mean(first: float, second: float) -> float:
    """Return the mean that turns a logarithm of a ratio into a difference: (a - b) / log(a / b), or a where they agree.

    Below some 1e-6 of relative difference the arithmetic mean, which is the same to rounding.
    """
    if abs(first - second) < 1e-6 * first:
        return (first + second) / 2
    return (first - second) / log(first / second)


def by_effects(belief: Posterior, told: Columns) -> dict[str, float]:
    """Return what each effect adds to one reading by its learned mean, or by its prior's where it is new.

    Levels of a group, such as the lots of wood, are told together by the name of the group. All together they are the
    mean of the prediction less the statics' part.
    """
    means = dict(zip(belief.effects, (belief.weights @ belief.means).tolist(), strict=True))
    parts = {
        name: float(column[0]) * means.get(name, told.priors[name].mean)
        for name, column in told.common.items()
    }
    for group, levels in told.groups.items():
        parts[group] = sum(
            float(column[0]) * means.get(level_name(group, level), 0.0) for level, column in levels.items()
        )
    return parts
