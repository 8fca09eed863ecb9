"""Bows for the tests of the predictor: plain dimensions of one's own making."""

from typing import Any

from datasets.schema import Build, Form

STRAIGHT = Form.model_validate(
    {
        "id": "plain-68",
        "kind": "straight",
        "riser_length_in": "16",
        "handle_depth_in": "2 1/4",
        "limb_length_in": "26",
        "profile": [{"at_in": str(at), "offset_in": "0"} for at in (8, 16, 24, 33)],
    }
)

REFLEXED = Form.model_validate(
    {
        "id": "swan-62",
        "kind": "recurve",
        "riser_length_in": "18",
        "handle_depth_in": "2 1/2",
        "limb_length_in": "22",
        "profile": [
            {"at_in": at, "offset_in": offset}
            for at, offset in (
                ("9", "0"),
                ("14", "-1/8"),
                ("19", "-3/16"),
                ("23", "1/8"),
                ("27", "1 1/4"),
                ("29 1/2", "3"),
            )
        ],
    }
)

HOOKED = Form.model_validate(
    {
        "id": "crane-69",
        "kind": "recurve",
        "riser_length_in": "22",
        "handle_depth_in": "2 1/4",
        "limb_length_in": "23 1/2",
        "profile": [
            {"at_in": at, "offset_in": offset}
            for at, offset in (
                ("11", "0"),
                ("15", "-.3"),
                ("19", "-.6"),
                ("22.5", "-.7"),
                ("25.5", "-.45"),
                ("28", ".35"),
                ("29.6", "1.6"),
                ("30.4", "3"),
            )
        ],
    }
)
"""A working recurve of the long kind, whose string lies on its tips at brace."""

GLASS = {"part": "glass", "material": "limb glass", "lot": "g1", "butt_in": ".040"}


def core(butt: str, **more: Any) -> dict[str, Any]:
    """Return a maple core lam."""
    return {"part": "core", "material": "hard maple", "lot": "m1", "butt_in": butt, **more}


def build(**changes: Any) -> Build:
    """Return a 68 in straight bow of about fifty pounds, with some fields changed."""
    plain: dict[str, Any] = {
        "id": "K-001",
        "form": "plain-68",
        "length_in": "68",
        "brace": "6 1/2",
        "layers": [GLASS, core(".140", taper_per_in=0.0015), core(".170"), GLASS],
        "widths": [
            {"at": "fade", "belly_in": "1 1/4"},
            {"at": "mid", "belly_in": "1"},
            {"at": "nock", "belly_in": "1/2"},
        ],
    }
    return Build.model_validate({**plain, **changes})
