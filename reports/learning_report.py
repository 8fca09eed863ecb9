"""How the shop has learned, where the next builds would take it, and what would teach most."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from matplotlib.axes import Axes
from pydantic import Field

from datasets.record import Record
from predictor.belief.columns import Columns
from predictor.belief.habits import USUAL
from predictor.prediction.lessons import Lesson, after_all, after_each, doubt, half_widths, weighing
from reports.blocks import Block, Graph, Paragraph, grid
from reports.graphs import BLUE, VERMILION, label
from reports.numbers import fixed
from reports.printing import Units, named_once
from reports.sources import Basis, Sources, basis_of, tell_basis
from training.checking.compared import mean
from training.checking.left_out_builds import LeftOutBuilds
from training.studies.candidates import candidates, usual_bows
from training.studies.learning_curve import LEVEL, curve

AHEAD = 10
"""So many more builds are looked ahead."""

USUAL_LBF = 50.0
"""Per cents are told in pounds of a bow of this weight."""

TOLD = 12
"""So many lessons are shown."""

MOSTLY_OWN = 0.8
"""From this share of the width on, it is said that most of it is each bow's own."""

LEAST_TOLD_PERCENT = 0.005
"""A lesson that narrows intervals by less, in per cent of the weight, teaches nothing to speak of."""

MATTERS_PERCENT, FEW_TOLD = 0.2, 3
"""Below this gain even the best lesson hardly matters, and so many are shown."""


class Stop(Record):
    """What the first builds said of the newest, which are the same at every stop."""

    builds: int = Field(description="that had taught")
    later: int = Field(description="builds foretold, the newest")
    off_percent: tuple[float, ...] = Field(description="absolute error of each, of the weight")
    median_percent: float = Field(description="median absolute error, of the weight")
    rms_percent: float = Field(description="root mean square error, in which one slip weighs much")
    half_width_percent: float = Field(description="mean half width of the 90 % interval")
    inside: int = Field(description="of how many the reading lay in the interval")


class Ahead(Record):
    """Mean half width of the 90 % interval of the shop's usual bows, in per cent of the weight."""

    now_percent: float
    after_percent: float = Field(description="after ten more builds like the last ones")
    own_percent: float = Field(
        description="if all that builds can teach were known: what each bow has of its own"
    )


class Teaches(Record):
    """What one build or measurement would bring."""

    what: str
    half_width_percent: float = Field(description="mean over the usual bows, once it is done")
    gain_percent: float = Field(description="by how much narrower that is")


class LearningReport(Record):
    """Errors and widths against builds, the next ten builds, and the best lessons."""

    basis: Basis
    curve: tuple[Stop, ...]
    usual_bows: int = Field(description="that stand for what the shop makes")
    ahead: Ahead | None = Field(description="nothing where the book has no bow to look at")
    teaches: tuple[Teaches, ...] = Field(description="most first")


def make(sources: Sources, _words: Sequence[str]) -> LearningReport:
    """Make the report."""
    left_out = sources.left_out_at_once.sound() if sources.left_out_at_once else None
    habits = sources.trained.evidence.habits if sources.trained else USUAL
    bows = usual_bows(sources.contents, left_out, habits)
    return LearningReport(
        basis=basis_of(sources),
        curve=_curve(sources, left_out),
        usual_bows=len(bows),
        ahead=_ahead(sources, bows) if bows else None,
        teaches=_teaches(sources, bows, candidates(sources.contents, left_out, bows, habits)) if bows else (),
    )


def _curve(sources: Sources, left_out: LeftOutBuilds | None) -> tuple[Stop, ...]:
    if sources.trained is None or left_out is None or not left_out.asked:
        return ()
    found = curve(sources.trained.evidence, left_out.asked, sources.track)
    return tuple(Stop(**vars(point)) for point in found)


def _wider(sources: Sources) -> float:
    return sources.trained.model.calibration.wider() if sources.trained else 1.0


def _ahead(sources: Sources, bows: Sequence[Columns]) -> Ahead:
    belief = sources.belief
    more = [weighing("", bows[-1 - place % len(bows)]) for place in range(AHEAD)]
    left = doubt(belief, bows)
    percent = 100 * _wider(sources)
    nothing_left = replace(left, covariances=np.zeros_like(left.covariances))
    return Ahead(
        now_percent=percent * float(half_widths(left, bows).mean()),
        after_percent=percent * float(half_widths(after_all(left, more), bows).mean()),
        own_percent=percent * float(half_widths(nothing_left, bows).mean()),
    )


def _teaches(sources: Sources, bows: Sequence[Columns], lessons: Sequence[Lesson]) -> tuple[Teaches, ...]:
    if not lessons:
        return ()
    belief = sources.belief
    left = doubt(belief, bows, lessons)
    percent = 100 * _wider(sources)
    now = percent * float(half_widths(left, bows).mean())
    after = (percent * after_each(left, bows, lessons).mean(axis=1)).tolist()
    told = [
        Teaches(what=lesson.name, half_width_percent=width, gain_percent=now - width)
        for lesson, width in zip(lessons, after, strict=True)
    ]
    return tuple(sorted(told, key=lambda one: (-one.gain_percent, one.what)))


