"""The study of hands and scales as it is reported: the handbook's worked example, as bows that three hands weighed."""

import pytest

from reports.blocks import Grid, Paragraph
from reports.hands_study import StudyReport, study_report, tell_study
from reports.printing import Units
from tests.published import columns_of, numbers
from training.studies.weighed_again import Appraiser, Occasion

HANDS = ("Ann", "Ben", "Cid")
TRIALS = 3


def example() -> list[Occasion]:
    """Return the worked example of AIAG, Measurement Systems Analysis (2010), its parts as bows."""
    columns = columns_of("gauge_study.csv")
    found = []
    for part in range(1, 11):
        read = numbers(columns[str(part)]).reshape(len(HANDS), TRIALS).tolist()
        by_hand = {Appraiser(hand, "hook"): tuple(row) for hand, row in zip(HANDS, read, strict=True)}
        found.append(Occasion(f"K-{part:03d}", 28.0, by_hand))
    return found


@pytest.fixture(scope="module")
def study() -> StudyReport:
    """Return its study."""
    found = study_report(example())
    assert found is not None
    return found


def _tables(study: StudyReport, units: Units) -> list[Grid]:
    return [block for block in tell_study(study, units) if isinstance(block, Grid)]


def test_figures_are_the_handbooks(study: StudyReport) -> None:
    """By ranges weighing is 26.68 % of the total and tells five classes; by analysis of variance 27.86 % and four."""
    assert (len(study.bows), len(study.means), study.trials) == (10, 3, 3)
    assert study.by_ranges.gauge_lbf == pytest.approx(0.30575, abs=1e-4)
    assert study.by_ranges.gauge_percent == pytest.approx(26.68, abs=0.01)
    assert study.by_analysis.gauge_percent == pytest.approx(27.86, abs=0.005)
    assert (study.by_ranges.categories, study.by_analysis.categories) == (5, 4)
    assert study.pooled


def test_both_ways_are_told_with_their_disagreement(study: StudyReport) -> None:
    """The table has both, digit by digit, and the words say that they disagree and how the interaction counts."""
    figures, means = _tables(study, Units("inch"))
    (words,) = [block.text for block in tell_study(study, Units("inch")) if isinstance(block, Paragraph)]

    assert figures.rows == (
        ("average and range", "0.20", "0.23", "0.31", "1.10", "27%", "5"),
        ("analysis of variance", "0.20", "0.23", "0.30", "1.04", "28%", "4"),
    )
    assert [row[0] for row in means.rows] == [f"{hand} on hook" for hand in HANDS]
    assert "10 bows, 3 hands on scales, 3 weighings each" in words
    assert "The two ways disagree on the number of classes" in words
    assert "counts as error" in words


def test_means_are_each_hands(study: StudyReport) -> None:
    """A hand's mean is that of all its readings."""
    for hand, told in zip(HANDS, study.means, strict=True):
        read = [one for occasion in example() for one in occasion.read_lbf[Appraiser(hand, "hook")]]
        assert told.mean_lbf == pytest.approx(sum(read) / 30)


def test_metric_readers_get_kilograms(study: StudyReport) -> None:
    """In metric units the standard deviations are 0.45359237 times as large (the international pound)."""
    (by_ranges, _), _ = (table.rows for table in _tables(study, Units("metric")))

    assert by_ranges[4] == f"{1.10456 * 0.45359237:.2f}"


def test_too_little_for_a_study_says_what_is_missing() -> None:
    """One bow, or one hand, makes no study, and the words say what would."""
    assert study_report(example()[:1]) is None
    (words,) = tell_study(None, Units("inch"))

    assert isinstance(words, Paragraph)
    assert "two hands, or one on two scales, each weigh the same two bows" in words.text
