"""What the model says of each build's first draw when it has not seen that build: what a planned bow is asked.

Nobody has cut a bow by the scale before it is first weighed on a strung limb, so here no dimension tells of the
answer, and neither does what the bow was cut by later. Each build is taken out of the model exactly, by
`predictor.belief.own_history.before_it_taught`, and what is predicted is as wide as the other builds' scores ask for.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from datasets.contents import Contents
from datasets.schema import Stage, WeighIn
from predictor.belief.mixture import NormalMixture, side_by_side
from predictor.belief.own_history import before_it_taught
from predictor.belief.posterior import Posterior
from predictor.belief.weighings import Weighing
from training.checking.left_out_builds import as_wide_as_others_ask
from training.checking.questions import answers, first_on_record, questions
from training.learning.train import Trained

Array = NDArray[np.float64]

UNCUT = frozenset({Stage.BLANK, Stage.FIRST_DRAW})


@dataclass(frozen=True)
class FirstDraws:
    """First draws, each predicted without its build.

    Attributes:
        builds: ids.
        read_lbf: of the reading nearest to 28 in, shape (builds,).
        predicted: logarithms of these readings.
    """

    builds: tuple[str, ...]
    read_lbf: Array
    predicted: NormalMixture

    @property
    def off_lbf(self) -> Array:
        """Readings less the medians of their predictions, shape (builds,)."""
        off: Array = self.read_lbf - np.exp(self.predicted.quantile(0.5))
        return off


def first_draws(trained: Trained, contents: Contents, builds: Sequence[str]) -> FirstDraws | None:
    """Predict the first draw of each of some builds from the others; nothing if none was weighed before any cut.

    Args:
        trained: on the book.
        contents: of the book.
        builds: ids of those wanted.
    """
    weighings = _by_build(trained.evidence.weighings, builds)
    asked = questions(contents, [w for mine in weighings.values() for w in mine], _before_any_cut)
    if not asked:
        return None
    belief = trained.model.belief()
    each = [answers(_without(belief, trained, weighings[one.build]), [one]) for one in asked]
    names = tuple(one.build for one in asked)
    return FirstDraws(
        builds=names,
        read_lbf=np.exp([one.log_weight for one in asked]),
        predicted=as_wide_as_others_ask(side_by_side(each), trained, names),
    )


def _before_any_cut(weighed: Sequence[WeighIn]) -> WeighIn | None:
    first = first_on_record(weighed)
    return first if first is not None and first.stage in UNCUT else None


def _by_build(weighings: Sequence[Weighing], builds: Sequence[str]) -> Mapping[str, list[Weighing]]:
    found: dict[str, list[Weighing]] = defaultdict(list)
    for weighing in weighings:
        if weighing.build in builds:
            found[weighing.build].append(weighing)
    return found


def _without(belief: Posterior, trained: Trained, mine: Sequence[Weighing]) -> Posterior:
    taught = trained.model.taught_by(mine[0].build)
    return (
        belief if taught is None else before_it_taught(belief, taught, mine, trained.model.habits.usual_cut)
    )
