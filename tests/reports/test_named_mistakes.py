"""Builds that look like a mistake are told at the top, counted apart, and lead the list of surprises."""

import pytest

from reports import calibration_report, calibration_told, errors_report
from reports.blocks import Caution
from reports.printing import Units
from reports.sources import Sources
from tests.reports.fitted import sources


@pytest.fixture(scope="module")
def slips() -> Sources:
    """Return a shop whose pencil slips, and whose fit names at least one build."""
    made = sources(24, mistakes=True)
    assert made.trained is not None
    assert made.trained.model.doubtful
    return made


def test_counted_apart(slips: Sources) -> None:
    """Coverage without the named builds and with them stand side by side, and the caution says so."""
    report = calibration_report.make(slips, ())
    named = {build for build, _ in report.basis.doubtful}
    cautions = [
        block.text for block in calibration_told.tell(report, Units("inch")) if isinstance(block, Caution)
    ]

    assert report.levels[0].builds == report.with_doubtful.builds - len(named)
    assert named.isdisjoint(build.build for build in report.builds)
    assert any(build in cautions[0] for build in named)
    assert any("with them" in caution for caution in cautions)


def test_lead_the_surprises(slips: Sources) -> None:
    """The named build is among the most surprising, with the mistake as its first reason and where it lies."""
    report = errors_report.make(slips, ())
    (first, *_) = [build for build, _ in report.basis.doubtful]
    told = {one.build.build: one.reasons for one in report.surprising}

    assert told[first][0].startswith("looks like a mistake of the pencil in ")
    assert report.methods[0].scored.root_mean_square_lbf > report.on_sound[0].scored.root_mean_square_lbf
