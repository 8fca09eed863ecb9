"""The line on which each key of a TOML or JSON text stands.

The parsers of the standard library give values without their places. These two scanners go over a text
that such a parser has accepted, so they need not find mistakes, and map every key path to its line. A
path has text for keys and numbers (from 0) for list items, as `("build", 2, "layers", 0, "butt_in")`.
"""

import json
import re
import tomllib
from typing import NamedTuple

KeyPath = tuple[str | int, ...]
Lines = dict[KeyPath, int]


class _Token(NamedTuple):
    text: str
    line: int


_TOML_TOKEN = re.compile(
    r'''"""(?:\\[\s\S]|[^\\])*?"{3,5}   # up to two quotes may stand before the closing three
      |\'\'\'[\s\S]*?\'{3,5}
      |"(?:\\.|[^"\\])*"
      |'[^']*'
      |\#[^\n]*
      |\n
      |[\[\]{},=.]
      |[^\s\[\]{},=.\#"']+''',
    re.VERBOSE,
)
_JSON_TOKEN = re.compile(r'"(?:\\.|[^"\\])*"|[\[\]{},:]|[^\s\[\]{},:"]+')


def toml_lines(text: str) -> Lines:
    """Lines, from 1, of all tables, keys and list items of a valid TOML text with plain line feeds."""
    return _TomlScanner(text).document()


def json_lines(text: str) -> tuple[Lines, list[KeyPath]]:
    """Lines, from 1, of all keys and list items of a valid JSON text, and paths of keys given twice."""
    scanner = _JsonScanner(text)
    scanner.value(())
    return scanner.lines, scanner.repeated


def _tokens(pattern: re.Pattern[str], text: str) -> list[_Token]:
    tokens, line, counted = [], 1, 0
    for match in pattern.finditer(text):
        line += text.count("\n", counted, match.start())
        counted = match.start()
        tokens.append(_Token(match[0], line))
    return tokens


class _TomlScanner:
    """One pass over the tokens of a TOML text (the grammar of TOML 1.0)."""

    def __init__(self, text: str) -> None:
        tokens = [token for token in _tokens(_TOML_TOKEN, text) if not token.text.startswith("#")]
        self._tokens = [*tokens, _Token("\n", text.count("\n") + 1)]
        self._next = 0
        self._table: KeyPath = ()
        self._items: dict[KeyPath, int] = {}
        self.lines: Lines = {}

    def document(self) -> Lines:
        """Go over the whole text."""
        while self._skip_line_ends():
            if self._peek() == "[":
                self._header()
            else:
                self._pair(self._table)
        return self.lines

    def _peek(self) -> str:
        return self._tokens[self._next].text

    def _take(self) -> _Token:
        self._next += 1
        return self._tokens[self._next - 1]

    def _skip_line_ends(self) -> bool:
        """Whether anything is left after them."""
        while self._next < len(self._tokens) and self._peek() == "\n":
            self._next += 1
        return self._next < len(self._tokens)

    def _header(self) -> None:
        line = self._take().line
        is_array = self._peek() == "["
        if is_array:
            self._take()
        *parents, name = self._dotted_key()
        path: KeyPath = ()
        for parent in parents:
            path = self._latest_item((*path, parent))
            self.lines.setdefault(path, line)
        path = (*path, name)
        if is_array:
            self.lines.setdefault(path, line)
            self._items[path] = self._items.get(path, 0) + 1
            path = self._latest_item(path)
        self.lines.setdefault(path, line)
        self._table = path
        for _ in range(2 if is_array else 1):
            self._take()

    def _latest_item(self, path: KeyPath) -> KeyPath:
        """The path itself, or that of its last table where it is an array of tables."""
        return (*path, self._items[path] - 1) if path in self._items else path

    def _dotted_key(self) -> list[str]:
        keys = [_toml_key(self._take().text)]
        while self._peek() == ".":
            self._take()
            keys.append(_toml_key(self._take().text))
        return keys

    def _pair(self, table: KeyPath) -> None:
        line = self._tokens[self._next].line
        path = table
        for key in self._dotted_key():
            path = (*path, key)
            self.lines.setdefault(path, line)
        self._take()
        self._value(path)

    def _value(self, path: KeyPath) -> None:
        if self._peek() == "[":
            self._list(path)
        elif self._peek() == "{":
            self._inline_table(path)
        else:
            while self._peek() not in {"\n", ",", "]", "}"}:
                self._take()

    def _list(self, path: KeyPath) -> None:
        self._take()
        item = 0
        while self._skip_line_ends() and self._peek() != "]":
            self.lines[*path, item] = self._tokens[self._next].line
            self._value((*path, item))
            item += 1
            self._skip_line_ends()
            if self._peek() == ",":
                self._take()
        self._take()

    def _inline_table(self, path: KeyPath) -> None:
        self._take()
        while self._peek() != "}":
            if self._peek() == ",":
                self._take()
            else:
                self._pair(path)
        self._take()


class _JsonScanner:
    """One pass over the tokens of a JSON text (RFC 8259)."""

    def __init__(self, text: str) -> None:
        self._tokens = _tokens(_JSON_TOKEN, text)
        self._next = 0
        self.lines: Lines = {}
        self.repeated: list[KeyPath] = []

    def value(self, path: KeyPath) -> None:
        """Go over one value and what is inside it."""
        opening = self._take().text
        if opening == "{":
            self._object(path)
        elif opening == "[":
            self._array(path)

    def _take(self) -> _Token:
        self._next += 1
        return self._tokens[self._next - 1]

    def _object(self, path: KeyPath) -> None:
        while (token := self._take()).text != "}":
            if token.text == ",":
                continue
            key = (*path, json.loads(token.text))
            if key in self.lines:
                self.repeated.append(key)
            self.lines[key] = token.line
            self._take()  # the colon
            self.value(key)

    def _array(self, path: KeyPath) -> None:
        item = 0
        while self._tokens[self._next].text != "]":
            if self._tokens[self._next].text == ",":
                self._take()
            self.lines[*path, item] = self._tokens[self._next].line
            self.value((*path, item))
            item += 1
        self._take()


def _toml_key(token: str) -> str:
    """The key that a token stands for, its quotes and escapes resolved."""
    if token[0] not in "\"'":
        return token
    return str(tomllib.loads(f"key = {token}")["key"])
