"""Lines of keys: on written-out examples, and against the standard parsers on generated documents."""

import json
import tomllib
from itertools import count
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from datasets.positions import KeyPath, json_lines, toml_lines

TOML = '''\
# [[form]] in a comment
[[form]]
id = "ridge-66"   # = [
"odd key".'x.y' = 1

[[build]]
id = "K-001"
note = """
[[build]]
id = "not here"
"""
widths = [
    { at = "fade", belly_in = "1 1/2" },  # ]
    { at = 12, belly_in = [
        1.5,
    ] },
]
[[build.layers]]
lot = 'a"b'
[[build.layers]]
made.on = 2024-05-01 07:32:00
[build.string]
strands = 14
[[build]]
[build.string]
strands = 12
'''


def test_finds_every_way_of_writing_a_key_in_toml() -> None:
    """Tables, arrays of tables, dotted and quoted keys, lists and inline tables are found on their lines."""
    lines = toml_lines(TOML)

    assert lines["form", 0] == 2
    assert lines["form", 0, "odd key", "x.y"] == 4
    assert lines["build", 0] == 6
    assert lines["build", 0, "note"] == 8
    assert lines["build", 0, "widths", 0, "belly_in"] == 13
    assert lines["build", 0, "widths", 1, "belly_in", 0] == 15
    assert lines["build", 0, "layers", 0] == 18
    assert lines["build", 0, "layers", 1, "made", "on"] == 21
    assert lines["build", 0, "string", "strands"] == 23
    assert lines["build", 1] == 24
    assert lines["build", 1, "string", "strands"] == 26
    assert set(lines) == _paths(tomllib.loads(TOML))


def test_finds_keys_and_repeated_keys_in_json() -> None:
    """Keys and list items are found on their lines, and a key given twice is named."""
    text = '{"build": [\n  {"id": "K-001",\n   "layers": [ {"lot": "a\\"}"},\n {}],\n "id": "K-002"}\n]}'

    lines, repeated = json_lines(text)

    assert lines["build", 0] == 2
    assert lines["build", 0, "layers"] == 3
    assert lines["build", 0, "layers", 0, "lot"] == 3
    assert lines["build", 0, "layers", 1] == 4
    assert lines["build", 0, "id"] == 5
    assert repeated == [("build", 0, "id")]


@pytest.mark.parametrize("text", ['""""a" """', '"""a"""""', '""""""', "''''a'''", "'''a'''''", '"""\\""""'])
def test_quotes_at_the_ends_of_long_strings_are_theirs(text: str) -> None:
    """Up to two quotes may touch the three that open or close a long string (TOML 1.0, section String)."""
    document = f"a = {text}\nb = 1\n"

    assert set(tomllib.loads(document)) == {"a", "b"}
    assert toml_lines(document) == {("a",): 1, ("b",): 2}


def _inside(value: Any) -> list[tuple[str | int, Any]]:
    """What a table or list holds, by key or number."""
    if isinstance(value, dict):
        return list(value.items())
    return list(enumerate(value)) if isinstance(value, list) else []


def _paths(value: Any, path: KeyPath = ()) -> set[KeyPath]:
    """Every key path of parsed data."""
    here = {(*path, key) for key, _ in _inside(value)}
    return here.union(*(_paths(item, (*path, key)) for key, item in _inside(value)))


def _numbers(value: Any, path: KeyPath = ()) -> dict[KeyPath, int]:
    """Path of every whole number of parsed data."""
    if isinstance(value, int):
        return {path: value}
    return {
        deeper: number
        for key, item in _inside(value)
        for deeper, number in _numbers(item, (*path, key)).items()
    }


KEYS = st.sampled_from(["id", "lot", "a.b", "x y", "build", "[[form]]", 'q"', "1", "ä", "#", "="])
TREES = st.recursive(
    st.sampled_from(["number", "text"]),
    lambda inside: st.dictionaries(KEYS, inside, max_size=4) | st.lists(inside, max_size=4),
    max_leaves=25,
)
LONG_TEXT = '"""\n[[build]]\nid = 1 # no\n, ] } \' \\""" """'


