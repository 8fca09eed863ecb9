"""A small shop for tests: records as a bowyer would type them, in bench notation.

The bow is an invented straight longbow; nothing about it is measured.
"""

from copy import deepcopy
from datetime import date, timedelta
from typing import Any, NamedTuple


class Typed(NamedTuple):
    """A record as typed."""

    kind: str
    data: dict[str, Any]


def form(**changes: Any) -> Typed:
    """Return a straight form of 64 in with a little reflex."""
    data = {
        "id": "plain-64",
        "kind": "straight",
        "riser_length_in": "16",
        "handle_depth_in": "2 1/4",
        "limb_length_in": "24",
        "profile": [
            {"at_in": "8", "offset_in": "0"},
            {"at_in": "16", "offset_in": "1/4"},
            {"at_in": "24", "offset_in": "3/4"},
            {"at_in": "32", "offset_in": "1 1/2"},
        ],
    }
    return Typed("form", deepcopy(data) | changes)


def build(**changes: Any) -> Typed:
    """Return a bow of two cores between glass, near 45 lb at 28 in."""
    data = {
        "form": "plain-64",
        "length_in": '64"',
        "layers": [
            {"part": "glass", "material": "limb glass", "butt_in": ".050"},
            {"part": "core", "material": "sugar maple", "butt_in": ".130", "tip_in": ".100"},
            {"part": "core", "material": "sugar maple", "butt_in": "130 thou", "taper_per_in": 0.001},
            {"part": "glass", "material": "limb glass", "butt_in": ".050"},
        ],
        "widths": [
            {"at": "fade", "belly_in": "1 1/4"},
            {"at": "mid", "belly_in": "1 1/16"},
            {"at": "nock", "belly_in": "1/2"},
        ],
        "brace": "7 1/4",
        "built": "2026-03-02",
    }
    return Typed("build", deepcopy(data) | changes)


def weigh_in(**changes: Any) -> Typed:
    """Return a weigh-in at three draws."""
    data = {
        "build": "K-001",
        "on": "2026-03-05",
        "stage": "tillered",
        "readings": [
            {"draw": "26", "weight": "40"},
            {"draw": "27", "weight": "42 1/2"},
            {"draw": "28", "weight": "45"},
        ],
        "pulls": 30,
    }
    return Typed("weigh_in", deepcopy(data) | changes)


def removal(**changes: Any) -> Typed:
    """Return sides taken in by 1/16 in at the fade and 1/32 in at the nock."""
    data = {
        "build": "K-001",
        "on": "2026-03-06",
        "method": "sides",
        "done": [{"at": "fade", "amount_in": "1/16"}, {"at": "nock", "amount_in": "1/32"}],
    }
    return Typed("removal", deepcopy(data) | changes)


def strip(**changes: Any) -> Typed:
    """Return a strip of hard maple of lot m7 bent between edges under three weights, near the handbook's stiffness."""
    data = {
        "material": "hard maple",
        "lot": "m7",
        "on": "2026-03-01",
        "span_in": "20",
        "width_in": "1 1/2",
        "thickness_in": ".125",
        "loads": [
            {"load": "1", "deflection_in": ".34"},
            {"load": "2", "deflection_in": ".68"},
            {"load": "3 lb", "deflection_in": "1.02"},
        ],
    }
    return Typed("strip", deepcopy(data) | changes)


def order(**changes: Any) -> Typed:
    """Return an order of 45 lb for the first build, due in two months."""
    due = date.today() + timedelta(days=60)
    data = {"weight": "45", "draw": "28", "build": "K-001", "customer": "Ann", "due": f"{due}"}
    return Typed("order", deepcopy(data) | changes)


def stock(**changes: Any) -> Typed:
    """Return eight lams of hard maple that may be ground from .130 down to .060 in."""
    data = {
        "part": "core",
        "material": "hard maple",
        "lot": "m7",
        "thickness_in": ".130",
        "ground_to_in": ".060",
        "pieces": 8,
    }
    return Typed("stock", deepcopy(data) | changes)
