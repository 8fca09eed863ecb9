"""A kit for the tests of the removal plan: the plain bow, weighed on one scale, promised at 28 in."""

from functools import lru_cache
from typing import Any

from datasets.materials import handbook
from datasets.record import DrawLength, ZeroPoint
from datasets.schema import Event, WeighIn
from predictor.bows.bow import Refusal
from predictor.planning.awaited import Readings, readings_of
from predictor.planning.kit_state import Kit, KitState, kit_state
from predictor.planning.knowledge import Knowledge
from predictor.planning.plan import Plan, plan
from predictor.planning.promise import Judged, Promise
from predictor.planning.stakes import Stakes
from predictor.planning.ways import Limits
from tests.predictor.example_bows import STRAIGHT, build

DRAW = DrawLength(inch=28, zero=ZeroPoint.STANDARD)
DRAW_IN = 28.5
WIDE_OPEN = Limits((0.3, 0.2), None, (1 / 8, 1 / 4))


def weigh_in(number: int, lbf: float, **changes: Any) -> WeighIn:
    """Return a weighing of the bow at 28 in."""
    data = {
        "id": f"K-001/{number}",
        "build": "K-001",
        "on": f"2026-03-0{number}",
        "stage": "tillered",
        "scale": "hook",
        "readings": [{"draw": "28", "weight": f"{lbf}"}],
    }
    return WeighIn.model_validate(data | changes)


def kit(*events: Event) -> Kit:
    """Return the plain bow with a history."""
    return Kit(STRAIGHT, build(), events)


def promise(lbf: float, scale: str | None = "hook") -> Promise:
    """Return a promise at 28 in after 500 shots."""
    return Promise(lbf, 1.0, Judged(DRAW, 500, scale))


@lru_cache
def found(lbf: float, *events: Event, limits: Limits = WIDE_OPEN) -> Plan | Refusal:
    """Return the plan of the plain bow after some events."""
    return plan(kit(*events), promise(lbf), Stakes(), limits, Knowledge(handbook()))


def planned(lbf: float, *events: Event, limits: Limits = WIDE_OPEN) -> Plan:
    """Return the plan where there is one."""
    told = found(lbf, *events, limits=limits)
    assert isinstance(told, Plan), told
    return told


def state(*events: Event, scale: str | None = "hook") -> KitState:
    """Return the state of the plain bow for a promise of 45 lb."""
    told = kit_state(kit(*events), promise(45.0, scale), Knowledge(handbook()))
    assert isinstance(told, KitState)
    return told


def readings(*events: Event, target_lbf: float = 45.0) -> Readings:
    """Return what one more weighing of the plain bow would read."""
    known = Knowledge(handbook())
    return readings_of(kit(*events), state(*events), promise(target_lbf), known)
