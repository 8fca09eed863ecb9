"""Two builds side by side: what differs in their records, the pounds each difference explains, and what is left."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from pydantic import Field
from scipy.special import ndtr

from datasets.history import LamAt, LimbAt, bow_at
from datasets.record import DrawLength, Record
from datasets.schema import Part, Stage
from predictor.belief.columns import STIFFNESS
from predictor.belief.shares import GROUP_SOURCES
from predictor.bows.bow import Refusal
from predictor.prediction import between
from predictor.prediction.between import Stood
from reports.blocks import Block, Caution, Paragraph, grid
from reports.printing import Units
from reports.sources import Basis, ReportError, Sources, basis_of, tell_basis
from training.studies.two_bows import Difference, Side, difference, sides

LEVEL = 0.9

TOLD_FROM_LBF = 0.05
"""A part smaller than this is not told by itself; all such are told together."""

UNUSUAL, RARE = 0.1, 0.01
"""Shares of pairs that differ as much, below which what is left is called unusual, and not to be luck."""

THICKNESSES = (between.GLASS, between.CORES, between.EDGES)


class Compared(Record):
    """One of the two bows at the moment it is compared."""

    build: str
    weigh_in: str | None
    on: dt.date | None
    stage: Stage | None
    shots: int | None
    scale: str | None
    by: str | None
    draw: DrawLength
    read_lbf: float | None


class RecordedDifference(Record):
    """What one kind of dimension is in both bows, and the pounds that the statics explain by it."""

    kind: str
    first_in: tuple[float, ...] = Field(description="inches; nothing for what is no length")
    second_in: tuple[float, ...]
    first: tuple[str, ...] = Field(description="in words; nothing for a length")
    second: tuple[str, ...]
    lbf: float


class LearnedDifference(Record):
    """Pounds that the other builds' experience explains by one effect."""

    effect: str
    lbf: float


class DifferencesReport(Record):
    """The first bow less the second: recorded, learned and left parts add up to the measured difference."""

    basis: Basis
    bows: tuple[Compared, Compared]
    refused: str | None = Field(description="why no part can be told")
    recorded: tuple[RecordedDifference, ...]
    learned: tuple[LearnedDifference, ...]
    expected_lbf: float | None = Field(description="recorded and learned parts together")
    expected_low_lbf: float | None = Field(description="lower end of the 90 % interval of the difference")
    expected_high_lbf: float | None
    measured_lbf: float | None
    left_lbf: float | None = Field(description="measured less expected")
    as_far: float | None = Field(description="share of such pairs that stray as far from what is expected")
    verdict: str


def make(sources: Sources, words: Sequence[str]) -> DifferencesReport:
    """Make the report on two builds.

    Raises:
        ReportError: one of them is not in the book, or both are the same.
    """
    first, second = words
    if first == second:
        raise ReportError(f"wanted two builds, got {first} twice; name another")
    try:
        pair = sides(sources.contents, first, second)
    except LookupError as error:
        raise ReportError(str(error.args[0])) from None
    found = difference(sources.contents, pair, sources.trained)
    bows = (_compared(pair[0]), _compared(pair[1]))
    if isinstance(found, Refusal):
        return _refused(sources, bows, found)
    return _report(sources, bows, pair, found)


def _refused(sources: Sources, bows: tuple[Compared, Compared], refusal: Refusal) -> DifferencesReport:
    why = f"{refusal.reason} ({refusal.where})"
    return DifferencesReport(
        basis=basis_of(sources),
        bows=bows,
        refused=why,
        recorded=(),
        learned=(),
        expected_lbf=None,
        expected_low_lbf=None,
        expected_high_lbf=None,
        measured_lbf=None,
        left_lbf=None,
        as_far=None,
        verdict=f"The statics cannot go from one bow to the other: {why}.",
    )


