"""How a belief sees what a weighing depends on: effects that it knows, and those that are new to it."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from predictor.belief.columns import Columns
from predictor.belief.posterior import Posterior, Rows

Array = NDArray[np.float64]


def level_name(group: str, level: str) -> str:
    """Return the name that a fit gives to a level of a group."""
    return f"{group}: {level}"


@dataclass(frozen=True)
class Seen:
    """One weighing's columns as a belief sees them.

    Attributes:
        offset: what is to be added to the belief's prediction: statics, and means of effects that it does not know.
        rows: the columns of effects that it knows and of those that it does not, for `posterior.predict`.
        sources: of the tolerances in `rows`, by name, in their order; what is a weighing's own or its day's stands
            last.
        of_weighings: how many of the tolerances are a weighing's own or its day's.
    """

    offset: Array
    rows: Rows
    sources: tuple[str, ...]
    of_weighings: int = 0


def seen_by(belief: Posterior, columns: Columns) -> Seen:
    """Sort a weighing's columns into effects that a belief knows and effects that are new to it.

    A common effect that is new, such as a wood never used, counts with its prior; a new level, such as a new lot, with
    its group's scatter, and so does a lot that nobody noted.
    """
    place = {name: index for index, name in enumerate(belief.effects)}
    count = len(columns.offset)
    effects = np.zeros((count, len(place)))
    offset = columns.offset.copy()
    doubts: list[tuple[str, Array]] = []
    for name, column in columns.common.items():
        if name in place:
            effects[:, place[name]] = column
        else:
            offset += columns.priors[name].mean * column
            doubts.append((name, columns.priors[name].sd * column))
    unseen: dict[str, Array] = {}
    for group in dict.fromkeys([*columns.groups, *columns.unnoted]):
        levels = columns.groups.get(group, {})
        known = {level: column for level, column in levels.items() if level_name(group, level) in place}
        for level, column in known.items():
            effects[:, place[level_name(group, level)]] = column
        new = [column for level, column in levels.items() if level not in known]
        unseen[group] = _stacked([*new, *columns.unnoted.get(group, {}).values()], count)
    doubts += [(given.source, given.column) for given in (*columns.tolerances, *columns.weighing)]
    rows = Rows(
        effects=effects,
        unseen=unseen,
        build=_stacked([columns.build[name] for name in belief.build_columns], count),
        tolerances=_stacked([column for _, column in doubts], count),
        sd=columns.sd,
    )
    return Seen(offset, rows, tuple(name for name, _ in doubts), len(columns.weighing))


def _stacked(columns: list[Array], count: int) -> Array:
    return np.stack(columns, axis=1) if columns else np.zeros((count, 0))
