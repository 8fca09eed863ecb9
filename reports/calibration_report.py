"""Whether intervals have held as often as they say, on builds that the model had not seen."""

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray
from pydantic import Field

from datasets.record import Record
from predictor.calibration import builds_needed
from predictor.mixture import NormalMixture
from predictor.model import prior_belief
from reports.blocks import Block, Caution, Graph, Paragraph, grid, span
from reports.graphs import BAND, BLUE, GREY, VERMILION, label
from reports.grouping import groups
from reports.numbers import fixed
from reports.printing import Units
from reports.sources import Basis, Sources, basis_of, tell_basis
from training.coverage import CONFIDENCE, Bar, Count, bars, count, inside
from training.left_out_builds import LeftOutBuild, LeftOutBuilds
from training.questions import answers

Array = NDArray[np.float64]

LEVELS = (0.5, 0.6, 0.7, 0.8, 0.9, 0.95, 0.99)
TOLD_LEVEL = 0.9
"""Of the verdict and of the groups."""

FEWEST_FOR_A_VERDICT = 50
"""Below so many builds luck alone moves nine in ten by more than anybody would call good or bad."""

FEW = 10
"""Up to so many builds each is told by itself."""


class Coverage(Record):
    """How many readings lay in intervals of one level, and how wide these were."""

    level: float
    builds: int
    inside: int
    share_low: float = Field(description="of the share inside, by Wilson's interval")
    share_high: float
    usual_low: int = Field(description="fewest that luck leaves usual if the level is true")
    usual_high: int
    width_lbf: float | None = Field(description="median, from end to end; nothing without builds")


class GroupCoverage(Record):
    """The coverage of some builds."""

    by: str
    group: str
    coverage: Coverage


class PitBar(Record):
    """Builds whose reading had been given a probability between two ends for a lower one."""

    start: float
    end: float
    builds: int
    usual_low: int
    usual_high: int


class Sharpness(Record):
    """How narrow predictions are, in per cent of the weight."""

    sd_percent: float = Field(description="median of the predictive standard deviations")
    handbook_sd_percent: float = Field(description="the same of the handbook alone, for the same builds")


class CalibrationReport(Record):
    """Coverage, probabilities given to what came, and sharpness of left-out builds.

    Builds that look like a mistake are in `with_doubtful` only: intervals promise to hold for readings without one.
    """

    basis: Basis
    levels: tuple[Coverage, ...]
    with_doubtful: Coverage = Field(description="at 90 %, the builds that look like a mistake counted too")
    groups: tuple[GroupCoverage, ...]
    bars: tuple[PitBar, ...] = Field(description="none where builds are too few for a histogram")
    sharpness: Sharpness | None
    builds: tuple[LeftOutBuild, ...]
    verdict: str


def make(sources: Sources, _words: Sequence[str]) -> CalibrationReport:
    """Make the report."""
    every = sources.left_out
    if every is None:
        none = _coverage(np.zeros(0), np.zeros(0), TOLD_LEVEL)
        return CalibrationReport(
            basis=basis_of(sources),
            levels=(),
            with_doubtful=none,
            groups=(),
            bars=(),
            sharpness=None,
            builds=(),
            verdict=_verdict(none),
        )
    sound = every.sound()
    levels = tuple(_covered(sound, level) for level in LEVELS)
    return CalibrationReport(
        basis=basis_of(sources),
        levels=levels,
        with_doubtful=_covered(every, TOLD_LEVEL),
        groups=tuple(
            GroupCoverage(by=by, group=name, coverage=_covered(sound.rows(places), TOLD_LEVEL))
            for by, name, places in groups(sound.builds)
        ),
        bars=tuple(PitBar(**_fields(bar)) for bar in bars(_below(sound))),
        sharpness=_sharpness(sound),
        builds=sound.builds,
        verdict=_verdict(levels[LEVELS.index(TOLD_LEVEL)]),
    )


def _fields(bar: Bar) -> dict[str, float]:
    return {name: getattr(bar, name) for name in PitBar.model_fields}


def _below(builds: LeftOutBuilds) -> Array:
    return np.array([build.below for build in builds.builds])