def _report(
    sources: Sources, bows: tuple[Compared, Compared], pair: tuple[Side, Side], found: Difference
) -> DifferencesReport:
    pounds = found.lbf_per_log
    low, high = (float(found.expected.quantile((1 + side * LEVEL) / 2)[0]) for side in (-1, 1))
    as_far = None
    if found.read is not None:
        as_far = float(2 * ndtr(-abs(found.expected.normal_score(np.array([found.read]))[0])))
    learned = [
        LearnedDifference(effect=_in_words(effect), lbf=pounds * part)
        for effect, part in found.effects.items()
        if part
    ]
    return DifferencesReport(
        basis=basis_of(sources),
        bows=bows,
        refused=None,
        recorded=tuple(
            row
            for kind, part in found.statics.items()
            if (row := _recorded(kind, pair, pounds * part)).lbf
            or (row.first, row.first_in) != (row.second, row.second_in)
        ),
        learned=tuple(sorted(learned, key=lambda one: -abs(one.lbf))),
        expected_lbf=pounds * found.told,
        expected_low_lbf=pounds * low,
        expected_high_lbf=pounds * high,
        measured_lbf=None if found.read is None else pounds * found.read,
        left_lbf=None if found.read is None else pounds * (found.read - found.told),
        as_far=as_far,
        verdict=_verdict(bows, as_far),
    )


def _compared(side: Side) -> Compared:
    one = side.weigh_in
    return Compared(
        build=side.build.id,
        weigh_in=one.id if one else None,
        on=one.on if one else None,
        stage=one.stage if one else None,
        shots=one.shots if one else None,
        scale=one.scale if one else None,
        by=one.by if one else None,
        draw=side.draw,
        read_lbf=side.read_lbf,
    )


def _in_words(effect: str) -> str:
    """Return an effect's name as predictions tell it."""
    if effect.startswith(STIFFNESS):
        return f"{effect} against the handbook"
    return GROUP_SOURCES.get(effect, effect)


def _recorded(kind: str, pair: tuple[Side, Side], lbf: float) -> RecordedDifference:
    one, other = (side.stood for side in pair)
    return RecordedDifference(
        kind=kind,
        first_in=_inches(kind, one),
        second_in=_inches(kind, other),
        first=_words(kind, one),
        second=_words(kind, other),
        lbf=lbf,
    )


def _inches(kind: str, stood: Stood) -> tuple[float, ...]:
    """Return what a kind of dimension is in a bow, in inches; nothing for what is no length."""
    bow = bow_at(stood.form, stood.build, stood.events)
    limb, middle = bow.upper, bow.upper.length / 2
    glass = limb.stack_at(middle) - replace(limb, lams=_lams(limb, glass=False)).stack_at(middle)
    inches: dict[str, tuple[float, ...]] = {
        between.LENGTH: (2 * bow.riser_half + bow.upper.length + bow.lower.length,),
        between.GLASS: (glass,),
        between.CORES: (limb.stack_at(middle) - glass,),
        between.WIDTHS: tuple(float(np.interp(at, *limb.width_belly)) for at in (0.0, middle, limb.length)),
        between.EDGES: (float(np.interp(middle, *limb.edge_radius)),),
        between.BRACE: (bow.brace,),
        between.DRAW: (stood.draw_in,),
    }
    return inches.get(kind, ())


def _words(kind: str, stood: Stood) -> tuple[str, ...]:
    """Return what a kind is in a bow, in words; nothing for a length."""
    bow = bow_at(stood.form, stood.build, stood.events)
    if kind == between.FORM:
        return (bow.form, *(("own unstrung shape",) if stood.build.profile else ()))
    if kind == between.STRING:
        return (f"{bow.string.strands} strands of {bow.string.material} yarn",)
    if kind in (between.MAKE_OF_GLASS, between.MAKE_OF_CORES):
        lams = _lams(bow.upper, glass=kind == between.MAKE_OF_GLASS)
        return tuple(dict.fromkeys(f"{lam.material}, {lam.lot or 'lot not noted'}" for lam in lams))
    return ()


