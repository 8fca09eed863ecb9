"""What tolerance can be promised: by what is predicted, by how past bows and orders came out, and on which scale."""

from collections.abc import Sequence

import numpy as np
from pydantic import Field

from datasets.record import Record
from predictor.calibration import builds_needed, stretch
from predictor.conformity import conformance, guard_band
from predictor.mixture import NormalMixture
from predictor.scale_bias import by_weighings
from predictor.scatter import PRIOR_SCATTER
from reports.blocks import Block, Caution, Paragraph, grid, span
from reports.printing import Units
from reports.sources import Basis, Sources, basis_of, tell_basis
from training.coverage import count
from training.left_out_builds import LeftOutBuilds
from training.promises import (
    Kept,
    after_last_weighing,
    delivered,
    judged_sd,
    share_within,
    tolerance_by_rank,
    tolerance_for,
)

SHARES = (0.9, 0.95, 0.99)

STEPS_LBF = (1.0, 2.0, 3.0, 4.0, 5.0)
"""Tolerances whose chance is told besides the shop's."""

RISK = 0.05
"""That a bow accepted at the guarded limit is beyond the promise at that side."""


NOT_NOTED = "any other"
"""Stands for a scale that the book does not know."""


class Promise(Record):
    """The smallest tolerance that a share of bows meets."""

    share: float
    by_predictions_lbf: float | None = Field(description="nothing without builds")
    by_past_errors_lbf: float | None = Field(description="by rank; nothing where builds are too few")
    builds_needed: int = Field(description="for a rank")
    at_best_lbf: float | None = Field(
        description="of a bow cut to its weight by the scale, then finished and shot in; nothing without builds"
    )


class Chance(Record):
    """The share of bows within a tolerance, by their predictions, and how many past ones were."""

    tolerance_lbf: float
    share: float
    within: int
    builds: int


class OrderKept(Record):
    """How one delivered order fared."""

    order: str
    build: str
    promised_lbf: float
    tolerance_lbf: float
    read_lbf: float | None = Field(description="at the order's draw; nothing where it was not weighed there")
    met: bool | None
    sd_lbf: float = Field(description="standard uncertainty of the reading, as the order judges it")
    conforms: float | None = Field(description="probability that the bow itself keeps the tolerance")


class Guard(Record):
    """How far inside a promise a reading on one scale must lie."""

    scale: str
    sd_lbf: float = Field(description="standard uncertainty of one reading on it, scale and reading together")
    guard_lbf: float
    accept_lbf: float = Field(description="readings up to this from the mark may go out; below zero none may")


class ToleranceReport(Record):
    """What can be promised, and how promises were kept."""

    basis: Basis
    weight_lbf: float = Field(description="of a middling bow of the shop, or 50 where there is none")
    shop_tolerance_lbf: float
    builds: int = Field(description="sound ones, each left out once")
    promises: tuple[Promise, ...]
    chances: tuple[Chance, ...]
    orders: tuple[OrderKept, ...]
    met: int
    judged: int = Field(description="delivered orders whose bow was weighed at the promised draw")
    met_low: float = Field(description="of the share met, by Wilson's interval")
    met_high: float
    guards: tuple[Guard, ...]


def make(sources: Sources, _words: Sequence[str]) -> ToleranceReport:
    """Make the report."""
    left_out = sources.left_out.sound() if sources.left_out else None
    if left_out is not None and not left_out.builds:
        left_out = None
    weight = float(np.median([one.read_lbf for one in left_out.builds])) if left_out else 50.0
    tolerance = sources.contents.shop.tolerance_lbf
    sds, unknown = _scale_sds(sources)
    orders = tuple(_order(kept, sds, unknown) for kept in delivered(sources.contents))
    judged = [order for order in orders if order.met is not None]
    met = count(sum(bool(order.met) for order in judged), len(judged), SHARES[0])
    at_best = _at_best(sources, left_out, weight) if left_out else None
    promises = tuple(_promise(left_out, at_best, share) for share in SHARES)
    return ToleranceReport(
        basis=basis_of(sources),
        weight_lbf=weight,
        shop_tolerance_lbf=tolerance,
        builds=len(left_out.builds) if left_out else 0,
        promises=promises,
        chances=_chances(left_out, tolerance),
        orders=orders,
        met=met.held,
        judged=met.of,
        met_low=met.low,
        met_high=met.high,
        guards=tuple(_guard(name, sd * weight, tolerance) for name, sd in sds.items()),
    )


