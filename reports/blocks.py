"""What a report is told in: paragraphs, tables and graphs, the same for the terminal and for a page."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from matplotlib.axes import Axes
from rich.console import Console
from rich.markup import escape

from reports.printing import table


@dataclass(frozen=True)
class Paragraph:
    """Some sentences."""

    text: str


@dataclass(frozen=True)
class Caution:
    """A sentence that a reader must not miss; it stands before what it is about."""

    text: str


@dataclass(frozen=True)
class Grid:
    """A table.

    Attributes:
        title: what stands above.
        heads: of the columns, with units.
        rows: cells as text.
        right: places of the columns of numbers.
    """

    title: str
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    right: tuple[int, ...] = ()


@dataclass(frozen=True)
class Graph:
    """A picture, which only a page shows.

    Attributes:
        title: what stands above.
        alternative: what a reader who cannot see it should know; with its figures.
        draw: onto axes; labels its own axes, with units.
        height_in: of the picture.
    """

    title: str
    alternative: str
    draw: Callable[[Axes], None]
    height_in: float = 2.8


Block = Paragraph | Caution | Grid | Graph


@dataclass(frozen=True)
class Section:
    """One report as it is told.

    Attributes:
        name: of the report, one word.
        title: its head.
        question: that it answers.
        blocks: in order.
    """

    name: str
    title: str
    question: str
    blocks: tuple[Block, ...]


def show_section(section: Section, out: Console) -> None:
    """Print a report; its graphs are left to the page."""
    out.print(f"[bold]{escape(section.title)}[/]: {escape(section.question)}")
    for block in section.blocks:
        match block:
            case Paragraph(text):
                out.print(escape(text))
            case Caution(text):
                out.print(f"[bold]Mind:[/] {escape(text)}")
            case Grid():
                out.print(f"\n[bold]{escape(block.title)}[/]")
                out.print(table(block.heads, block.rows, right=block.right))
            case Graph():
                continue


def grid(title: str, heads: Sequence[str], rows: Sequence[Sequence[str]], texts: int = 1) -> Grid:
    """Return a table whose first columns are text and all others numbers.

    Args:
        title: what stands above.
        heads: of the columns, with units.
        rows: cells as text.
        texts: how many columns hold text.
    """
    return Grid(title, tuple(heads), tuple(map(tuple, rows)), tuple(range(texts, len(heads))))


def span(low: str, high: str) -> str:
    """Return a range as a table on a phone has room for it."""
    return f"{low}–{high}"  # noqa: RUF001 # the sign of ranges
