"""Reports as one page that holds all it needs: no script, no request, for a phone and for paper."""

import re
from collections.abc import Sequence
from itertools import takewhile
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from reports.blocks import Block, Graph, Grid, Section
from reports.graphs import data_uri

PHONE_EM, GAP_EM = 28.5, 0.45
"""Width that a phone of 390 px leaves to a table, and the gap after a column, in its letters' size."""

WIDE_EM, NARROW_EM, BOLD = 0.64, 0.53, 1.1
"""Widths of a digit or capital and of another letter in a wide sans-serif, DejaVu Sans, and what bold adds."""

MOST_STACKED = 10
"""Rows of a table that may stand under one another on a phone; a longer one is moved sideways there."""


def page(title: str, sections: Sequence[Section]) -> str:
    """Return reports as one HTML page; what all of them begin with is told once.

    Args:
        title: of the page.
        sections: the reports.
    """
    environment = Environment(
        loader=PackageLoader("reports", ""),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["unbroken"] = unbroken
    shared = _shared(sections)
    told = [
        {
            "name": section.name,
            "title": section.title,
            "question": section.question,
            "blocks": [_parts(block) for block in section.blocks[shared:]],
        }
        for section in sections
    ]
    template = environment.get_template("page.html.jinja")
    first = [_parts(block) for block in sections[0].blocks[:shared]]
    return template.render(title=title, first=first, sections=told)


def _shared(sections: Sequence[Section]) -> int:
    """Return how many blocks all of several reports begin with."""
    if len(sections) < 2:
        return 0
    alike = (
        all(block == blocks[0] for block in blocks)
        for blocks in zip(*(s.blocks for s in sections), strict=False)
    )
    return sum(takewhile(bool, alike))


def unbroken(text: str) -> Markup:
    """Return text in which no line ends inside of a word with hyphens, such as a bow's name, or of `1 7/32`."""
    parts = re.split(r"(\d+ \d+/\d+|\S*-\S+)", text)
    return Markup("").join(
        Markup('<span class="whole">{}</span>').format(part) if place % 2 else part
        for place, part in enumerate(parts)
    )


def _stacked(grid: Grid) -> bool:
    """Return whether the cells of a row stand under one another on a phone, for the table is too wide for it."""
    widths = [BOLD * _longest_em(head) for head in grid.heads]
    for row in grid.rows:
        cells = (_em(cell) if place in grid.right else _longest_em(cell) for place, cell in enumerate(row))
        widths = [max(pair) for pair in zip(widths, cells, strict=True)]
    return len(grid.rows) <= MOST_STACKED and sum(widths) + GAP_EM * len(widths) > PHONE_EM


def _longest_em(text: str) -> float:
    return max(map(_em, text.split()), default=0.0)


def _em(text: str) -> float:
    return sum(WIDE_EM if sign.isdigit() or sign.isupper() else NARROW_EM for sign in text)


def _parts(block: Block) -> dict[str, Any]:
    """Return a block as the template takes it."""
    if isinstance(block, Graph):
        picture, alternative = data_uri(block), block.alternative
        return {"kind": "Graph", "title": block.title, "picture": picture, "alternative": alternative}
    if isinstance(block, Grid):
        return {"kind": "Grid", "stacked": _stacked(block), **vars(block)}
    return {"kind": type(block).__name__, **vars(block)}
