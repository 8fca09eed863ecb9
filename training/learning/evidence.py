"""From the book to what a fit learns from: every weighing of every build that may teach, as columns."""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import islice

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array

from datasets.contents import Contents
from datasets.exercise import draws_in_words, not_counted
from datasets.materials import Material
from predictor.belief.columns import Columns
from predictor.belief.habits import USUAL, Habits
from predictor.belief.own_history import CUT_KEY, NOT_WEIGHED
from predictor.belief.scatter import (
    BUILD_COLUMNS,
    CUT_TO_ORDER,
    GROUPS,
    NOISE_LOG_SD,
    SCATTER_LOG_SDS,
    SCATTER_SDS,
)
from predictor.belief.weighings import Weighed, Weighing, weighed
from predictor.bows.bow import Refusal
from predictor.bows.features import Case, Features
from training.engine.readings import BuildColumn, Group, Readings
from training.engine.scale_priors import LogNormal
from training.learning.solved_cases import solved_cases

Array = NDArray[np.float64]


@dataclass(frozen=True)
class LeftOut:
    """A record that does not teach, and why."""

    record: str
    reason: str


@dataclass(frozen=True)
class Evidence:
    """All weighings that teach, those of one build together, and what was left out.

    Attributes:
        weighings: explained under the shop's habits.
        left_out: records that do not teach.
        habits: the shop's.
    """

    weighings: tuple[Weighing, ...]
    left_out: tuple[LeftOut, ...]
    habits: Habits = USUAL

    @property
    def builds(self) -> tuple[str, ...]:
        """Ids of the builds, each once, in order."""
        return tuple(dict.fromkeys(weighing.build for weighing in self.weighings))


def evidence(contents: Contents, habits: Habits = USUAL) -> Evidence:
    """Solve every weighing of every build that may teach.

    A build that may not teach, or whose form is missing, is left out with its reason, as is a weighing after too few
    full draws or one that the statics refuse.

    Args:
        contents: of the book.
        habits: the shop's, that the weighings are explained under.
    """
    (found,) = evidence_side_by_side((contents,), habits)
    return found


def evidence_side_by_side(books: Sequence[Contents], habits: Habits = USUAL) -> tuple[Evidence, ...]:
    """Return the evidence of several books, each as `evidence` finds it alone, and sooner: all are solved together.

    Args:
        books: contents of each.
        habits: of the shops, that all weighings are explained under.
    """
    left_out: list[list[LeftOut]] = [[] for _ in books]
    teaching = [list(_teaching(*each)) for each in zip(books, left_out, strict=True)]
    solved = _solved([[one.case for one in each] for each in teaching], [book.materials for book in books])
    return tuple(_explained(*each, habits) for each in zip(books, teaching, solved, left_out, strict=True))


def _solved(
    cases: Sequence[Sequence[Case]], materials: Sequence[Mapping[str, Material]]
) -> list[Sequence[Features | Refusal]]:
    """Return the features of each book's cases; books that have the same materials are solved together."""
    found: list[Sequence[Features | Refusal]] = [() for _ in cases]
    for place, same in enumerate(materials):
        if same not in materials[:place]:
            places = [at for at, others in enumerate(materials) if others == same]
            solved = iter(solved_cases([case for at in places for case in cases[at]], same))
            for at in places:
                found[at] = list(islice(solved, len(cases[at])))
    return found


def _explained(
    book: Contents,
    teaching: Sequence[Weighed],
    solved: Sequence[Features | Refusal],
    left_out: list[LeftOut],
    habits: Habits,
) -> Evidence:
    weighings = []
    for one, found in zip(teaching, solved, strict=True):
        if isinstance(found, Refusal):
            left_out.append(LeftOut(one.weigh_in.id, f"{found.reason}, {found.where}"))
        else:
            weighings.append(one.explained(found, book.materials, habits))
    return Evidence(tuple(weighings), tuple(left_out), habits)


def _teaching(contents: Contents, left_out: list[LeftOut]) -> Iterator[Weighed]:
    for build in contents.builds.values():
        form = contents.form_of(build)
        if not build.teaches:
            left_out.append(LeftOut(build.id, build.why_not or "may not teach"))
        elif form is None:
            left_out.append(LeftOut(build.id, "its form is not in the book"))
        else:
            events = contents.events.get(build.id, ())
            left_out += (LeftOut(one.id, draws_in_words(draws)) for one, draws in not_counted(events))
            yield from weighed(form, build, events)


@dataclass(frozen=True)
class _Row:
    """Readings of one build that stand together: those of a weighing, or what its cut tells."""

    build: str
    name: str
    columns: Columns
    values: Array


