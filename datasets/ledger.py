"""Recorded dimensions as they are read: each one noted as an input with its tolerance, and shifted where that is asked.

A geometry is made again and again with one input shifted. What an input has no part in is made once.
"""

from collections.abc import Callable, Hashable, Mapping
from dataclasses import dataclass, field
from typing import TypeVar, cast

from datasets.record import Dimension, Taken

T = TypeVar("T")


@dataclass(frozen=True)
class Input:
    """One recorded dimension that a geometry rests on.

    Attributes:
        name: its place in the record, such as `layers.2.butt`.
        source: what kind of uncertainty it belongs to, such as `glass thickness`.
        sd: standard deviation of its error; inches, or a share where the source says so.
    """

    name: str
    source: str
    sd: float


@dataclass(frozen=True)
class _Made:
    """Something made of dimensions as recorded, and the names of the inputs that it rests on."""

    value: object
    inputs: frozenset[str]


@dataclass
class Ledger:
    """Reads recorded dimensions: applies the shifts asked for and notes each input once.

    Attributes:
        planned: whether the dimensions are intended ones, whatever the records say of how they were taken.
        shifts: amounts to add to inputs by name.
        inputs: those read so far, by name.
    """

    planned: bool
    shifts: Mapping[str, float] = field(default_factory=dict)
    inputs: dict[str, Input] = field(default_factory=dict)
    _read: set[str] = field(default_factory=set)
    _made: dict[Hashable, _Made] = field(default_factory=dict)

    def note(self, name: str, source: str, value: float, sd: float) -> float:
        """Return `value` with the shift asked for, and note it as an input."""
        self._read.add(name)
        if name not in self.inputs:
            self.inputs[name] = Input(name, source, sd)
        return value + self.shifts.get(name, 0.0)

    def take(self, name: str, source: str, read: Dimension, sds: Mapping[Taken, float]) -> float:
        """Return a recorded dimension with the shift asked for, its tolerance by how it was taken."""
        taken = Taken.PLANNED if self.planned else read.taken
        return self.note(name, source, read.inch, sds[taken])

    def part(self, key: Hashable, make: Callable[[], T]) -> T:
        """Return what `make` makes, from before if it was made without shifts and rests on no input shifted now.

        Args:
            key: all that it depends on besides the records and the inputs that it reads.
            make: reads its inputs from this ledger.
        """
        made = self._made.get(key)
        if made is None or not made.inputs.isdisjoint(self.shifts):
            outer, self._read = self._read, set()
            made = _Made(make(), frozenset(self._read))
            self._read = outer
            if not self.shifts:
                self._made[key] = made
        self._read |= made.inputs
        return cast("T", made.value)
