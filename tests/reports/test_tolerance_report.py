"""The report on tolerances: what it promises, how it counts orders, and how it guards against the scale."""

import io

import pytest
from rich.console import Console

from datasets.contents import Contents
from datasets.schema import KINDS
from predictor.conformity import conformance
from reports.blocks import show_section
from reports.printing import Units
from reports.registry import REPORTS
from reports.sources import Sources
from reports.tolerance_report import NOT_NOTED, ToleranceReport, make
from tests import shop
from tests.reports.fitted import DAY, HASH, sources


def text(report: ToleranceReport) -> str:
    """Return a report as the terminal shows it."""
    out = Console(file=io.StringIO(), width=120)
    show_section(REPORTS["tolerance"].section(report, Units("inch")), out)
    return " ".join(out.file.getvalue().split())  # type: ignore[attr-defined]  # what it was made with


def of_orders(*weights: str) -> ToleranceReport:
    """Return the report on one bow that read 45 lb at 28 in, delivered for orders of some weights."""
    typed = [
        shop.Typed(
            "scale", {"id": "hook", "division_lbf": 0.1, "checks": [{"known": "50", "read": "50"}] * 9}
        ),
        shop.form(),
        shop.build(id="K-001"),
        shop.weigh_in(id="K-001/1", scale="hook"),
    ]
    typed += [
        shop.order(id=f"ORDER-{number:03d}", weight=weight, delivered="K-001/1")
        for number, weight in enumerate(weights, 1)
    ]
    contents = Contents.of(KINDS[kind].model_validate(data) for kind, data in typed)
    return make(Sources(contents, HASH, len(typed), DAY, None), ())


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
    assert on_mark.conforms == pytest.approx(conformance(0, on_mark.sd_lbf, -1, 1))
    assert on_mark.conforms > 0.95
    assert off.conforms < 0.05  # type: ignore[operator]  # it was read


def test_checked_scale_needs_the_least_guard() -> None:
    """A scale with check weights needs a smaller guard band than one that the book does not know."""
    guards = {guard.scale: guard for guard in of_orders("45").guards}

    assert guards["hook"].guard_lbf < guards[NOT_NOTED].guard_lbf
    for guard in guards.values():
        assert guard.guard_lbf == pytest.approx(1.6449 * guard.sd_lbf, rel=1e-4)
        assert guard.accept_lbf == pytest.approx(1 - guard.guard_lbf)


@pytest.mark.slow
def test_surer_promises_are_wider_and_need_more_builds() -> None:
    """Tolerances rise with the share promised; ranks need 9, 19 and 99 builds."""
    report = make(sources(3), ())
    wide = [promise.by_predictions_lbf for promise in report.promises]

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
    assert "takes the removal plan: it foretells" in text(report)


def test_nothing_is_promised_without_builds() -> None:
    """Without a weighed build there is no figure for a promise, and the report says why."""
    report = of_orders()

    assert all(promise.by_predictions_lbf is None for promise in report.promises)
    assert report.chances == ()
    assert "no tolerance can be founded on this shop's bows" in text(report)
    assert "how promises were kept is not known" in text(report)
