"""How far off predictions of left-out builds were, beside what others would have said, and what the errors go with."""

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray
from pydantic import Field

from datasets.record import Record
from predictor.belief.mixture import NormalMixture
from reports.grouping import groups
from reports.sources import Basis, Sources, basis_of, how_left_out
from training.checking.compared import (
    FEWEST_FOR_RIVALS,
    Difference,
    Errors,
    Mean,
    errors,
    mean,
    paired,
    rivals_left_out,
)
from training.checking.diagnostics import Spread, breusch_pagan, influence, trends, white
from training.checking.left_out_builds import LeftOutBuild, LeftOutBuilds
from training.checking.surprise import most_surprising, reasons

Array = NDArray[np.float64]

OURS = "this tool"

SURPRISING_SHOWN = 6

INFLUENTIAL_SHOWN = 5


class MeanError(Record):
    """A mean over builds, with half its 95 % interval by Student's t; nothing for one build."""

    value: float
    half: float | None


class Scored(Record):
    """How far off the predictions of some builds were."""

    builds: int
    bias_lbf: MeanError = Field(description="reading less prediction")
    mean_absolute_lbf: float
    root_mean_square_lbf: float
    bias_percent: MeanError
    mean_absolute_percent: float
    root_mean_square_percent: float
    crps_percent: float = Field(description="continuous ranked probability score, in per cent of the weight")
    interval_lbf: float = Field(description="score of the 90 % interval")


class Worse(Record):
    """By how much a rival's scores lie above this tool's, build by build."""

    crps_percent: MeanError
    absolute_lbf: MeanError
    p: float | None = Field(
        description="chance of such a difference of CRPS if there were none, by Student's t; nothing where builds are "
        "too few for a verdict"
    )
    p_of_all: float | None = Field(description="the same, of the farthest among all rivals looked at")


class Method(Record):
    """A way to foretell, on the same builds, each foretold from all the others."""

    name: str
    scored: Scored
    worse: Worse | None = Field(description="nothing for this tool itself")


class GroupErrors(Record):
    """Errors of some builds."""

    by: str
    group: str
    scored: Scored


class Against(Record):
    """How errors, in predictive standard deviations, go with one quantity."""

    quantity: str
    unit: str
    builds: tuple[str, ...]
    values: tuple[float, ...]
    scores: tuple[float, ...]
    smooth: tuple[float, ...] = Field(description="of the scores at the values")
    rank_correlation: float
    p: float
    p_of_all: float = Field(description="the same, of the farthest among all quantities looked at")


class SpreadTest(Record):
    """A test whether the spread of errors goes with some quantities."""

    name: str
    on: tuple[str, ...]
    p: float = Field(description="chance of as much if it goes with none")


class Influential(Record):
    """How much one build pulls a regression of the errors on the quantities."""

    build: str
    cook: float
    leverage: float
    outlier_p: float


class Surprising(Record):
    """A build far from what the others said of it."""

    build: LeftOutBuild
    reasons: tuple[str, ...]


class ErrorsReport(Record):
    """Errors of left-out builds. Builds that look like a mistake are in `methods` and `surprising` only."""

    basis: Basis
    how_left_out: str = Field(description="what the builds left out have had no part in")
    methods: tuple[Method, ...] = Field(description="on all builds, this tool first")
    on_sound: tuple[Method, ...] = Field(
        description="the same, without the builds that look like a mistake to this tool"
    )
    groups: tuple[GroupErrors, ...]
    against: tuple[Against, ...] = Field(description="none where builds are too few")
    spread: tuple[SpreadTest, ...]
    regressed_on: tuple[str, ...] = Field(description="quantities of the influence tests")
    influential: tuple[Influential, ...]
    surprising: tuple[Surprising, ...]


QUANTITIES = {
    "expected weight": "lb",
    "stack": "in",
    "glass": "in",
    "width": "in",
    "limb": "in",
    "brace": "in",
    "draw": "in",
    "date": "days",
    "temperature": "°F",
}
"""What errors are held against, with units; dates count from the first weighing."""


def make(sources: Sources, _words: Sequence[str]) -> ErrorsReport:
    """Make the report."""
    every = sources.left_out
    if every is None:
        return ErrorsReport(
            basis=basis_of(sources),
            how_left_out="",
            methods=(),
            on_sound=(),
            groups=(),
            against=(),
            spread=(),
            regressed_on=(),
            influential=(),
            surprising=(),
        )
    sound = every.sound()
    methods, on_sound = _methods(every, sources)
    quantities = _quantities(sound.builds)
    scores = np.array([build.score for build in sound.builds])
    regressed_on, pulls = influence(scores, quantities)
    return ErrorsReport(
        basis=basis_of(sources),
        how_left_out=how_left_out(every),
        methods=methods,
        on_sound=on_sound,
        groups=_groups(sound),
        against=_against(sound.builds, scores, quantities),
        spread=_spread(scores, quantities),
        regressed_on=regressed_on,
        influential=tuple(
            Influential(
                build=sound.builds[pull.place].build,
                cook=pull.cook,
                leverage=pull.leverage,
                outlier_p=pull.outlier_p,
            )
            for pull in pulls[:INFLUENTIAL_SHOWN]
        ),
        surprising=tuple(
            Surprising(build=build, reasons=tuple(reasons(build, every.builds)))
            for build in most_surprising(every.builds, SURPRISING_SHOWN)
        ),
    )


