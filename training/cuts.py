"""How much a shop cut each bow to bring it to its weight, by the records of its builds."""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from math import log

import numpy as np

from datasets.removals import gain_of
from datasets.schema import Method
from predictor.columns import FINISHED, Columns, Moment
from predictor.cutting import with_cut
from predictor.weighings import Weighing


@dataclass(frozen=True)
class UsualCut:
    """What is usual in a shop.

    Attributes:
        first_width_in: mean width at mid-limb at a build's first weighing, by form.
        cut: mean cut of finished bows: the logarithm of the weight before it over the weight after.
    """

    first_width_in: Mapping[str, float]
    cut: float = 0.0

    def over(self, columns: Columns, moment: Moment) -> float:
        """Return by how much more than usual a bow was cut until a weighing.

        Weight goes with width where equal shares are taken all along a limb; other ways of taking stock off count by
        the statics. Zero on a form of which no bow was weighed before it was finished.
        """
        if moment.form not in self.first_width_in:
            return 0.0
        narrowed = log(self.first_width_in[moment.form] / columns.sizes_in["width at mid-limb"])
        other = -sum(float(np.mean(columns.common.get(gain, 0.0))) for gain in _OTHER_GAINS)
        return narrowed + other - self.cut


_OTHER_GAINS = tuple(gain_of(method) for method in Method if method not in {Method.SIDES, Method.SHORTEN})


def usual_cut(weighings: Sequence[Weighing]) -> UsualCut:
    """Return what is usual, by weighings of which those of one build stand together and in order of time."""
    widths: dict[str, list[float]] = defaultdict(list)
    for mine in _by_build(weighings):
        if mine[0].moment.stage not in FINISHED:
            widths[mine[0].moment.form].append(mine[0].columns.sizes_in["width at mid-limb"])
    usual = UsualCut({form: float(np.mean(some)) for form, some in widths.items()})
    cuts = [
        usual.over(mine[-1].columns, mine[-1].moment)
        for mine in _by_build(weighings)
        if mine[-1].moment.stage in FINISHED and mine[-1].moment.form in widths
    ]
    return replace(usual, cut=float(np.mean(cuts))) if cuts else usual


def with_cuts(weighings: Sequence[Weighing], usual: UsualCut) -> tuple[Weighing, ...]:
    """Return weighings with the column of what their build was cut by; zero where it is not finished yet."""
    told = []
    for mine in _by_build(weighings):
        last = mine[-1]
        over = usual.over(last.columns, last.moment) if last.moment.stage in FINISHED else 0.0
        told += [replace(weighing, columns=with_cut(weighing.columns, over)) for weighing in mine]
    return tuple(told)


def _by_build(weighings: Sequence[Weighing]) -> Iterator[list[Weighing]]:
    builds: dict[str, list[Weighing]] = defaultdict(list)
    for weighing in weighings:
        builds[weighing.build].append(weighing)
    yield from builds.values()
