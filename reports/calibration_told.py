"""How the report on calibration is told."""

from matplotlib.axes import Axes

from predictor.belief.calibration import builds_needed
from reports.blocks import Block, Caution, Graph, Paragraph, grid, span
from reports.calibration_report import TOLD_LEVEL, CalibrationReport, Coverage
from reports.graphs import BAND, BLUE, GREY, VERMILION, label
from reports.numbers import fixed
from reports.printing import Units
from reports.sources import not_counted, tell_basis
from training.checking.coverage import CONFIDENCE

FEW = 10
"""Up to so many builds each is told by itself."""


def tell(report: CalibrationReport, units: Units) -> tuple[Block, ...]:
    """Tell the report."""
    told: list[Block] = [*tell_basis(report.basis), Paragraph(report.verdict)]
    if not report.builds:
        return tuple(told)
    told.append(
        Paragraph(
            "Each build was left out and predicted from the others as it was built and cut by its last weighing, at "
            f"the draw nearest to 28 in. {report.how_left_out} A planned bow, whose cut is still to come, comes out "
            "wider."
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
            f"{not_counted(told.builds - counted)}, {told.inside} of {told.builds} fell in "
            f"{'its' if told.inside == 1 else 'their'} {told.level:.0%} interval."
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
        label(axes, "points: left-out builds", (nominal[0], 97), BLUE)
        label(axes, "dashes: as promised", (nominal[0], 91), "0.3")
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
