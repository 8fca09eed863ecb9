"""How the report on errors is told."""

from collections.abc import Sequence

from matplotlib.axes import Axes

from reports.blocks import Block, Graph, Grid, Paragraph, grid
from reports.errors_report import (
    QUANTITIES,
    Against,
    ErrorsReport,
    MeanError,
    Method,
    Scored,
    Worse,
)
from reports.graphs import BAND, BLUE, GREY, VERMILION, label, points
from reports.numbers import fixed
from reports.printing import Units
from reports.sources import tell_basis
from training.checking.compared import FEWEST_FOR_A_VERDICT, FEWEST_FOR_RIVALS, SURE_P
from training.checking.diagnostics import BUILDS_A_COLUMN, FEWEST_FOR_A_TREND

TOLD_OF_EACH = (
    "Each was foretold as built and cut by its last weighing; a planned bow, not cut yet, errs more."
)
"""What the errors are of: the last cut of a bow tells of its weight."""


def tell(report: ErrorsReport, units: Units) -> tuple[Block, ...]:
    """Tell the report."""
    told: list[Block] = list(tell_basis(report.basis))
    if report.methods:
        told += _methods(report, units)
        told += [_groups(report, units)]
        told += _against(report)
        told += _spread(report)
        told += _influence(report)
    if report.surprising:
        told += _surprising(report, units)
    else:
        told.append(Paragraph("No build has been left out, so there are no errors to tell of."))
    return tuple(told)


def _methods(report: ErrorsReport, units: Units) -> list[Block]:
    ours = report.methods[0].scored
    told: list[Block] = [Paragraph(_bias(ours, units)), Paragraph(f"{TOLD_OF_EACH} {report.how_left_out}")]
    told.append(_table("Errors of left-out builds, all of them", report.methods, units))
    if _named(report):
        told.append(_table(f"The same without {_named(report)}", report.on_sound, units))
    told.append(
        Paragraph(
            "MAE is the mean absolute error, RMSE the root mean square. CRPS is how far a whole prediction, its width "
            "and all, lies from what came; the 90% score is an interval's width and 20 times what it missed by. Less "
            "is better in all of them."
        )
    )
    if len(report.methods) == 1:
        told.append(Paragraph(f"Rivals need {FEWEST_FOR_RIVALS} builds or more."))
        return told
    return [*told, *_rivals(report, units)]


def _named(report: ErrorsReport) -> str:
    """Return how many builds look like a mistake, in words; nothing where none does."""
    named = report.methods[0].scored.builds - sum(method.scored.builds for method in report.on_sound[:1])
    word = "build that looks" if named == 1 else "builds that look"
    return f"the {named} {word} like a mistake to this tool" if named else ""


def _table(title: str, methods: Sequence[Method], units: Units) -> Block:
    rows = [[method.name, *_cells(method.scored, units)] for method in methods]
    return grid(title, ["foretold by", *_heads(units)], rows)


def _bias(ours: Scored, units: Units) -> str:
    bias, unit = ours.bias_lbf, units.weight
    value = units.tenths_of_weight(bias.value)
    if bias.half is None:
        return f"The one build read {value} {unit} from what was expected; one tells nothing of a bias."
    half = units.tenths_of_weight(bias.half)
    verdict = "which luck alone brings" if abs(bias.value) <= bias.half else "more than luck brings"
    share = f"{fixed(ours.bias_percent.value, 1)}%"
    return (
        f"Builds read {value} ± {half} {unit} ({share}) over what was expected, {verdict} "
        f"(95%, {ours.builds} builds)."
    )


def _heads(units: Units) -> list[str]:
    unit = units.weight
    return [
        "builds",
        f"bias, {unit}",
        f"MAE, {unit}",
        f"RMSE, {unit}",
        "MAE, %",
        "RMSE, %",
        "CRPS, %",
        f"90% score, {unit}",
    ]


def _cells(scored: Scored, units: Units) -> list[str]:
    return [
        str(scored.builds),
        units.tenths_of_weight(scored.bias_lbf.value),
        units.tenths_of_weight(scored.mean_absolute_lbf),
        units.tenths_of_weight(scored.root_mean_square_lbf),
        fixed(scored.mean_absolute_percent, 1),
        fixed(scored.root_mean_square_percent, 1),
        fixed(scored.crps_percent, 2),
        units.tenths_of_weight(scored.interval_lbf),
    ]


