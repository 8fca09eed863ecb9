"""What a bow will weigh at several moments together, given what it has weighed so far.

The shop's other builds and strips give a belief, the bow's own weighings condition it, and all that is wanted is
predicted at once, so that differences know which errors they share.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from math import sqrt
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from datasets.materials import Material
from datasets.record import DrawLength
from datasets.schema import Build, Event, Form, Stage, StripTest
from predictor.belief.calibration import Calibration
from predictor.belief.columns import DRAW_SHAPE, FINISHED, Columns, columns
from predictor.belief.cutting import CutReading, cut_of
from predictor.belief.familiarity import has_new_lots
from predictor.belief.habits import USUAL, Habits
from predictor.belief.lots import with_strips
from predictor.belief.mixture import JointMixture, NormalMixture
from predictor.belief.model import Model, Taught, prior_belief
from predictor.belief.own_history import (
    NOT_WEIGHED,
    Conditioned,
    before_it_taught,
    conditioned,
    exactly_read,
    laid_with_cut,
    together,
)
from predictor.belief.posterior import Posterior, predict
from predictor.belief.scatter import PRIOR_SCATTER
from predictor.belief.seen import Seen, seen_by
from predictor.belief.weighings import Weighed, Weighing, draws_from_back, fingerprint, moment_at, weighed
from predictor.bows.bow import Refusal
from predictor.bows.features import Case, Features, features

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Situation:
    """A weighing to be foretold.

    Attributes:
        events: history of the bow up to then, with changes that are only thought of.
        draws: draw lengths.
        stage: how far the bow will be.
        shots: arrows shot by then; nothing where nobody counts.
        scale: the scale's name; nothing for a scale that nobody noted.
        exact: whether the force itself in the usual air is wanted, rather than what a scale reads.
        build: the build where something of it is thought of otherwise; nothing for the build as it is.
    """

    events: tuple[Event, ...]
    draws: tuple[DrawLength, ...]
    stage: Stage
    shots: int | None = None
    scale: str | None = None
    exact: bool = False
    build: Build | None = None


@dataclass(frozen=True)
class Standing:
    """What is believed of a build apart from its own weighings, and these weighings.

    Attributes:
        by_builds: belief of the model.
        belief: that the build has not taught, with strips counted.
        weighings: the build's own, in their order; those that the statics refuse are left out.
        calibration: how left-out builds fared.
        habits: of the shop.
        held: weigh-ins that the belief has learned from and that cannot be taken out of it, as the build's records
            have changed since; they count there and not again.
        cut: what the build was cut by, once it is finished.
    """

    by_builds: Posterior
    belief: Posterior
    weighings: tuple[Weighing, ...]
    calibration: Calibration
    habits: Habits
    held: frozenset[str] = frozenset()
    cut: CutReading | None = None

    @property
    def changed(self) -> bool:
        """Whether records of the build that taught the model have changed since."""
        return bool(self.held)


@dataclass(frozen=True)
class Foretold:
    """Weights wanted, all together.

    Attributes:
        seen: own rows and then the wanted ones, as the belief sees them, its shared doubts stretched.
        belief: stretched.
        told: the wanted rows, offsets to be added.
        own: the weighings counted.
        places: rows of each thing wanted.
        changed: whether records of the build that taught the model have changed since.
    """

    seen: Seen
    belief: Posterior
    told: Conditioned
    own: tuple[Weighing, ...]
    places: tuple[slice, ...]
    changed: bool = False

    @property
    def joint(self) -> JointMixture:
        """Logarithms of the wanted weights, in pounds."""
        joint = self.told.joint
        return replace(joint, means=joint.means + self.seen.offset[-joint.means.shape[1] :])

    def weights_lbf(self, probability: float) -> Array:
        """Return the weights that the wanted ones stay below with this probability, shape (n,)."""
        return np.exp(self.joint.marginal().quantile(probability))

    def changes(self, before: Sequence[int], after: Sequence[int]) -> NormalMixture:
        """Return after less before in pounds, to first order about the medians, for pairs of wanted rows."""
        middle = self.weights_lbf(0.5)
        directions = np.zeros((len(before), len(middle)))
        pairs = np.arange(len(before))
        np.add.at(directions, (pairs, np.asarray(after)), middle[np.asarray(after)])
        np.add.at(directions, (pairs, np.asarray(before)), -middle[np.asarray(before)])
        centred = replace(self.joint, means=self.joint.means - np.log(middle) + 1.0)
        return centred.along(directions)

    def slips(self) -> dict[str, float]:
        """Return how likely each own weighing holds a slip, and with the empty name that the bow's record is wrong."""
        by_kind = self.told.weights.sum(axis=1)
        counts = [len(weighing.log_weight) for weighing in self.own]
        found = {"": float(by_kind[1]) if self.own else 0.0}
        start = 2 + len(self.own)
        for place, (weighing, count) in enumerate(zip(self.own, counts, strict=True)):
            found[weighing.weigh_in] = float(by_kind[2 + place] + by_kind[start : start + count].sum())
            start += count
        return found