def _covered(builds: LeftOutBuilds, level: float) -> Coverage:
    return _coverage(_below(builds), widths_lbf(builds.predicted, level), level)


def widths_lbf(predicted: NormalMixture, level: float) -> Array:
    """Return the widths of the central intervals of a level, shape (n,), of predicted logarithms of pounds."""
    low, high = predicted.quantile((1 - level) / 2), predicted.quantile((1 + level) / 2)
    width: Array = np.exp(high) - np.exp(low)
    return width


def _coverage(below: Array, widths: Array, level: float) -> Coverage:
    held: Count = count(int(inside(below, level).sum()), len(below), level)
    return Coverage(
        level=level,
        builds=held.of,
        inside=held.held,
        share_low=held.low,
        share_high=held.high,
        usual_low=held.usual_low,
        usual_high=held.usual_high,
        width_lbf=float(np.median(widths)) if len(widths) else None,
    )


def _sharpness(builds: LeftOutBuilds) -> Sharpness | None:
    if not builds.builds:
        return None
    return Sharpness(
        sd_percent=float(np.median([build.sd_percent for build in builds.builds])),
        handbook_sd_percent=float(100 * np.median(answers(prior_belief(), builds.asked).sd)),
    )


def _verdict(told: Coverage) -> str:
    """Return what the count says, and no more than so many builds bear out."""
    if not told.builds:
        return "No build has been left out, so nothing is known of how often intervals hold."
    of = "1 build" if told.builds == 1 else f"{told.builds} builds"
    usual = f"{told.usual_low} to {told.usual_high}"
    counted = f"Of {of}, {told.inside} fell in their {told.level:.0%} interval; {usual} would be usual."
    if told.usual_low == 0:
        return f"{counted} Any count would, so this tells nothing yet."
    if told.builds < FEWEST_FOR_A_VERDICT:
        return f"{counted} From {FEWEST_FOR_A_VERDICT} builds on more than that can be said."
    if told.inside < told.usual_low:
        return f"{counted} Intervals are too narrow: trust them less than they say."
    if told.inside > told.usual_high:
        return f"{counted} Intervals are wider than they need be."
    low, high = f"{told.share_low:.0%}", f"{told.share_high:.0%}"
    return f"{counted} Nothing speaks against them; the true share lies between {low} and {high}."


def tell(report: CalibrationReport, units: Units) -> tuple[Block, ...]:
    """Tell the report."""
    told: list[Block] = [*tell_basis(report.basis), Paragraph(report.verdict)]
    if not report.builds:
        return tuple(told)
    told.append(
        Paragraph(
            "Each build was left out and predicted from the others as it was built and cut by its last weighing, at "
            "the draw nearest to 28 in. Scales and the judgement of mistakes are those of all builds together."
        )
    )
    told += _doubtful_too(report)
    told.append(_levels(report, units))
    if len(report.builds) <= FEW:
        told.append(_each(report, units))
    told += _sharp(report)
    if len(report.builds) >= builds_needed(TOLD_LEVEL):
        told.append(_coverage_graph(report))
    if report.bars:
        told.append(_pit_graph(report))
    else:
        told.append(Paragraph("Too few builds for a histogram of the probabilities given to what came."))
    told.append(_groups(report, units))
    return tuple(told)


def _doubtful_too(report: CalibrationReport) -> list[Block]:
    told, counted = report.with_doubtful, len(report.builds)
    if told.builds == counted:
        return []
    return [
        Caution(
            f"{told.builds - counted} that look like a mistake are not counted; with them {told.inside} of "
            f"{told.builds} fell in their {told.level:.0%} interval."
        )
    ]


def _levels(report: CalibrationReport, units: Units) -> Block:
    rows = [[f"{one.level:.0%}", *_cells(one, units)] for one in report.levels]
    return grid("Intervals of each level", ["interval", *_heads(units)], rows)


def _heads(units: Units) -> list[str]:
    return ["builds", "in it", "usual", f"share, {CONFIDENCE:.0%}", f"width, {units.weight}"]


