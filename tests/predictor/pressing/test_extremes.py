"""The lightest and the heaviest bow of some stacks: no stack is outside of them, and none is strained too far."""

from math import exp

import pytest

from datasets.materials import handbook
from datasets.record import DrawLength, ZeroPoint
from datasets.schema import Stock
from predictor.bows.bow import Refusal
from predictor.planning.knowledge import Knowledge
from predictor.planning.promise import Judged
from predictor.planning.prospects import Prospect, prospects
from predictor.pressing.blanks import Copied
from predictor.pressing.extremes import Extremes, extremes
from predictor.pressing.layup import Limits, strained
from predictor.pressing.stacks import Room, Stack, stacks
from tests.predictor.example_bows import STRAIGHT, build

JUDGED = Judged(DrawLength(inch=28, zero=ZeroPoint.STANDARD, typed=None), 500)
KNOWLEDGE = Knowledge(handbook())
BLANK = Copied(STRAIGHT, build())


def made(ground_to: str | None) -> list[Stack]:
    """Return stacks of one glass and of cores that may be ground from .200 in, or of ready ones."""
    some = [
        {"part": "glass", "material": "limb glass", "thickness_in": ".040", "pieces": 8},
        {
            "part": "core",
            "material": "hard maple",
            "thickness_in": ".200",
            "ground_to_in": ground_to,
            "pieces": 8,
        },
        {"part": "core", "material": "hard maple", "thickness_in": ".110", "pieces": 8},
    ]
    stock = [Stock.model_validate({"id": f"STOCK-{place:03d}", **one}) for place, one in enumerate(some, 1)]
    return list(stacks(stock, Room(length_in=68, riser_in=16, width_in=1.25)))


def found(some: list[Stack], strain: float | None = None) -> Extremes:
    """Return the lightest and the heaviest, with widths that stay as first cut."""
    return extremes(some, BLANK, JUDGED, KNOWLEDGE, Limits(0.95, 1.25, 0.5, strain))


def test_no_ready_stack_lies_outside() -> None:
    """Of stacks that are used as they are, lightest and heaviest are the least and the greatest of those allowed."""
    some = made(None)
    layers = [stack.layers(0.0) for stack in some]
    allowed = [not isinstance(strained(one, BLANK, JUDGED.draw, KNOWLEDGE, None), Refusal) for one in layers]
    told = prospects(STRAIGHT, [BLANK.build(one) for one in layers], JUDGED, KNOWLEDGE)
    lbf = [one.settled.quantile(0.5)[0] for one in told if isinstance(one, Prospect)]
    reach = found(some)

    assert len(lbf) == len(some)
    assert not all(allowed)
    assert reach.lightest is not None
    assert reach.heaviest is not None
    logs = {"light": min(lbf), "heavy": max(one for one, may in zip(lbf, allowed, strict=True) if may)}
    assert reach.lightest.lbf == pytest.approx(exp(logs["light"]))
    assert reach.heaviest.lbf == pytest.approx(exp(logs["heavy"]))


def test_a_lower_strain_limit_leaves_less() -> None:
    """The heaviest bow of ground lams falls with the strain that the shop allows, to none."""
    some = made(".060")
    free, limited, none = (found(some, strain).heaviest for strain in (None, 0.009, 0.001))

    assert free is not None
    assert limited is not None
    assert limited.lbf < free.lbf
    assert none is None