def _lams(limb: LimbAt, *, glass: bool) -> tuple[LamAt, ...]:
    return tuple(lam for lam in limb.lams if (lam.part is Part.GLASS) is glass)


def _verdict(bows: tuple[Compared, Compared], as_far: float | None) -> str:
    names = f"{bows[0].build} and {bows[1].build}"
    if as_far is None:
        return f"{names} have not both been weighed, so this is what their difference is expected to be."
    share = f"{100 * as_far:.0f}" if as_far >= RARE else "less than 1"
    counted = f"Of pairs with such records {share}% stray as far from what is expected."
    if as_far >= UNUSUAL:
        return f"What is left between {names} is the scatter of bows and weighings. {counted}"
    if as_far >= RARE:
        return f"What is left between {names} is unusual. {counted} Weigh both again, and check the records."
    return (
        f"What is left between {names} is more than luck leaves. {counted} Look for a slip in the records, another "
        "draw length or brace, another scale, or a fault in one of the bows."
    )


def tell(report: DifferencesReport, units: Units) -> tuple[Block, ...]:
    """Tell the report."""
    first, second = report.bows
    told: list[Block] = [*tell_basis(report.basis), Paragraph(report.verdict), _side_by_side(report, units)]
    if report.refused is not None:
        return (*told, Caution(f"No part can be told: {report.refused}."))
    if report.basis.builds:
        told.append(
            Paragraph(
                f"What is learned comes from all builds but {first.build} and {second.build}, except the law of "
                "settling and the usual cut, which are the whole shop's; what both share, such as a lot or the form, "
                "cancels."
            )
        )
    heads = ["what differs", first.build, second.build, f"{first.build} heavier by, {units.weight}"]
    recorded = [[row.kind, *_both(row, units), units.tenths_of_weight(row.lbf)] for row in report.recorded]
    told.append(grid("By the records, through the statics", heads, recorded, texts=3))
    told.append(_sums(report, units))
    return tuple(told)


def _side_by_side(report: DifferencesReport, units: Units) -> Block:
    rows = [
        [
            bow.build,
            str(bow.on or "never weighed"),
            bow.stage or "-",
            "-" if bow.shots is None else str(bow.shots),
            bow.scale or "not noted",
            units.draw(bow.draw),
            "-" if bow.read_lbf is None else units.read_weights([bow.read_lbf])[0],
        ]
        for bow in report.bows
    ]
    heads = ["build", "weighed", "stage", "shots", "scale", "draw", f"read, {units.weight}"]
    return grid("Compared", heads, rows, texts=6)


def _both(row: RecordedDifference, units: Units) -> list[str]:
    tell_one = units.thickness if row.kind in THICKNESSES else units.length
    return [
        "; ".join(words) or " / ".join(tell_one(inch) for inch in inches)
        for words, inches in ((row.first, row.first_in), (row.second, row.second_in))
    ]


def _sums(report: DifferencesReport, units: Units) -> Block:
    """Return the parts down to what is left, adding up."""
    large = [one for one in report.learned if abs(one.lbf) >= TOLD_FROM_LBF]
    small = sum(one.lbf for one in report.learned if abs(one.lbf) < TOLD_FROM_LBF)
    lines = [("the records, through the statics", sum(row.lbf for row in report.recorded))]
    lines += [(one.effect, one.lbf) for one in large]
    lines += [("all else learned", small)] if len(large) < len(report.learned) else []
    rows = [[name, units.tenths_of_weight(lbf)] for name, lbf in lines]
    ends = (report.expected_low_lbf, report.expected_high_lbf)
    reach = " to ".join(units.tenths_of_weight(end) for end in ends if end is not None)
    for name, lbf in (
        (f"expected ({LEVEL:.0%} of such pairs: {reach})", report.expected_lbf),
        ("measured", report.measured_lbf),
        ("left", report.left_lbf),
    ):
        rows.append([name, "-" if lbf is None else units.tenths_of_weight(lbf)])
    return grid("Adding up", ["part", units.weight], rows)
