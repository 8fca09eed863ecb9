"""Questions to ask of what learns: what did a bow weigh, told only how it was built and cut by then.

There is one question a build: its reading nearest to 28 in at one weighing, which a `Pick` chooses. A shop cuts a bow
until it weighs what was ordered, so at the last weighings the widths tell of the weight already; the first weighing is
the one whose geometry nobody chose by the scale.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from datasets.contents import Contents
from datasets.history import BowAt, bow_at, events_until
from datasets.schema import Event, Stage, WeighIn
from predictor.belief import posterior
from predictor.belief.columns import Columns, Moment, Named, Tolerance
from predictor.belief.cutting import CutReading
from predictor.belief.mixture import NormalMixture, side_by_side
from predictor.belief.own_history import laid_with_cut, together
from predictor.belief.posterior import Posterior
from predictor.belief.seen import seen_by
from predictor.belief.weighings import Weighing, moment_at

MAIN_DRAW_IN = 28.0

Pick = Callable[[Sequence[WeighIn]], WeighIn | None]
"""Which of a build's weighings is asked for; nothing if it has none such."""


def cut_to_weight(weighed: Sequence[WeighIn]) -> WeighIn | None:
    """Pick the last weighing while tillered or, where there is none, the first once finished."""
    tillered = [weigh_in for weigh_in in weighed if weigh_in.stage is Stage.TILLERED]
    finished = [weigh_in for weigh_in in weighed if weigh_in.stage is Stage.FINISHED]
    return next(iter(tillered[-1:] or finished[:1]), None)


def first_on_record(weighed: Sequence[WeighIn]) -> WeighIn | None:
    """Pick the first weighing of all, whatever the stage."""
    return next(iter(weighed), None)


@dataclass(frozen=True)
class Question:
    """One reading of one build.

    Attributes:
        build: id of the build.
        moment: what the reading depends on besides the geometry.
        bow: its recorded geometry then.
        columns: what the reading depends on.
        log_weight: the answer: logarithm of the reading, in pounds.
        cut: what the bow was cut by, where that is told.
    """

    build: str
    moment: Moment
    bow: BowAt
    columns: Columns
    log_weight: float
    cut: CutReading | None = None


def questions(contents: Contents, weighings: Sequence[Weighing], pick: Pick) -> tuple[Question, ...]:
    """Return the question of each build whose weighing in question is among some that the statics have solved."""
    return tuple(
        _question(contents, found, picked)
        for found in weighings
        if (picked := _picked(contents, found.build, pick)) and picked.id == found.weigh_in
    )


def only_asked(contents: Contents, builds: Iterable[str], pick: Pick) -> Contents:
    """Return the contents of some builds with no weighing but the one asked for, and nothing that came after."""
    asked = {name: picked for name in builds if (picked := _picked(contents, name, pick))}
    return replace(
        contents,
        builds={name: contents.builds[name] for name in asked},
        events={name: _told(contents.events[name], picked) for name, picked in asked.items()},
    )


def _picked(contents: Contents, build: str, pick: Pick) -> WeighIn | None:
    return pick([event for event in contents.events.get(build, ()) if isinstance(event, WeighIn)])


def _told(history: tuple[Event, ...], asked: WeighIn) -> tuple[Event, ...]:
    return (*(e for e in events_until(history, asked)[:-1] if not isinstance(e, WeighIn)), asked)


def _question(contents: Contents, found: Weighing, asked: WeighIn) -> Question:
    build = contents.builds[found.build]
    form = contents.forms[build.form, build.form_revision]
    draws = [reading.draw for reading in asked.readings]
    moment = moment_at(form, build, draws, asked.stage, asked.shots, asked.scale)
    place = int(np.argmin(np.abs(np.array(moment.draws_in) - MAIN_DRAW_IN)))
    return Question(
        build=found.build,
        moment=replace(moment, draws_in=moment.draws_in[place : place + 1]),
        bow=bow_at(form, build, _told(contents.events[found.build], asked)),
        columns=at_draw(found.columns, place),
        log_weight=float(found.log_weight[place]),
    )


def at_draw(told: Columns, place: int) -> Columns:
    """Return the columns of one reading of a weighing."""

    def one(named: Named) -> Named:
        return {name: column[place : place + 1] for name, column in named.items()}

    def alone(tolerances: tuple[Tolerance, ...]) -> tuple[Tolerance, ...]:
        return tuple(replace(given, column=given.column[place : place + 1]) for given in tolerances)

    return replace(
        told,
        offset=told.offset[place : place + 1],
        common=one(told.common),
        groups={group: one(levels) for group, levels in told.groups.items()},
        build=one(told.build),
        tolerances=alone(told.tolerances),
        weighing=alone(told.weighing),
        sd=told.sd[place : place + 1],
        unnoted={group: one(lots) for group, lots in told.unnoted.items()},
    )


def answers(belief: Posterior, asked: Sequence[Question]) -> NormalMixture:
    """Return what a belief says of the logarithm of each reading, given what its bow was cut by."""
    return side_by_side([_answer(belief, question) for question in asked])


def _answer(belief: Posterior, asked: Question) -> NormalMixture:
    laid, values = laid_with_cut((), asked.cut)
    seen = seen_by(belief, together([*laid, ("asked", asked.columns)]))
    m = len(values)
    own, wanted = seen.rows.part(slice(m)), seen.rows.part(slice(m, None))
    found = posterior.predict(belief, wanted, own, values - seen.offset[:m]).marginal()
    return replace(found, means=found.means + seen.offset[m:])
