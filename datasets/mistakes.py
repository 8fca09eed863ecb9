"""What is wrong with a typed record, in words and with the line it stands on."""

from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date, time
from difflib import get_close_matches
from typing import Any, get_args

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from datasets.positions import KeyPath


@dataclass(frozen=True)
class RawRecord:
    """A record as it was typed.

    Attributes:
        kind: Kind of the record.
        data: What was typed, by field.
        line: Line on which the record starts, from 1.
        lines: Line of each key and list item inside it.
        whole: Whether all of it could be read; a slip in the text right after it may have taken some away.
        apart: Whether it stands in a list of its kind alone, which cannot tell its place among other kinds.
    """

    kind: str
    data: Mapping[str, Any]
    line: int
    lines: Mapping[KeyPath, int] = field(default_factory=dict)
    whole: bool = True
    apart: bool = False


@dataclass(frozen=True)
class Mistake:
    """Something in a text that cannot be taken, in one line.

    Attributes:
        line: Line of the text, from 1; None where it is about the text as a whole.
        where: What it is about, such as `build K-014, layers.2.butt_in`; empty for the text itself.
        message: What was wanted, what came, what to do.
    """

    line: int | None
    where: str
    message: str

    def __str__(self) -> str:
        parts = [f"line {self.line}" if self.line else "", self.where, self.message]
        return ": ".join(part for part in parts if part)


def mistakes_of(error: ValidationError, raw: RawRecord, model: type[BaseModel]) -> list[Mistake]:
    """Everything that stopped a typed record from being read, one mistake a place.

    Args:
        error: What validation said of the record's data.
        raw: The record as it was typed.
        model: What it was read as.
    """
    found: dict[KeyPath, Mistake] = {}
    for detail in error.errors():
        if _follows_from_its_items(detail) or (not raw.whole and detail["type"] in _LACKING):
            continue
        path = _typed_path(detail, raw.data)
        # The branches of a choice complain one by one about the same place; the first says enough.
        if path not in found:
            found[path] = Mistake(line_of(path, raw), _where(path, raw), _message(detail, path, model))
    return list(found.values())


def line_of(path: KeyPath, raw: RawRecord) -> int:
    """Line of a value in a typed record, or of the nearest table or list that holds its place."""
    for length in range(len(path), 0, -1):
        if path[:length] in raw.lines:
            return raw.lines[path[:length]]
    return raw.line


def nearest(name: str, known: Collection[str]) -> str:
    """What to do about a name that is not among the known ones: take the most alike of them, or any."""
    close = get_close_matches(name, known, n=1)
    return f"did you mean {close[0]}?" if close else f"use one of {', '.join(known)}"


def dotted(path: Iterable[str | int]) -> str:
    """A key path as it is written in a column name: `layers.1.butt_in`, numbers from 1."""
    parts = (str(part + 1) if isinstance(part, int) else part for part in path)
    return ".".join(part if part.isprintable() else repr(part) for part in parts)


def short(value: object) -> str:
    """A value as it was typed, in quotes if it is text, cut to a line."""
    text = value.isoformat() if isinstance(value, date | time) else repr(value)
    return text if len(text) <= 60 else text[:57] + "..."


_LACKING = ("missing", "too_short")
"""Complaints about what is not there, which mean nothing where only part of the record was read."""


def _follows_from_its_items(detail: ErrorDetails) -> bool:
    """Whether a list is called too short only since items of it, complained of on their own, do not count."""
    return detail["type"] == "too_short" and len(detail["input"]) >= detail["ctx"]["min_length"]


def _where(path: KeyPath, raw: RawRecord) -> str:
    record_id = raw.data.get("id")
    name = f"{raw.kind} {record_id}" if isinstance(record_id, str) and record_id.isprintable() else raw.kind
    return ", ".join(part for part in (name, dotted(path)) if part)


