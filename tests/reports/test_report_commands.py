"""Reports at the command line: several hands at the bench, and what two words have to name."""

import json
from pathlib import Path

import pytest

from reports import asking, cli
from tests import shop


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Start a book of one form and two bows in an empty folder."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("DRAWWEIGHT_BOOK", raising=False)
    asking.save_draft(Path("form.toml"), *shop.form())
    asking.save_draft(Path("bow.toml"), *shop.build())
    for line in ("form --add form.toml", "add bow.toml", "add bow.toml"):
        assert cli.run(line.split()) == 0


@pytest.mark.usefixtures("bench")
def test_hands_are_told_apart(capsys: pytest.CaptureFixture[str]) -> None:
    """Two bows, each weighed twice by two hands with `--by`, make a study in the report on scales."""
    for build in ("K-001", "K-002"):
        for hand, lbf in (("Ann", 45.0), ("Ann", 45.25), ("Ben", 45.5), ("Ben", 45.75)):
            line = f"weigh {build} 28={lbf} --stage tillered --by {hand} --on 2026-03-05 --yes"
            assert cli.run(line.split()) == 0
    capsys.readouterr()

    assert cli.run(["report", "scales", "--json"]) == 0
    study = json.loads(capsys.readouterr().out)["study"]
    assert study["bows"] == ["K-001", "K-002"]
    assert [mean["mean_lbf"] for mean in study["means"]] == [45.125, 45.625]
    assert study["means"][0]["appraiser"].startswith("Ann on ")


@pytest.mark.usefixtures("bench")
@pytest.mark.parametrize(
    ("words", "message"),
    [
        ("K-001 K-009", "wanted a build of the book, got K-009"),
        ("K-001 K-001", "wanted two builds, got K-001 twice"),
        ("K-001", "wanted BUILD BUILD after differences, got K-001"),
    ],
)
def test_two_builds_that_are_none(words: str, message: str, capsys: pytest.CaptureFixture[str]) -> None:
    """What names no two builds is one line on the channel of errors, and bad input."""
    capsys.readouterr()

    assert cli.run(["report", "differences", *words.split()]) == cli.BAD_INPUT
    assert message in capsys.readouterr().err


@pytest.mark.usefixtures("bench")
def test_two_bows_that_were_never_weighed(capsys: pytest.CaptureFixture[str]) -> None:
    """Two like bows without a weighing are expected to weigh the same, and nothing is measured."""
    capsys.readouterr()

    assert cli.run(["report", "differences", "K-001", "K-002", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["measured_lbf"] is None
    assert told["expected_lbf"] == pytest.approx(0, abs=1e-9)
    assert told["expected_high_lbf"] == pytest.approx(-told["expected_low_lbf"])
