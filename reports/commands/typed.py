"""What was typed for one value, read; what cannot be read ends the command."""

import re
from datetime import date, datetime, time
from typing import Any

from datasets import notation
from datasets.contents import Contents
from datasets.record import DrawLength
from predictor.bows.tiller import SPLIT_FINGER_IN
from reports import expectation
from reports.commands.ending import StopError, stopping_at

TYPED = "what was typed"
"""Stands for the file in messages about the command line itself."""


def mark_typed(text: str) -> notation.Mark:
    """Return a weight with its draw, such as 50#@28."""
    with stopping_at(notation.NotationError):
        return notation.read_mark(text)


def reading_typed(text: str) -> dict[str, str]:
    """Return the fields of a reading typed as 28=52.75."""
    with stopping_at(notation.NotationError):
        mark = notation.read_pair(text)
    return {"draw": mark.draw_typed, "weight": mark.weight_typed}


def load_typed(text: str, *, by_rule: bool) -> dict[str, Any]:
    """Return the fields of a load with its deflection, typed as 2=.42."""
    with stopping_at(notation.NotationError):
        load, deflection = notation.read_load(text)
    return {"load": load, "deflection_in": {"typed": deflection, "taken": "rule"} if by_rule else deflection}


def cut_typed(text: str) -> dict[str, str]:
    """Return the fields of a cut typed as fade=1/16, or as 1/16 for the whole limb."""
    place, sign, amount = text.partition("=")
    if not sign and any(letter.isdigit() for letter in text):
        return {"amount_in": text}
    if not sign or not place or not amount:
        raise StopError(
            f"wanted a place with its amount, or an amount for the whole limb, got {text!r}; "
            "write it such as fade=1/16, 12=1/16 or 1/16"
        )
    return {"at": place, "amount_in": amount}


def gaps_typed(text: str | None) -> dict[str, str]:
    """Return the fields of the gaps typed as "7 1/8,7"; none where nothing was typed."""
    if text is None:
        return {}
    upper, sign, lower = text.partition(",")
    if not sign or "," in lower:
        raise StopError(f'wanted the upper and the lower gap, got {text!r}; write them such as "7 1/8,7"')
    return {"gap_upper_in": upper.strip(), "gap_lower_in": lower.strip()}


def quantity_typed(field: str, text: str | None, quantity: notation.Quantity) -> dict[str, float]:
    """Return a field with the quantity typed for it; none where nothing was typed."""
    if text is None:
        return {}
    with stopping_at(notation.NotationError):
        return {field: notation.read(text, quantity)}


def end_of_day(day: str) -> datetime:
    """Return the last instant of a day, by the clock of this place."""
    try:
        return datetime.combine(date.fromisoformat(day), time.max).astimezone()
    except ValueError:
        raise StopError(f"wanted a day such as 2026-05-31, got {day!r}; write year, month and day") from None


def draws_typed(text: str | None, contents: Contents) -> tuple[DrawLength, ...]:
    """Return the draw lengths typed with commas between, or the shop's usual ones."""
    if text is None:
        return expectation.usual_draws(contents)
    draws = []
    for part in text.split(","):
        with stopping_at(notation.NotationError):
            inch, zero = notation.read_zeroed(part.strip(), notation.Quantity.DRAW)
        draws.append(
            DrawLength.model_validate({"inch": inch, "zero": zero or contents.shop.draw_zero, "typed": part})
        )
    return tuple(draws)


def one_draw_typed(text: str | None, contents: Contents) -> DrawLength:
    """Return the one draw length typed, or the usual full draw."""
    if text is None:
        return expectation.main_draw(contents)
    draws = draws_typed(text, contents)
    if len(draws) > 1:
        raise StopError(f"wanted one draw length, got {len(draws)}; write it such as 28")
    return draws[0]


def tiller_typed(text: str | None, contents: Contents) -> tuple[float, float]:
    """Return the lowest and highest tiller wanted: as typed, the shop's own, or the usual ones."""
    if text is None:
        own = (contents.shop.tiller_low_in, contents.shop.tiller_high_in)
        low, high = (
            usual if noted is None else noted.inch for usual, noted in zip(SPLIT_FINGER_IN, own, strict=True)
        )
    else:
        first, _, second = text.partition(",")
        with stopping_at(notation.NotationError):
            low, high = (
                notation.read(part.strip(), notation.Quantity.TILLER) for part in (first, second or first)
            )
    if low > high:
        raise StopError(
            f"wanted the lower tiller first, got {low:g} to {high:g} in; write it such as 1/8,1/4"
        )
    return low, high


def whole_typed(text: str, what: str, least: int, most: int) -> int:
    """Return a whole number within bounds, such as arrows shot."""
    number = int(text) if re.fullmatch(r"[0-9]{1,9}", text.strip()) else None
    if number is None or not least <= number <= most:
        raise StopError(
            f"wanted {what}, a whole number from {least} to {most}, got {text!r}; write digits only"
        )
    return number


def given(**fields: str | None) -> dict[str, str]:
    """Return those of the fields that were typed."""
    return {name: value for name, value in fields.items() if value is not None}
