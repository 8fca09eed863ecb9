"""The report on tolerances: what it promises, how it counts orders, and how it guards against the scale."""

import io
from collections.abc import Sequence

import numpy as np
import pytest
from numpy.typing import NDArray
from rich.console import Console

from datasets.contents import Contents
from datasets.schema import KINDS
from predictor.belief.model import prior_belief
from predictor.belief.scale_bias import by_weighings, with_check_weights
from reports.blocks import show_section, span
from reports.printing import Units
from reports.registry import REPORTS
from reports.sources import Sources
from reports.tolerance_report import NOT_NOTED, Chance, ToleranceReport, WithPlan, make
from tests import shop
from tests.reports.fitted import DAY, HASH, sources

Array = NDArray[np.float64]


def text(report: ToleranceReport) -> str:
    """Return a report as the terminal shows it."""
    out = Console(file=io.StringIO(), width=120)
    show_section(REPORTS["tolerance"].section(report, Units("inch")), out)
    return " ".join(out.file.getvalue().split())  # type: ignore[attr-defined]  # what it was made with


def of_orders(*weights: str, more: Sequence[shop.Typed] = ()) -> ToleranceReport:
    """Return the report on one bow that read 45 lb at 28 in, delivered for orders of some weights."""
    contents = book(*weights, more=more)
    return make(Sources(contents, HASH, len(contents.orders), DAY, None), ())


def book(*weights: str, more: Sequence[shop.Typed] = ()) -> Contents:
    """Return the book with that bow, those orders, a checked scale, and more."""
    typed = [
        shop.Typed(
            "scale", {"id": "hook", "division_lbf": 0.1, "checks": [{"known": "50", "read": "50"}] * 9}
        ),
        shop.form(),
        shop.build(id="K-001"),
        shop.weigh_in(id="K-001/1", scale="hook"),
        *more,
    ]
    typed += [
        shop.order(id=f"ORDER-{number:03d}", weight=weight, delivered="K-001/1")
        for number, weight in enumerate(weights, 1)
    ]
    return Contents.of(KINDS[kind].model_validate(data) for kind, data in typed)


def test_orders_are_counted() -> None:
    """Of three orders two are met within the shop's 1 lb; the share's interval is Wilson's, 0.21 to 0.94.

    Computed by `statsmodels.stats.proportion.proportion_confint(2, 3, method="wilson")`: 0.2077, 0.9385.
    """
    report = of_orders("45", "45.5", "47")

    assert [order.met for order in report.orders] == [True, True, False]
    assert (report.met, report.judged) == (2, 3)
    assert (report.met_low, report.met_high) == pytest.approx((0.2077, 0.9385), abs=5e-5)
    assert "Of 3 delivered orders that were weighed at the promised draw 2 met" in text(report)


def test_met_by_a_hair_is_kept_half_the_time() -> None:
    """A reading right at the limit is kept as likely as not; one on the mark nearly surely; one 2 lb off hardly."""
    on_limit, on_mark, off = of_orders("46", "45", "47").orders

    assert on_limit.met
    assert on_limit.conforms == pytest.approx(0.5, abs=0.01)
    assert on_mark.conforms > 0.95  # type: ignore[operator]  # it was read
    assert off.conforms < 0.05  # type: ignore[operator]  # it was read


def _readings(rng: np.random.Generator, true_lbf: Array, scale_sd: float) -> Array:
    """Return what is read of bows of about 50 lb: the scale off, the pointer off, the bow not drawn to the mark."""
    scale = 1 + scale_sd * rng.standard_normal(len(true_lbf))
    overdrawn_in = 0.06 * rng.standard_normal(len(true_lbf))
    read: Array = scale * (true_lbf + 0.055 * 50 * overdrawn_in) + 0.15 * rng.standard_normal(len(true_lbf))
    return read


@pytest.mark.parametrize("scale", ["hook", NOT_NOTED])
def test_stated_risk_is_met(scale: str) -> None:
    """Of bows that read just at the guarded limit one in twenty is beyond the promise, by simulated weighings.

    Errors are those of the invented workshop: 0.15 lb of reading, 0.06 in of draw, and the scale's bias as it is known.
    """
    report = of_orders("45")
    (guard,) = [guard for guard in report.guards if guard.scale == scale]
    known = by_weighings(with_check_weights(prior_belief(), book("45").scales), [scale]).sd[0]
    rng = np.random.default_rng(106)
    true = rng.uniform(47, 55, 2_000_000)
    read = _readings(rng, true, float(known))

    assert report.weight_lbf == 50
    at_limit = np.abs(read - (50 + guard.accept_lbf)) < 0.02
    beyond = np.mean(true[at_limit] > 51)
    assert beyond == pytest.approx(0.05, abs=4 * np.sqrt(0.05 * 0.95 / at_limit.sum()) + 0.002)


def test_checked_scale_needs_the_least_guard() -> None:
    """A scale with check weights needs a smaller guard band than one that the book does not know."""
    guards = {guard.scale: guard for guard in of_orders("45").guards}

    assert guards["hook"].guard_lbf < guards[NOT_NOTED].guard_lbf


