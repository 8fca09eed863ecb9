"""What the report on errors says is what it holds: rivals on all builds and without the named ones, Holm's verdicts."""

import numpy as np
import pytest

from reports import errors_report, errors_told
from reports.blocks import Grid, Paragraph
from reports.errors_report import ErrorsReport, MeanError, Method, Worse
from reports.printing import Units
from reports.sources import Sources
from tests.reports.fitted import sources
from training.checking.compared import FEWEST_FOR_A_VERDICT
from training.checking.rivals import RIVALS

INCH = Units("inch")


@pytest.fixture(scope="module")
def slips() -> Sources:
    """Return a shop whose pencil slips, and whose fit names at least one build."""
    return sources(24, mistakes=True)


@pytest.fixture(scope="module")
def report(slips: Sources) -> ErrorsReport:
    """Return its report."""
    return errors_report.make(slips, ())


def _table(report: ErrorsReport, start: str) -> Grid:
    blocks = errors_told.tell(report, INCH)
    (table,) = [block for block in blocks if isinstance(block, Grid) and block.title.startswith(start)]
    return table


def _sentences(report: ErrorsReport) -> list[str]:
    return [block.text for block in errors_told.tell(report, INCH) if isinstance(block, Paragraph)]


def test_rivals_are_judged_on_all_builds_first(slips: Sources, report: ErrorsReport) -> None:
    """No build is taken out of the comparison by this tool's own verdict; without the named ones it stands second."""
    assert slips.left_out is not None
    assert slips.trained is not None
    count, named = len(slips.left_out.builds), len(slips.trained.model.doubtful)

    assert named > 0
    for table, builds in (("Errors of left-out builds, all", count), ("The same without the", count - named)):
        rows = _table(report, table).rows
        assert len(rows) == 5
        assert {row[1] for row in rows} == {str(builds)}


def test_scores_are_of_the_builds_told(slips: Sources, report: ErrorsReport) -> None:
    """Mean absolute error and root mean square are those of the readings less the expected weights."""
    assert slips.left_out is not None
    off = np.array([build.read_lbf - build.expected_lbf for build in slips.left_out.builds])
    wrong = np.array([build.looks_wrong for build in slips.left_out.builds])
    ours, ours_on_sound = report.methods[0].scored, report.on_sound[0].scored

    assert ours.mean_absolute_lbf == pytest.approx(np.abs(off).mean())
    assert ours.root_mean_square_lbf == pytest.approx(np.linalg.norm(off) / np.sqrt(len(off)))
    assert ours_on_sound.mean_absolute_lbf == pytest.approx(np.abs(off[~wrong]).mean())


def test_worse_is_the_difference_of_the_means(report: ErrorsReport) -> None:
    """A mean of paired differences is the difference of the means; Holm's chance is never the smaller one."""
    ours = report.methods[0]
    for rival in report.methods[1:]:
        assert rival.worse is not None
        apart = rival.scored.crps_percent - ours.scored.crps_percent
        assert rival.worse.crps_percent.value == pytest.approx(apart)
        assert rival.worse.p is not None
        assert rival.worse.p_of_all is not None
        assert rival.worse.p <= rival.worse.p_of_all


@pytest.mark.parametrize(
    ("value", "p_of_all", "verdict"),
    [(0.5, 0.08, "no different"), (0.5, 0.04, "worse: "), (-0.5, 0.04, "better: ")],
)
def test_verdicts_hold_for_all_rivals_together(
    report: ErrorsReport, value: float, p_of_all: float, verdict: str
) -> None:
    """What one rival by itself would make sure is not sure while all four together do not."""
    mean = MeanError(value=value, half=0.4)
    worse = Worse(crps_percent=mean, absolute_lbf=mean, p=0.01, p_of_all=p_of_all)
    rival = Method(name="a rival", scored=report.methods[1].scored, worse=worse)
    changed = report.model_copy(update={"methods": (report.methods[0], rival)})
    (sentence,) = [text for text in _sentences(changed) if text.startswith("By CRPS on all builds")]

    assert verdict in sentence
    assert sentence.endswith("a rival.")


def test_a_book_of_three_builds_gets_no_verdict() -> None:
    """Rivals are shown beside this tool, but none is called better or worse, and how many builds that takes is said."""
    few = errors_report.make(sources(3), ())
    sentences = _sentences(few)

    assert [method.worse.p_of_all for method in few.methods if method.worse] == [None] * len(RIVALS)
    assert any(
        f"cannot be said of 3 builds: that takes {FEWEST_FOR_A_VERDICT} or more" in one for one in sentences
    )
    assert not any("for all rivals together" in one for one in sentences)


def test_how_builds_were_left_out_is_said(report: ErrorsReport) -> None:
    """Before the errors stands what was known of each bow, its cut too, and that the model was trained anew."""
    blocks = errors_told.tell(report, INCH)
    errors = next(
        place
        for place, block in enumerate(blocks)
        if isinstance(block, Grid) and block.title == "Errors of left-out builds, all of them"
    )
    before = [block.text for block in blocks[:errors] if isinstance(block, Paragraph)]

    assert any("foretold as built and cut by its last weighing; a planned bow" in text for text in before)
    assert any("trained anew without each build" in text for text in before)