def _rivals(report: ErrorsReport, units: Units) -> list[Block]:
    told: list[Block] = [
        _worse_table("all builds", report.methods, units),
        Paragraph(_verdicts("on all builds", report.methods)),
    ]
    if _named(report):
        without = f"without {_named(report)}"
        told.append(_worse_table(without, report.on_sound, units))
        told.append(Paragraph(_verdicts("without those", report.on_sound)))
    return [*told, _rivals_graph(report.methods)]


def _worse_table(of: str, methods: Sequence[Method], units: Units) -> Block:
    rows = [
        [
            method.name,
            *_paired(method.worse.crps_percent, 1.0),
            "-" if method.worse.p_of_all is None else _p(method.worse.p_of_all),
            *_paired(method.worse.absolute_lbf, units.of_weight(1.0)),
        ]
        for method in methods
        if method.worse
    ]
    heads = ["rival", "CRPS, %", "95%", "p, all looked at", f"MAE, {units.weight}", "95%"]
    return grid(f"How much worse than this tool, {of} (below zero: better)", heads, rows)


def _paired(difference: MeanError, factor: float) -> tuple[str, str]:
    if difference.half is None:
        return "-", "-"
    return f"{factor * difference.value:+.2f}", f"± {factor * difference.half:.2f}"


def _verdicts(of: str, methods: Sequence[Method]) -> str:
    builds = min((method.scored.builds for method in methods), default=0)
    if builds < FEWEST_FOR_A_VERDICT:
        counted = f"{builds} build{'' if builds == 1 else 's'}"
        return f"Which foretells better {of} cannot be said of {counted}: that takes {FEWEST_FOR_A_VERDICT} or more."
    named: dict[str, list[str]] = {}
    for method in methods:
        if method.worse:
            named.setdefault(_verdict(method.worse), []).append(method.name)
    told = "; ".join(f"{verdict}: {', '.join(names)}" for verdict, names in named.items())
    return f"By CRPS {of}, at 95% for all rivals together (Holm), {told}."


def _verdict(worse: Worse) -> str:
    if worse.p_of_all is None or worse.p_of_all >= SURE_P:
        return "no different for all that so few builds tell"
    return "worse" if worse.crps_percent.value > 0 else "better"


def _rivals_graph(methods: Sequence[Method]) -> Graph:
    found = [
        (method.name, method.worse.crps_percent.value, method.worse.crps_percent.half)
        for method in methods
        if method.worse and method.worse.crps_percent.half is not None
    ]

    def draw(axes: Axes) -> None:
        for place, (name, value, half) in enumerate(found):
            axes.errorbar(value, -place, xerr=half, fmt="o", color=BLUE, capsize=3)
            label(axes, name, (value, -place + 0.12), side="center")
        axes.axvline(0, color=GREY, linestyle="--")
        axes.set_yticks([])
        axes.spines["left"].set_visible(False)
        axes.set_ylim(-len(found) + 0.5, 0.8)
        axes.set_xlabel("worse by (CRPS), % of weight")

    told = "; ".join(f"{name} {value:+.2f} ± {half:.2f}" for name, value, half in found)
    return Graph(
        "Rivals beside this tool",
        f"CRPS of rivals less that of this tool, all builds, % of weight: {told}.",
        draw,
    )


def _groups(report: ErrorsReport, units: Units) -> Block:
    unit = units.weight
    heads = ["group", "builds", f"bias, {unit} (95%)", f"MAE, {unit}", "MAE, %", "CRPS, %"]
    rows = []
    for one in report.groups:
        scored = one.scored
        half, bias = scored.bias_lbf.half, units.tenths_of_weight(scored.bias_lbf.value)
        rows.append(
            [
                f"{one.by}: {one.group}",
                str(scored.builds),
                bias if half is None else f"{bias} ± {units.tenths_of_weight(half)}",
                units.tenths_of_weight(scored.mean_absolute_lbf),
                fixed(scored.mean_absolute_percent, 1),
                fixed(scored.crps_percent, 2),
            ]
        )
    return grid("By group", heads, rows)


