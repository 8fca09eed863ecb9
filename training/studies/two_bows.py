"""Two bows side by side: what the other builds say of their difference, and whether what is left of it is usual."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np
from threadpoolctl import threadpool_limits

from datasets.contents import Contents
from datasets.history import events_until
from datasets.record import DrawLength, ZeroPoint
from datasets.schema import Build, Event, Form, Stage, WeighIn
from datasets.zero_points import from_zero
from predictor.belief import posterior
from predictor.belief.calibration import stretch
from predictor.belief.columns import Columns, columns, of_another_bow
from predictor.belief.habits import USUAL
from predictor.belief.mixture import NormalMixture
from predictor.belief.model import prior_belief
from predictor.belief.own_history import Slips
from predictor.belief.posterior import Posterior
from predictor.belief.scatter import PRIOR_SCATTER
from predictor.belief.seen import seen_by
from predictor.belief.weighings import draws_from_back, moment_at
from predictor.bows.bow import Refusal
from predictor.bows.features import Case, features
from predictor.planning.prospects import apart
from predictor.prediction.between import Stood
from predictor.prediction.differences import by_effects, by_statics, logarithmic_mean
from training.checking.questions import MAIN_DRAW_IN, at_draw
from training.engine.hierarchy import fit
from training.learning.evidence import readings
from training.learning.train import Trained

SAME_DRAW_IN = 0.01


@dataclass(frozen=True)
class Side:
    """One of the two, at the moment it is compared.

    Attributes:
        form: that it was pressed on.
        build: its record.
        events: up to the moment.
        weigh_in: that is compared; nothing where it was never weighed.
        draw: that is compared.
        read_lbf: what the scale read there.
    """

    form: Form
    build: Build
    events: tuple[Event, ...]
    weigh_in: WeighIn | None
    draw: DrawLength
    read_lbf: float | None

    @property
    def stood(self) -> Stood:
        """The bow as it stood."""
        return Stood(self.form, self.build, self.events, _standard(self.draw, self.form))


def _standard(draw: DrawLength, form: Form) -> float:
    (from_back_in,) = draws_from_back(form, [draw])
    return from_zero(from_back_in, ZeroPoint.STANDARD, form.handle_depth_in.inch)


def sides(contents: Contents, first: str, second: str) -> tuple[Side, Side]:
    """Return two builds of a book at moments that can be compared.

    The last weighings of the latest stage that both were weighed at, or else the last of each; at the draw nearest to
    28 in that both have, or else the nearest of each.

    Raises:
        LookupError: one of them is not in the book, or its form is not.
    """
    forms, builds, histories = zip(*(_of_book(contents, name) for name in (first, second)), strict=True)
    weighed = [[event for event in history if isinstance(event, WeighIn)] for history in histories]
    picked = _picked(*weighed)
    draws = _draws(picked, forms)
    one, other = map(_side, forms, builds, histories, picked, draws)
    return one, other


def _of_book(contents: Contents, name: str) -> tuple[Form, Build, tuple[Event, ...]]:
    build = contents.builds.get(name)
    if build is None:
        raise LookupError(f"wanted a build of the book, got {name}; see: drawweight show")
    form = contents.form_of(build)
    if form is None:
        raise LookupError(f"wanted the form of {name}, got none of that name; add {build.form} first")
    return form, build, contents.events.get(name, ())


def _picked(first: Sequence[WeighIn], second: Sequence[WeighIn]) -> list[WeighIn | None]:
    for stage in reversed(Stage):
        alike = [[one for one in weighed if one.stage is stage] for weighed in (first, second)]
        if all(alike):
            return [weighed[-1] for weighed in alike]
    return [weighed[-1] if weighed else None for weighed in (first, second)]


def _draws(picked: Sequence[WeighIn | None], forms: Sequence[Form]) -> list[DrawLength]:
    """Return the draws to compare; a bow that was never weighed takes the other's, counted as the standard does."""
    usual = DrawLength(inch=MAIN_DRAW_IN, zero=ZeroPoint.STANDARD)
    given = [[reading.draw for reading in one.readings] if one else [] for one in picked]
    if not any(given):
        return [usual, usual]
    at = [[_standard(draw, form) for draw in draws] for draws, form in zip(given, forms, strict=True)]
    if not all(given):
        place = int(np.argmin([_from_usual(inch) for inch in at[0] or at[1]]))
        known = DrawLength(inch=(at[0] or at[1])[place], zero=ZeroPoint.STANDARD)
        return [draws[place] if draws else known for draws in given]
    places = product(range(len(at[0])), range(len(at[1])))
    one, other = min(
        places,
        key=lambda pair: (
            abs(at[0][pair[0]] - at[1][pair[1]]) > SAME_DRAW_IN,
            _from_usual(at[0][pair[0]]) + _from_usual(at[1][pair[1]]),
        ),
    )
    return [given[0][one], given[1][other]]