def _typed_path(detail: ErrorDetails, data: object) -> KeyPath:
    """The part of an error's place that was typed, without the names of choices; a missing field ends it."""
    path: list[str | int] = []
    for part in detail["loc"]:
        inside = dict(enumerate(data)) if isinstance(data, list | tuple) else data
        if isinstance(inside, dict) and part in inside:
            data = inside[part]
        elif detail["type"] != "missing" or part != detail["loc"][-1]:
            continue
        path.append(part)
    return tuple(path)


def _holders(path: KeyPath, model: type[BaseModel]) -> set[type[BaseModel]]:
    """The record types that the last key of a path may belong to."""
    holders = {model}
    for part in path[:-1]:
        if isinstance(part, str):
            fields = [holder.model_fields[part] for holder in holders if part in holder.model_fields]
            holders = {inner for info in fields for inner in _models(info.annotation)}
    return holders


def _models(annotation: Any) -> Iterator[type[BaseModel]]:
    """The record types inside a field's type, such as Layer in a tuple of layers."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    for argument in get_args(annotation):
        yield from _models(argument)


_WANTED: Mapping[str, tuple[str, str]] = {
    "missing": ("this field", "add it"),
    "greater_than": ("more than {gt}", "check the number and its unit"),
    "greater_than_equal": ("{ge} or more", "check the number and its unit"),
    "less_than": ("less than {lt}", "check the number and its unit"),
    "less_than_equal": ("{le} or less", "check the number and its unit"),
    "finite_number": ("a finite number", "write a number or leave the field out"),
    "float_type": ("a number", "write a number or leave the field out"),
    "float_parsing": ("a number", "write it with digits, such as 0.5"),
    "int_type": ("a whole number", "write digits only, such as 30"),
    "int_parsing": ("a whole number", "write digits only, such as 30"),
    "int_from_float": ("a whole number", "write digits only, such as 30"),
    "bool_type": ("true or false", "write one of them"),
    "bool_parsing": ("true or false", "write one of them"),
    "string_type": ("text", "put it in quotes"),
    "string_too_short": ("at least {min_length} characters", "write it out"),
    "string_too_long": ("at most {max_length} characters", "shorten it"),
    "date_type": ("a date", "write it such as 2024-05-31"),
    "date_parsing": ("a date", "write it such as 2024-05-31"),
    "date_from_datetime_parsing": ("a date", "write it such as 2024-05-31"),
    "date_from_datetime_inexact": ("a date", "leave the time of day out"),
    "enum": ("{expected}", "write one of them"),
    "literal_error": ("{expected}", "write one of them"),
    "too_short": ("at least {min_length} of them", "add what is missing"),
    "too_long": ("at most {max_length} of them", "leave some out"),
    "model_type": ("a value in bench notation or a table of fields", "write it so"),
    "tuple_type": ("a list", "put the items in square brackets"),
}
"""What each kind of complaint of pydantic means at the bench: what was wanted, and what to do."""


def _message(detail: ErrorDetails, path: KeyPath, model: type[BaseModel]) -> str:
    """What was wanted, what came, what to do; the record's own checks say it themselves."""
    context, name = detail.get("ctx", {}), path[-1] if path else ""
    came = "nothing" if detail["type"] == "missing" else short(detail["input"])
    holders = _holders(path, model)
    match detail["type"]:
        case "value_error":
            return str(context["error"])
        case "extra_forbidden":
            known = sorted({field_name for holder in holders for field_name in holder.model_fields})
            return f"wanted a field that there is, got {short(name)}; {nearest(str(name), known)}"
        case "string_pattern_mismatch":
            fields = [holder.model_fields[name] for holder in holders if name in holder.model_fields]
            described = next(
                (info.description for info in fields if info.description), "another form of text"
            )
            return f"wanted {described}, got {came}; write it so"
        case known_type if known_type in _WANTED:
            wanted, do = _WANTED[known_type]
            return f"wanted {wanted.format(**context)}, got {came}; {do}"
        case _:
            return f"wanted another value, got {came}; {detail['msg']}"
