"""From the book to what a fit learns from: every weighing of every build that may teach, as columns."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array

from datasets.contents import Contents
from datasets.history import events_until
from datasets.record import ZeroPoint
from datasets.schema import Build, Form, WeighIn
from datasets.zero_points import from_back, from_zero
from predictor.bow import Refusal
from predictor.columns import Columns, Moment, columns
from predictor.features import Case, features
from predictor.scatter import BUILD_COLUMNS, GROUPS, NOISE_LOG_SD, PRIOR_SCATTER, SCALE_LOG_SD, SCALE_MEDIANS
from training.readings import BuildColumn, Group, Readings
from training.scale_priors import LogNormal

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Weighing:
    """One weighing that a fit learns from.

    Attributes:
        build: id of the build.
        weigh_in: id of the weigh-in.
        columns: what its readings depend on.
        log_weight: logarithms of the readings, in pounds.
    """

    build: str
    weigh_in: str
    columns: Columns
    log_weight: Array


@dataclass(frozen=True)
class LeftOut:
    """A record that does not teach, and why."""

    record: str
    reason: str


@dataclass(frozen=True)
class Evidence:
    """All weighings that teach, those of one build together, and what was left out."""

    weighings: tuple[Weighing, ...]
    left_out: tuple[LeftOut, ...]

    @property
    def builds(self) -> tuple[str, ...]:
        """Ids of the builds, each once, in order."""
        return tuple(dict.fromkeys(weighing.build for weighing in self.weighings))


@dataclass(frozen=True)
class _Weighed:
    """A weigh-in with the build that it belongs to and the geometry's history up to it."""

    form: Form
    build: Build
    weigh_in: WeighIn
    case: Case
    moment: Moment


def evidence(contents: Contents) -> Evidence:
    """Solve every weighing of every build that may teach.

    A build that may not teach, or whose form is missing, is left out with its reason, as is a weighing that the
    statics refuse.
    """
    left_out: list[LeftOut] = []
    weighed = list(_weighed(contents, left_out))
    weighings = []
    for one, found in zip(weighed, features([one.case for one in weighed], contents.materials), strict=True):
        if isinstance(found, Refusal):
            left_out.append(LeftOut(one.weigh_in.id, f"{found.reason}, {found.where}"))
            continue
        told = columns(found, one.moment, contents.materials, PRIOR_SCATTER)
        read = np.log([reading.weight.lbf for reading in one.weigh_in.readings])
        weighings.append(Weighing(one.build.id, one.weigh_in.id, told, read))
    return Evidence(tuple(weighings), tuple(left_out))


def _weighed(contents: Contents, left_out: list[LeftOut]) -> Iterator[_Weighed]:
    for build in contents.builds.values():
        form = contents.form_of(build)
        if not build.teaches:
            left_out.append(LeftOut(build.id, build.why_not or "may not teach"))
        elif form is None:
            left_out.append(LeftOut(build.id, "its form is not in the book"))
        else:
            events = contents.events.get(build.id, ())
            for event in events:
                if isinstance(event, WeighIn):
                    case = Case(form, build, events_until(events, event), _draws(event, form))
                    yield _Weighed(form, build, event, case, moment_of(event, form))


def _draws(weigh_in: WeighIn, form: Form) -> tuple[float, ...]:
    depth = form.handle_depth_in.inch
    return tuple(from_back(r.draw.inch, r.draw.zero, depth) for r in weigh_in.readings)


def moment_of(weigh_in: WeighIn, form: Form) -> Moment:
    """Return what a weighing depends on besides the geometry."""
    depth = form.handle_depth_in.inch
    standard = tuple(from_zero(inch, ZeroPoint.STANDARD, depth) for inch in _draws(weigh_in, form))
    return Moment(f"{form.id}/{form.revision}", standard, weigh_in.stage, weigh_in.shots, weigh_in.scale)


def readings(weighings: Sequence[Weighing]) -> Readings:
    """Lay weighings out as the arrays that a fit takes.

    Args:
        weighings: those of one build next to one another.
    """
    builds = {name: place for place, name in enumerate(dict.fromkeys(w.build for w in weighings))}
    counts = [len(w.log_weight) for w in weighings]
    told = [w.columns for w in weighings]
    priors = {name: prior for c in told for name, prior in c.priors.items() if name in c.common}
    return Readings(
        values=np.concatenate([w.log_weight - w.columns.offset for w in weighings]),
        sd=np.concatenate([c.sd for c in told]),
        build=np.repeat([builds[w.build] for w in weighings], counts),
        common=_side_by_side([c.common for c in told], tuple(priors), counts),
        common_names=tuple(priors),
        common_mean=np.array([prior.mean for prior in priors.values()]),
        common_sd=np.array([prior.sd for prior in priors.values()]),
        groups=tuple(_group(name, told, counts) for name in GROUPS),
        build_columns=tuple(
            BuildColumn(name, np.concatenate([c.build[name] for c in told]), _prior(name))
            for name in BUILD_COLUMNS
        ),
        tolerances=_tolerances(weighings),
        noise_prior=LogNormal(1.0, NOISE_LOG_SD),
        weighing=np.repeat(np.arange(len(counts)), counts),
    )


def _prior(name: str) -> LogNormal:
    return LogNormal(SCALE_MEDIANS[name], SCALE_LOG_SD)


def _group(name: str, told: Sequence[Columns], counts: Sequence[int]) -> Group:
    """Return a group's columns over all readings; most are empty for most readings."""
    rows: list[int] = []
    places: list[int] = []
    values: list[float] = []
    levels: dict[str, int] = {}
    starts = np.concatenate([[0], np.cumsum(counts)]).tolist()
    for start, columns_ in zip(starts, told, strict=False):
        for level, column in columns_.groups.get(name, {}).items():
            rows.extend(range(start, start + len(column)))
            places.extend([levels.setdefault(level, len(levels))] * len(column))
            values.extend(column)
    shape = (int(starts[-1]), len(levels))
    return Group(name, tuple(levels), csr_array((values, (rows, places)), shape), _prior(name))


def _side_by_side(
    told: Sequence[Mapping[str, Array]], names: tuple[str, ...], counts: Sequence[int]
) -> Array:
    """Return columns of the named effects over all readings; zeros where a weighing lacks one."""
    blocks = [
        np.stack([columns_.get(name, np.zeros(count)) for name in names], axis=1)
        for columns_, count in zip(told, counts, strict=True)
    ]
    return np.concatenate(blocks)


def _tolerances(weighings: Sequence[Weighing]) -> Array:
    """Return the tolerance columns: a build's inputs are shared by its weighings, a weighing's own are not."""
    blocks = []
    for build in dict.fromkeys(w.build for w in weighings):
        mine = [w for w in weighings if w.build == build]
        names = tuple(dict.fromkeys(name for w in mine for name, _ in _named(w)))
        blocks.append(
            _side_by_side([dict(_named(w)) for w in mine], names, [len(w.log_weight) for w in mine])
        )
    width = max(block.shape[1] for block in blocks)
    return np.concatenate([np.pad(block, ((0, 0), (0, width - block.shape[1]))) for block in blocks])


def _named(weighing: Weighing) -> Iterator[tuple[str, Array]]:
    """Yield a weighing's tolerance columns by a name that is the same in all weighings that share the input."""
    told = weighing.columns
    for shared in told.tolerances:
        yield shared.name, shared.column
    for own in told.weighing:
        yield f"{own.name} of {weighing.weigh_in}", own.column
