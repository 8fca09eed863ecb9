"""The report on tolerances as it is told: what is predicted, what was measured, how far inside a reading must lie."""

from collections.abc import Sequence

from reports.blocks import Block, Caution, Paragraph, grid, span
from reports.numbers import fixed
from reports.printing import Units
from reports.sources import tell_basis
from reports.tolerance_report import RISK, SHARES, Chance, ToleranceReport, WithPlan
from training.studies.usual_kits import TOLERANCES_LBF

FEW = 10
"""Builds below which a shop's scatters are mostly those that were assumed before it had any."""


def tell(report: ToleranceReport, units: Units) -> tuple[Block, ...]:
    """Tell the report."""
    told: list[Block] = [*tell_basis(report.basis), Paragraph(_verdict(report, units))]
    if report.builds:
        told += [_promises(report, units), _what_is_planned(report)]
    if report.with_plan:
        told += [_with_plan(report.with_plan, units), _what_the_plan_is(report, units)]
    if report.chances:
        told.append(_chances_told(report, units))
    told += _orders(report, units)
    told += _guards(report, units)
    return tuple(told)


def _verdict(report: ToleranceReport, units: Units) -> str:
    """Return how near bows come, and whether the shop's tolerance may be promised, whatever the number of builds."""
    promise, unit = report.promises[0], units.weight
    if promise.by_predictions_lbf is None:
        return (
            "No build was weighed at its first draw, so no tolerance can be founded on this shop's bows: "
            f"{_shops(report, units)} cannot be promised yet."
        )
    wide = _either_way(promise.by_predictions_lbf, units)
    kept = f"Of bows that nobody has cut, 9 in 10 come within {wide} {unit} of what is predicted"
    if promise.by_past_errors_lbf is None:
        kept += f"; builds are too few to bear it out ({promise.builds_needed} are needed)."
    else:
        kept += f", and within {_either_way(promise.by_past_errors_lbf, units)} {unit} by what was measured."
        if report.shop_tolerance_lbf >= max(promise.by_predictions_lbf, promise.by_past_errors_lbf):
            return f"{kept} {_shops(report, units)} may be promised of a bow that is built as planned."
    return f"{kept} {_verdict_on_plan(report, units)}"


def _shops(report: ToleranceReport, units: Units) -> str:
    return f"the shop's {_either_way(report.shop_tolerance_lbf, units)} {units.weight}"


def _verdict_on_plan(report: ToleranceReport, units: Units) -> str:
    """Return whether the plan foretells nine of ten orders on every form within the shop's tolerance."""
    shop = f"As planned, {_shops(report, units)} cannot be promised"
    if not report.with_plan:
        return f"{shop}, only of bows that are weighed and cut to weight."
    of_shop = next(one for one in report.chances if one.tolerance_lbf == report.shop_tolerance_lbf)
    if None in of_shop.with_plan:
        return f"{shop}; it is closer than the removal plan was followed for."
    told = f"{_shares(of_shop)} of usual kits keep it, as the plan foretells{_how_far_known(report.builds)}"
    if report.builds < FEW:
        return (
            f"{shop}, nor yet with the removal plan: {told}. From {FEW} builds on it rests on the shop's own."
        )
    if min(share for share in of_shop.with_plan if share is not None) >= SHARES[0]:
        return f"{shop}. With the removal plan it can: {told}."
    widest = [kit.tolerances_lbf[0] for kit in report.with_plan]
    enough = (
        f"{_either_way(max(one for one in widest if one is not None), units)} {units.weight}"
        if None not in widest
        else "no tolerance that was looked at"
    )
    return f"{shop}, nor with the removal plan: {told}. 9 in 10 on every form keep {enough}."


def _promises(report: ToleranceReport, units: Units) -> Block:
    rows = [
        [
            f"{one.share:.0%}",
            "-" if one.by_predictions_lbf is None else _either_way(one.by_predictions_lbf, units),
            f"needs {one.builds_needed} builds"
            if one.by_past_errors_lbf is None
            else _either_way(one.by_past_errors_lbf, units),
        ]
        for one in report.promises
    ]
    heads = ["of bows", f"predicted, {units.weight}", f"measured, {units.weight}"]
    return grid("Planned: smallest tolerance that the first draw would meet", heads, rows)