class _Writer:
    """Writes a tree as TOML, choosing among its ways by chance; every number is used once."""

    def __init__(self, data: st.DataObject) -> None:
        self._data = data
        self._number = count(7000)

    def _one_of(self, *choices: str) -> str:
        return self._data.draw(st.sampled_from(choices))

    def key(self, key: str) -> str:
        if key in {"id", "lot", "build", "1"}:
            return self._one_of(key, f'"{key}"', f"'{key}'")
        return json.dumps(key, ensure_ascii=False)

    def inline(self, tree: Any, *, many_lines: bool) -> str:
        if isinstance(tree, dict):
            pairs = [f"{self.key(k)} = {self.inline(v, many_lines=False)}" for k, v in tree.items()]
            return "{" + ", ".join(pairs) + "}"
        if isinstance(tree, list):
            end = self._one_of(", ", ",\n", " # ] ,\n ,") if many_lines else ", "
            items = [self.inline(item, many_lines=many_lines) for item in tree]
            return "[" + self._one_of("", "\n\n" if many_lines else " ") + end.join(items) + "]"
        if tree == "number":
            return str(next(self._number))
        texts = ['"] } # \\" ="', "'[[a]] \\'", '""', "1979-05-27 07:32:00", "0.5"]
        return self._one_of(*texts, *([LONG_TEXT] if many_lines else []))

    def table(self, tree: dict[str, Any], header: str) -> str:
        text, tables = "", ""
        for key, value in tree.items():
            path = f"{header}.{self.key(key)}" if header else self.key(key)
            if isinstance(value, dict) and self._one_of("inline", "table") == "table":
                tables += f"[{path}]{self._one_of('', ' # [x]')}\n" + self.table(value, path)
            elif isinstance(value, list) and value and all(isinstance(item, dict) for item in value):
                tables += "".join(f"\n [[ {path} ]]\n" + self.table(item, path) for item in value)
            else:
                text += f"{self._one_of('', '  ', '# id = 1' + chr(10))}{self.key(key)}"
                text += f" = {self.inline(value, many_lines=True)}\n"
        return text + tables


@given(st.dictionaries(KEYS, TREES, max_size=4), st.data())
def test_agrees_with_the_standard_toml_parser(tree: dict[str, Any], data: st.DataObject) -> None:
    """On any document the scanner finds just the paths of tomllib, each number on the line that shows it."""
    text = _Writer(data).table(tree, "")

    parsed, lines = tomllib.loads(text), toml_lines(text)

    assert set(lines) == _paths(parsed)
    shown = text.split("\n")
    for path, number in _numbers(parsed).items():
        if number >= 7000:
            assert str(number) in shown[lines[path] - 1]


@given(st.dictionaries(KEYS, TREES, max_size=4), st.sampled_from([None, 0, 2]), st.booleans())
def test_agrees_with_the_standard_json_parser(tree: dict[str, Any], indent: int | None, plain: bool) -> None:
    """On any document the scanner finds just the paths of json, each number on the line that shows it."""
    number = count(7000)

    def numbered(value: Any) -> Any:
        if isinstance(value, dict):
            return {key: numbered(item) for key, item in value.items()}
        if isinstance(value, list):
            return [numbered(item) for item in value]
        return next(number) if value == "number" else '\\ "} ] , :'

    text = json.dumps(numbered(tree), indent=indent, ensure_ascii=plain)
    parsed, (lines, repeated) = json.loads(text), json_lines(text)

    assert set(lines) == _paths(parsed)
    assert repeated == []
    shown = text.split("\n")
    for path, value in _numbers(parsed).items():
        assert str(value) in shown[lines[path] - 1]
