"""What tolerance can be promised: planned, with the removal plan, by how past orders came out, and on which scale."""

from collections.abc import Iterator, Sequence
from math import hypot

import numpy as np
from pydantic import Field

from datasets.record import Record
from predictor.belief.calibration import builds_needed
from predictor.belief.scale_bias import by_weighings
from predictor.planning.stakes import Stakes
from predictor.prediction.conformity import conformance, guard_band
from reports.sources import Basis, Sources, basis_of
from training.checking.coverage import wilson
from training.checking.left_out_builds import LeftOutBuilds
from training.studies.first_draws import FirstDraws, first_draws
from training.studies.promises import (
    Kept,
    delivered,
    judged_sd,
    share_within,
    tolerance_by_rank,
    tolerance_for,
)
from training.studies.reading_error import ReadingError, reading_error
from training.studies.usual_kits import kept_with_plan, share_kept, tolerance_kept, usual_kits
from training.studies.weighed_again import occasions

SHARES = (0.9, 0.95, 0.99)

STEPS_LBF = (1.0, 2.0, 3.0, 4.0, 5.0)
"""Tolerances whose chance is told besides the shop's."""

RISK = 0.05
"""That a bow accepted at the guarded limit is beyond the promise at that side."""


NOT_NOTED = "any other"
"""Stands for a scale that the book does not know."""


class Promise(Record):
    """The smallest tolerance about its prediction that a share of bows meets when first drawn."""

    share: float
    by_predictions_lbf: float | None = Field(description="nothing without builds")
    by_past_errors_lbf: float | None = Field(
        description="measured, by rank; nothing where builds are too few"
    )
    builds_needed: int = Field(description="for a rank")


class WithPlan(Record):
    """How a usual kit of one form would keep its order if the removal plan were followed, as the plan foretells."""

    form: str
    like: str = Field(description="build whose first draw lay above its end as is usual on the form")
    target_lbf: float
    over_lbf: float = Field(description="expected above the target after the first draw, if it were left so")
    weighing_lbf: float = Field(
        description="standard deviation of a weighing about what the order is judged by"
    )
    after_lbf: float = Field(description="standard deviation of what finishing and shooting in take")
    kept: tuple[tuple[float, float], ...] = Field(
        description="tolerances in pounds, and the share within each"
    )
    tolerances_lbf: tuple[float | None, ...] = Field(
        description="smallest for each share promised, none below the narrowest looked at; nothing beyond the widest"
    )


class Chance(Record):
    """The share of first draws within a tolerance, by their predictions, and how many past ones were."""

    tolerance_lbf: float
    share: float
    within: int
    builds: int
    with_plan: tuple[float | None, ...] = Field(
        description="share of orders at least, for each usual kit; nothing if narrower than looked at"
    )


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
    sd_lbf: float = Field(
        description="standard uncertainty of one reading on it, scale, reading and draw together"
    )
    guard_lbf: float
    accept_lbf: float = Field(description="readings up to this from the mark may go out; below zero none may")


class ToleranceReport(Record):
    """What can be promised, and how promises were kept."""

    basis: Basis
    weight_lbf: float = Field(description="of a middling bow of the shop, or 50 where there is none")
    shop_tolerance_lbf: float
    builds: int = Field(description="sound ones weighed before any cut, each left out once")
    promises: tuple[Promise, ...]
    with_plan: tuple[WithPlan, ...] = Field(description="a usual kit of each form")
    chances: tuple[Chance, ...]
    orders: tuple[OrderKept, ...]
    met: int
    judged: int = Field(description="delivered orders whose bow was weighed at the promised draw")
    met_low: float = Field(description="of the share met, by Wilson's interval")
    met_high: float
    reading_lbf: float = Field(description="standard uncertainty of one reading, the scale's own bias aside")
    repeated: int = Field(
        description="weighings beyond each bow's first on a scale, as it stood, that it rests on"
    )
    guards: tuple[Guard, ...]


