"""A command line typed in an empty folder."""

import shlex
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

import pytest

from reports import cli


class Ended(NamedTuple):
    """How a command ended."""

    code: int
    out: str
    err: str


@pytest.fixture
def command(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Callable[[str], Ended]:
    """Return a way to type a command line in an empty folder."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("DRAWWEIGHT_BOOK", raising=False)

    def typed(line: str) -> Ended:
        code = cli.run(shlex.split(line))
        said = capsys.readouterr()
        return Ended(code, said.out, said.err)

    return typed
