"""The report on scales: which reads high, from bows and from check weights, and the study of hands."""

from itertools import count

import numpy as np
import pytest

from datasets.contents import Contents
from datasets.schema import KINDS, Scale
from reports import scales_report
from reports.blocks import Grid, Paragraph
from reports.printing import Units
from reports.scales_report import ScalesReport
from reports.sources import Sources
from tests import shop
from tests.reports.fitted import DAY, HASH
from training.learning.train import train


def told(report: ScalesReport) -> str:
    """Return the paragraphs and titles of a report."""
    blocks = scales_report.tell(report, Units("inch"))
    return " ".join(
        block.text if isinstance(block, Paragraph) else block.title
        for block in blocks
        if isinstance(block, Paragraph | Grid)
    )


def checked(name: str, *read: float) -> Scale:
    """Return a scale that read a weight of 50 lb so."""
    checks = [{"known": "50", "read": value} for value in read]
    return Scale.model_validate({"id": name, "division_lbf": 0.1, "checks": checks})


def known(contents: Contents) -> Sources:
    """Return what a report is made from."""
    return Sources(contents, HASH, 1, DAY, train(contents, HASH, 1) if contents.builds else None)


LAYERS = [
    {"part": part, "material": material, "butt_in": thickness}
    for part, material, thickness in (
        ("glass", "limb glass", ".050"),
        ("core", "hard maple", ".240"),
        ("glass", "limb glass", ".050"),
    )
]


def hands_book(scatter_lbf: float, hook_high_lbf: float) -> Contents:
    """Return five bows of an invented shop, each weighed three times by two hands on two scales."""
    rng, bows = np.random.default_rng(12), [f"K-00{n}" for n in range(1, 6)]
    typed = [shop.form(), *(shop.build(id=bow, layers=LAYERS) for bow in bows)]
    for place, bow in enumerate(bows):
        number = count(1)
        for hand, scale, high in (("Ann", "spring", 0.0), ("Ben", "hook", hook_high_lbf)):
            for _ in range(3):
                read = round(45 + 2 * place + high + scatter_lbf * rng.standard_normal(), 2)
                typed.append(
                    shop.weigh_in(
                        id=f"{bow}/{next(number)}",
                        build=bow,
                        by=hand,
                        scale=scale,
                        readings=[{"draw": "28", "weight": read}],
                    )
                )
    return Contents.of(KINDS[kind].model_validate(data) for kind, data in typed)


@pytest.mark.parametrize("contents", [Contents(), hands_book(0.1, 1.9)], ids=["no build", "five builds"])
def test_check_weights_find_the_scale_that_reads_high(contents: Contents) -> None:
    """Six readings of a known weight that are 4 % high on one scale, as bows are on it, are told as nearly that."""
    for scale in (checked("hook", *[52.0] * 6), checked("spring", *[50.0] * 6)):
        contents = contents.plus(scale)
    report = scales_report.make(known(contents), ())

    (pair,) = report.pairs
    assert (pair.first, pair.second) == ("hook", "spring")
    assert 2 < pair.percent < 4
    assert pair.probability > 0.99
    assert "hook reads higher than spring" in report.verdict


def test_without_any_scale() -> None:
    """A book without a scale and without a weighing says what to note, and no figure."""
    report = scales_report.make(Sources(Contents(), HASH, 0, DAY, None), ())

    assert (report.scales, report.pairs, report.repeats, report.study) == ((), (), None, None)
    assert "No scale is in the book" in report.verdict
    assert "ten bows and three weighings are usual" in told(report)


def test_scale_that_nothing_is_known_of_is_in_no_pair() -> None:
    """A scale on which nothing was hung yet is listed, but not set against another."""
    idle = Scale.model_validate({"id": "idle", "division_lbf": 0.5})
    report = scales_report.make(known(Contents().plus(idle).plus(checked("hook", 50.0))), ())

    assert [one.scale for one in report.scales] == ["hook", "idle"]
    assert report.pairs == ()


def test_study_of_hands() -> None:
    """Two hands, one 1 lb high, on five bows 2 lb apart: reproducibility, repeatability and means come out as made.

    One lb between two hands is a standard deviation of its root half, less what repeating would make of it by itself.
    """
    report = scales_report.make(Sources(hands_book(0.1, 1.0), HASH, 1, DAY, None), ())

    assert report.study is not None
    for way in (report.study.by_ranges, report.study.by_analysis):
        assert way.repeatability_lbf == pytest.approx(0.1, rel=0.4)
        assert way.reproducibility_lbf == pytest.approx(np.sqrt(0.5), rel=0.1)
        assert way.bows_lbf == pytest.approx(np.sqrt(10), rel=0.2)
    ann, ben = report.study.means
    assert (ann.appraiser, ben.appraiser) == ("Ann on spring", "Ben on hook")
    assert ben.mean_lbf - ann.mean_lbf == pytest.approx(1.0, abs=0.1)
    assert report.repeats is not None
    assert (report.repeats.freedom, report.occasions) == (20, 5)
    assert report.repeats.low_lbf < 0.1 < report.repeats.high_lbf
    assert "Study: standard deviations, lb" in told(report)
