"""What the book expects of a build: now, at a past weighing, and after stock is taken off."""

from collections.abc import Sequence
from dataclasses import dataclass

from datasets.arrows import most_shots
from datasets.contents import Contents
from datasets.exercise import not_counted
from datasets.record import DrawLength, Force
from datasets.schema import Build, Event, Stage, WeighIn
from predictor.belief.foresight import Situation, Standing, foretell, standing
from predictor.belief.model import Model
from predictor.belief.weighings import Weighed, every_weighing
from predictor.bows.bow import Refusal
from predictor.bows.features import Features, features
from predictor.prediction.gains import Budget, budget
from predictor.prediction.on_the_way import Way, way
from predictor.prediction.predict import Prediction, predict
from predictor.prediction.supposed import Supposed
from predictor.prediction.what_if import WhatIf, what_if
from reports.numbers import counted

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


def main_draw(contents: Contents) -> DrawLength:
    """Return the draw that a weight is told at where none is asked for."""
    return usual_draws(contents)[2]


def expect(
    contents: Contents,
    build: Build,
    draws: Sequence[DrawLength],
    events: Sequence[Event] | None = None,
    stage: Stage = Stage.TILLERED,
    model: Model | None = None,
    *,
    shots: int | None = None,
    scale: str | None = None,
    count_own: bool = True,
) -> Prediction | Refusal:
    """Return what a build is expected to weigh at a stage, after `events` or after its whole history.

    Args:
        contents: the book.
        build: of the book, or planned.
        draws: draw lengths.
        events: its history up to the weighing.
        stage: how far it will be.
        model: what the shop's builds have taught.
        shots: arrows shot by then.
        scale: the scale's name.
        count_own: whether its own weighings are counted.
    """
    form = contents.form_of(build)
    if form is None:
        return no_form(build)
    past = contents.events.get(build.id, ()) if events is None else events
    strips = tuple(contents.strips.values())
    return predict(
        form,
        build,
        past,
        draws,
        contents.materials,
        model,
        stage,
        strips,
        shots=shots,
        scale=scale,
        count_own=count_own,
    )


def no_form(build: Build) -> Refusal:
    """Return that the book lacks the form of a build."""
    return Refusal(
        reason="the book has no such form; add it with: drawweight form --add FILE",
        where=f"{build.form}/{build.form_revision}",
    )


def last_weighing(contents: Contents, build: Build) -> WeighIn | None:
    """Return the weigh-in of a build that was its last, if it was weighed."""
    weighed = [event for event in contents.events.get(build.id, ()) if isinstance(event, WeighIn)]
    return weighed[-1] if weighed else None


def stage_and_shots(
    contents: Contents, build: Build, stage: Stage | None, shots: int | None
) -> tuple[Stage, int | None]:
    """Return the stage and the arrows shot that a question about a build is of.

    As it was weighed last where the question names neither, and tillered where it never was. Arrows without a stage
    mean a settled bow. The arrows of the last weighing count only at its own stage: how far a bow is shot by another,
    nobody has said.

    Args:
        contents: the book.
        build: of the book, or planned.
        stage: asked about; nothing for that of the last weighing.
        shots: arrows shot by then; nothing where nobody said.
    """
    last = last_stage(contents, build)
    at = stage or (Stage.SETTLED if shots else last) or Stage.TILLERED
    return at, last_shots(contents, build) if shots is None and at is last else shots


def looks_back(contents: Contents, build: Build, shots: int | None) -> str | None:
    """Return in words that a build had been shot further by a weighing than it is asked about, if it had."""
    known = most_shots(contents.events.get(build.id, ()))
    if shots is None or known is None or known <= shots:
        return None
    return f"it was weighed after {counted(known, 'shot')} already: this looks back to {shots}"


def last_shots(contents: Contents, build: Build) -> int | None:
    """Return the arrows that a build was shot with by its last weighing, if somebody counted."""
    last = last_weighing(contents, build)
    return None if last is None else last.shots


def last_stage(contents: Contents, build: Build) -> Stage | None:
    """Return the stage that a build was last weighed at, if it was."""
    last = last_weighing(contents, build)
    return None if last is None else last.stage


def last_scale(contents: Contents, build: Build) -> str | None:
    """Return the scale that a build was last weighed on, if it was and somebody noted it."""
    last = last_weighing(contents, build)
    return None if last is None else last.scale


def budget_of(
    contents: Contents,
    build: Build,
    prediction: Prediction,
    model: Model | None,
    stage: Stage,
    shots: int | None = None,
) -> Budget | None:
    """Return what measuring better would bring to a prediction of a build at a stage; None without its form."""
    form = contents.form_of(build)
    if form is None:
        return None
    events = contents.events.get(build.id, ())
    read = Situation(events, (prediction.main_draw,), stage, shots, prediction.scale)
    strips = tuple(contents.strips.values())
    told = budget(form, build, events, read, contents.materials, model, strips)
    return None if isinstance(told, Refusal) else told


