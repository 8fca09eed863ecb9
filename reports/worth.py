"""What stock is worth: pounds that a little off the sides, edges or glass costs, along the limb."""

from itertools import pairwise
from typing import Any

from rich.console import Console

from datasets.record import DrawLength
from datasets.schema import Method
from predictor.worth import UNIT_IN, Worth
from reports.numbers import fixed
from reports.printing import Units, table

QUARTERS = ("inner quarter", "second", "third", "outer quarter")

_OFF = {
    Method.SIDES: "off the whole width",
    Method.TRAP: "off the back's width",
    Method.EDGES: "more radius on the edges",
    Method.BACK_GLASS: "off the back's glass",
    Method.BELLY_GLASS: "off the belly's glass",
}


def show_worth(build: str, worth: Worth, draw: DrawLength, units: Units, out: Console) -> None:
    """Print what a unit of stock off both limbs costs, off their whole length and off each quarter of it."""
    out.print(
        f"[bold]{build}[/] what stock off both limbs is worth at {units.draw(draw)}, in {units.weight} of "
        f"{units.tenths_of_weight(worth.weight_lbf)}; quarters from the fade to the nock:"
    )
    rows = [
        [_off(method, units), *(fixed(units.of_weight(lbf), 2) for lbf in _lost(worth, method))]
        for method in UNIT_IN
    ]
    out.print(table(["taken off", "whole limb", *QUARTERS], rows, right=(1, 2, 3, 4, 5)))
    out.print(
        "By beam statics at handbook moduli, with the brace height kept. It adds up for a few units at once."
    )
    if worth.unlike:
        out.print(
            "The limbs differ: the weight here and in predictions is the mean of the symmetric bows that each would "
            "make; tiller and strain are of both limbs together on the riser."
        )


def worth_json(build: str, worth: Worth, draw: DrawLength) -> dict[str, Any]:
    """Return the same as plain values: pounds a unit, the whole limb first, then its quarters."""
    return {
        "build": build,
        "draw": draw.model_dump(mode="json"),
        "weight_lbf": worth.weight_lbf,
        "unit_in": {method.value: unit for method, unit in UNIT_IN.items()},
        "lost_lbf": {method.value: _lost(worth, method) for method in UNIT_IN},
    }


def _lost(worth: Worth, method: Method) -> list[float]:
    """Return pounds for a unit off both limbs: their whole length first, then quarters from the fade outward."""
    quarters = [0.0] * len(QUARTERS)
    for limb in (worth.upper, worth.lower):
        length = float(limb.station.max())
        ends = [length * part / len(QUARTERS) for part in range(len(QUARTERS) + 1)]
        for place, (inner, outer) in enumerate(pairwise(ends)):
            quarters[place] += limb.lost_between(method, inner, outer)
    return [sum(quarters), *quarters]


def _off(method: Method, units: Units) -> str:
    glass = method in (Method.BACK_GLASS, Method.BELLY_GLASS)
    amount = units.thickness(UNIT_IN[method]) if glass else units.length(UNIT_IN[method])
    return f"{amount} {_OFF[method]}"
