"""Text given to the tool as raw records in the order of the text, each value with the line it came from.

What is wrong with a text is returned as mistakes, beside all records that could be read. Layouts:

- TOML: lists of tables by kind (`[[build]]`, with `[[build.layers]]` inside), or one table (`[build]`).
- JSON: an object of such lists, or a list of objects that name their kind in the field `record`.
- CSV: one record a row; columns are fields, with dots and numbers from 1 inside (`layers.1.butt_in`); the
  kind is in the column `record` or given. An empty cell is a missing value.

Where the kind is given, a TOML or JSON text may also be the fields of one record.
"""

import csv
import io
import json
import re
import tomllib
from collections import defaultdict
from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import dataclass, field, replace
from enum import StrEnum
from itertools import pairwise
from pathlib import Path
from typing import Any

from datasets.mistakes import Mistake, RawRecord, dotted, nearest, short
from datasets.positions import KeyPath, json_lines, toml_lines

KIND_FIELD = "record"
"""The field or column that names the kind of a record where the layout does not."""


@dataclass
class Reading:
    """What a text holds: the records that could be read, as they stand in it, and the mistakes."""

    records: list[RawRecord] = field(default_factory=list)
    mistakes: list[Mistake] = field(default_factory=list)


class Format(StrEnum):
    """How a text is written."""

    TOML = "toml"
    JSON = "json"
    CSV = "csv"


def read_file(path: Path, kinds: Collection[str], kind: str | None = None) -> Reading:
    """Read a file; its ending says how it is written.

    Args:
        path: The file.
        kinds: The kinds of record that there are.
        kind: The kind of all its records, where the text need not say.
    """
    endings = [f".{known}" for known in Format]
    if path.suffix.lower() not in endings:
        came, do = (
            (f"the folder {path}", "name a file") if path.is_dir() else (path.name, "rename it or use -")
        )
        return _only(f"wanted a file that ends in {', '.join(endings)}, got {came}; {do}")
    try:
        content = path.read_bytes()
    except OSError as error:
        return _only(f"wanted to read {path}, got: {error.strerror}; check the path")
    return read_bytes(content, kinds, kind, Format(path.suffix.lower()[1:]))


def read_bytes(
    content: bytes, kinds: Collection[str], kind: str | None = None, written_as: Format | None = None
) -> Reading:
    """Read a text as it came from a file or from standard input.

    Args:
        content: The text in UTF-8, with or without a byte-order mark, with either usual line end.
        kinds: The kinds of record that there are.
        kind: The kind of all its records, where the text need not say.
        written_as: How it is written (default: seen from the text).
    """
    try:
        text = content.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        byte = content[error.start]
        message = (
            f"wanted text in UTF-8, got the byte {byte:#04x} ({chr(byte)!r} in Latin-1); save it as UTF-8"
        )
        return Reading(mistakes=[Mistake(line, "", message)])
    readers: dict[Format, Callable[[str, Collection[str], str | None], Reading]] = {
        Format.TOML: _read_toml,
        Format.JSON: _read_json,
        Format.CSV: _read_csv,
    }
    reading = readers[written_as or _guess(text)](text, kinds, kind) if text.strip() else Reading()
    if not reading.records and not reading.mistakes:
        return _only(f"wanted records, got none; write for instance one of {', '.join(kinds)}")
    return reading


def _guess(text: str) -> Format:
    start = text.lstrip()
    if re.match(r"\{|\[\s*[\]{]", start):
        return Format.JSON
    if re.match(r"\[|#|[^\n,;]*=", start):
        return Format.TOML
    return Format.CSV


def _read_toml(text: str, kinds: Collection[str], kind: str | None) -> Reading:
    whole = _parse_toml(text, 1, kinds, kind)
    if not isinstance(whole, Mistake):
        return whole
    # One slip must not hide the other records and their mistakes, so each is read on its own.
    reading = Reading()
    for first_line, part in _top_level_parts(text, kinds):
        alone = _parse_toml(part, first_line, kinds, kind)
        if isinstance(alone, Mistake):
            reading.mistakes.append(alone)
            # The slip may stand in a header of the record before, which then lacks what is below it.
            reading.records[-1:] = [replace(before, whole=False) for before in reading.records[-1:]]
        else:
            reading.records += alone.records
            reading.mistakes += alone.mistakes
    if not reading.mistakes:
        reading.mistakes.append(whole)
    return reading