def way_of(
    contents: Contents, build: Build, prediction: Prediction, model: Model | None, shots: int | None
) -> Way | None:
    """Return the weights of a build from now to settled; None without its form, or where it has been shot as far.

    Args:
        contents: the book.
        build: of the book, or planned.
        prediction: of it settled.
        model: what the shop's builds have taught.
        shots: arrows shot by then.
    """
    form = contents.form_of(build)
    last = last_weighing(contents, build)
    if form is None or not _goes_on(last, shots):
        return None
    events = contents.events.get(build.id, ())
    stage, shot = (Stage.TILLERED, None) if last is None else (last.stage, last.shots)
    now = Situation(events, (prediction.main_draw,), stage, shot, prediction.scale)
    found = way(form, build, events, now, contents.materials, model, tuple(contents.strips.values()), shots)
    return None if isinstance(found, Refusal) else found


def _goes_on(last: WeighIn | None, shots: int | None) -> bool:
    """Whether a bow has more to settle after its last weighing."""
    if last is None or last.stage is not Stage.SETTLED:
        return last is None or last.shots is None or shots is None or shots > last.shots
    return last.shots is not None and shots is not None and shots > last.shots


def compare(
    contents: Contents, weigh_in: WeighIn, model: Model | None = None
) -> tuple[Compared, ...] | Refusal:
    """Return one weigh-in's readings beside what was expected; the arguments are those of `compare_all`."""
    return compare_all(contents, [weigh_in], model)[0]


def compare_all(
    contents: Contents, weigh_ins: Sequence[WeighIn], model: Model | None = None
) -> list[tuple[Compared, ...] | Refusal]:
    """Return readings beside what was expected at their moments' geometries, all solved in one batch.

    Args:
        contents: the book, with the weigh-ins or before them.
        weigh_ins: readings of builds that the book has.
        model: what the shop's builds have taught.

    Returns:
        For each weigh-in its readings compared, or why nothing is expected of it.
    """
    histories: dict[tuple[Event, ...], list[Weighed]] = {}
    keys: dict[int, tuple[Event, ...]] = {}
    for index, weigh_in in enumerate(weigh_ins):
        build = contents.builds[weigh_in.build]
        form = contents.form_of(build)
        if form is not None:
            history = contents.plus(weigh_in).events[build.id]
            keys[index] = history
            histories.setdefault(keys[index], list(every_weighing(form, build, history)))
    cases = [one.case for mine in histories.values() for one in mine]
    solved = iter(features(cases, contents.materials))
    found = {key: [next(solved) for _ in mine] for key, mine in histories.items()}
    stands = {key: _standing(mine, found[key], contents, model) for key, mine in histories.items()}
    return [
        _compared(weigh_in, histories[keys[index]], found[keys[index]], stands[keys[index]])
        if index in keys
        else no_form(contents.builds[weigh_in.build])
        for index, weigh_in in enumerate(weigh_ins)
    ]


def _standing(
    mine: Sequence[Weighed], found: Sequence[Features | Refusal], contents: Contents, model: Model | None
) -> Standing:
    layered = {layer.material for layer in mine[0].build.layers}
    strips = [strip for strip in contents.strips.values() if strip.material in layered]
    return standing(mine, found, contents.materials, model, strips)


def _compared(
    weigh_in: WeighIn, mine: Sequence[Weighed], found: Sequence[Features | Refusal], stand: Standing
) -> tuple[Compared, ...] | Refusal:
    """Return readings beside what was expected just before: from the bow's earlier weighings that count, none after."""
    place = [one.weigh_in.id for one in mine].index(weigh_in.id)
    solved = found[place]
    if isinstance(solved, Refusal):
        return solved
    (wanted,) = [one.columns for one in stand.weighings if one.weigh_in == weigh_in.id]
    early = {one.id for one, _ in not_counted(mine[place].case.events)}
    counted = {one.weigh_in.id for one in mine[:place]} - early
    foretold = foretell(stand, [(wanted, False)], counted)
    middle, low, high = (foretold.weights_lbf(p).tolist() for p in (0.5, (1 - SURE) / 2, (1 + SURE) / 2))
    return tuple(
        Compared(reading.draw, reading.weight, *ends)
        for reading, *ends in zip(weigh_in.readings, middle, low, high, strict=True)
    )


def worth(contents: Contents, event: Event, model: Model | None = None) -> WhatIf | Refusal:
    """Return what an event of a build changes about its weight at the usual main draw, all that was learned counted.

    Args:
        contents: the book, with the event or before it.
        event: the last event of its build, or one to be.
        model: what the shop's builds have taught.
    """
    build = contents.builds[event.build]
    form = contents.form_of(build)
    if form is None:
        return no_form(build)
    after = contents.plus(event).events[build.id]
    before = tuple(other for other in after if other.id != event.id)
    draw = main_draw(contents)
    stage, shots = stage_and_shots(contents, build, None, None)
    now, then = Supposed(build, before, draw), Supposed(build, after, draw)
    strips = tuple(contents.strips.values())
    return what_if(form, now, then, event.id, contents.materials, model, stage, strips, shots)