def _scale_sds(sources: Sources) -> tuple[dict[str, float], float]:
    """Return how surely each scale of the book is known, as a share of the weight, and the same of an unknown one."""
    names = [*sorted(sources.contents.scales), NOT_NOTED]
    known = by_weighings(sources.belief, names)
    sds = dict(zip(names, known.sd.tolist(), strict=True))
    return sds, sds[NOT_NOTED]


def _order(kept: Kept, sds: dict[str, float], unknown: float) -> OrderKept:
    sd = judged_sd(kept, sds, unknown, PRIOR_SCATTER.scale_reading_lbf, PRIOR_SCATTER.draw_reading_in)
    promised = kept.order.weight.lbf
    conforms = None
    if kept.read_lbf is not None:
        low, high = promised - kept.tolerance_lbf, promised + kept.tolerance_lbf
        conforms = conformance(kept.read_lbf, sd, low, high)
    return OrderKept(
        order=kept.order.id,
        build=kept.weigh_in.build,
        promised_lbf=promised,
        tolerance_lbf=kept.tolerance_lbf,
        read_lbf=kept.read_lbf,
        met=kept.met,
        sd_lbf=sd,
        conforms=conforms,
    )


def _at_best(sources: Sources, left_out: LeftOutBuilds, weight_lbf: float) -> NormalMixture | None:
    """Return what is left open of a bow of a middling weight that was cut by the scale, read as the last one was."""
    if sources.trained is None:
        return None
    wider = stretch(sources.trained.model.calibration.scores())
    last = left_out.asked[-1].columns
    return after_last_weighing(sources.trained.fit.posterior, last, weight_lbf).stretched(wider)


def _promise(left_out: LeftOutBuilds | None, at_best: NormalMixture | None, share: float) -> Promise:
    return Promise(
        share=share,
        by_predictions_lbf=tolerance_for(left_out.predicted, share) if left_out else None,
        by_past_errors_lbf=tolerance_by_rank(_off_lbf(left_out), share) if left_out else None,
        builds_needed=builds_needed(share),
        at_best_lbf=tolerance_for(at_best, share) if at_best else None,
    )


def _off_lbf(left_out: LeftOutBuilds) -> list[float]:
    return [one.read_lbf - one.expected_lbf for one in left_out.builds]


def _chances(left_out: LeftOutBuilds | None, tolerance_lbf: float) -> tuple[Chance, ...]:
    if left_out is None:
        return ()
    off = [abs(one) for one in _off_lbf(left_out)]
    return tuple(
        Chance(
            tolerance_lbf=step,
            share=share_within(left_out.predicted, step),
            within=sum(one <= step for one in off),
            builds=len(off),
        )
        for step in sorted({tolerance_lbf, *STEPS_LBF})
    )


def _guard(scale: str, scale_lbf: float, tolerance_lbf: float) -> Guard:
    sd = float(np.hypot(scale_lbf, PRIOR_SCATTER.scale_reading_lbf))
    guard = guard_band(sd, RISK)
    return Guard(scale=scale, sd_lbf=sd, guard_lbf=guard, accept_lbf=tolerance_lbf - guard)


def _verdict(report: ToleranceReport, units: Units) -> str:
    """Return what may be promised, and nothing stronger than the builds bear out."""
    promise = report.promises[0]
    if promise.by_predictions_lbf is None:
        return "No build has been weighed, so no tolerance can be founded on this shop's bows."
    unit, wide = units.weight, _either_way(promise.by_predictions_lbf, units)
    kept = f"9 bows in 10 come within {wide} {unit} of what is expected before weighing"
    if promise.by_past_errors_lbf is None:
        needed = f"{promise.builds_needed} are needed"
        return f"By the predictions {kept}; builds are too few to bear it out ({needed})."
    past, shop = _either_way(promise.by_past_errors_lbf, units), _either_way(report.shop_tolerance_lbf, units)
    if report.shop_tolerance_lbf >= max(promise.by_predictions_lbf, promise.by_past_errors_lbf):
        so = "may be promised of a bow that is built as planned"
    elif promise.at_best_lbf is not None and report.shop_tolerance_lbf < promise.at_best_lbf:
        best = _either_way(promise.at_best_lbf, units)
        so = f"is less than even weighing and cutting keep 9 times in 10, which is {best} {unit} at best"
    else:
        so = "can be promised only of bows that are weighed and cut to weight"
    return f"By the predictions {kept}, by past errors within {past} {unit}: the shop's {shop} {unit} {so}."


