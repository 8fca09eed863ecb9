"""How much a shop cut each bow to bring it to its weight, by the records of its builds."""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import replace
from math import exp, log

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

from predictor.belief.beyond import WIDTH
from predictor.belief.called_for import log_likelihood
from predictor.belief.columns import FINISHED
from predictor.belief.cutting import USUAL_CUT_PRIOR, SeenCut, cut_of, seen_of
from predictor.belief.usual_cut import UsualCut
from predictor.belief.weighings import Weighing

Array = NDArray[np.float64]

CALLED_FOR_LOG_SD = 0.5
"""How well the scatter of what bows call for is known before a shop has taught it: two times in three to a half more
or less; a guess, no source."""


def usual_cut(weighings: Sequence[Weighing]) -> UsualCut:
    """Return what is usual, by weighings of which those of one build stand together and in order of time."""
    widths: dict[str, list[float]] = defaultdict(list)
    for mine in _by_build(weighings):
        if mine[0].moment.stage not in FINISHED:
            widths[mine[0].moment.form].append(mine[0].columns.sizes_in[WIDTH])
    apart = [np.log(some) - np.mean(np.log(some)) for some in widths.values()]
    known = sum(len(some) - 1 for some in apart)
    spread = np.sqrt(sum(float(np.sum(some**2)) for some in apart) / known) if known else 0.0
    usual = UsualCut(
        first_width_in={form: float(np.exp(np.mean(np.log(some)))) for form, some in widths.items()},
        first_width_sd=float(spread),
    )
    return likeliest_called_for(
        usual, [cut for mine in _by_build(weighings) if (cut := seen_of(mine, usual))]
    )


def likeliest_called_for(usual: UsualCut, cuts: Sequence[SeenCut]) -> UsualCut:
    """Return what is usual with what a shop's bows call for: the likeliest, a prior beside few bows.

    Args:
        usual: with the prior's medians.
        cuts: of finished bows, as records show them.
    """
    seen, sds = np.array([[cut.log_share, cut.sd] for cut in cuts]).reshape(-1, 2).T

    def against(at: Array) -> float:
        mean, log_sd = at.tolist()
        prior = ((mean - USUAL_CUT_PRIOR.mean) / USUAL_CUT_PRIOR.sd) ** 2
        prior += ((log_sd - log(usual.called_for_sd)) / CALLED_FOR_LOG_SD) ** 2
        misfit: float = prior / 2 - log_likelihood(seen, sds, mean, exp(log_sd))
        return misfit

    best = minimize(against, [usual.called_for, log(usual.called_for_sd)], method="Nelder-Mead").x
    return usual.model_copy(update={"called_for": float(best[0]), "called_for_sd": exp(best[1])})


def with_cuts(weighings: Sequence[Weighing], usual: UsualCut) -> tuple[Weighing, ...]:
    """Return weighings, the last one of each finished build with what the build was cut by."""
    told: list[Weighing] = []
    for mine in _by_build(weighings):
        told += [replace(weighing, cut=None) for weighing in mine[:-1]]
        told.append(replace(mine[-1], cut=cut_of(mine, usual)))
    return tuple(told)


def _by_build(weighings: Sequence[Weighing]) -> Iterator[list[Weighing]]:
    builds: dict[str, list[Weighing]] = defaultdict(list)
    for weighing in weighings:
        builds[weighing.build].append(weighing)
    yield from builds.values()
