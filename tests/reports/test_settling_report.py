"""The report on settling says when to weigh and mark, and what it rests on."""

import pytest

from reports.marking import MARK_BELOW_PERCENT
from reports.printing import Units
from reports.settling_report import make, tell
from tests.reports.fitted import sources


@pytest.mark.parametrize("builds", [0, 8, 24])
def test_marked_when_little_is_to_go(builds: int) -> None:
    """After the shots told even a bow that settles much loses no more than told, and fewer of the shots do not do."""
    report = make(sources(builds), ())
    after = {one.shots: one.most_percent for one in report.to_go}

    assert after[report.mark_at_shots] <= MARK_BELOW_PERCENT
    assert all(most > MARK_BELOW_PERCENT for shots, most in after.items() if shots < report.mark_at_shots)


def test_less_is_to_go_with_every_shot() -> None:
    """What is still to go falls with the shots to nothing at the last, and the median never exceeds the most."""
    to_go = make(sources(24), ()).to_go
    most = [one.most_percent for one in to_go]

    assert most == sorted(most, reverse=True)
    assert (to_go[-1].percent, to_go[-1].most_percent) == (0.0, 0.0)
    assert all(one.percent <= one.most_percent for one in to_go)


def test_losses_are_those_of_the_band() -> None:
    """A bow that keeps 98 % after some shots and 97 % at the last still loses 1 of 98."""
    report = make(sources(24), ())
    last = report.curve.band[-1]
    for left, one in zip(report.curve.band, report.to_go, strict=True):
        assert last.middle == pytest.approx(left.middle * (1 - one.percent / 100))


def test_default_is_called_one() -> None:
    """Without a bow weighed again the report warns that it tells a default; with some it does not."""

    def told(builds: int) -> str:
        return " ".join(str(block) for block in tell(make(sources(builds), ()), Units("inch")))

    assert "wide default" in told(0)
    assert make(sources(24), ()).curve.bows > 0
    assert "wide default" not in told(24)