def _what_is_planned(report: ToleranceReport) -> Block:
    builds = "1 build" if report.builds == 1 else f"{report.builds} builds"
    return Paragraph(
        f"Planned: the first draws of {builds}, each predicted from the other builds, as built. A bow whose lams are "
        "only planned, or of new lots, comes out wider: see its own prediction. Measured errors are counted by rank, "
        "which needs more builds the surer the promise."
    )


def _with_plan(with_plan: Sequence[WithPlan], units: Units) -> Block:
    rows = [
        [
            one.form,
            one.like,
            units.tenths_of_weight(one.target_lbf),
            units.tenths_of_weight(one.over_lbf),
            *(_smallest(tolerance, units) for tolerance in one.tolerances_lbf),
        ]
        for one in with_plan
    ]
    heads = ["form", "kit like", f"target, {units.weight}", f"over by, {units.weight}"]
    heads += [f"{share:.0%} of orders, {units.weight}" for share in SHARES]
    return grid("With the removal plan: smallest tolerance, predicted", heads, rows, texts=2)


def _smallest(tolerance_lbf: float | None, units: Units) -> str:
    if tolerance_lbf is None:
        return f"over {_either_way(TOLERANCES_LBF[-1], units)}"
    at_most = "up to " if tolerance_lbf == TOLERANCES_LBF[0] else ""
    return f"{at_most}{_either_way(tolerance_lbf, units)}"


def _what_the_plan_is(report: ToleranceReport, units: Units) -> Block:
    unit = units.weight
    weighing, after = (
        _from_to(units.tenths_of_weight(min(some)), units.tenths_of_weight(max(some)))
        for some in (
            [one.weighing_lbf for one in report.with_plan],
            [one.after_lbf for one in report.with_plan],
        )
    )
    return Paragraph(
        "With the plan: a kit as it was first drawn is taken down pass by pass with a weighing after each, made for "
        "that very tolerance, on the scale that weighs it. Nobody has measured these figures: they follow from this "
        f"shop's scatters, of a weighing {weighing} {unit} and of finishing and shooting in {after} {unit} (one "
        f"standard deviation){_how_far_known(report.builds)}, and hold as far as every pass is cut as planned. "
        "Delivered orders, below, are measured."
    )


def _how_far_known(builds: int) -> str:
    return ", mostly assumed as builds are few" if builds < FEW else ""


def _either_way(lbf: float, units: Units) -> str:
    return f"± {units.tenths_of_weight(lbf)}"


def _from_to(low: str, high: str) -> str:
    return low if low == high else span(low, high)


def _shares(chance: Chance) -> str:
    """Return the shares of the usual kits' orders in per cent, never as certain."""
    told = [min(99.0, 100 * share) for share in chance.with_plan if share is not None]
    return f"{_from_to(f'{min(told):.0f}', f'{max(told):.0f}')}%" if told else "-"


def _chances_told(report: ToleranceReport, units: Units) -> Block:
    rows = [
        [
            _either_way(one.tolerance_lbf, units)
            + (" (the shop's)" if one.tolerance_lbf == report.shop_tolerance_lbf else ""),
            f"{one.share:.0%}",
            f"{one.within} of {one.builds}",
            _shares(one),
        ]
        for one in report.chances
    ]
    heads = [
        f"tolerance, {units.weight}",
        "planned, predicted",
        "planned, measured",
        "with the plan, predicted",
    ]
    return grid("Chance of a tolerance", heads, rows)


def _orders(report: ToleranceReport, units: Units) -> list[Block]:
    if not report.orders:
        return [Paragraph("No order in the book has been delivered, so how promises were kept is not known.")]
    counted = (
        f"Of {report.judged} delivered orders that were weighed at the promised draw {report.met} met their tolerance "
        f"(95% confidence: {span(f'{100 * report.met_low:.0f}', f'{report.met_high:.0%}')})."
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
            f"{_either_way(report.shop_tolerance_lbf, units)} {unit}. {_reading(report, units)}"
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


def _reading(report: ToleranceReport, units: Units) -> str:
    """Return what a reading scatters by, and on what that rests."""
    by = (
        f"by {report.repeated} repeated weighings and what is usual"
        if report.repeated
        else "as is usual, for no bow was weighed twice as it stood"
    )
    return (
        f"One reading is off by {fixed(units.of_weight(report.reading_lbf), 2)} {units.weight} (one standard "
        f"deviation), {by}; the scale's own bias, less what the report on scales says of it, comes on top."
    )
