"""What a shop could build, weigh or measure next, as lessons, and the bows that it usually makes."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from datasets.contents import Contents
from datasets.history import events_until
from datasets.record import DrawLength, ZeroPoint
from datasets.schema import Build, Event, Form, Part, Stage, WeighIn
from predictor.belief.columns import STIFFNESS, Columns, Moment, columns
from predictor.belief.habits import Habits
from predictor.belief.scatter import LOTS_OF_GLASS, LOTS_OF_WOOD, PRIOR_SCATTER, SCALES
from predictor.belief.seen import level_name
from predictor.belief.weighings import draws_from_back, moment_at
from predictor.bows.bow import Refusal
from predictor.bows.features import Case, features
from predictor.prediction.gains import CHECK_WEIGHT_SD, STRIP_SD
from predictor.prediction.lessons import Lesson, weighing
from training.checking.left_out_builds import LeftOutBuilds
from training.checking.questions import MAIN_DRAW_IN, Question

MOST_USUAL = 30
"""So many of the last builds stand for what the shop usually makes."""

MAIN_DRAW = DrawLength(inch=MAIN_DRAW_IN, zero=ZeroPoint.STANDARD)


@dataclass(frozen=True)
class _Thought:
    """A bow that is thought of: its record, its history, and what its weighing would depend on besides."""

    name: str
    form: Form
    build: Build
    events: tuple[Event, ...]
    moment: Moment


def usual_bows(contents: Contents, left_out: LeftOutBuilds | None, habits: Habits) -> list[Columns]:
    """Return one reading each of the last builds; before any was weighed, of all in the book, planned ones too."""
    if left_out is not None and left_out.asked:
        return [question.columns for question in left_out.asked[-MOST_USUAL:]]
    return [told for _, told in _solved(contents, list(_unweighed(contents, planned=True)), habits)]


def candidates(
    contents: Contents, left_out: LeftOutBuilds | None, bows: Sequence[Columns], habits: Habits
) -> list[Lesson]:
    """Return what could be done next, each by itself.

    A build of each wood on each form that the shop has built on, a weighing of each bow that has none, a strip test of
    each lot of the usual bows, and a check weight on each scale that they are weighed on.

    Args:
        contents: of the book.
        left_out: its sound builds in the order of time; nothing before any was weighed.
        bows: that the shop usually makes.
        habits: the shop's.
    """
    thoughts = [*_unweighed(contents, planned=False), *_unbuilt(contents, left_out)]
    lessons = [weighing(name, told) for name, told in _solved(contents, thoughts, habits)]
    lessons += [weighing(name, question.columns) for name, question in _built(left_out).items()]
    return [*lessons, *_strips(contents, bows), *_checks(bows)]


def _unweighed(contents: Contents, *, planned: bool) -> Iterator[_Thought]:
    """Yield the builds that were never weighed; those that are only planned if asked."""
    for build in contents.builds.values():
        events, form = contents.events.get(build.id, ()), contents.form_of(build)
        weighed = any(isinstance(event, WeighIn) for event in events)
        if form is not None and build.teaches and not weighed and (planned or not build.planned):
            moment = moment_at(form, build, [MAIN_DRAW], Stage.TILLERED)
            yield _Thought(f"weigh {build.id}", form, build, events, moment)


def _pairs(left_out: LeftOutBuilds | None) -> Iterator[tuple[str, str, Question]]:
    """Yield form, main wood and reading of each build, in the order of time."""
    if left_out is not None:
        for one, question in zip(left_out.builds, left_out.asked, strict=True):
            yield one.form, one.main_wood, question


def _built(left_out: LeftOutBuilds | None) -> dict[str, Question]:
    """Return the last build of each wood on each form, by what to do."""
    return {_build_of(wood, form): question for form, wood, question in _pairs(left_out) if wood}


def _build_of(wood: str, form: str) -> str:
    return f"build one of {wood} on {form}"


def _unbuilt(contents: Contents, left_out: LeftOutBuilds | None) -> Iterator[_Thought]:
    """Yield bows of the shop's woods on forms that it has not had them on: the last bow there, of that wood."""
    pairs = list(_pairs(left_out))
    last = {form: question for form, _, question in pairs}
    seen = {(form, wood) for form, wood, _ in pairs}
    woods = {wood: question.build for _, wood, question in pairs if wood}
    for form, question in last.items():
        build = contents.builds[question.build]
        for wood, owner in woods.items():
            if (form, wood) not in seen:
                lot = _lot(contents.builds[owner], wood)
                made = build.model_copy(update={"layers": tuple(_of(build, wood, lot))})
                of_book = contents.forms[build.form, build.form_revision]
                yield _Thought(
                    _build_of(wood, form), of_book, made, _until_last(contents, build), question.moment
                )


def _lot(build: Build, wood: str) -> str | None:
    return next((layer.lot for layer in build.layers if layer.material == wood), None)


def _of(build: Build, wood: str, lot: str | None) -> Iterator[object]:
    """Yield the layers of a build with all cores of a wood."""
    for layer in build.layers:
        change = {"material": wood, "lot": lot} if layer.part is Part.CORE else {}
        yield layer.model_copy(update=change)


def _until_last(contents: Contents, build: Build) -> tuple[Event, ...]:
    """Return a build's events up to its last weighing."""
    events = contents.events.get(build.id, ())
    last = [event for event in events if isinstance(event, WeighIn)][-1:]
    return events_until(events, last[0]) if last else events


def _solved(contents: Contents, thoughts: Sequence[_Thought], habits: Habits) -> list[tuple[str, Columns]]:
    """Return what the weighings of bows would depend on; one that the statics refuse is left away."""
    draws = [
        draws_from_back(
            one.form, [DrawLength(inch=inch, zero=ZeroPoint.STANDARD) for inch in one.moment.draws_in]
        )
        for one in thoughts
    ]
    cases = [Case(one.form, one.build, one.events, at) for one, at in zip(thoughts, draws, strict=True)]
    return [
        (one.name, columns(found, one.moment, contents.materials, PRIOR_SCATTER, habits))
        for one, found in zip(thoughts, features(cases, contents.materials), strict=True)
        if not isinstance(found, Refusal)
    ]


def _strips(contents: Contents, bows: Sequence[Columns]) -> Iterator[Lesson]:
    """Yield a strip test of each lot; it strays from its lot as a bow's own lams do."""
    seen: dict[str, tuple[str, str]] = {}
    for told in bows:
        for group in (LOTS_OF_WOOD, LOTS_OF_GLASS):
            for level in told.groups.get(group, {}):
                seen[level] = (group, _material(level, told.common))
    for level, (group, material) in seen.items():
        sd = float(np.hypot(STRIP_SD, contents.materials[material].bow_sd))
        effects = {f"{STIFFNESS}{material}": 1.0, level_name(group, level): 1.0}
        yield Lesson(f"bend a strip of {level}", effects, sd)


def _material(lot: str, common: Mapping[str, object]) -> str:
    """Return the material that the name of a lot starts with."""
    names = [name.removeprefix(STIFFNESS) for name in common if name.startswith(STIFFNESS)]
    return next(name for name in names if lot.startswith(f"{name}, "))


def _checks(bows: Sequence[Columns]) -> Iterator[Lesson]:
    for scale in dict.fromkeys(scale for told in bows for scale in told.groups.get(SCALES, {})):
        yield Lesson(f"hang a check weight on {scale}", {level_name(SCALES, scale): 1.0}, CHECK_WEIGHT_SD)