def _parse_toml(text: str, first_line: int, kinds: Collection[str], kind: str | None) -> Reading | Mistake:
    """Records of a TOML text that starts on a given line of the whole, or why it is none."""
    try:
        data = tomllib.loads(text)
        lines = {path: line + first_line - 1 for path, line in toml_lines(text).items()}
    except (ValueError, RecursionError) as error:
        return _syntax_mistake(error, "TOML", text, first_line)
    reading = _by_kind(data, lines, kinds, kind)
    # Tables under headers stand as their order wants them; a list of inline tables cannot be between two others.
    typed = text.split("\n")
    reading.records = [
        replace(record, apart=record.apart and not typed[record.line - first_line].lstrip().startswith("["))
        for record in reading.records
    ]
    return reading


def _top_level_parts(text: str, kinds: Collection[str]) -> Iterator[tuple[int, str]]:
    """The text cut before each header of a kind, with the line on which each part starts."""
    header = re.compile(rf"\s*\[\[?\s*({'|'.join(map(re.escape, kinds))})\s*\]")
    lines = text.split("\n")
    starts = [number for number, line in enumerate(lines) if header.match(line)]
    cuts = [0, *starts, len(lines)]
    for start, end in pairwise(cuts):
        part = "\n".join(lines[start:end])
        if part.strip():
            yield start + 1, part


def _read_json(text: str, kinds: Collection[str], kind: str | None) -> Reading:
    try:
        data = json.loads(text)
        lines, repeated = json_lines(text)
    except (ValueError, RecursionError) as error:
        return Reading(mistakes=[_syntax_mistake(error, "JSON", text, 1)])
    if isinstance(data, dict):
        reading = _by_kind(data, lines, kinds, kind)
    elif isinstance(data, list):
        reading, inside = Reading(), _by_start(lines)
        for number, item in enumerate(data):
            _take(reading, item, inside[number,], lines[number,], kinds, kind)
    else:
        return _only(
            'wanted JSON records, got a single value; write an object of lists, such as {"build": [...]}'
        )
    twice = "wanted each key once, got it twice in one object; leave one out"
    reading.mistakes += [Mistake(lines[path], dotted(path), twice) for path in repeated]
    return reading


def _read_csv(text: str, kinds: Collection[str], kind: str | None) -> Reading:
    reading = Reading()
    first_line = text.split("\n", 1)[0]
    rows = csv.reader(io.StringIO(text), delimiter=max(",;\t", key=first_line.count), strict=True)
    try:
        columns = [column.strip() for column in next(rows, [])]
        mistake = _wrong_columns(columns)
        if mistake:
            return _only(mistake, line=1)
        line = rows.line_num + 1
        for cells in rows:
            if any(cell.strip() for cell in cells):
                _take_row(reading, columns, cells, line, kinds, kind)
            line = rows.line_num + 1
    except csv.Error as error:
        reading.mistakes.append(Mistake(rows.line_num, "", f"wanted CSV, got: {error}; check the quotes"))
    return reading


def _wrong_columns(columns: list[str]) -> str | None:
    if not any(columns):
        return "wanted column names, got an empty first line; write the names of the fields there"
    for column in columns:
        if re.search(r"^$|^\.|\.$|\.\.|\.0", column):
            return f"wanted a field name for each column, got {column!r}; write it such as layers.1.butt_in"
        if columns.count(column) > 1:
            return f"wanted each column once, got {column!r} twice; leave one out"
        if any(other.startswith(column + ".") for other in columns):
            return f"wanted a value or parts of it, got {column!r} beside its parts; leave one out"
    return None


def _take_row(
    reading: Reading,
    columns: list[str],
    cells: list[str],
    line: int,
    kinds: Collection[str],
    kind: str | None,
) -> None:
    if len(cells) != len(columns):
        message = (
            f"wanted {len(columns)} cells as in the first line, got {len(cells)}; check commas and quotes"
        )
        reading.mistakes.append(Mistake(line, "", message))
        return
    tree: dict[str, Any] = {}
    for column, cell in zip(columns, cells, strict=True):
        if cell.strip():
            *parents, name = column.split(".")
            inner = tree
            for parent in parents:
                inner = inner.setdefault(parent, {})
            inner[name] = cell.strip()
    gap = _gap(tree)
    if gap:
        message = (
            f"wanted numbers from 1 without a gap, got a value in {gap!r} and none before it; close the gap"
        )
        reading.mistakes.append(Mistake(line, "", message))
        return
    _take(reading, _with_lists(tree), {}, line, kinds, kind)


