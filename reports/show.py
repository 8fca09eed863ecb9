"""The book in a table, one build with its history, one form with what is read from its profile."""

import json
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from rich.console import Console
from rich.markup import escape
from rich.table import Table

from datasets.contents import Contents
from datasets.exercise import draws_in_words, not_counted
from datasets.record import Dimension, NamedPlace, Side
from datasets.run_out import all_along
from datasets.schema import Build, Cut, Event, Form, Layer, Method, Removal, Rigging, WeighIn, WidthReading
from predictor.belief.model import Model
from predictor.bows.bow import Refusal
from predictor.shape.profile import Profile, fit_profile
from predictor.shape.profile_doubts import Verdict
from reports.expectation import Compared, compare, compare_all
from reports.numbers import counted
from reports.printing import Units, table
from reports.shape_told import last_on_form, shape_effect_in_words
from reports.strips import strip_rows


def show_book(contents: Contents, units: Units, out: Console, last: int | None = None) -> None:
    """Print one line a build, all or the `last` so many: what it is, what it weighed last. Then one a strip test."""
    _show_builds(contents, units, out, last)
    if contents.strips:
        heads = ["strip test", "on", "lot", "modulus, Msi", "90%"]
        out.print(table(heads, strip_rows(contents), right=(3,)))


def _show_builds(contents: Contents, units: Units, out: Console, last: int | None) -> None:
    if not contents.builds:
        out.print("The book has no builds yet. Add one with: drawweight add")
        return
    rows = [_line(build, contents, units) for build in list(contents.builds.values())[-(last or 0) :]]
    out.print(table(["build", "form", "length", "stack", "last weighed", ""], rows))
    out.print(
        f"builds: {len(contents.builds)}, forms: {len(contents.forms)}; one of them: drawweight show BUILD"
    )


def book_json(contents: Contents) -> str:
    """Return the book as JSON: every record by kind, in its own fields."""
    events = [event for history in contents.events.values() for event in history]
    listed = {
        "shop": contents.shop.model_dump(mode="json"),
        "form": [form.model_dump(mode="json") for form in contents.forms.values()],
        "build": [build.model_dump(mode="json") for build in contents.builds.values()],
        "weigh_in": [event.model_dump(mode="json") for event in events if isinstance(event, WeighIn)],
        "removal": [event.model_dump(mode="json") for event in events if isinstance(event, Removal)],
        "rigging": [event.model_dump(mode="json") for event in events if isinstance(event, Rigging)],
        "material": [material.model_dump(mode="json") for material in contents.own_materials.values()],
        "scale": [scale.model_dump(mode="json") for scale in contents.scales.values()],
        "strip": [strip.model_dump(mode="json") for strip in contents.strips.values()],
        "order": [order.model_dump(mode="json") for order in contents.orders.values()],
        "stock": [one.model_dump(mode="json") for one in contents.stock.values()],
    }
    return json.dumps(listed, indent=2, ensure_ascii=False)


def show_build(
    build: Build,
    contents: Contents,
    corrections: Sequence[tuple[str, str]],
    units: Units,
    out: Console,
    model: Model | None = None,
) -> None:
    """Print a build's dimensions and its history, each weighing beside what was expected of it.

    Args:
        build: the build.
        contents: the book.
        corrections: id and reason of each correction of the build and its events.
        units: what to print in.
        out: where to.
        model: what the shop's builds have taught.
    """
    planned = ", planned" if build.planned else ""
    out.print(f"[bold]{build.id}[/] on form {build.form}/{build.form_revision}{planned}")
    built = f", built {build.built}" if build.built else ""
    out.print(
        f"{units.length(build.length_in.inch)} nock to nock, brace {units.draw(build.brace)}, "
        f"{build.string.strands} strands of {build.string.material} string{built}"
    )
    if not build.teaches:
        out.print(f"It does not teach the model: {escape(build.why_not or '')}")
    if build.note:
        out.print(escape(build.note))
    heads = ["", "back to belly", "lot", "butt", "tip", "limb"]
    out.print(_sided(heads, [_layer(number, layer, units) for number, layer in enumerate(build.layers, 1)]))
    out.print(_sided(["width at", "belly", "back", "limb"], [_width(width, units) for width in build.widths]))
    history = contents.events.get(build.id, ())
    rows = _history_rows(history, contents, units, model)
    if rows:
        out.print(table(["", "on", "what", "read", "expected"], rows, right=(3,)))
        for told in _circumstances(history):
            out.print(escape(told))
    else:
        out.print(f"Not weighed yet. Next: drawweight weigh {build.id} 28=50 --stage first-draw")
    for record_id, reason in corrections:
        out.print(escape(f"{record_id} was corrected: {reason}"))


def build_json(build: Build, contents: Contents, model: Model | None = None) -> str:
    """Return a build with its history as JSON, each weighing with what was expected of it."""
    return json.dumps(
        {
            "build": build.model_dump(mode="json"),
            "history": [_event_json(event, contents, model) for event in contents.events.get(build.id, ())],
        },
        indent=2,
        ensure_ascii=False,
    )