def tell(report: LearningReport, units: Units) -> tuple[Block, ...]:
    """Tell the report."""
    told: list[Block] = [*tell_basis(report.basis)]
    if report.curve:
        told += _curve_told(report)
    else:
        told.append(Paragraph("No build has been foretold by earlier ones yet, so there is no curve."))
    if report.ahead is None:
        told.append(
            Paragraph("There is no bow in the book to look ahead with: add a planned one (drawweight add).")
        )
        return tuple(told)
    told += _ahead_told(report, report.ahead, units)
    told += _teaches_told(report)
    return tuple(told)


def _curve_told(report: LearningReport) -> list[Block]:
    heads = ["builds", "foretold", "median error, %", "rms error, %", f"{LEVEL:.0%} half width, %", "inside"]
    rows = [
        [
            str(one.builds),
            str(one.later),
            fixed(one.median_percent, 1),
            fixed(one.rms_percent, 1),
            fixed(one.half_width_percent, 1),
            str(one.inside),
        ]
        for one in report.curve
    ]
    told: list[Block] = [
        Paragraph(
            "In each row the first builds foretell the newest ones, the same bows in all rows, as they were built and "
            "cut; half of them came nearer than the median error, and one slip of the pencil weighs much in the root "
            "mean square. New lots come in with them."
        ),
        grid("Error and width against builds", heads, rows, texts=0),
    ]
    if len(report.curve) > 1:
        told.append(Paragraph(_learned(report.curve[0], report.curve[-1])))
    return [*told, _curve_graph(report.curve)] if len(report.curve) > 2 else told


def _learned(first: Stop, last: Stop) -> str:
    """Return what the builds in between have brought, bow by bow."""
    nearer = mean(np.array(first.off_percent) - np.array(last.off_percent))
    builds = f"From {first.builds} to {last.builds} builds"
    if nearer.half is None:
        return f"{builds} the error of one bow is compared, which tells nothing yet."
    moved = f"{builds} the mean absolute error of the same {last.later} bows went"
    how = "down" if nearer.value >= 0 else "up"
    sure = "more than luck brings" if abs(nearer.value) > nearer.half else "which luck alone may bring"
    return f"{moved} {how} by {fixed(abs(nearer.value), 1)} ± {fixed(nearer.half, 1)}% of the weight (95%), {sure}."


def _curve_graph(curve_: Sequence[Stop]) -> Graph:
    first, last = curve_[0], curve_[-1]

    def draw(axes: Axes) -> None:
        builds = [one.builds for one in curve_]
        axes.plot(builds, [one.median_percent for one in curve_], "o-", color=BLUE)
        axes.plot(builds, [one.half_width_percent for one in curve_], "s--", color=VERMILION)
        axes.set_xscale("symlog", linthresh=3)
        axes.set_xticks(builds, [str(one) for one in builds])
        axes.minorticks_off()
        axes.set_ylim(0, None)
        label(axes, "median error", (builds[1], 0.3 * curve_[1].median_percent), BLUE)
        label(axes, f"half width, {LEVEL:.0%}", (builds[1], curve_[1].half_width_percent), VERMILION)
        axes.set_xlabel("builds that had taught")
        axes.set_ylabel("of the weight, %")

    return Graph(
        title="Learning from builds",
        alternative=f"Median error and half width of the {LEVEL:.0%} interval against the builds that had taught. "
        f"From {first.builds} to {last.builds} builds the error goes from {first.median_percent:.1f} to "
        f"{last.median_percent:.1f}% of the weight, the half width from {first.half_width_percent:.1f} to "
        f"{last.half_width_percent:.1f}%.",
        draw=draw,
    )


def _ahead_told(report: LearningReport, ahead: Ahead, units: Units) -> list[Block]:
    weight = units.of_weight(USUAL_LBF)
    reach = f"{fixed(weight * ahead.now_percent / 100, 1)} of {fixed(weight, 0)} {units.weight}"
    bows = "the one bow" if report.usual_bows == 1 else f"the last {report.usual_bows} bows"
    return [
        Paragraph(
            f"Built again, with nothing of their own known, {bows} would have {LEVEL:.0%} intervals of "
            f"± {fixed(ahead.now_percent, 1)}% on average ({reach}). {AHEAD} more builds like the last ones would "
            f"bring that to ± {fixed(ahead.after_percent, 1)}%; with all that builds can teach it would be "
            f"± {fixed(ahead.own_percent, 1)}%, which each bow, its measuring and its weighing have of their own. "
            "Scales of scatter are taken as they are believed now."
        )
    ]


def _teaches_told(report: LearningReport) -> list[Block]:
    worth = [one for one in report.teaches if one.gain_percent >= LEAST_TOLD_PERCENT][:TOLD]
    hardly = bool(worth) and worth[0].gain_percent < MATTERS_PERCENT
    worth = worth[:FEW_TOLD] if hardly else worth
    if not worth:
        return [
            Paragraph("No single build or measurement that can be thought of would narrow that to speak of.")
        ]
    own = report.ahead is not None and report.ahead.own_percent > MOSTLY_OWN * report.ahead.now_percent
    mostly = " Most of the width is each bow's own, so measuring the bow itself brings more." if own else ""
    rows = [
        [named_once(one.what), fixed(one.half_width_percent, 2), fixed(one.gain_percent, 2)] for one in worth
    ]
    first = (
        "Nothing that one can build or test now matters much for the average of those bows."
        if hardly
        else "What would teach most, each by itself, for the average of those bows."
    )
    return [
        Paragraph(f"{first} For one planned bow see: drawweight predict BUILD --budget.{mostly}"),
        grid(
            "Best next",
            ["do", "half width then, %", "narrower by, %"],
            rows,
        ),
    ]