def tell(report: ToleranceReport, units: Units) -> tuple[Block, ...]:
    """Tell the report."""
    told: list[Block] = [*tell_basis(report.basis), Paragraph(_verdict(report, units))]
    if report.builds:
        told += [_promises(report, units), _what_is_meant(report), _chances_told(report, units)]
    told += _orders(report, units)
    told += _guards(report, units)
    return tuple(told)


def _promises(report: ToleranceReport, units: Units) -> Block:
    rows = [
        [
            f"{one.share:.0%}",
            "-" if one.by_predictions_lbf is None else _either_way(one.by_predictions_lbf, units),
            f"needs {one.builds_needed} builds"
            if one.by_past_errors_lbf is None
            else _either_way(one.by_past_errors_lbf, units),
            "-" if one.at_best_lbf is None else _either_way(one.at_best_lbf, units),
        ]
        for one in report.promises
    ]
    heads = [
        "of bows",
        f"by predictions, {units.weight}",
        f"by past errors, {units.weight}",
        f"cut by the scale, {units.weight}",
    ]
    return grid("Smallest tolerance that would be met", heads, rows)


def _either_way(lbf: float, units: Units) -> str:
    return f"± {units.tenths_of_weight(lbf)}"


def _what_is_meant(report: ToleranceReport) -> Block:
    builds = "1 build" if report.builds == 1 else f"{report.builds} builds"
    return Paragraph(
        f"Planned: {builds} predicted without its own weighings, from the others, as built and cut. A bow that is only "
        "drawn, or of new lots, comes out wider: see its own prediction. Past errors are counted by rank, which needs "
        "more builds the surer the promise. Cut by the scale: at best, for a bow that was weighed and cut to its "
        "weight with the expected loss left on, then finished and shot in; what a removal plan loses to its last cut "
        "is not yet known."
    )


def _chances_told(report: ToleranceReport, units: Units) -> Block:
    rows = [
        [
            _either_way(one.tolerance_lbf, units)
            + (" (the shop's)" if one.tolerance_lbf == report.shop_tolerance_lbf else ""),
            f"{one.share:.0%}",
            f"{one.within} of {one.builds}",
        ]
        for one in report.chances
    ]
    return grid("Chance of a tolerance", [f"tolerance, {units.weight}", "by predictions", "past bows"], rows)


def _orders(report: ToleranceReport, units: Units) -> list[Block]:
    if not report.orders:
        return [Paragraph("No order in the book has been delivered, so how promises were kept is not known.")]
    counted = (
        f"Of {report.judged} delivered orders that were weighed at the promised draw {report.met} met their tolerance "
        f"(95 % confidence: {span(f'{100 * report.met_low:.0f}', f'{report.met_high:.0%}')})."
    )
    rows = [
        [
            one.order,
            one.build,
            f"{units.tenths_of_weight(one.promised_lbf)} {_either_way(one.tolerance_lbf, units)}",
            "-" if one.read_lbf is None else units.tenths_of_weight(one.read_lbf),
            {True: "yes", False: "no", None: "not weighed there"}[one.met],
            "-" if one.conforms is None else f"{one.conforms:.0%}",
        ]
        for one in report.orders
    ]
    heads = ["order", "bow", f"promised, {units.weight}", f"read, {units.weight}", "met", "truly kept"]
    return [Paragraph(counted), grid("Delivered orders", heads, rows, texts=3)]


def _guards(report: ToleranceReport, units: Units) -> list[Block]:
    rows = [
        [
            one.scale,
            units.tenths_of_weight(one.sd_lbf),
            units.tenths_of_weight(one.guard_lbf),
            _either_way(one.accept_lbf, units) if one.accept_lbf > 0 else "none",
        ]
        for one in report.guards
    ]
    unit = units.weight
    told: list[Block] = [
        Paragraph(
            f"A reading just inside the promise is beyond it as likely as not. To risk {RISK:.0%} at either side, let "
            "a bow go out only if it reads well inside: here for "
            f"{units.tenths_of_weight(report.weight_lbf)} {unit} and the shop's "
            f"{_either_way(report.shop_tolerance_lbf, units)} {unit}."
        ),
        grid("Guard band of each scale", ["scale", f"sd, {unit}", f"guard, {unit}", f"accept, {unit}"], rows),
    ]
    if any(one.accept_lbf <= 0 for one in report.guards):
        told.append(
            Caution(
                "Where no reading is accepted, the scale is too unsure for the promise: hang a check weight."
            )
        )
    return told