def test_orders_and_guards_count_the_same_errors() -> None:
    """A delivered order on another scale than its own is judged by the standard uncertainty of that scale's guard."""
    report = of_orders("45")
    (guard,) = [guard for guard in report.guards if guard.scale == "hook"]

    of_scale = np.sqrt(guard.sd_lbf**2 - 0.15**2 - (0.06 * 0.055 * 50) ** 2) / 50
    assert report.orders[0].sd_lbf == pytest.approx(np.linalg.norm([45 * of_scale, 0.15, 0.06 * 2.5]))


def _promising(builds: int, *kept: float, tolerances: tuple[float | None, ...]) -> ToleranceReport:
    """Return a report on some first draws whose kits keep the shop's 1 lb in such shares of orders."""
    report = of_orders()
    promises = tuple(one.model_copy(update={"by_predictions_lbf": 5.0}) for one in report.promises)
    kits = tuple(
        WithPlan(
            form=f"form-{number}",
            like="K-001",
            target_lbf=45,
            over_lbf=3,
            weighing_lbf=0.3,
            after_lbf=0.4,
            kept=((1.0, share),),
            tolerances_lbf=(tolerance, None, None),
        )
        for number, (share, tolerance) in enumerate(zip(kept, tolerances, strict=True))
    )
    chance = Chance(tolerance_lbf=1.0, share=0.3, within=0, builds=builds, with_plan=kept)
    return report.model_copy(
        update={"builds": builds, "promises": promises, "with_plan": kits, "chances": (chance,)}
    )


@pytest.mark.parametrize("builds", [1, 4, 9])
def test_few_builds_are_not_enough_for_a_promise(builds: int) -> None:
    """Whatever the plan foretells, while scatters are mostly assumed nothing can be promised on its word."""
    told = text(_promising(builds, 0.98, tolerances=(1.0,)))

    assert "the shop's ± 1.0 lb cannot be promised, nor yet with the removal plan: 98% of usual kits" in told
    assert "mostly assumed as builds are few. From 10 builds on" in told


def test_the_shops_tolerance_is_judged() -> None:
    """Whether the shop's own tolerance can be promised is said, and what could be where it cannot."""
    can = text(_promising(40, 0.92, 0.97, tolerances=(1.0, 1.0)))
    cannot = text(_promising(40, 0.82, 0.97, tolerances=(1.4, 1.0)))
    nothing = text(_promising(40, 0.5, tolerances=(None,)))

    assert f"cannot be promised. With the removal plan it can: {span('92', '97%')} of usual kits" in can
    assert f"nor with the removal plan: {span('82', '97%')} of usual kits keep it" in cannot
    assert "9 in 10 on every form keep ± 1.4 lb." in cannot
    assert "keep no tolerance that was looked at" in nothing
    assert "the shop's ± 1.0 lb cannot be promised yet" in text(of_orders())


def test_a_study_widens_the_guard() -> None:
    """Where hands repeat badly the guard grows, and the report says what it rests on."""
    clumsy = [
        shop.weigh_in(id=f"K-001/{number}", scale="hook", readings=[{"draw": "28", "weight": 45 + off}])
        for number, off in enumerate((0.9, -0.8, 1.1, -1.2, 0.7), 2)
    ]
    calm, wide = of_orders("45"), of_orders("45", more=clumsy)

    assert calm.repeated == 0
    assert wide.repeated == 5
    assert wide.guards[0].guard_lbf > 2 * calm.guards[0].guard_lbf
    assert "5 repeated weighings" in text(wide)
    assert "no bow was weighed twice" in text(calm)


@pytest.mark.slow
def test_surer_promises_are_wider_and_need_more_builds() -> None:
    """Tolerances rise with the share promised; ranks need 9, 19 and 99 builds."""
    report = make(sources(3), ())
    wide = [promise.by_predictions_lbf for promise in report.promises]

    assert report.promises
    assert wide == sorted(wide)  # type: ignore[type-var]  # each is told
    assert [promise.builds_needed for promise in report.promises] == [9, 19, 99]
    assert all(promise.by_past_errors_lbf is None for promise in report.promises)
    assert "builds are too few to bear it out" in text(report)
    assert "mostly assumed as builds are few" in text(report)


@pytest.mark.slow
def test_plan_keeps_what_planning_alone_does_not() -> None:
    """With the plan each share takes a narrower tolerance than planned, told as predicted beside what was measured."""
    report = make(sources(24), ())

    assert report.with_plan
    for kit in report.with_plan:
        assert list(kit.tolerances_lbf) == sorted(kit.tolerances_lbf)  # type: ignore[type-var]  # each is told
        for promise, tolerance in zip(report.promises, kit.tolerances_lbf, strict=True):
            assert tolerance < promise.by_predictions_lbf  # type: ignore[operator]  # each is told
    assert "with the plan, predicted" in text(report)
    assert "planned, measured" in text(report)
    assert "the removal plan" in text(report)


def test_nothing_is_promised_without_builds() -> None:
    """Without a weighed build there is no figure for a promise, and the report says why."""
    report = of_orders()

    assert report.promises
    assert all(promise.by_predictions_lbf is None for promise in report.promises)
    assert report.chances == ()
    assert "no tolerance can be founded on this shop's bows" in text(report)
    assert "how promises were kept is not known" in text(report)
