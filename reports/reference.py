"""The reference of all records, made from the records themselves: JSON Schema and a page in Markdown."""

import json
from collections.abc import Mapping
from typing import Any

from datasets.schema import KINDS

Schema = Mapping[str, Any]


def schema_json(kind: str | None = None) -> str:
    """Return the JSON Schema of one kind of record, or of all by kind."""
    if kind is not None:
        return json.dumps(KINDS[kind].model_json_schema(), indent=2, ensure_ascii=False)
    every = {name: model.model_json_schema() for name, model in KINDS.items()}
    return json.dumps(every, indent=2, ensure_ascii=False)


def page() -> str:
    """Return the reference page of all records, in Markdown."""
    schemas = {kind: model.model_json_schema() for kind, model in KINDS.items()}
    parts = {name: part for schema in schemas.values() for name, part in schema.get("$defs", {}).items()}
    records = [_section(f"`[[{kind}]]`", schema, parts) for kind, schema in schemas.items()]
    tables = [
        _section(name, part, parts)
        for name, part in sorted(parts.items())
        if "properties" in part and name not in _VALUES
    ]
    return "\n".join([_OPENING, *records, "# Tables inside records\n", *tables])


_OPENING = """# Records

This page is made by `drawweight schema --page`.

A file holds records by kind: in TOML as `[[form]]`, `[[build]]` and so on, in JSON as an object of such
lists, in CSV one record a row. Lengths are typed as at the bench: `1 1/16`, `17/16`, `1.0625`, `27 mm`,
`.070`, `70 thou`; a bare number is inches. Draw lengths and brace heights may name their zero point: `28`,
`26 1/4 pivot`, `28 back`. Weights are pounds unless they say kg or N, loads of a strip may say oz or g too.
The book gives out ids where they are left out: `K-014` for a build, `K-014/3` for what happened to it, `STRIP-007` for
a strip test, `ORDER-007` for an order, `STOCK-007` for lams at hand.

What happened to a build is ordered by day and on one day by the running number, which is given out as the records stand
in the file, of whatever kinds they are, after those that have an id. In TOML tables under headers may alternate, as
`[[weigh_in]]`, `[[removal]]`, `[[weigh_in]]`; so may the rows of CSV, and in JSON the items of one list of objects that
name their kind in `record`. Lists by kind, as in a JSON object, cannot tell what came first on a day: give ids there.
"""

_VALUES = {
    "Dimension": "length",
    "DrawLength": "draw length",
    "BraceHeight": "brace height",
    "Force": "weight",
    "Load": "load",
}
_PLAIN = {"integer": "whole number", "number": "number", "boolean": "true or false", "string": "text"}
_NUMBERED = ("[[build]]", "[[weigh_in]]", "[[removal]]", "[[rigging]]", "[[strip]]", "[[order]]", "[[stock]]")
"""Records whose ids the book gives out."""


def _section(title: str, schema: Schema, parts: Mapping[str, Schema]) -> str:
    summary = " ".join(schema.get("description", "").split("\n\n")[0].split())
    needed = set(schema.get("required", ())) - ({"id"} if title.strip("`") in _NUMBERED else set())
    rows = [
        f"| `{name}` | {_typed_as(field, parts)} | {'yes' if name in needed else ''} | "
        f"{field.get('description', '')} |"
        for name, field in schema["properties"].items()
    ]
    head = ["| field | typed as | needed | meaning |", "|---|---|---|---|"]
    return "\n".join([f"## {title}", "", summary, "", *head, *rows, ""])


def _typed_as(field: Schema, parts: Mapping[str, Schema]) -> str:
    """Return in words how a field is typed."""
    match field:
        case {"$ref": ref}:
            name = ref.rsplit("/", 1)[-1]
            part = parts[name]
            return _VALUES.get(name) or (_typed_as(part, parts) if "enum" in part else f"table: {name}")
        case {"anyOf": choices}:
            words = [_typed_as(choice, parts) for choice in choices if choice.get("type") != "null"]
            # A value in bench notation may also be a number or text; its name says so already.
            values = [word for word in words if word in _VALUES.values() or word.startswith("`")]
            return " or ".join(dict.fromkeys(values or words))
        case {"enum": choices}:
            return ", ".join(f"`{choice}`" for choice in choices)
        case {"const": only}:
            return f"`{only}`"
        case {"type": "array", "items": items}:
            return f"list of {_typed_as(items, parts)}"
        case {"type": "string", "format": "date"}:
            return "date"
        case {"type": plain}:
            return _PLAIN[plain]
        case _:
            raise ValueError(f"wanted a field of a known type, got {dict(field)}; say how it is typed")
