"""Values of many bows side by side, along the first axis of each array."""

from collections.abc import Callable
from dataclasses import dataclass, fields
from typing import Any, Self

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Rows = NDArray[np.intp] | Flags


@dataclass(frozen=True, eq=False)
class Batch:
    """Arrays, and batches in turn, all with the bows along the first axis."""

    def take(self, rows: Rows) -> Self:
        """Return some rows (indices or a mask) as a batch of their own."""
        return self._each(lambda value: value.take(rows) if isinstance(value, Batch) else value[rows])

    def put(self, rows: Rows, other: Self) -> Self:
        """Return a batch in which some rows are those of another."""
        values = iter([getattr(other, field.name) for field in fields(other)])

        def laid_in(value: Any) -> Any:
            if isinstance(value, Batch):
                return value.put(rows, next(values))
            whole = value.copy()
            whole[rows] = next(values)
            return whole

        return self._each(laid_in)

    def _each(self, change: Callable[[Any], Any]) -> Self:
        return type(self)(*(change(getattr(self, field.name)) for field in fields(self)))


def solve_pairs(matrix: Array, right: Array) -> Array:
    """Solve pairs of linear equations, shapes (n, 2, 2) and (n, 2); where they are singular, give nan.

    So where they are so nearly singular that the solution is beyond all numbers.
    """
    (a, b), (c, d) = matrix[:, 0].T, matrix[:, 1].T
    first, second = right.T
    with np.errstate(over="ignore", invalid="ignore"):
        determinant = a * d - b * c
        size = np.where(determinant == 0, np.nan, determinant)
        solution = np.stack([(d * first - b * second) / size, (a * second - c * first) / size], axis=-1)
    return np.where(np.isfinite(solution), solution, np.nan)
