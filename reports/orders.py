"""The shop's orders: what was promised, and what was delivered."""

import json

from rich.console import Console

from datasets.contents import Contents
from datasets.schema import Order, WeighIn
from reports.printing import Units, table


def show_orders(contents: Contents, units: Units, out: Console) -> None:
    """Print one line an order, open ones first, those due first at the top."""
    if not contents.orders:
        out.print('The book has no orders yet. Add one with: drawweight order "50#@28" --build K-014')
        return
    heads = ["order", "promised", "at draw", "after shots", "on scale", "bow", "customer", "due", "state"]
    rows = [_row(order, contents, units) for order in sorted(contents.orders.values(), key=_urgency)]
    out.print(table(heads, rows, right=(3,)))


def orders_json(contents: Contents) -> str:
    """Return all orders as JSON."""
    listed = [order.model_dump(mode="json") for order in contents.orders.values()]
    return json.dumps({"order": listed}, indent=2, ensure_ascii=False)


def _urgency(order: Order) -> tuple[bool, str, str]:
    return order.delivered is not None, str(order.due or "later"), order.id


def _row(order: Order, contents: Contents, units: Units) -> list[str]:
    tolerance = order.tolerance_lbf or contents.shop.tolerance_lbf
    return [
        order.id,
        f"{_weight(order.weight.lbf, units)} ± {_weight(tolerance, units)} {units.weight}",
        units.draw(order.draw),
        str(order.shots),
        order.scale or "true force",
        order.build or "",
        order.customer or "",
        str(order.due or ""),
        _state(order, contents, units),
    ]


def _weight(lbf: float, units: Units) -> str:
    (weight,) = units.read_weights([lbf])
    return weight


def _state(order: Order, contents: Contents, units: Units) -> str:
    """Return whether an order is open, or the weighing it was delivered with and what that read at its draw."""
    if order.delivered is None:
        return "open"
    weigh_in = contents.event(order.delivered)
    readings = weigh_in.readings if isinstance(weigh_in, WeighIn) else ()
    asked = (order.draw.inch, order.draw.zero)
    lbf = next((one.weight.lbf for one in readings if (one.draw.inch, one.draw.zero) == asked), None)
    read = "" if lbf is None else f", read {_weight(lbf, units)} {units.weight}"
    return f"{order.delivered}{read}"