def _methods(every: LeftOutBuilds, sources: Sources) -> tuple[tuple[Method, ...], tuple[Method, ...]]:
    """Return the scores of this tool and of its rivals, on all builds and on those that do not look like a mistake.

    Rivals learn from all the others, too.
    """
    told: dict[str, NormalMixture] = {OURS: every.predicted}
    if len(every.builds) >= FEWEST_FOR_RIVALS:
        told |= rivals_left_out(every, sources.track)
    marked = {name: errors(mixture, every.log_weight) for name, mixture in told.items()}
    sound = [place for place, build in enumerate(every.builds) if not build.looks_wrong]
    return _side_by_side(marked), _side_by_side({name: found.some(sound) for name, found in marked.items()})


def _side_by_side(marked: Mapping[str, Errors]) -> tuple[Method, ...]:
    """Return each way's scores, the rivals' with what they are worse by."""
    ours = marked[OURS]
    if not len(ours.off_lbf):
        return ()
    rivals = {name: found for name, found in marked.items() if name != OURS}
    crps = paired({name: found.crps_percent - ours.crps_percent for name, found in rivals.items()})
    absolute = {name: _mean(np.abs(found.off_lbf) - np.abs(ours.off_lbf)) for name, found in rivals.items()}
    worse = {name: _worse(crps[name], absolute[name]) for name in rivals}
    return tuple(
        Method(name=name, scored=_scored(found), worse=worse.get(name)) for name, found in marked.items()
    )


def _worse(crps: Difference, absolute: MeanError) -> Worse:
    return Worse(
        crps_percent=MeanError(value=crps.mean.value, half=crps.mean.half),
        absolute_lbf=absolute,
        p=crps.p,
        p_of_all=crps.p_of_all,
    )


def _scored(found: Errors) -> Scored:
    return Scored(
        builds=len(found.off_lbf),
        bias_lbf=_mean(found.off_lbf),
        mean_absolute_lbf=float(np.abs(found.off_lbf).mean()),
        root_mean_square_lbf=_root_mean_square(found.off_lbf),
        bias_percent=_mean(found.off_percent),
        mean_absolute_percent=float(np.abs(found.off_percent).mean()),
        root_mean_square_percent=_root_mean_square(found.off_percent),
        crps_percent=float(found.crps_percent.mean()),
        interval_lbf=float(found.interval_lbf.mean()),
    )


def _root_mean_square(values: Array) -> float:
    return float(np.sqrt(np.mean(values**2)))


def _mean(values: Array) -> MeanError:
    found: Mean = mean(values)
    return MeanError(value=found.value, half=found.half)


def _groups(sound: LeftOutBuilds) -> tuple[GroupErrors, ...]:
    found = errors(sound.predicted, sound.log_weight)
    return tuple(
        GroupErrors(by=by, group=name, scored=_scored(found.some(places)))
        for by, name, places in groups(sound.builds)
    )


def _quantities(builds: Sequence[LeftOutBuild]) -> dict[str, Array]:
    """Return what errors are held against, by the names in `QUANTITIES`; nan where it is not known."""
    first = min((build.weighed_on for build in builds), default=None)
    rows = [
        (
            build.expected_lbf,
            build.stack_in,
            build.glass_in,
            build.width_in,
            build.limb_in,
            build.brace_in,
            build.draw_in,
            (build.weighed_on - first).days if first else 0,
            np.nan if build.temperature_f is None else build.temperature_f,
        )
        for build in builds
    ]
    return dict(zip(QUANTITIES, np.array(rows, dtype=float).reshape(-1, len(QUANTITIES)).T, strict=True))


def _against(
    builds: Sequence[LeftOutBuild], scores: Array, quantities: dict[str, Array]
) -> tuple[Against, ...]:
    return tuple(
        Against(
            quantity=name,
            unit=QUANTITIES[name],
            builds=tuple(builds[place].build for place in known),
            values=tuple(quantities[name][known].tolist()),
            scores=tuple(scores[known].tolist()),
            smooth=tuple(trend.smooth[known].tolist()),
            rank_correlation=trend.rank_correlation,
            p=trend.p,
            p_of_all=trend.p_of_all,
        )
        for name, trend in trends(scores, quantities).items()
        for known in [np.flatnonzero(np.isfinite(trend.smooth)).tolist()]
    )


def _spread(scores: Array, quantities: dict[str, Array]) -> tuple[SpreadTest, ...]:
    tests: dict[str, Spread | None] = {
        "Breusch and Pagan": breusch_pagan(scores, quantities),
        "White": white(scores, quantities),
    }
    return tuple(SpreadTest(name=name, on=found.on, p=found.p) for name, found in tests.items() if found)