def _cells(told: Coverage, units: Units) -> list[str]:
    width = "-" if told.width_lbf is None else units.tenths_of_weight(told.width_lbf)
    share = span(f"{100 * told.share_low:.0f}", f"{told.share_high:.0%}")
    return [str(told.builds), str(told.inside), span(str(told.usual_low), str(told.usual_high)), share, width]


def _groups(report: CalibrationReport, units: Units) -> Block:
    rows = [[one.by, one.group, *_cells(one.coverage, units)] for one in report.groups]
    return grid(f"{TOLD_LEVEL:.0%} intervals by group", ["by", "group", *_heads(units)], rows, texts=2)


def _each(report: CalibrationReport, units: Units) -> Block:
    rows = [
        [
            build.build,
            units.tenths_of_weight(build.expected_lbf),
            units.tenths_of_weight(build.expected_lbf * build.sd_percent / 100),
            units.tenths_of_weight(build.read_lbf),
            fixed(build.score, 1),
        ]
        for build in report.builds
    ]
    unit = units.weight
    return grid(
        "Each build", ["build", f"expected, {unit}", f"sd, {unit}", f"read, {unit}", "off, in sd"], rows
    )


def _sharp(report: CalibrationReport) -> list[Block]:
    sharp = report.sharpness
    if sharp is None:
        return []
    return [
        Paragraph(
            f"The median standard deviation of a prediction is {fixed(sharp.sd_percent, 1)}% of the weight; the "
            f"handbook alone would give these builds {fixed(sharp.handbook_sd_percent, 1)}%."
        )
    ]


def _coverage_graph(report: CalibrationReport) -> Graph:
    levels = report.levels

    def draw(axes: Axes) -> None:
        nominal = [100 * one.level for one in levels]
        shares = [100 * one.inside / one.builds for one in levels]
        low = [100 * one.usual_low / one.builds for one in levels]
        high = [100 * one.usual_high / one.builds for one in levels]
        axes.fill_between(nominal, low, high, color=BAND, linewidth=0)
        axes.plot(nominal, nominal, color=GREY, linestyle="--")
        axes.plot(nominal, shares, "o-", color=BLUE)
        label(axes, "grey: usual by luck", (nominal[-1], low[2]), "0.3", "right")
        label(axes, "left-out builds", (nominal[0] + 2, shares[0] - 3), BLUE)
        axes.set_xlabel("promised, % of builds")
        axes.set_ylabel("came true, % of builds")

    worst = max(levels, key=lambda one: abs(one.inside / one.builds - one.level))
    return Graph(
        title="Promised and kept",
        alternative=f"Share of builds inside their interval against the share promised, {levels[0].builds} builds. "
        f"Farthest from its promise is the {worst.level:.0%} interval with {worst.inside} inside; "
        f"{worst.usual_low} to {worst.usual_high} would be usual.",
        draw=draw,
        height_in=3.2,
    )


def _pit_graph(report: CalibrationReport) -> Graph:
    told = report.bars
    unusual = [bar for bar in told if not bar.usual_low <= bar.builds <= bar.usual_high]

    def draw(axes: Axes) -> None:
        starts = [100 * bar.start for bar in told]
        width = 100 * (told[0].end - told[0].start)
        colours = [VERMILION if bar in unusual else BLUE for bar in told]
        axes.bar(starts, [bar.builds for bar in told], width=0.92 * width, align="edge", color=colours)
        axes.axhspan(
            told[0].usual_low, told[0].usual_high, facecolor="none", edgecolor="0.2", hatch="...", lw=0.8
        )
        label(axes, "19 bars in 20 end in the dotted band", (0, told[0].usual_high))
        axes.set_ylim(0, 1.25 * max(told[0].usual_high, *(bar.builds for bar in told)))
        axes.set_xlabel("probability that was given to a lower reading, %")
        axes.set_ylabel("builds")

    return Graph(
        title="Where readings fell in their predictions",
        alternative=f"Histogram of {len(report.builds)} builds in {len(told)} bars of "
        f"{', '.join(str(bar.builds) for bar in told)}; {told[0].usual_low} to {told[0].usual_high} in each would be "
        f"usual, and {len(unusual)} lie outside. A heap at both ends would mean intervals too narrow, one in the "
        "middle too wide, a slope a bias.",
        draw=draw,
    )