def _from_usual(draw_in: float) -> float:
    return abs(draw_in - MAIN_DRAW_IN)


def _side(
    form: Form, build: Build, history: tuple[Event, ...], weigh_in: WeighIn | None, draw: DrawLength
) -> Side:
    if weigh_in is None:
        return Side(form, build, history, None, draw, None)
    read = next(reading.weight.lbf for reading in weigh_in.readings if reading.draw == draw)
    return Side(form, build, events_until(history, weigh_in), weigh_in, draw, read)


@dataclass(frozen=True)
class Difference:
    """The first bow's weight less the second's, in logarithms, and the factor that makes pounds of them.

    Attributes:
        statics: parts by kind of dimension; they add up to what the statics say.
        effects: parts by what the other builds have taught.
        expected: distribution of the difference as a scale will tell it, without having seen either bow.
        read: the difference of the readings; nothing where one was never weighed.
        lbf_per_log: logarithmic mean of the two weights, read or else expected.
    """

    statics: dict[str, float]
    effects: dict[str, float]
    expected: NormalMixture
    read: float | None
    lbf_per_log: float

    @property
    def told(self) -> float:
        """What statics and effects tell together."""
        return sum(self.statics.values()) + sum(self.effects.values())


def difference(contents: Contents, pair: tuple[Side, Side], trained: Trained | None) -> Difference | Refusal:
    """Compare two bows by a fit to all builds but these two.

    Args:
        contents: of the book.
        pair: as `sides` gives it.
        trained: on the book.
    """
    first, second = pair
    statics = by_statics(first.stood, second.stood, contents.materials)
    told = _told(contents, pair, trained)
    if isinstance(statics, Refusal):
        return statics
    if isinstance(told, Refusal):
        return told
    belief, wider = _without({side.build.id for side in pair}, trained)
    row = apart(told[0], of_another_bow(told[1]))
    seen = seen_by(belief, row)
    expected = posterior.predict(belief, seen.rows).marginal().stretched(wider)
    expected = NormalMixture(expected.weights, expected.means + seen.offset, expected.sds)
    one, other = (
        side.read_lbf or float(np.exp(own.offset[0] + sum(by_effects(belief, own).values())))
        for side, own in zip(pair, told, strict=True)
    )
    both_read = first.read_lbf is not None and second.read_lbf is not None
    return Difference(
        statics=statics,
        effects=by_effects(belief, row),
        expected=expected,
        read=float(np.log(one / other)) if both_read else None,
        lbf_per_log=logarithmic_mean(one, other),
    )


def _told(
    contents: Contents, pair: tuple[Side, Side], trained: Trained | None
) -> tuple[Columns, Columns] | Refusal:
    """Return what the readings of both depend on: as the fit has it, or solved anew for what did not teach."""
    stage = next((side.weigh_in.stage for side in pair if side.weigh_in), Stage.TILLERED)
    first, second = (_taught(side, trained) or _solved(contents, side, stage, trained) for side in pair)
    if isinstance(first, Refusal):
        return first
    return second if isinstance(second, Refusal) else (first, second)


def _taught(side: Side, trained: Trained | None) -> Columns | None:
    if side.weigh_in is None or trained is None:
        return None
    for weighing in trained.evidence.weighings:
        if weighing.weigh_in == side.weigh_in.id:
            place = [reading.draw for reading in side.weigh_in.readings].index(side.draw)
            return at_draw(weighing.columns, place)
    return None


def _solved(contents: Contents, side: Side, stage: Stage, trained: Trained | None) -> Columns | Refusal:
    case = Case(side.form, side.build, side.events, draws_from_back(side.form, [side.draw]))
    (found,) = features([case], contents.materials)
    if isinstance(found, Refusal):
        return found
    one = side.weigh_in
    moment = (
        moment_at(side.form, side.build, [side.draw], stage)
        if one is None
        else moment_at(side.form, side.build, [side.draw], one.stage, one.shots, one.scale)
    )
    habits = trained.evidence.habits if trained else USUAL
    return columns(found, moment, contents.materials, PRIOR_SCATTER, habits)


def _without(builds: set[str], trained: Trained | None) -> tuple[Posterior, float]:
    """Return what all other builds teach, and the factor on widths that their scores ask for."""
    others = [one for one in trained.evidence.weighings if one.build not in builds] if trained else []
    if not others or trained is None:
        return prior_belief(), 1.0
    scores = [one.score for one in trained.model.calibration.builds if one.build not in builds]
    with threadpool_limits(limits=1, user_api="blas"):
        return fit(readings(others), Slips()).posterior, stretch(scores)
