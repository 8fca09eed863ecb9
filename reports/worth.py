"""What stock is worth: pounds of the expected weight that a little off the sides, edges or glass costs."""

from itertools import pairwise
from typing import Any

from rich.console import Console

from datasets.contents import Contents
from datasets.exercise import ENOUGH_DRAWS
from datasets.history import bow_at
from datasets.notation import millimetres
from datasets.record import DrawLength
from datasets.schema import Build, Form, Method
from predictor.belief.model import Model
from predictor.belief.weighings import draws_from_back
from predictor.bows.bow import Refusal, handbook_moduli
from predictor.planning.kit_state import Kit
from predictor.planning.knowledge import Knowledge
from predictor.planning.shares_got import shares_got
from predictor.prediction.what_if import WhatIf
from predictor.prediction.worth import UNIT_IN, Worth, worth
from reports.changes import by_statics_in_words, change_in_words
from reports.expectation import expect, stage_and_shots
from reports.numbers import fixed
from reports.printing import Units, table

QUARTERS = ("inner quarter", "second", "third", "outer quarter")

TAKING_OFF = (
    "Caution: wear a respirator, for the dust of glass and wood harms the lungs, and eye protection, and keep your "
    f"hands clear of saw and belt. Nothing can be put back: take off half, draw the bow {ENOUGH_DRAWS} times, weigh, "
    "go on."
)

_OFF = {
    Method.SIDES: "off the whole width",
    Method.TRAP: "off the back's width",
    Method.EDGES: "more radius on the edges",
    Method.BACK_GLASS: "off the back's glass",
    Method.BELLY_GLASS: "off the belly's glass",
}


def worth_of(
    contents: Contents, form: Form, build: Build, draw: DrawLength, model: Model | None
) -> Worth | Refusal:
    """Return what stock is worth on a build as it stands: shares of the force that is expected of it.

    The statics' shares are multiplied by what the shop gets of them, by method.

    Args:
        contents: the book.
        form: the form revision that the build points at.
        build: of the book.
        draw: at which weight counts.
        model: what the shop's builds have taught.
    """
    stage, shots = stage_and_shots(contents, build, None, None)
    expected = expect(contents, build, [draw], stage=stage, model=model, shots=shots)
    if isinstance(expected, Refusal):
        return expected
    events = tuple(contents.events.get(build.id, ()))
    strips = tuple(contents.strips.values())
    got = shares_got(Kit(form, build, events), draw, Knowledge(contents.materials, model, strips))
    if isinstance(got, Refusal):
        return got
    bow = bow_at(form, build, events)
    (draw_in,) = draws_from_back(form, [draw])
    told = worth(bow, handbook_moduli(bow, contents.materials), draw_in)
    return told if isinstance(told, Refusal) else told.of_weight(expected.force.weight_lbf).times(got)


def show_worth(build: str, told: Worth, draw: DrawLength, units: Units, out: Console) -> None:
    """Print what a unit of stock off both limbs costs, off their whole length and off each quarter of it."""
    out.print(
        f"[bold]{build}[/] what stock off both limbs is worth at {units.draw(draw)}, in {units.weight} of "
        f"{units.tenths_of_weight(told.weight_lbf)}; quarters from the fade to the nock:"
    )
    rows = [
        [_off(method, units), *(fixed(units.of_weight(lbf), 2) for lbf in _lost(told, method))]
        for method in UNIT_IN
    ]
    out.print(table(["taken off", "whole limb", *QUARTERS], rows, right=(1, 2, 3, 4, 5)))
    out.print(
        "Shares by beam statics, with the brace height kept, of the force expected of this bow"
        f"{_got_in_words(told)}. They add up for a few units at once."
    )
    if told.unlike:
        out.print(
            "The limbs differ: the shares are the mean of the symmetric bows that each would make; the weight is that "
            "of both limbs together on the riser."
        )
    out.print(TAKING_OFF)


def worth_in_words(what: str, told: WhatIf, units: Units) -> str:
    """Return what a removal is worth in one line, with what the statics alone say where that is something else."""
    return (
        f"{what}: worth {change_in_words(told.difference, units)} at {units.draw(told.draw_after)}"
        f"{by_statics_in_words(told, units)}; brace, pull {ENOUGH_DRAWS} times and weigh again"
    )


def worth_json(build: str, told: Worth, draw: DrawLength) -> dict[str, Any]:
    """Return the same as plain values: pounds a unit, the whole limb first, then its quarters."""
    return {
        "build": build,
        "draw": draw.model_dump(mode="json"),
        "weight_lbf": told.weight_lbf,
        "unit_in": {method.value: unit for method, unit in UNIT_IN.items()},
        "share_got": {method.value: share for method, share in told.got.items()},
        "lost_lbf": {method.value: _lost(told, method) for method in UNIT_IN},
    }


def _got_in_words(told: Worth) -> str:
    """Return what is got of the statics' shares, by method, if anything was learned of it."""
    learned = [f"{fixed(share, 2)} of {method}" for method, share in told.got.items() if round(share, 2) != 1]
    return f", times what such work has got of them: {', '.join(learned)}" if learned else ""


def _lost(told: Worth, method: Method) -> list[float]:
    """Return pounds for a unit off both limbs: their whole length first, then quarters from the fade outward."""
    quarters = [0.0] * len(QUARTERS)
    for limb in (told.upper, told.lower):
        length = float(limb.station.max())
        ends = [length * part / len(QUARTERS) for part in range(len(QUARTERS) + 1)]
        for place, (inner, outer) in enumerate(pairwise(ends)):
            quarters[place] += limb.lost_between(method, inner, outer)
    return [sum(quarters), *quarters]


def _off(method: Method, units: Units) -> str:
    unit_in = UNIT_IN[method]
    glass = method in (Method.BACK_GLASS, Method.BELLY_GLASS)
    if units.system == "metric":
        amount = millimetres(unit_in, 4 if glass else 3)  # what was priced is no round number of millimetres
    else:
        amount = units.thickness(unit_in) if glass else units.length(unit_in)
    return f"{amount} {_OFF[method]}"
