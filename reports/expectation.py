"""What the book expects of a build: now, at a past weighing, and after stock is taken off."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp
from statistics import NormalDist

from datasets.contents import Contents
from datasets.history import events_until
from datasets.record import DrawLength, Force
from datasets.schema import Build, Event, Stage, WeighIn
from predictor.bow import Refusal
from predictor.gains import Budget, budget
from predictor.model import Model
from predictor.predict import DrawPrediction, Prediction, predict

SURE = 0.99
"""Coverage of the range outside of which a reading is asked about before it is kept."""

USUAL_DRAWS_IN = (26.0, 27.0, 28.0, 29.0)


@dataclass(frozen=True)
class Compared:
    """One reading beside what was expected of it.

    Attributes:
        low_lbf: lower end of the interval that nearly all such bows lie in, `SURE`.
        high_lbf: its upper end.
    """

    draw: DrawLength
    read: Force
    expected_lbf: float
    low_lbf: float
    high_lbf: float

    @property
    def far(self) -> bool:
        """Whether the reading lies outside of that interval."""
        return not self.low_lbf <= self.read.lbf <= self.high_lbf


def usual_draws(contents: Contents) -> tuple[DrawLength, ...]:
    """Return the draws predicted where none are asked for, counted from the shop's own zero point."""
    return tuple(DrawLength(inch=inch, zero=contents.shop.draw_zero, typed=None) for inch in USUAL_DRAWS_IN)


def expect(
    contents: Contents,
    build: Build,
    draws: Sequence[DrawLength],
    events: Sequence[Event] | None = None,
    stage: Stage = Stage.TILLERED,
    model: Model | None = None,
) -> Prediction | Refusal:
    """Return what a build is expected to weigh at a stage, after `events` or after its whole history."""
    form = contents.form_of(build)
    if form is None:
        where = f"{build.form}/{build.form_revision}"
        return Refusal(
            reason="the book has no such form; add it with: drawweight form --add FILE", where=where
        )
    past = contents.events.get(build.id, ()) if events is None else events
    strips = tuple(contents.strips.values())
    return predict(form, build, past, draws, contents.materials, model, stage, strips)


def last_stage(contents: Contents, build: Build) -> Stage | None:
    """Return the stage that a build was last weighed at, if it was."""
    weighed = [event for event in contents.events.get(build.id, ()) if isinstance(event, WeighIn)]
    return weighed[-1].stage if weighed else None


def budget_of(
    contents: Contents, build: Build, prediction: Prediction, model: Model | None, stage: Stage
) -> Budget | None:
    """Return what measuring better would bring to a prediction of a build at a stage; None without its form."""
    form = contents.form_of(build)
    if form is None:
        return None
    history = contents.events.get(build.id, ())
    told = budget(
        form,
        build,
        history,
        prediction.main_draw,
        contents.materials,
        model,
        stage,
        tuple(contents.strips.values()),
    )
    return None if isinstance(told, Refusal) else told


def compare(
    contents: Contents, weigh_in: WeighIn, model: Model | None = None
) -> tuple[Compared, ...] | Refusal:
    """Return a weigh-in's readings beside what was expected at its moment's geometry.

    Args:
        contents: the book, with the weigh-in or before it.
        weigh_in: readings of a build that the book has.
        model: what the shop's builds have taught.
    """
    build = contents.builds[weigh_in.build]
    history = contents.plus(weigh_in).events[build.id]
    draws = [reading.draw for reading in weigh_in.readings]
    expected = expect(contents, build, draws, events_until(history, weigh_in), weigh_in.stage, model)
    if isinstance(expected, Refusal):
        return expected
    return tuple(
        Compared(reading.draw, reading.weight, draw.weight_lbf, *_sure(draw))
        for reading, draw in zip(weigh_in.readings, expected.draws, strict=True)
    )


def _sure(draw: DrawPrediction) -> tuple[float, float]:
    """Return the ends of the interval `SURE`, the logarithm of the weight taken as normal."""
    reach = exp(NormalDist().inv_cdf((1 + SURE) / 2) * draw.log_sd)
    return draw.weight_lbf / reach, draw.weight_lbf * reach


@dataclass(frozen=True)
class Worth:
    """What a removal takes off, by the statics at handbook moduli, at one draw."""

    draw: DrawLength
    before_lbf: float
    after_lbf: float


def worth(contents: Contents, event: Event) -> Worth | Refusal:
    """Return what an event of a build changes about its weight at the usual main draw.

    Args:
        contents: the book, with the event or before it.
        event: the last event of its build, or one to be.
    """
    build = contents.builds[event.build]
    after_events = contents.plus(event).events[build.id]
    before_events = tuple(other for other in after_events if other.id != event.id)
    draws = usual_draws(contents)
    before = expect(contents, build, draws, before_events)
    after = expect(contents, build, draws, after_events)
    if isinstance(before, Refusal):
        return before
    if isinstance(after, Refusal):
        return after
    place = draws.index(before.main_draw)
    return Worth(before.main_draw, before.draws[place].weight_lbf, after.draws[place].weight_lbf)