def make(sources: Sources, _words: Sequence[str]) -> ToleranceReport:
    """Make the report."""
    left_out = sources.left_out_at_once.sound() if sources.left_out_at_once else None
    read = [one.read_lbf for one in left_out.builds] if left_out else []
    weight = float(np.median(read)) if read else 50.0
    tolerance = sources.contents.shop.tolerance_lbf
    drawn = _first_draws(sources, left_out)
    with_plan = tuple(_with_plans(sources, left_out, drawn))
    sds, unknown = _scale_sds(sources)
    reading = reading_error(occasions(sources.contents))
    orders = tuple(_order(kept, sds, unknown, reading) for kept in delivered(sources.contents))
    judged = [order for order in orders if order.met is not None]
    met = sum(bool(order.met) for order in judged)
    met_low, met_high = wilson(met, len(judged))
    return ToleranceReport(
        basis=basis_of(sources),
        weight_lbf=weight,
        shop_tolerance_lbf=tolerance,
        builds=len(drawn.builds) if drawn else 0,
        promises=tuple(_promise(drawn, share) for share in SHARES),
        with_plan=with_plan,
        chances=_chances(drawn, with_plan, tolerance),
        orders=orders,
        met=met,
        judged=len(judged),
        met_low=met_low,
        met_high=met_high,
        reading_lbf=reading.sd_lbf(weight),
        repeated=reading.repeats.freedom if reading.repeats else 0,
        guards=tuple(
            _guard(name, hypot(sd * weight, reading.sd_lbf(weight)), tolerance) for name, sd in sds.items()
        ),
    )


def _first_draws(sources: Sources, left_out: LeftOutBuilds | None) -> FirstDraws | None:
    if sources.trained is None or left_out is None:
        return None
    return first_draws(sources.trained, sources.contents, [one.build for one in left_out.builds])


def _with_plans(
    sources: Sources, left_out: LeftOutBuilds | None, drawn: FirstDraws | None
) -> Iterator[WithPlan]:
    """Yield the outlook of the usual kit of each form."""
    if sources.trained is None or left_out is None or drawn is None:
        return
    shop = sources.contents.shop
    stakes = Stakes.of(shop, shop.tolerance_lbf)
    kits = list(usual_kits(sources.contents, sources.trained.model, left_out.builds, drawn))
    for kit in sources.track(kits, "following the plan"):
        kept = kept_with_plan(kit, stakes, max(SHARES))
        yield WithPlan(
            form=kit.form,
            like=kit.like,
            target_lbf=kit.promise.weight_lbf,
            over_lbf=kit.state.settled_lbf - kit.promise.weight_lbf,
            weighing_lbf=kit.state.noise.weighing_lbf,
            after_lbf=kit.state.noise.after_lbf,
            kept=kept,
            tolerances_lbf=tuple(tolerance_kept(kept, share) for share in SHARES),
        )


def _scale_sds(sources: Sources) -> tuple[dict[str, float], float]:
    """Return how surely each scale of the book is known, as a share of the weight, and the same of an unknown one."""
    names = [*sorted(sources.contents.scales), NOT_NOTED]
    known = by_weighings(sources.belief, names)
    sds = dict(zip(names, known.sd.tolist(), strict=True))
    return sds, sds[NOT_NOTED]


def _order(kept: Kept, sds: dict[str, float], unknown: float, reading: ReadingError) -> OrderKept:
    sd = judged_sd(kept, sds, unknown, reading)
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


def _promise(drawn: FirstDraws | None, share: float) -> Promise:
    return Promise(
        share=share,
        by_predictions_lbf=tolerance_for(drawn.predicted, share) if drawn else None,
        by_past_errors_lbf=tolerance_by_rank(drawn.off_lbf.tolist(), share) if drawn else None,
        builds_needed=builds_needed(share),
    )


def _chances(
    drawn: FirstDraws | None, with_plan: Sequence[WithPlan], tolerance_lbf: float
) -> tuple[Chance, ...]:
    if drawn is None:
        return ()
    off = np.abs(drawn.off_lbf)
    return tuple(
        Chance(
            tolerance_lbf=step,
            share=share_within(drawn.predicted, step),
            within=int(np.sum(off <= step)),
            builds=len(off),
            with_plan=tuple(share_kept(kit.kept, step) for kit in with_plan),
        )
        for step in sorted({tolerance_lbf, *STEPS_LBF})
    )


def _guard(scale: str, sd: float, tolerance_lbf: float) -> Guard:
    guard = guard_band(sd, RISK)
    return Guard(scale=scale, sd_lbf=sd, guard_lbf=guard, accept_lbf=tolerance_lbf - guard)
