"""The start of the command line: nothing of another distribution's is imported by mistake."""

import json
import os
import subprocess
import sys
from importlib.metadata import version
from pathlib import Path

import pytest

from reports import __main__ as start

ROOT = Path(__file__).parents[2]


def test_alone_in_its_environment(monkeypatch: pytest.MonkeyPatch) -> None:
    """With only this tool's distribution, or none as in a plain checkout, there is no message."""
    for owners in ({"datasets": ["drawweight-predictor"]}, {}):
        monkeypatch.setattr(start, "packages_distributions", lambda owners=owners: owners)
        assert start.foreign_owner() is None


def test_a_foreign_package_is_named(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A distribution that owns one of our import names is named, and nothing is run."""
    owners = {"datasets": ["drawweight-predictor", "some-data-sets"]}
    monkeypatch.setattr(start, "packages_distributions", lambda: owners)
    with pytest.raises(SystemExit) as stopped:
        start.main()

    assert stopped.value.code == 3
    assert capsys.readouterr().err == (
        "drawweight: wanted the package datasets to be this tool's own, got one of some-data-sets in the "
        "same environment; install the tool into an environment of its own\n"
    )


def test_the_check_comes_before_any_import_of_ours() -> None:
    """Loading the start loads none of our packages but the one it is in."""
    code = (
        "import sys, reports.__main__; "
        "print([m for m in sys.modules if m.split('.')[0] in ('datasets', 'predictor', 'training')])"
    )
    run = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)

    assert run.stdout == "[]\n"


def test_the_process_ends_with_the_code_of_the_command(tmp_path: Path) -> None:
    """As a process of its own, in any folder, a command prints its answer and ends with its code."""

    def command(*words: str) -> subprocess.CompletedProcess[str]:
        line = [sys.executable, "-m", "reports", *words]
        environment = {"PYTHONPATH": str(ROOT), "PATH": ""}
        return subprocess.run(
            line, cwd=tmp_path, env=environment, capture_output=True, text=True, check=False
        )

    good, bad, told = command("schema", "build"), command("show"), command("--version")

    assert (good.returncode, good.stderr, json.loads(good.stdout)["title"]) == (0, "", "Build")
    assert (bad.returncode, bad.stdout) == (2, "")
    assert (told.returncode, told.stdout) == (0, f"drawweight {version('drawweight-predictor')}\n")
    assert bad.stderr == (
        "drawweight: wanted the shop's book at shop.book, got no book there; start one with drawweight add FILE, "
        "or name another with --book\n"
    )


@pytest.mark.parametrize("words", [["schema"], ["schema", "--page"], ["show"], ["show", "--json"]])
def test_a_reader_who_has_gone_away_is_no_failure(tmp_path: Path, words: list[str]) -> None:
    """Output into a pipe that nobody reads ends with 0 and without a word."""
    environment = {"PYTHONPATH": str(ROOT), "PATH": ""}
    add = [sys.executable, "-m", "reports", "add", "-"]
    scale = b'[[scale]]\nid = "hanging"\ndivision_lbf = 0.25\n'
    subprocess.run(add, input=scale, cwd=tmp_path, env=environment, capture_output=True, check=True)
    reader, writer = os.pipe()
    os.close(reader)
    try:
        done = subprocess.run(
            [sys.executable, "-m", "reports", *words],
            cwd=tmp_path, env=environment, stdout=writer, stderr=subprocess.PIPE, check=False,
        )  # fmt: skip
    finally:
        os.close(writer)

    assert (done.returncode, done.stderr) == (0, b"")