def show_forms(contents: Contents, units: Units, out: Console) -> None:
    """Print one line a form revision."""
    if not contents.forms:
        out.print("The book has no forms yet. Add one with: drawweight form --add FILE")
        return
    rows = [
        [
            f"{form.id}/{form.revision}",
            form.kind.value,
            units.length(form.riser_length_in.inch),
            units.length(form.limb_length_in.inch),
            str(sum((build.form, build.form_revision) == key for build in contents.builds.values())),
        ]
        for key, form in contents.forms.items()
    ]
    out.print(table(["form", "kind", "riser", "limb", "builds"], rows, right=(4,)))


def forms_json(contents: Contents) -> str:
    """Return all forms as JSON."""
    listed = [form.model_dump(mode="json") for form in contents.forms.values()]
    return json.dumps({"form": listed}, indent=2, ensure_ascii=False)


def profile_of(form: Form) -> Profile:
    """Return the unstrung shape that is read from a form's bench profile.

    Raises:
        ValueError: the profile has no readings on the limb.
    """
    return fit_profile(
        [(reading.at_in.inch, reading.offset_in.inch) for reading in form.profile],
        form.riser_length_in.inch / 2,
        form.limb_length_in.inch,
        breakpoints=[kink.inch for kink in form.kinks_in],
    )


def show_form(form: Form, profile: Profile, contents: Contents, units: Units, out: Console) -> None:
    """Print a form, the shape that is read from its profile, and whether that can be trusted."""
    out.print(f"[bold]{form.id}[/] revision {form.revision}, {form.kind}")
    out.print(
        f"riser {units.length(form.riser_length_in.inch)}, "
        f"handle {units.length(form.handle_depth_in.inch)} deep, "
        f"limb {units.length(form.limb_length_in.inch)} from fade to nock"
    )
    readings = [[units.length(r.at_in.inch), units.length(r.offset_in.inch)] for r in form.profile]
    out.print(table(["from centre", "back off the straight edge"], readings))
    tip = profile.tip[1]
    way = "toward the string" if tip > 0 else "toward the back"
    out.print(f"The nock lies {units.length(abs(tip))} {way} of the riser's back, as read from the profile.")
    worst = max((abs(residual) for residual in profile.residuals), default=0.0)
    used = "all" if len(profile.residuals) == len(form.profile) else f"{len(profile.residuals)} of the"
    out.print(f"The curve passes {used} readings within {units.length(worst)}.")
    for finding in profile.findings:
        out.print(f"Doubtful: {escape(finding.message)}")
    build = last_on_form(form, contents)
    effect = build and shape_effect_in_words(build, contents, units)
    if effect:
        out.print(escape(f"{effect[0].upper()}{effect[1:]}."))
    if not profile.findings:
        out.print("Nothing speaks against this profile.")
    elif profile.verdict is Verdict.UNTRUSTED:
        out.print("This profile is not to be trusted: read it again before anything is built on it.")


def form_json(form: Form, profile: Profile) -> str:
    """Return a form as JSON, with the doubts about its profile."""
    told = {
        "form": form.model_dump(mode="json"),
        "verdict": profile.verdict,
        "doubts": [finding.message for finding in profile.findings],
    }
    return json.dumps(told, indent=2, ensure_ascii=False)


def describe(removal: Removal, units: Units) -> str:
    """Return a removal in words: `sides, fade 1/16 in, nock 1/32 in`; what comes off glass in thousandths."""
    cuts: Sequence[Cut] = removal.done or removal.planned
    written = units.thickness if removal.method in (Method.BACK_GLASS, Method.BELLY_GLASS) else units.length
    amounts = [f"{_place(cut.at, units)} {written(cut.amount_in.inch)}" for cut in cuts]
    whole = all_along(removal)
    if whole is not None:
        noted = "" if whole.at == "fade" else f" (noted at one place, {_place(whole.at, units)})"
        amounts = [f"{written(whole.amount_in.inch)} all along the limb{noted}"]
    limb = "" if removal.limb == "both" else f" of the {removal.limb} limb"
    plan = "" if removal.done else " (as planned)"
    return f"{removal.method}{limb}, {', '.join(amounts)}{plan}"


def compared_rows(compared: Sequence[Compared], units: Units) -> list[list[str]]:
    """Return one row a reading: draw, what was read, what was expected."""
    read = units.read_weights([one.read.lbf for one in compared])
    draws = [units.draw(one.draw) for one in compared]
    return [list(row) for row in zip(draws, read, _expected(compared, units), strict=True)]


def far_in_words(one: Compared, units: Units) -> str:
    """Return a reading beside what was expected: `expected 43 to 66 lb at 28 in, you typed 94`."""
    ((_, low, high),) = units.expected([(one.expected_lbf, one.low_lbf, one.high_lbf)])
    (read,) = units.read_weights([one.read.lbf])
    if float(low) <= float(read) <= float(high):  # rounded, it would not show why it is far
        low, high, read = units.told_apart(one.low_lbf, one.high_lbf, one.read.lbf)
    return f"expected {low} to {high} {units.weight} at {units.draw(one.draw)}, you typed {read}"