class LaidOut(NamedTuple):
    """What is believed of a build, and what each situation depends on.

    Attributes:
        stand: the belief with the own weighings.
        told: for each situation its columns, with whether the force itself is wanted.
        solved: each situation's features.
    """

    stand: Standing
    told: list[tuple[Columns, bool]]
    solved: list[Features]


def laid_out(
    form: Form,
    build: Build,
    history: Sequence[Event],
    situations: Sequence[Situation],
    materials: Mapping[str, Material],
    model: Model | None = None,
    strips: Sequence[StripTest] = (),
) -> LaidOut | Refusal:
    """Lay out situations of one build with all of its weighings so far.

    Args:
        form: the form revision that the build points at.
        build: the build, planned or measured.
        history: its events so far, in order.
        situations: what is wanted; the first one's draw nearest to 28 in sets how doubts are stretched.
        materials: every material that its layers name.
        model: what the shop's builds have taught; the prior's belief if there is none.
        strips: strip tests of the bow's materials.

    Returns:
        The belief and the situations, or why the statics refuse one.
    """
    mine = list(weighed(form, build, history))
    wanted = [
        Case(form, one.build or build, one.events, draws_from_back(form, one.draws)) for one in situations
    ]
    found = features([*(one.case for one in mine), *wanted], materials)
    solved = []
    for one in found[len(mine) :]:
        if isinstance(one, Refusal):
            return one
        solved.append(one)
    stand = standing(mine, found[: len(mine)], materials, model, strips)
    told = []
    for situation, one in zip(situations, solved, strict=True):
        moment = moment_at(form, build, situation.draws, situation.stage, situation.shots, situation.scale)
        told.append((columns(one, moment, materials, PRIOR_SCATTER, stand.habits), situation.exact))
    return LaidOut(stand, told, solved)


def foresee(found: LaidOut | Refusal) -> tuple[Foretold, list[Features]] | Refusal:
    """Foretell situations of one build, or hand on why the statics refuse one."""
    return found if isinstance(found, Refusal) else (foretell(found.stand, found.told), found.solved)


def standing(
    mine: Sequence[Weighed],
    found: Sequence[Features | Refusal],
    materials: Mapping[str, Material],
    model: Model | None = None,
    strips: Sequence[StripTest] = (),
) -> Standing:
    """Return what is believed of a build apart from its own weighings.

    Args:
        mine: its weighings so far, all of them.
        found: their features.
        materials: every material that its layers name.
        model: what the shop's builds have taught.
        strips: strip tests of the bow's materials.
    """
    habits = USUAL if model is None else model.habits
    weighings = tuple(
        one.explained(solved, materials, habits)
        for one, solved in zip(mine, found, strict=True)
        if not isinstance(solved, Refusal)
    )
    by_builds = belief = prior_belief() if model is None else model.belief()
    taught = model.taught_by(mine[0].build.id) if model and mine else None
    changed = taught is not None and not _as_it_taught(taught, mine, materials)
    if taught is not None and not changed:
        belief = before_it_taught(by_builds, taught, weighings, habits.usual_cut)
    return Standing(
        by_builds=by_builds,
        belief=with_strips(belief, strips, materials),
        weighings=weighings,
        calibration=Calibration() if model is None else model.calibration,
        habits=habits,
        held=frozenset(taught.weigh_ins if taught is not None and changed else ()),
        cut=cut_of(weighings, habits.usual_cut),
    )


