"""Reports are one set of values, told as text, as JSON and as one valid page that asks nobody for anything."""

import io
import json
import re
from functools import cache
from pathlib import Path
from typing import Any

import html5lib
import pytest
from rich.console import Console

from datasets.record import Record
from reports import report_files
from reports.blocks import Graph, show_section
from reports.page import page
from reports.printing import Units
from reports.registry import REPORTS
from tests.reports.fitted import HASH, sources

SIZES = (0, 1, 3, 8, 24)
EVERY = [(name, builds) for name, report in REPORTS.items() if not report.wants for builds in SIZES]


@cache
def made(name: str, builds: int) -> Record:
    """Return a report's value."""
    value: Record = REPORTS[name].make(sources(builds), ())
    return value


def _text(name: str, builds: int) -> str:
    """Return a report as the terminal shows it."""
    report, out = REPORTS[name], Console(file=io.StringIO(), width=120)
    show_section(report.section(made(name, builds), Units("inch")), out)
    return out.file.getvalue()  # type: ignore[attr-defined]  # the file is the StringIO


@pytest.mark.parametrize(("name", "builds"), EVERY)
def test_says_what_it_was_made_from(name: str, builds: int) -> None:
    """Every report on every book, an empty one too, says the hash, the number of builds, the day and the version."""
    told = " ".join(_text(name, builds).split())

    assert HASH[:12] in told
    assert f"of {builds} build" in told
    assert "2026-11-25" in told
    assert "drawweight 0." in told


@pytest.mark.parametrize(("name", "builds"), EVERY)
def test_page_is_valid(name: str, builds: int) -> None:
    """The page of a report is valid HTML by the strict parser, with an alternative for each picture."""
    report = REPORTS[name]
    section = report.section(made(name, builds), Units("metric"))
    text = page(section.title, [section])
    document = html5lib.HTMLParser(strict=True, namespaceHTMLElements=False).parse(text)

    pictures = document.findall(".//img")
    assert len(pictures) == sum(isinstance(block, Graph) for block in section.blocks)
    assert all(len(picture.get("alt")) > 40 for picture in pictures)
    identities = [element.get("id") for element in document.iter() if element.get("id")]
    assert len(set(identities)) == len(identities)


@pytest.mark.parametrize("name", [name for name, report in REPORTS.items() if not report.wants])
def test_page_asks_nobody(name: str) -> None:
    """A page refers to nothing outside itself: no address but data in it, and no script."""
    report = REPORTS[name]
    section = report.section(made(name, 24), Units("inch"))
    text = page(section.title, [section])
    addresses = re.findall(r"""(?:src|href|url)\s*[=(]\s*["']?([^"')\s>]*)""", text)

    assert bool(addresses) == any(isinstance(block, Graph) for block in section.blocks)
    assert all(address.startswith(("data:image/svg+xml;base64,", "#")) for address in addresses)
    assert "<script" not in text
    assert "@import" not in text


@pytest.mark.parametrize(("name", "builds"), EVERY)
def test_values_are_json(name: str, builds: int) -> None:
    """A report's values are JSON that reads back as the same values."""
    value = made(name, builds)

    assert type(value).model_validate_json(value.model_dump_json()) == value


def test_same_book_gives_the_same_page() -> None:
    """A page made twice is the same to the last byte, pictures too."""
    report = REPORTS["calibration"]
    made = [page("Twice", [report.section(report.make(sources(24), ()), Units("inch"))]) for _ in range(2)]

    assert made[0] == made[1]


def test_all_into_a_folder(tmp_path: Path) -> None:
    """All reports go into one page and one file of values each."""
    written = report_files.write_all(
        tmp_path / "new", report_files.find("all", ()), sources(8), Units("inch")
    )
    everything = [name for name, report in REPORTS.items() if not report.wants]

    assert [path.name for path in written] == ["reports.html", *(f"{name}.json" for name in everything)]
    text = written[0].read_text(encoding="utf-8")
    assert all(f'id="{name}"' in text for name in everything)
    basis: dict[str, Any] = json.loads(written[1].read_text(encoding="utf-8"))["basis"]
    assert (basis["data_hash"], basis["builds"]) == (HASH, 8)


def test_what_is_no_report() -> None:
    """A name that is no report is refused with the nearest one; so are words that a report does not want."""
    with pytest.raises(report_files.ReportError, match=r"wanted a report, got calibraton.*calibration"):
        report_files.find("calibraton", ())
    with pytest.raises(report_files.ReportError, match="wanted no more words after calibration, got K-001"):
        report_files.find("calibration", ("K-001",))
