"""A command line typed in an empty folder, beside a book, and with a trained model."""

import io
import json
import shlex
import sys
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

import pytest

from reports import asking, cli
from tests import shop


class Ended(NamedTuple):
    """How a command ended."""

    code: int
    out: str
    err: str


Command = Callable[..., Ended]
"""A line typed, with what is piped into it and whether that is a terminal."""


class Input(io.StringIO):
    """Standard input with given content, as a pipe or as a terminal."""

    def __init__(self, content: bytes = b"", *, terminal: bool = False) -> None:
        super().__init__(content.decode("utf-8", "replace"))
        self.buffer = io.BytesIO(content)
        self._terminal = terminal

    def isatty(self) -> bool:
        """Whether this stands for a terminal."""
        return self._terminal


@pytest.fixture
def command(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Command:
    """Return a way to type a command line in an empty folder."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("DRAWWEIGHT_BOOK", raising=False)

    def typed(line: str, stdin: bytes = b"", *, terminal: bool = False) -> Ended:
        monkeypatch.setattr(sys, "stdin", Input(stdin, terminal=terminal))
        code = cli.run(shlex.split(line))
        said = capsys.readouterr()
        return Ended(code, said.out, said.err)

    return typed


@pytest.fixture
def bow(command: Command) -> Command:
    """Return the same with a book of one form and one bow, typed with fractions."""
    asking.save_draft(Path("form.toml"), *shop.form())
    asking.save_draft(Path("bow.toml"), *shop.build())
    for line in ("form --add form.toml", "add bow.toml"):
        assert command(line).code == 0
    return command


@pytest.fixture
def trained(bow: Command) -> Command:
    """Return the same with the bow weighed and the model trained on it."""
    expected = json.loads(bow("predict K-001 --draws 27,28 --json").out)["draws"]
    read = " ".join(f"{inch}={draw['weight_lbf']:.2f}" for inch, draw in zip((27, 28), expected, strict=True))
    assert bow(f"weigh K-001 {read} --stage first-draw --pulls 30 --on 2026-03-05").code == 0
    assert bow("train").code == 0
    return bow
