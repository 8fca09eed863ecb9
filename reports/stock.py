"""Lams at hand, and what can be ground from boards."""

import json

from rich.console import Console

from datasets.contents import Contents
from datasets.record import Dimension
from datasets.schema import Stock
from reports.printing import Units, table


def show_stock(contents: Contents, units: Units, out: Console) -> None:
    """Print one line a kind of lam."""
    if not contents.stock:
        out.print(
            'The book has no stock yet. Add some with: drawweight stock core "hard maple" .130 --ground-to .060'
        )
        return
    heads = ["stock", "part", "material", "lot", "thickness", "taper per in", "length", "width", "pieces"]
    rows = [_row(one, units) for one in contents.stock.values()]
    out.print(table(heads, rows, right=(8,)))


def stock_json(contents: Contents) -> str:
    """Return all stock as JSON."""
    listed = [one.model_dump(mode="json") for one in contents.stock.values()]
    return json.dumps({"stock": listed}, indent=2, ensure_ascii=False)


def _row(one: Stock, units: Units) -> list[str]:
    thickness = units.thickness(one.thickness_in.inch)
    if one.ground_to_in is not None:
        thickness = f"{units.thickness(one.ground_to_in.inch)} to {thickness}, ground"
    return [
        one.id,
        one.part.value,
        one.material,
        one.lot or "",
        thickness,
        units.thickness(one.taper_per_in) if one.taper_per_in else "",
        _length(one.length_in, units),
        _length(one.width_in, units),
        str(one.pieces),
    ]


def _length(dimension: Dimension | None, units: Units) -> str:
    return "" if dimension is None else units.length(dimension.inch)
