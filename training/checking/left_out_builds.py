"""What the model says of each build when it has not seen it: one prediction and one reading a build.

The reading is the main one of `calibrate.main_readings`: of the last weighing the one nearest to 28 in. Up to
`MOST_REFITTED` builds the model is trained anew without each of them: scales, mistakes, usual cut and stretch. In
longer books predictions are those of the other builds at the fit's scales and judgement of mistakes, in which the build
has had its part.

How plans are carried out is kept as the whole book tells it. Without any one build of the demo's book the mean share
that a builder gets beyond the plan moves by at most .011, and its scatter by .006: a tenth of a per cent of weight
where a plan of ten was not measured afterwards, and nothing where it was.
"""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray
from pydantic import Field
from threadpoolctl import threadpool_limits

from datasets.contents import Contents
from datasets.record import Record
from datasets.schema import Event, Stage, WeighIn
from predictor.belief.calibration import stretch
from predictor.belief.mixture import NormalMixture, side_by_side
from predictor.belief.scatter import LOTS_OF_GLASS, LOTS_OF_WOOD
from training.checking.estimator import WeightRegressor, builds_of, readings_of
from training.checking.questions import Pick, Question, questions
from training.checking.rivals import Table, table
from training.learning.calibrate import main_readings
from training.learning.train import DOUBTFUL, Trained
from training.progress import Track

Array = NDArray[np.float64]

MOST_REFITTED = 70
"""Builds up to which the model is trained anew without each: 20 s of processor time with 50 builds, growing as their
square."""

DIMENSIONS = ("stack_in", "glass_in", "width_in", "limb_in", "brace_in", "draw_in")
"""Fields of a build that are dimensions, in the order of `rivals.Table`."""


class LeftOutBuild(Record):
    """One build, what the others say of it, and what it weighed."""

    build: str
    form: str = Field(description="form and revision")
    main_wood: str = Field(description="that makes most of the stack")
    lots: tuple[str, ...] = Field(description="of wood and glass, with their materials")
    scale: str = Field(description="its name, or that it was not noted")
    weigh_in: str
    weighed_on: dt.date
    stage: Stage
    temperature_f: float | None
    draw_in: float = Field(description="as the standard counts it")
    stack_in: float = Field(description="at mid-limb")
    glass_in: float = Field(description="both faces")
    width_in: float = Field(description="at mid-limb")
    limb_in: float = Field(description="length of a limb")
    brace_in: float = Field(description="from the back of the riser")
    read_lbf: float
    expected_lbf: float = Field(description="median of the prediction")
    sd_percent: float = Field(description="of the prediction, in per cent of the weight")
    below: float = Field(ge=0, le=1, description="probability that was given to a lower reading")
    score: float = Field(description="reading less prediction in predictive standard deviations")
    mistake: float = Field(ge=0, le=1, description="probability of a mistake of the pencil")
    mistake_in: str = Field(description="where a mistake most likely is, if there is one")

    @property
    def looks_wrong(self) -> bool:
        """Whether it looks like a mistake, as training names them."""
        return self.mistake >= DOUBTFUL


@dataclass(frozen=True)
class LeftOutBuilds:
    """All builds of a fit, each left out once.

    Attributes:
        builds: in the order of their weighings in time.
        asked: the same as questions, for others to answer.
        predicted: logarithms of their readings, in the same order.
        refitted: whether the model was trained anew without each build.
    """

    builds: tuple[LeftOutBuild, ...]
    asked: tuple[Question, ...]
    predicted: NormalMixture
    refitted: bool

    @property
    def log_weight(self) -> Array:
        """Logarithms of the readings."""
        return np.array([question.log_weight for question in self.asked])

    @cached_property
    def table(self) -> Table:
        """The builds as rivals see them."""
        return table(self.asked)

    def rows(self, chosen: Sequence[int]) -> "LeftOutBuilds":
        """Return some of them."""
        return LeftOutBuilds(
            tuple(self.builds[place] for place in chosen),
            tuple(self.asked[place] for place in chosen),
            self.predicted.some(chosen),
            self.refitted,
        )

    def sound(self) -> "LeftOutBuilds":
        """Return those that do not look like a mistake."""
        return self.rows([place for place, build in enumerate(self.builds) if not build.looks_wrong])


def left_out_builds(trained: Trained, contents: Contents, track: Track) -> LeftOutBuilds:
    """Leave out each build of a fit once, training anew where builds are not too many.

    Args:
        trained: on the book.
        contents: of the book.
        track: goes through the builds and tells how far it has come.
    """
    if len(trained.evidence.builds) > MOST_REFITTED:
        return left_out_at_once(trained, contents)
    asked = _asked(trained, contents)
    with threadpool_limits(limits=1, user_api="blas"):
        return _in_time(trained, contents, asked, _anew(trained, contents, track), refitted=True)


def left_out_at_once(trained: Trained, contents: Contents) -> LeftOutBuilds:
    """Leave out each build of a fit once, at the scales of all builds."""
    asked = _asked(trained, contents)
    with threadpool_limits(limits=1, user_api="blas"):
        return _in_time(trained, contents, asked, _at_its_scales(trained, asked), refitted=False)