def _as_it_taught(taught: Taught, mine: Sequence[Weighed], materials: Mapping[str, Material]) -> bool:
    """Whether the records that taught a model are still what they were."""
    last = next((one for one in reversed(mine) if one.weigh_in.id == taught.weigh_ins[-1]), None)
    if last is None:
        return False
    return fingerprint(last.form, last.build, last.case.events, materials) == taught.fingerprint


def foretell(
    stand: Standing, wanted: Sequence[tuple[Columns, bool]], counted: Collection[str] | None = None
) -> Foretold:
    """Foretell weighings of a build.

    The cut to its weight tells of a bow only where a weighing of the finished bow counts: before, it was still to come.

    Args:
        stand: what is believed of it, with its own weighings.
        wanted: columns of what is wanted, each with whether the force itself is wanted.
        counted: ids of the weigh-ins that count, but those that the belief holds already; all if not given.
    """
    own = tuple(
        one
        for one in stand.weighings
        if one.weigh_in not in stand.held and (counted is None or one.weigh_in in counted)
    )
    laid, values = laid_with_cut(own, stand.cut if own and own[-1].moment.stage in FINISHED else None)
    laid += [
        (f"wanted {place}", exactly_read(told) if exact else told)
        for place, (told, exact) in enumerate(wanted)
    ]
    belief, seen = _stretched(
        stand.belief, seen_by(stand.belief, together(laid)), _shared_factor(stand, wanted)
    )
    weighing = [place for place, one in enumerate(own) for _ in one.log_weight]
    weighing += [NOT_WEIGHED] * (len(values) - len(weighing))
    told = conditioned(belief, seen.rows, values - seen.offset[: len(values)], weighing)
    ends = np.cumsum([0, *(len(one.offset) for one, _ in wanted)]).tolist()
    places = tuple(slice(start, end) for start, end in pairwise(ends))
    return Foretold(seen, belief, told, own, places, stand.changed)


def _shared_factor(stand: Standing, wanted: Sequence[tuple[Columns, bool]]) -> float:
    """Return the factor on all doubts but those of reading that makes a first reading as wide as left-out builds ask.

    Left-out builds tell how wide a prediction before any own weighing ought to be. Nearly all of that width is what
    the weighings of a bow share; the errors of reading are known from the bench. So the shared part is stretched
    before the bow's own weighings settle it, and what is left after them is stretched in proportion.
    """
    told = wanted[0][0]
    seen = seen_by(stand.belief, told)
    place = int(np.argmin(np.abs(told.common[DRAW_SHAPE])))
    row = seen.rows.part(slice(place, place + 1))
    total = float(predict(stand.belief, row).covariance[0, 0])
    noise = float(stand.belief.weights @ stand.belief.scale("noise") ** 2) * float(row.sd[0]) ** 2
    of_day = float(np.sum(row.tolerances[0, row.tolerances.shape[1] - seen.of_weighings :] ** 2))
    reading = noise + of_day
    wider = stand.calibration.wider(new_lots=has_new_lots(stand.belief, told))
    return sqrt((wider**2 * total - reading) / (total - reading))


def _stretched(belief: Posterior, seen: Seen, factor: float) -> tuple[Posterior, Seen]:
    """Return a belief, and what it sees, with every doubt but those of reading stretched about the mean."""
    scales = belief.scales * np.where(
        np.arange(belief.scales.shape[1]) < belief.scales.shape[1] - 1, factor, 1
    )
    middle = belief.weights @ belief.means
    wider = replace(
        belief,
        scales=scales,
        means=middle + factor * (belief.means - middle),
        covariances=factor**2 * belief.covariances,
    )
    shared = np.arange(seen.rows.tolerances.shape[1]) < seen.rows.tolerances.shape[1] - seen.of_weighings
    rows = replace(seen.rows, tolerances=seen.rows.tolerances * np.where(shared, factor, 1.0))
    return wider, replace(seen, rows=rows)