def _is_numbered(tree: Mapping[str, Any]) -> bool:
    return all(re.fullmatch("[1-9][0-9]{0,3}", key) for key in tree)


def _gap(tree: Mapping[str, Any]) -> str | None:
    """The first numbered column whose predecessor is empty in this row."""
    for key, value in tree.items():
        if _is_numbered(tree) and key != "1" and str(int(key) - 1) not in tree:
            return key
        inner = _gap(value) if isinstance(value, dict) else None
        if inner:
            return f"{key}.{inner}"
    return None


def _with_lists(tree: Any) -> Any:
    """The row's tree with numbered parts as lists."""
    if not isinstance(tree, dict):
        return tree
    if tree and _is_numbered(tree):
        return [_with_lists(tree[key]) for key in sorted(tree, key=int)]
    return {key: _with_lists(value) for key, value in tree.items()}


def _by_kind(
    data: Mapping[str, Any], lines: Mapping[KeyPath, int], kinds: Collection[str], kind: str | None
) -> Reading:
    """The records of a text whose top level is one object or table, in the order of the text."""
    reading = Reading()
    # A record's own field may be called like a kind, as the form of a build, but holds no table.
    has_kinds = any(key in kinds and isinstance(value, dict | list) for key, value in data.items())
    if KIND_FIELD in data or (kind and not has_kinds):
        _take(reading, data, lines, min(lines.values(), default=1), kinds, kind)
        return reading
    inside = _by_start(lines)
    for name, value in data.items():
        line = lines[(name,)]
        if not isinstance(value, dict | list):
            came = f"the value {dotted((name,))} outside of one"
            message = f"wanted records, got {came}; put it below a line such as [build]"
            reading.mistakes.append(Mistake(line, "", message))
        elif isinstance(value, dict):
            _take(reading, value, inside[name,], line, kinds, name)
        else:
            for number, item in enumerate(value):
                path = (name, number)
                _take(reading, item, inside[path], lines[path], kinds, name, apart=True)
    reading.records.sort(key=lambda record: record.line)
    return reading


def _take(
    reading: Reading,
    data: Any,
    lines: Mapping[KeyPath, int],
    line: int,
    kinds: Collection[str],
    kind: str | None,
    *,
    apart: bool = False,
) -> None:
    """Add one record to a reading, or the mistake why it is none."""
    if not isinstance(data, dict):
        message = f"wanted a record, got {short(data)}; write its fields with their names"
        reading.mistakes.append(Mistake(line, dotted((kind,)) if kind else "", message))
        return
    fields = {key: value for key, value in data.items() if key != KIND_FIELD}
    named = data.get(KIND_FIELD, kind)
    if isinstance(named, str) and named in kinds:
        reading.records.append(RawRecord(named, fields, line, lines, apart=apart))
    elif named is None:
        message = (
            f"wanted the kind of the record, got none; add the field {KIND_FIELD}, one of {', '.join(kinds)}"
        )
        reading.mistakes.append(Mistake(line, "", message))
    else:
        do = nearest(str(named), kinds)
        reading.mistakes.append(Mistake(line, "", f"wanted a kind of record, got {short(named)}; {do}"))


def _by_start(lines: Mapping[KeyPath, int]) -> Mapping[KeyPath, dict[KeyPath, int]]:
    """Lines inside each of the first two levels, by the path of that level."""
    inside: defaultdict[KeyPath, dict[KeyPath, int]] = defaultdict(dict)
    for path, line in lines.items():
        for depth in range(1, min(len(path), 3)):
            inside[path[:depth]][path[depth:]] = line
    return inside


def _syntax_mistake(error: Exception, language: str, text: str, first_line: int) -> Mistake:
    """What the standard parser says about a text that starts on a given line of the whole."""
    if isinstance(error, RecursionError):
        return Mistake(first_line, "", f"wanted {language}, got lists nested too deeply; write them flat")
    place = re.search(r"line (\d+)", str(error))
    line = int(place[1]) if place else 1 + text.rstrip().count("\n")
    said = re.sub(r"\s*\(at [^)]*\)$|: line \d+ column \d+ \(char \d+\)$", "", str(error))
    message = f"wanted {language}, got: {said}; check this line and the one before"
    return Mistake(first_line - 1 + line, "", message)


def _only(message: str, line: int | None = None) -> Reading:
    return Reading(mistakes=[Mistake(line, "", message)])