def _asked(trained: Trained, contents: Contents) -> tuple[Question, ...]:
    weighings = trained.evidence.weighings
    return questions(contents, weighings, _last_of({weighing.weigh_in for weighing in weighings}))


def _in_time(
    trained: Trained,
    contents: Contents,
    asked: tuple[Question, ...],
    predicted: NormalMixture,
    *,
    refitted: bool,
) -> LeftOutBuilds:
    found = LeftOutBuilds(_told(contents, trained, asked, predicted), asked, predicted, refitted)
    in_time = sorted(range(len(asked)), key=lambda place: (found.builds[place].weighed_on, place))
    return found.rows(in_time)


def _anew(trained: Trained, contents: Contents, track: Track) -> NormalMixture:
    """Return what models say that were trained without the build in question."""
    rows, log_weight = readings_of(contents, trained.evidence.weighings)
    builds, model = builds_of(rows), WeightRegressor()
    mains = track(main_readings(trained.evidence), "training without each build")
    without = ((builds != main.build, [main.row]) for main in mains)
    return side_by_side(
        [model.fit(rows[others], log_weight[others]).foretold(rows[one]) for others, one in without]
    )


def _at_its_scales(trained: Trained, asked: Sequence[Question]) -> NormalMixture:
    """Return what the other builds say at the fit's scales and judgement of mistakes."""
    mains = main_readings(trained.evidence)
    every = trained.fit.leave_builds_out().some([main.row for main in mains])
    predicted = as_wide_as_others_ask(every, trained, [main.build for main in mains])
    offsets = np.array([question.columns.offset[0] for question in asked])
    return replace(predicted, means=predicted.means + offsets)


def _last_of(solved: set[str]) -> Pick:
    """Pick the last weighing of those that the statics have solved."""

    def pick(weighed: Sequence[WeighIn]) -> WeighIn | None:
        return next((weigh_in for weigh_in in reversed(weighed) if weigh_in.id in solved), None)

    return pick


def as_wide_as_others_ask(predicted: NormalMixture, trained: Trained, builds: Sequence[str]) -> NormalMixture:
    """Return predictions, one a build, as wide as the other builds' scores ask for."""
    scores = {score.build: score.score for score in trained.model.calibration.builds}
    factors = [stretch([score for other, score in scores.items() if other != build]) for build in builds]
    return predicted.stretched(np.array(factors))


def _told(
    contents: Contents, trained: Trained, asked: Sequence[Question], predicted: NormalMixture
) -> tuple[LeftOutBuild, ...]:
    log_weight = np.array([question.log_weight for question in asked])
    suspicion = trained.fit.suspicion
    figures = {
        "read_lbf": np.exp(log_weight),
        "expected_lbf": np.exp(predicted.quantile(0.5)),
        "sd_percent": 100 * predicted.sd,
        "below": predicted.cdf(log_weight),
        "score": predicted.normal_score(log_weight),
        "mistake": np.zeros(len(asked)) if suspicion is None else suspicion.any,
    }
    seen_by_rivals = table(asked)
    dimensions = dict(zip(DIMENSIONS, seen_by_rivals.dimensions.T, strict=True))
    last = {weighing.build: weighing.weigh_in for weighing in trained.evidence.weighings}
    return tuple(
        LeftOutBuild(
            **_words(question, contents.event(last[question.build])),
            main_wood=str(seen_by_rivals.woods[place]),
            mistake_in=_likeliest_place(trained, place),
            **{name: float(values[place]) for name, values in (figures | dimensions).items()},
        )
        for place, question in enumerate(asked)
    )


def _words(question: Question, weigh_in: Event | None) -> dict[str, Any]:
    """Return what is known of a build besides numbers."""
    if not isinstance(weigh_in, WeighIn):
        raise TypeError(
            f"wanted the weighing of {question.build}, got {type(weigh_in).__name__}; train again"
        )
    groups = question.columns.groups
    return {
        "build": question.build,
        "form": question.moment.form,
        "lots": tuple(level for group in (LOTS_OF_WOOD, LOTS_OF_GLASS) for level in groups.get(group, {})),
        "scale": question.moment.scale or "not noted",
        "weigh_in": weigh_in.id,
        "weighed_on": weigh_in.on,
        "stage": weigh_in.stage,
        "temperature_f": weigh_in.temperature_f,
    }


def _likeliest_place(trained: Trained, build: int) -> str:
    """Return what a mistake would most likely have shifted: a build, one of its weighings, or one reading."""
    suspicion, readings = trained.fit.suspicion, trained.fit.readings
    if suspicion is None:
        return "not looked for"
    rows = np.flatnonzero(readings.build == build)
    weighings = [w.weigh_in for w in trained.evidence.weighings for _ in w.log_weight]
    of_weighing = rows[np.argmax(suspicion.weighing[rows])]
    alone = rows[np.argmax(suspicion.reading[rows])]
    places = {
        "the whole build": suspicion.build[build],
        f"the whole weighing {weighings[of_weighing]}": suspicion.weighing[of_weighing],
        f"one reading of {weighings[alone]}": suspicion.reading[alone],
    }
    return max(places, key=places.__getitem__)
