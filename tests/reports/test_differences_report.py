"""The report on two builds: its lines add up to the measured difference, and it says no more than it knows."""

import io
from dataclasses import replace

import pytest
from rich.console import Console

from reports import report_files
from reports.blocks import show_section
from reports.differences_report import DifferencesReport, make
from reports.printing import Units
from reports.registry import REPORTS
from reports.sources import ReportError
from tests.reports.fitted import sources


def text(report: DifferencesReport) -> str:
    """Return a report as the terminal shows it."""
    out = Console(file=io.StringIO(), width=120)
    show_section(REPORTS["differences"].section(report, Units("inch")), out)
    return " ".join(out.file.getvalue().split())  # type: ignore[attr-defined]  # what it was made with


def test_lines_add_up_to_the_measured_difference() -> None:
    """Pounds of the recorded, learned and left parts are the difference of what the scale read."""
    report = make(sources(3), ("K-001", "K-003"))
    first, second = (bow.read_lbf for bow in report.bows)

    assert first is not None
    assert second is not None
    assert report.measured_lbf == pytest.approx(first - second)
    parts = [row.lbf for row in report.recorded] + [row.lbf for row in report.learned]
    assert report.left_lbf is not None
    assert sum(parts) + report.left_lbf == pytest.approx(first - second)
    assert report.as_far is not None
    assert 0 <= report.as_far <= 1


def test_unweighed_bow_has_an_expected_difference_only() -> None:
    """Against a bow that was never weighed nothing is measured and nothing left, and the verdict says so."""
    known = sources(3)
    contents = known.contents
    planned = contents.builds["K-001"].model_copy(update={"id": "K-900", "planned": True})
    report = make(replace(known, contents=contents.plus(planned)), ("K-900", "K-001"))

    assert (report.measured_lbf, report.left_lbf, report.as_far) == (None, None, None)
    assert report.expected_low_lbf < report.expected_lbf < report.expected_high_lbf  # type: ignore[operator]  # told
    assert "have not both been weighed" in report.verdict
    assert "never weighed" in text(report)


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("K-001", "K-001"), "wanted two builds, got K-001 twice"),
        (("K-001", "K-777"), "wanted a build of the book, got K-777"),
    ],
)
def test_words_that_name_no_two_builds(words: tuple[str, str], message: str) -> None:
    """The same build twice, or one that is not there, is refused in one line."""
    with pytest.raises(ReportError, match=message):
        make(sources(1), words)


def test_wants_two_builds() -> None:
    """The report wants two words, and is no part of all reports."""
    with pytest.raises(ReportError, match="wanted BUILD BUILD after differences, got K-001"):
        report_files.find("differences", ("K-001",))
    assert all(report.name != "differences" for report in report_files.find("all", ()))