def readings(weighings: Sequence[Weighing]) -> Readings:
    """Lay weighings out as the arrays that a fit takes: their readings in order, and after all of them the cuts.

    Args:
        weighings: those of one build next to one another.
    """
    weighed_ = [_Row(w.build, w.weigh_in, w.columns, w.log_weight - w.columns.offset) for w in weighings]
    cuts = [
        _Row(
            w.build,
            CUT_KEY,
            w.cut.columns,
            np.array([w.cut.log_share]),
        )
        for w in weighings
        if w.cut is not None
    ]
    rows = weighed_ + cuts
    builds = {name: place for place, name in enumerate(dict.fromkeys(w.build for w in weighings))}
    counts = [len(row.values) for row in rows]
    told = [row.columns for row in rows]
    priors = {name: prior for c in told for name, prior in c.priors.items() if name in c.common}
    numbers = [*range(len(weighed_)), *[NOT_WEIGHED] * len(cuts)]
    return Readings(
        values=np.concatenate([row.values for row in rows]),
        sd=np.concatenate([c.sd for c in told]),
        build=np.repeat([builds[row.build] for row in rows], counts),
        common=_side_by_side([c.common for c in told], tuple(priors), counts),
        common_names=tuple(priors),
        common_mean=np.array([prior.mean for prior in priors.values()]),
        common_sd=np.array([prior.sd for prior in priors.values()]),
        groups=tuple(_group(name, told, [row.build for row in rows], counts) for name in GROUPS),
        build_columns=tuple(
            BuildColumn(
                name,
                np.concatenate([c.build[name] for c in told]),
                _prior(name, free=name != CUT_TO_ORDER or bool(cuts)),
            )
            for name in BUILD_COLUMNS
        ),
        tolerances=_tolerances(rows),
        noise_prior=LogNormal.of_mean_square(1.0, NOISE_LOG_SD),
        weighing=np.repeat(numbers, counts),
    )


def _prior(name: str, *, free: bool = True) -> LogNormal:
    return LogNormal.of_mean_square(SCATTER_SDS[name], SCATTER_LOG_SDS[name], free=free)


def _group(name: str, told: Sequence[Columns], builds: Sequence[str], counts: Sequence[int]) -> Group:
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
    columns = csr_array((values, (rows, places)), shape)
    return Group(name, tuple(levels), columns, _prior(name), _alone(name, told, builds, counts))


def _alone(name: str, told: Sequence[Columns], builds: Sequence[str], counts: Sequence[int]) -> Array | None:
    """Return a group's columns that nobody noted, of each build its own, or nothing where there are none."""
    of_build: dict[str, dict[str, int]] = defaultdict(dict)
    for build, columns_ in zip(builds, told, strict=True):
        for unnoted in columns_.unnoted.get(name, {}):
            of_build[build].setdefault(unnoted, len(of_build[build]))
    most = max((len(places) for places in of_build.values()), default=0)
    blocks = [np.zeros((count, most)) for count in counts]
    for build, columns_, block in zip(builds, told, blocks, strict=True):
        for unnoted, column in columns_.unnoted.get(name, {}).items():
            block[:, of_build[build][unnoted]] = column
    return np.concatenate(blocks) if most else None


def _side_by_side(
    told: Sequence[Mapping[str, Array]], names: tuple[str, ...], counts: Sequence[int]
) -> Array:
    """Return columns of the named effects over all readings; zeros where a weighing lacks one."""
    blocks = [
        np.stack([columns_.get(name, np.zeros(count)) for name in names], axis=1)
        for columns_, count in zip(told, counts, strict=True)
    ]
    return np.concatenate(blocks)


def _tolerances(rows: Sequence[_Row]) -> Array:
    """Return the tolerance columns.

    A build's inputs are shared by its weighings, a day's air by those of that day; what is a weighing's own is not
    shared.
    """
    of_build: dict[str, list[int]] = defaultdict(list)
    for place, row in enumerate(rows):
        of_build[row.build].append(place)
    found: dict[int, Array] = {}
    for places in of_build.values():
        mine = [rows[place] for place in places]
        names = tuple(dict.fromkeys(name for row in mine for name, _ in _named(row)))
        counts = [len(row.values) for row in mine]
        block = _side_by_side([dict(_named(row)) for row in mine], names, counts)
        found |= zip(places, np.split(block, np.cumsum(counts)[:-1]), strict=True)
    width = max(block.shape[1] for block in found.values())
    return np.concatenate(
        [np.pad(found[place], ((0, 0), (0, width - found[place].shape[1]))) for place in range(len(rows))]
    )


def _named(row: _Row) -> Iterator[tuple[str, Array]]:
    """Yield tolerance columns by a name that is the same in all weighings that share the input."""
    for shared in row.columns.tolerances:
        yield shared.name, shared.column
    for own in row.columns.weighing:
        yield own.name_beside(row.name), own.column