def _against(report: ErrorsReport) -> list[Block]:
    if not report.against:
        return [Paragraph(f"Trends are looked for from {FEWEST_FOR_A_TREND} builds on.")]
    rows = [
        [
            f"{one.quantity}, {one.unit}",
            str(len(one.values)),
            f"{one.rank_correlation:+.2f}",
            _p(one.p),
            _p(one.p_of_all),
        ]
        for one in report.against
    ]
    sure = [one.quantity for one in report.against if one.p_of_all < SURE_P]
    verdict = f"Errors go with {', '.join(sure)}." if sure else "Errors go with none of these beyond luck."
    heads = ["errors against", "builds", "rank correlation", "p", "p, all looked at"]
    untold = [name for name in QUANTITIES if name not in {one.quantity for one in report.against}]
    missing = f" Not known of enough builds, or the same in most: {', '.join(untold)}." if untold else ""
    return [
        grid("What errors go with", heads, rows),
        Paragraph(verdict + missing),
        *(_against_graph(one) for one in report.against),
    ]


def _p(chance: float) -> str:
    return "<0.001" if chance < 0.001 else fixed(chance, 3)


def _against_graph(one: Against) -> Graph:
    in_order = sorted(zip(one.values, one.smooth, strict=True))

    def draw(axes: Axes) -> None:
        axes.axhspan(-2, 2, color=BAND, linewidth=0)
        axes.axhline(0, color=GREY, linestyle="--", linewidth=1)
        points(axes, one.values, one.scores)
        axes.plot(
            [value for value, _ in in_order], [smooth for _, smooth in in_order], color=VERMILION, linewidth=2
        )
        label(axes, "line: smooth; grey: 19 in 20, if all is well", (in_order[0][0], 2.0), VERMILION)
        axes.set_ylim(min(-2.5, *one.scores) - 0.2, max(2.9, *one.scores) + 0.2)
        axes.set_xlabel(
            f"{one.quantity}, {one.unit}{' since the first weighing' if one.quantity == 'date' else ''}"
        )
        axes.set_ylabel("reading too high, in sd")

    smooth = [value for _, value in in_order]
    return Graph(
        title=f"Errors against {one.quantity}",
        alternative=f"Errors of {len(one.values)} left-out builds in predictive standard deviations against "
        f"{one.quantity}; their smooth runs from {min(smooth):+.1f} to {max(smooth):+.1f} sd, rank correlation "
        f"{one.rank_correlation:+.2f}. The grey band holds 19 in 20 if all is well.",
        draw=draw,
        height_in=2.4,
    )


def _spread(report: ErrorsReport) -> list[Block]:
    if not report.spread:
        return [Paragraph(f"Whether the spread is even is tested from {2 * BUILDS_A_COLUMN} builds on.")]
    rows = [[test.name, ", ".join(test.on), _p(test.p)] for test in report.spread]
    uneven = any(test.p < SURE_P for test in report.spread)
    verdict = "The spread of errors is not even: intervals are too wide for some bows, too narrow for others."
    even = "Nothing says that the spread of errors, in predictive standard deviations, is uneven."
    return [
        grid("Whether the spread of errors is even", ["test", "on", "p"], rows, texts=2),
        Paragraph(verdict if uneven else even),
    ]


def _influence(report: ErrorsReport) -> list[Block]:
    if not report.influential:
        return []
    usual = 4 / sum(method.scored.builds for method in report.on_sound[:1])
    rows = [
        [one.build, fixed(one.cook, 2), fixed(one.leverage, 2), _p(one.outlier_p)]
        for one in report.influential
    ]
    return [
        grid(
            "Builds that weigh most in a regression of the errors",
            ["build", "Cook's distance", "leverage", "outlier p"],
            rows,
        ),
        Paragraph(
            f"In a regression of the errors on {', '.join(report.regressed_on)}. A distance over {fixed(usual, 2)} is "
            "worth a look at the record."
        ),
    ]


def _surprising(report: ErrorsReport, units: Units) -> list[Block]:
    unit = units.weight
    rows = tuple(
        (
            one.build.build,
            units.tenths_of_weight(one.build.expected_lbf),
            units.tenths_of_weight(one.build.read_lbf),
            f"{one.build.score:+.1f}",
            "; ".join(one.reasons),
        )
        for one in report.surprising
    )
    heads = ("build", f"expected, {unit}", f"read, {unit}", "off, sd", "likely reason")
    return [Grid("Most surprising builds", heads, rows, right=(1, 2, 3))]
