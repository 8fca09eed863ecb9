"""The shop's settings: what they are, and what was typed to change them."""

from collections.abc import Sequence
from typing import Any

from rich.console import Console

from datasets.record import Dimension
from datasets.schema import Shop
from predictor.pressing.blanks import USUAL_LEAST
from reports.printing import Units, table

_WITHOUT = {
    "least_width_fade_in": f"not set: {USUAL_LEAST:.0%} of the first width",
    "least_width_nock_in": f"not set: {USUAL_LEAST:.0%} of the first width",
}
"""What holds where a setting has no value, if its meaning does not tell."""


def show_settings(shop: Shop, units: Units, out: Console) -> None:
    """Print one line a setting: its value, and what it is for."""
    rows = [
        [name, _shown(name, getattr(shop, name), units), field.description or ""]
        for name, field in Shop.model_fields.items()
        if name != "id"
    ]
    out.print(table(["setting", "value", "meaning"], rows))
    out.print(
        "Change some with: drawweight shop tolerance_lbf=1.5; with nothing after = the usual value holds"
    )


def changes(typed: Sequence[str]) -> dict[str, Any]:
    """Return settings by name from texts such as `units=metric`; with nothing after the sign the usual value.

    Raises:
        ValueError: a text has no sign.
    """
    read: dict[str, Any] = {}
    for text in typed:
        name, sign, value = text.partition("=")
        name, value = name.strip(), value.strip()
        if not sign or not name:
            raise ValueError(f"wanted a setting with its value, got {text!r}; write it such as units=metric")
        field = Shop.model_fields.get(name)
        read[name] = field.default if field is not None and not value else value
    return read


def _shown(name: str, value: object, units: Units) -> str:
    if value is None:
        return _WITHOUT.get(name, "not set")
    return units.length(value.inch) if isinstance(value, Dimension) else str(value)