def _expected(compared: Sequence[Compared], units: Units) -> list[str]:
    told = units.expected([(one.expected_lbf, one.low_lbf, one.high_lbf) for one in compared])
    return [f"{value} ({low} to {high})" for value, low, high in told]


def _line(build: Build, contents: Contents, units: Units) -> list[str]:
    history = contents.events.get(build.id, ())
    weighed = next((event for event in reversed(history) if isinstance(event, WeighIn)), None)
    if weighed is None:
        weighing = ""
    else:
        reading = weighed.readings[-1]
        (read,) = units.read_weights([reading.weight.lbf])
        weighing = f"{read} at {units.draw(reading.draw)}, {weighed.stage}"
    remark = "planned" if build.planned else "" if build.teaches else "does not teach"
    thickness = sum(layer.butt_in.inch for layer in build.layers if layer.limb != "lower")
    return [
        build.id,
        f"{build.form}/{build.form_revision}",
        units.length(build.length_in.inch),
        units.thickness(thickness),
        weighing,
        remark,
    ]


def _sided(heads: Sequence[str], rows: Sequence[Sequence[str]]) -> Table:
    """Return a table whose last column, the limb, stands only where the limbs differ."""
    alike = all(row[-1] == Side.BOTH for row in rows)
    return table(heads[:-1], [row[:-1] for row in rows]) if alike else table(heads, rows)


def _layer(number: int, layer: Layer, units: Units) -> list[str]:
    if layer.tip_in is not None:
        tip = units.thickness(layer.tip_in.inch)
    else:
        tip = f"-{layer.taper_per_in:g}/in" if layer.taper_per_in else "same"
    made_of = f"{layer.part}, {layer.material}"
    return [str(number), made_of, layer.lot or "", units.thickness(layer.butt_in.inch), tip, layer.limb.value]


def _width(width: WidthReading, units: Units) -> list[str]:
    back = "" if width.back_in is None else units.length(width.back_in.inch)
    return [_place(width.at, units), units.length(width.belly_in.inch), back, width.limb.value]


def _place(place: Dimension | NamedPlace, units: Units) -> str:
    return f"{units.length(place.inch)} out" if isinstance(place, Dimension) else place


def _history_rows(
    history: Sequence[Event], contents: Contents, units: Units, model: Model | None
) -> list[list[str]]:
    """Return one row an event, of a weigh-in one a reading; a column's numbers have the same decimals."""
    weighed = [event for event in history if isinstance(event, WeighIn)]
    told_of = compare_all(contents, weighed, model)
    compared = {event.id: told for event, told in zip(weighed, told_of, strict=True)}
    known = [one for told in compared.values() if not isinstance(told, Refusal) for one in told]
    expected = iter(_expected(known, units))
    read = iter(units.read_weights([one.weight.lbf for event in weighed for one in event.readings]))
    rows = []
    for event in history:
        if not isinstance(event, WeighIn):
            rows.append([event.id, str(event.on), _work(event, units), "", ""])
            continue
        told = compared[event.id]
        for place, reading in enumerate(event.readings):
            named = [event.id, str(event.on), f"{event.stage} at "] if place == 0 else ["", "", "at "]
            named[2] += units.draw(reading.draw)
            refused = told.reason if isinstance(told, Refusal) and place == 0 else ""
            rows.append([*named, next(read), refused if isinstance(told, Refusal) else next(expected)])
    return rows


def _circumstances(history: Sequence[Event]) -> Iterator[str]:
    """Yield in words what each weighing depends on besides the draw, and whether it does not count.

    They are no rows of the table, which a narrow screen has no room for.
    """
    too_few = {weigh_in.id: draws for weigh_in, draws in not_counted(history)}
    for event in history:
        told = _depends_on(event, too_few.get(event.id)) if isinstance(event, WeighIn) else ""
        if told:
            yield f"{event.id}: {told}"


def _depends_on(weigh_in: WeighIn, too_few: int | None) -> str:
    parts = [] if not weigh_in.shots else [counted(weigh_in.shots, "shot")]
    if too_few is not None:
        parts.append(draws_in_words(too_few))
    elif weigh_in.pulls is not None:
        parts.append(counted(weigh_in.pulls, "full draw"))
    parts += [] if weigh_in.scale is None else [f"on {weigh_in.scale}"]
    return ", ".join(parts)


def _work(event: Removal | Rigging, units: Units) -> str:
    """Return in words what was done to a bow."""
    if isinstance(event, Removal):
        return describe(event, units)
    parts = [f"{event.string.strands} strands of {event.string.material}"] if event.string else []
    parts += [f"brace {units.draw(event.brace)}"] if event.brace else []
    return ", ".join(parts)


def _event_json(event: Event, contents: Contents, model: Model | None) -> Mapping[str, Any]:
    stored = event.model_dump(mode="json")
    if not isinstance(event, WeighIn):
        return stored
    compared = compare(contents, event, model)
    if isinstance(compared, Refusal):
        return {**stored, "not_expected": compared.model_dump(mode="json")}
    expected = [
        {"expected_lbf": one.expected_lbf, "low_lbf": one.low_lbf, "high_lbf": one.high_lbf}
        for one in compared
    ]
    return {**stored, "expected": expected}
