"""One way to print: quantities in inch or metric, tables, and notes on their own channel."""

import re
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from rich import box
from rich.console import Console
from rich.markup import escape
from rich.table import Table

from datasets.notation import inches, millimetres, thousandths
from datasets.record import BraceHeight, DrawLength
from reports.numbers import Row, as_read, fixed, with_intervals

KG_PER_LBF = 0.45359237
"""Exact: NIST Special Publication 811 (2008), appendix B.8."""

PIPED_WIDTH = 120


@dataclass(frozen=True)
class Units:
    """How quantities are written: inches and pounds, or millimetres and kilograms."""

    system: Literal["inch", "metric"]

    @property
    def weight(self) -> str:
        """Unit of draw weights."""
        return "lb" if self.system == "inch" else "kg"

    def of_weight(self, lbf: float) -> float:
        """Return a draw weight in the unit that is printed."""
        return lbf if self.system == "inch" else lbf * KG_PER_LBF

    def read_weights(self, lbfs: Sequence[float]) -> list[str]:
        """Return weights as scales read them: all with the decimals of the finest, quarters of a pound kept."""
        return as_read([self.of_weight(lbf) for lbf in lbfs])

    def expected(self, rows_lbf: Sequence[Row]) -> list[tuple[str, str, str]]:
        """Return weights and their intervals' ends, all with the digits that the narrowest interval deserves."""
        return with_intervals(
            [(self.of_weight(lbf), self.of_weight(low), self.of_weight(high)) for lbf, low, high in rows_lbf]
        )

    def tenths_of_weight(self, lbf: float) -> str:
        """Return a small weight or a difference of weights to 0.1 lb or 0.01 kg."""
        return fixed(self.of_weight(lbf), 1 if self.system == "inch" else 2)

    def told_apart(self, low_lbf: float, high_lbf: float, outside_lbf: float) -> tuple[str, str, str]:
        """Return a range and a weight outside of it with as many decimals, 1 to 4, as show that it lies outside."""
        for decimals in range(1, 5):
            low, high, outside = (
                fixed(self.of_weight(lbf), decimals) for lbf in (low_lbf, high_lbf, outside_lbf)
            )
            if not float(low) <= float(outside) <= float(high):
                break
        return low, high, outside

    def length(self, inch: float) -> str:
        """Return a length: `1 1/16 in` or `27.0 mm`."""
        return f"{inches(inch)} in" if self.system == "inch" else millimetres(inch)

    def thickness(self, inch: float) -> str:
        """Return a lam's thickness: `.070 in` or `1.78 mm`."""
        return f"{thousandths(inch)} in" if self.system == "inch" else millimetres(inch, 2)

    def draw(self, draw: DrawLength | BraceHeight) -> str:
        """Return a draw length or brace height, `28 in` or `71.1 cm`, with its zero point unless it is the standard."""
        zero = "" if draw.zero == "standard" else f" {draw.zero}"
        length = self.length(draw.inch) if self.system == "inch" else f"{fixed(2.54 * draw.inch, 1)} cm"
        return f"{length}{zero}"


def console() -> Console:
    """Return where answers go; piped output is wide and without colour."""
    width = None if sys.stdout.isatty() else PIPED_WIDTH
    return Console(width=width, highlight=False, soft_wrap=False)


def table(columns: Sequence[str], rows: Sequence[Sequence[str]], *, right: Sequence[int] = ()) -> Table:
    """Return a table; lines are drawn on a terminal only.

    Args:
        columns: heads.
        rows: cells as text.
        right: places of the columns of numbers, which stand at the right.
    """
    style = box.SIMPLE_HEAD if sys.stdout.isatty() else None
    made = Table(box=style, pad_edge=False, header_style="bold", padding=(0, 1))
    for place, head in enumerate(columns):
        made.add_column(escape(head), justify="right" if place in right else "left", overflow="fold")
    for row in rows:
        made.add_row(*(escape(cell) for cell in row))
    return made


def named_once(text: str) -> str:
    """Return words in which a lot named after its material, as in `black cherry, black cherry 2`, names it once."""
    return re.sub(r"\b(\w[\w ]*), (?=\1 )", "", text)


def note(message: str) -> None:
    """Print one line to the channel of notes and errors, unbroken."""
    sys.stderr.write(f"{' '.join(message.split())}\n")
