"""The report on drift keeps its word: what it says a shift would raise, shifts in invented shops do raise."""

from dataclasses import replace

import numpy as np
import pytest

from datasets.contents import Contents
from datasets.schema import Event, WeighIn
from reports import drift_report, drift_told
from reports.blocks import Grid, Paragraph
from reports.drift_report import DriftReport
from reports.printing import Units
from reports.sources import Sources
from tests.campaigns import part_of
from tests.reports.fitted import DAY, HASH, sources
from training.learning.train import train
from training.workshop.virtual_shop import simulate

SHOPS = range(571000, 571000 + part_of(12, 6))
BUILDS = 30
STEP_PERCENT = 7.0


def _raised(event: Event, builds: set[str], percent: float) -> Event:
    """Return an event of a book as if the scale had read higher."""
    if not isinstance(event, WeighIn) or event.build not in builds:
        return event
    return event.model_copy(
        update={
            "readings": tuple(
                reading.model_copy(
                    update={
                        "weight": reading.weight.model_copy(
                            update={"lbf": reading.weight.lbf * (1 + percent / 100)}
                        )
                    }
                )
                for reading in event.readings
            )
        }
    )


def _report(contents: Contents) -> DriftReport:
    trained = train(contents, HASH, len(contents.builds))
    return drift_report.make(Sources(contents, HASH, len(contents.builds), DAY, trained), ())


def _alarms_since(report: DriftReport, builds: set[str]) -> bool:
    return any(alarm.builds[-1] in builds for alarm in report.alarms)


@pytest.mark.slow
def test_shifts_are_seen_as_often_as_told() -> None:
    """In invented shops a step of 7 % raises an alarm about as often as the reports say, quiet as seldom.

    The readings in the book are raised and all is trained anew, so that mistakes and scales are judged with the step.
    Scores scatter no more than promised: of bows cut to their weight less, their mean square was 0.77.
    """
    told, seen, told_quiet, seen_quiet, squares = [], [], [], [], []
    for seed in SHOPS:
        contents = Contents.of(simulate(seed, BUILDS).records)
        quiet = _report(contents)
        assert quiet.reach is not None
        late = {point.build for point in quiet.points[-quiet.reach.builds :]}
        events = {
            build: tuple(_raised(event, late, STEP_PERCENT) for event in history)
            for build, history in contents.events.items()
        }
        stepped = _report(replace(contents, events=events))
        (chance,) = (step.chance for step in quiet.reach.steps if step.percent == STEP_PERCENT)
        told.append(chance)
        seen.append(_alarms_since(stepped, late))
        told_quiet.append(quiet.reach.by_luck)
        seen_quiet.append(_alarms_since(quiet, late))
        squares += [point.score**2 for point in quiet.points]

    for chances, happened in ((told, seen), (told_quiet, seen_quiet)):
        spread = np.sqrt(np.sum(np.array(chances) * (1 - np.array(chances))))
        assert abs(np.sum(happened) - np.sum(chances)) < 3 * spread + 0.5
    assert np.mean(squares) < 1 + 3 * np.sqrt(2 / len(squares))


@pytest.mark.parametrize("builds", [0, 1, 3])
def test_few_builds_make_no_chart(builds: int) -> None:
    """Before the fourth build there is no chart, and the report says when it begins."""
    report = drift_report.make(sources(builds), ())
    told = [block.text for block in drift_told.tell(report, Units("inch")) if isinstance(block, Paragraph)]

    assert report.points == ()
    assert report.alarms == ()
    assert report.reach is None
    assert any("begins with build number 4" in text for text in told)


def test_chart_by_hand() -> None:
    """The average is a fifth of each score and four fifths of what it was; the sds are those of the scores shown."""
    report = drift_report.make(sources(14), ())
    scores = [point.score for point in report.points]
    average, averages = 0.0, []
    for score in scores:
        average = score / 5 + 4 * average / 5
        averages.append(average)

    assert len(scores) == 14 - 3
    assert [point.average for point in report.points] == pytest.approx(averages)
    assert report.sd == pytest.approx(np.sqrt(np.mean(np.square(scores))))


def test_larger_shifts_are_seen_sooner() -> None:
    """Chances grow with the shift, from luck's on, and the table tells them in that order."""
    report = drift_report.make(sources(14), ())
    assert report.reach is not None
    chances = [report.reach.by_luck, *(step.chance for step in report.reach.steps)]
    (table,) = [
        block
        for block in drift_told.tell(report, Units("inch"))
        if isinstance(block, Grid) and block.title.startswith("Had all readings gone up")
    ]

    assert chances == sorted(chances)
    assert report.reach.first_score > report.reach.last_score > 0
    assert [row[1] for row in table.rows] == [f"{chance:.0%}" for chance in chances]


def test_an_alarm_names_what_its_builds_share(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where two builds of three are far off, what both have and others have not is named: lots, scale or neither."""
    made = sources(14)
    assert made.left_out is not None
    scores = np.zeros(14 - 3)
    scores[5:7] = 2.5
    monkeypatch.setattr(drift_report, "foretold", lambda *_: scores)

    report = drift_report.make(made, ())

    (alarm,) = [one for one in report.alarms if one.rule == "two of three beyond 2 sd on one side"]
    builds = made.left_out.builds[3:]
    first, second = builds[5], builds[6]
    lots = {lot for lot in first.lots if lot in second.lots and not all(lot in one.lots for one in builds)}
    same_scale = {f"scale {first.scale}"} if first.scale == second.scale else set()
    assert alarm.builds == (first.build, second.build)
    assert alarm.mean_score == pytest.approx(2.5)
    assert set(alarm.shared) == {f"lot {lot}" for lot in lots} | same_scale


def test_a_shift_widens_the_scatter_about_nought_only(monkeypatch: pytest.MonkeyPatch) -> None:
    """Scores that stand two sd high for good scatter more about 0 and no more from build to build."""
    made = sources(14)
    noise = np.random.default_rng(7).standard_normal(14 - 3)
    found = []
    for step in (0.0, 2.0):
        monkeypatch.setattr(drift_report, "foretold", lambda *_, step=step: noise + step)
        found.append(drift_report.make(made, ()))
    quiet, high = found

    assert quiet.sd is not None
    assert high.sd is not None
    assert high.sd > 1.5 * quiet.sd
    assert high.sd_by_moving_range == pytest.approx(quiet.sd_by_moving_range)
