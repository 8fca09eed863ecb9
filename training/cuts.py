"""How much a shop cut each bow to bring it to its weight, by the records of its builds."""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from predictor.columns import FINISHED
from predictor.cutting import over_usual, with_cut
from predictor.usual_cut import UsualCut
from predictor.weighings import Weighing


def usual_cut(weighings: Sequence[Weighing]) -> UsualCut:
    """Return what is usual, by weighings of which those of one build stand together and in order of time."""
    widths: dict[str, list[float]] = defaultdict(list)
    for mine in _by_build(weighings):
        if mine[0].moment.stage not in FINISHED:
            widths[mine[0].moment.form].append(mine[0].columns.sizes_in["width at mid-limb"])
    usual = UsualCut(first_width_in={form: float(np.mean(some)) for form, some in widths.items()})
    cuts = [
        over_usual(mine[-1].columns, mine[-1].moment, usual)
        for mine in _by_build(weighings)
        if mine[-1].moment.stage in FINISHED and mine[-1].moment.form in widths
    ]
    return usual.model_copy(update={"cut": float(np.mean(cuts))}) if cuts else usual


def with_cuts(weighings: Sequence[Weighing], usual: UsualCut) -> tuple[Weighing, ...]:
    """Return weighings with the column of what their build was cut by; zero where it is not finished yet."""
    told = []
    for mine in _by_build(weighings):
        last = mine[-1]
        over = over_usual(last.columns, last.moment, usual) if last.moment.stage in FINISHED else 0.0
        told += [replace(weighing, columns=with_cut(weighing.columns, over)) for weighing in mine]
    return tuple(told)


def _by_build(weighings: Sequence[Weighing]) -> Iterator[list[Weighing]]:
    builds: dict[str, list[Weighing]] = defaultdict(list)
    for weighing in weighings:
        builds[weighing.build].append(weighing)
    yield from builds.values()
