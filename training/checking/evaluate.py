"""Judges what learns from a shop's past builds by what it says of the shop's next ones.

The past is the shop's latest n builds; the next ones are made of lots that are at hand or new. Every method sees the
same past and answers the same questions.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from datasets.contents import Contents
from datasets.schema import Stage
from predictor.belief.beyond import Ranges
from predictor.belief.calibration import Calibration
from predictor.belief.columns import extrapolated
from predictor.belief.cutting import cut_until
from predictor.belief.familiarity import has_new_lots
from predictor.belief.mixture import NormalMixture
from predictor.belief.model import prior_belief
from predictor.belief.own_history import USUAL_SLIPS, Slips
from predictor.belief.posterior import Posterior
from predictor.belief.usual_cut import UsualCut
from predictor.belief.weighings import Weighing
from training.checking.questions import Pick, Question, answers, cut_to_weight, only_asked, questions
from training.checking.rivals import Table, table
from training.checking.scores import crps
from training.engine.hierarchy import Fit, fit
from training.learning.calibrate import calibrate
from training.learning.cuts import usual_cut, with_cuts
from training.learning.evidence import Evidence, evidence, readings
from training.learning.settling_law import choose_law, under_law
from training.learning.train import DOUBTFUL, sizes_seen

Array = NDArray[np.float64]

LEVELS = (0.8, 0.9)


@dataclass(frozen=True)
class Trial:
    """A shop's past, and questions about what it built next.

    Attributes:
        weighings: of all past builds, solved.
        past: the question that each past build answers, by its id, in order of time.
        asked: of the builds to come.
    """

    weighings: tuple[Weighing, ...]
    past: Mapping[str, Question]
    asked: tuple[Question, ...]

    def latest(self, count: int) -> tuple[str, ...]:
        """Return the ids of the latest past builds."""
        return tuple(self.past)[len(self.past) - count :]

    def known(self, builds: Sequence[str]) -> Table:
        """Return some past builds as rivals see them."""
        return table([self.past[name] for name in builds])

    @cached_property
    def wanted(self) -> Table:
        """The builds to come as rivals see them."""
        return table(self.asked)


def solved(contents: Contents, builds: Sequence[str]) -> tuple[Weighing, ...]:
    """Return all weighings of some builds, solved by the statics."""
    return evidence(only(contents, builds)).weighings


def trial(
    contents: Contents, weighings: tuple[Weighing, ...], to_come: Sequence[str], pick: Pick = cut_to_weight
) -> Trial:
    """Return a trial, with what it asks solved by the statics.

    Args:
        contents: of the shop's book.
        weighings: of the past builds, solved, in order of time.
        to_come: ids of the builds that are asked for; nothing of them teaches.
        pick: which weighing is asked for, and is what rivals learn of a past build.
    """
    return trial_of(contents, weighings, evidence(only_asked(contents, to_come, pick)).weighings, pick)


def trial_of(
    contents: Contents, past: tuple[Weighing, ...], to_come: tuple[Weighing, ...], pick: Pick
) -> Trial:
    """Return a trial of weighings that are solved, past ones and those asked for; see `trial`."""
    known = {question.build: question for question in questions(contents, past, pick)}
    return Trial(past, known, questions(contents, to_come, pick))


def only(contents: Contents, builds: Sequence[str]) -> Contents:
    """Return the contents of some builds."""
    return replace(
        contents,
        builds={name: contents.builds[name] for name in builds},
        events={name: contents.events[name] for name in builds if name in contents.events},
    )


@dataclass(frozen=True)
class Learned:
    """What some builds have taught.

    Attributes:
        builds: that taught.
        belief: of the fit; the prior's without any build.
        calibration: how builds left out fared.
        doubtful: builds that look like a mistake.
        usual: how much the shop cuts its bows.
        seen_in: smallest and largest of each main dimension that taught.
        fit: the fit itself, if there was any build.
    """

    builds: frozenset[str]
    belief: Posterior
    calibration: Calibration
    doubtful: frozenset[str]
    usual: UsualCut
    seen_in: Ranges
    fit: Fit | None

    def answers(self, asked: Sequence[Question]) -> NormalMixture:
        """Return what is to be expected of the logarithms of readings."""
        return answers(self.belief, [self.told(question) for question in asked]).stretched(self.wider(asked))

    def wider(self, asked: Sequence[Question]) -> Array:
        """Return the factors on the widths of intervals, by builds left out, shape (asked,)."""
        return np.array(
            [
                self.calibration.wider(new_lots=has_new_lots(self.belief, question.columns))
                for question in asked
            ]
        )

    def told(self, question: Question) -> Question:
        """Return a question with the doubt beyond the sizes that taught, and what the cut tells once there is one."""
        untouched = question.moment.stage in {Stage.BLANK, Stage.FIRST_DRAW}
        columns = extrapolated(question.columns, self.seen_in)
        cut = None if untouched else cut_until(columns, question.moment, self.usual)
        return replace(question, columns=columns, cut=cut)


def learned(
    weighings: Sequence[Weighing],
    builds: Sequence[str],
    *,
    slips: Slips | None = USUAL_SLIPS,
    restricted: bool = True,
) -> Learned:
    """Train on some builds, as `training.learning.train` does, without solving their statics again.

    Args:
        weighings: solved.
        builds: that teach, of those weighed.
        slips: what mistakes look like; None takes every reading as sound.
        restricted: restricted likelihood of the scales; otherwise the full one.
    """
    wanted = frozenset(builds)
    mine = tuple(replace(weighing, cut=None) for weighing in weighings if weighing.build in wanted)
    if not mine:
        return Learned(frozenset(), prior_belief(), Calibration(), frozenset(), UsualCut(), {}, None)
    lawful = under_law(mine, choose_law(mine))
    usual = usual_cut(lawful)
    mine = with_cuts(lawful, usual)
    found, fitted = Evidence(mine, ()), fit(readings(mine), slips, restricted=restricted)
    chances = np.zeros(len(found.builds)) if fitted.suspicion is None else fitted.suspicion.any
    named = zip(found.builds, chances.tolist(), strict=True)
    doubtful = frozenset(build for build, chance in named if chance >= DOUBTFUL)
    calibration = calibrate(fitted, found, doubtful)
    seen_in = sizes_seen(mine)
    return Learned(frozenset(found.builds), fitted.posterior, calibration, doubtful, usual, seen_in, fitted)


@dataclass(frozen=True)
class Marks:
    """How predictions of n readings did.

    Attributes:
        off_lbf: reading less the expected one (the median).
        crps_percent: score of the predicted logarithm of the weight, in per cent.
        inside: for each level whether the reading lay in its interval.
        width_lbf: of each level's interval.
    """

    off_lbf: Array
    crps_percent: Array
    inside: Mapping[float, NDArray[np.bool_]]
    width_lbf: Mapping[float, Array]


def marks(predicted: NormalMixture, log_weight: Array) -> Marks:
    """Mark predictions of logarithms of weights."""
    ends = {
        level: (predicted.quantile((1 - level) / 2), predicted.quantile((1 + level) / 2)) for level in LEVELS
    }
    return Marks(
        off_lbf=np.exp(log_weight) - np.exp(predicted.quantile(0.5)),
        crps_percent=100 * crps(predicted, log_weight),
        inside={level: (low <= log_weight) & (log_weight <= high) for level, (low, high) in ends.items()},
        width_lbf={level: np.exp(high) - np.exp(low) for level, (low, high) in ends.items()},
    )
