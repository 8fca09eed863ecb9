"""What a check says of a record."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from datasets.contents import Contents
from datasets.record import Record


@dataclass(frozen=True)
class Finding:
    """Something wrong or odd about a record.

    Attributes:
        field: its place in the record, such as `layers.2.material`; empty for the record as a whole.
        message: what was wanted, what came, what to do.
        refuses: whether the record cannot be kept.
        odd: whether it may be a mistake; else it is only worth knowing.
    """

    field: str
    message: str
    refuses: bool = False
    odd: bool = True


Check = Callable[[Record, Contents], Iterator[Finding]]
