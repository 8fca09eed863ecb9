"""Training, reports and the demo at the command line."""

import json
import re
from pathlib import Path

import pytest

from tests.reports.conftest import Command


def test_training_tells_what_it_learned(trained: Command) -> None:
    """Train tells materials against the handbook, scatters, checks and where a level needs more builds."""
    told = trained("train").out
    kept = json.loads(trained("train --json").out)

    for said in ("2 readings of 1 build in", "hard maple", "this bow's own scatter", "needs 9 builds"):
        assert said in told
    assert kept["builds"] == 1
    assert Path("shop.book.model.json").exists()


def test_nothing_to_learn_from(bow: Command) -> None:
    """A book without a weighed build trains nothing, in one line, and leaves no model."""
    result = bow("train")

    assert result.code == 1
    assert "wanted a weighed build that may teach" in result.err
    assert not Path("shop.book.model.json").exists()


def test_reports_as_text_values_and_page(trained: Command) -> None:
    """A report comes as text, as JSON of the same values, and as a page; the book of one build says what it cannot."""
    told = trained("report calibration")
    values = json.loads(trained("report calibration --json").out)
    page = trained("report calibration --html calibration.html")

    assert (told.code, page.code, page.out) == (0, 0, "calibration.html\n")
    assert values["verdict"] in " ".join(told.out.split())
    assert values["verdict"] in Path("calibration.html").read_text(encoding="utf-8")
    assert "tells nothing yet" in values["verdict"]


def test_what_no_report_is_made_of(trained: Command) -> None:
    """All reports go into a folder and only they; a name that is none is told with the nearest; nothing is written."""
    assert trained("report all").code == trained("report errors --into here").code == 2
    assert "wanted --into DIR with the reports named all" in trained("report all").err
    assert "wanted a report, got eror; did you mean errors?" in trained("report eror").err
    assert not Path("here").exists()


def test_the_demo_ends_with_a_prediction(command: Command) -> None:
    """The demo lays out a book, says that it is invented, predicts the planned kit, and may be run again."""
    for _ in range(2):
        result = command("demo --into demo")
        assert result.code == 0
        assert "invented" in result.out
        assert "as planned: expected draw weight in lb" in result.out
    kit = command("--book demo/shop.book predict demo/planned-kit.toml --json")
    assert len(json.loads(kit.out)["draws"]) == 4
    assert len(json.loads(command("--book demo/shop.book show --json").out)["build"]) >= 40


@pytest.mark.parametrize(
    "line",
    ["train", "report calibration", "report errors", "report drift", "report settling", "report scales"],
)
def test_one_build_is_told_as_one(trained: Command, line: str) -> None:
    """Of a shop with one build nothing says `1 builds`, and what fell somewhere fell in its interval."""
    told = " ".join(trained(line).out.split())

    assert "1 build" in told
    assert not re.search(r"(?<![\d.])1 (builds|readings|weighings|bows|repeats)\b", told)
    assert "1 fell in their" not in told
