"""Checks of how a bow was weighed."""

from collections.abc import Iterator

from datasets.contents import Contents
from datasets.finding import Finding
from datasets.record import Record
from datasets.schema import Stage, WeighIn

FEW_DRAWS = 20
"""Fewer full draws since the last removal are told of: a reading counts after about thirty (common practice, no
source)."""


def is_exercised(record: Record, _: Contents) -> Iterator[Finding]:
    """A bow that was tillered or finished has been drawn some thirty times before a reading counts.

    It is told and not weighed down: nobody has measured by how much a bow reads too high before. A first draw is by
    its nature one of the first.
    """
    if not isinstance(record, WeighIn) or record.stage in (Stage.BLANK, Stage.FIRST_DRAW) or record.shots:
        return
    if record.pulls is not None and record.pulls < FEW_DRAWS:
        yield Finding(
            "pulls",
            f"wanted about 30 full draws since the last removal before a reading counts, got {record.pulls}; "
            "draw it more and weigh it again",
        )
