"""The report on learning: what it says on books of any size, and that its figures agree with each other."""

import io
from dataclasses import replace

import pytest
from rich.console import Console

from reports.blocks import show_section
from reports.learning_report import LearningReport, Teaches, make
from reports.printing import Units
from reports.registry import REPORTS
from tests.reports.fitted import sources


def text(report: LearningReport) -> str:
    """Return a report as the terminal shows it."""
    out = Console(file=io.StringIO(), width=120)
    show_section(REPORTS["learning"].section(report, Units("metric")), out)
    return " ".join(out.file.getvalue().split())  # type: ignore[attr-defined]  # what it was made with


def test_empty_book_says_what_to_add() -> None:
    """Without a bow there is no curve and nothing to rank, and the report says so."""
    report = make(sources(0), ())

    assert (report.curve, report.ahead, report.teaches) == ((), None, ())
    assert "There is no bow in the book to look ahead with" in text(report)


def test_planned_bow_alone_can_be_looked_ahead_with() -> None:
    """With one planned bow and no weighing the handbook's doubt is told, and what would narrow it."""
    planned = sources(1).contents.builds["K-001"].model_copy(update={"planned": True})
    known = sources(0)
    contents = known.contents
    for form in sources(1).contents.forms.values():
        contents = contents.plus(form)
    report = make(replace(known, contents=contents.plus(planned)), ())

    assert report.curve == ()
    assert report.ahead is not None
    assert report.ahead.now_percent > 10
    assert report.teaches[0].gain_percent > 0.3
    assert "the one bow" in text(report)


@pytest.mark.parametrize("builds", [1, 3, 8])
def test_figures_agree(builds: int) -> None:
    """More builds narrow, never below a bow's own; lessons start from the width as it is, the best first."""
    report = make(sources(builds), ())
    ahead = report.ahead

    assert ahead is not None
    assert ahead.own_percent < ahead.after_percent < ahead.now_percent
    gains = [one.gain_percent for one in report.teaches]
    assert gains == sorted(gains, reverse=True)
    for one in report.teaches:
        assert one.gain_percent >= -1e-9
        assert one.half_width_percent + one.gain_percent == pytest.approx(ahead.now_percent)
    assert report.curve[0].builds == 0


def test_little_to_gain_is_said() -> None:
    """Where the best lesson narrows by less than 0.2 % that is said, and three are listed; else up to twelve."""
    report = make(sources(8), ())
    rows = {}
    for best in (0.19, 0.21):
        teaches = tuple(
            Teaches(what=f"do {number}", half_width_percent=9, gain_percent=best - 0.01 * number)
            for number in range(9)
        )
        told = report.model_copy(update={"teaches": teaches})
        assert ("Nothing that one can build or test now matters much" in text(told)) == (best < 0.2)
        rows[best] = text(told).count(" do ") - 1

    assert rows == {0.19: 3, 0.21: 9}


def test_errors_are_compared_bow_by_bow() -> None:
    """Bows nearer by 4, 5 and 6 % make 5 ± 2.5 % (Student's t: 4.303 / sqrt(3)); swapped, the error went up."""
    report = make(sources(8), ())
    first, last = report.curve[0], report.curve[-1]
    off = ((10.0, 10.0, 10.0), (6.0, 5.0, 4.0))
    first, last = (
        one.model_copy(update={"off_percent": part}) for one, part in zip((first, last), off, strict=True)
    )
    down = report.model_copy(update={"curve": (first, last)})
    up = report.model_copy(
        update={
            "curve": (
                first.model_copy(update={"off_percent": off[1]}),
                last.model_copy(update={"off_percent": off[0]}),
            )
        }
    )

    assert "the same 3 bows went down by 5.0 ± 2.5% of the weight (95%), more than luck brings" in text(down)
    assert "the same 3 bows went up by 5.0 ± 2.5%" in text(up)
