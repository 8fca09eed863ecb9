"""Reports as one page that holds all it needs: no script, no request, for a phone and for paper."""

from collections.abc import Sequence
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined

from reports.blocks import Block, Graph, Section
from reports.graphs import data_uri


def page(title: str, sections: Sequence[Section]) -> str:
    """Return reports as one HTML page.

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
    told = [
        {
            "name": section.name,
            "title": section.title,
            "question": section.question,
            "blocks": [_parts(block) for block in section.blocks],
        }
        for section in sections
    ]
    return environment.get_template("page.html.jinja").render(title=title, sections=told)


def _parts(block: Block) -> dict[str, Any]:
    """Return a block as the template takes it."""
    if isinstance(block, Graph):
        picture, alternative = data_uri(block), block.alternative
        return {"kind": "Graph", "title": block.title, "picture": picture, "alternative": alternative}
    return {"kind": type(block).__name__, **vars(block)}
