"""Checks across records: each is a small function from one record and the book's contents to findings.

What is wrong inside one record is refused when it is read. Here is what only the rest of the book
can show. A finding that refuses its record names something without which no geometry can be computed; every
other finding is odd and may be right, so the record is kept and the finding is shown.
"""

from collections.abc import Iterator, Sequence
from datetime import date
from difflib import get_close_matches
from itertools import pairwise

from datasets.contents import Contents
from datasets.finding import Check, Finding
from datasets.history import bow_at
from datasets.materials import Kind, named
from datasets.order_checks import ORDER_CHECKS
from datasets.place_checks import PLACE_CHECKS
from datasets.record import Record, Side
from datasets.removals import place_in
from datasets.schema import (
    MOST_DEFLECTION,
    Build,
    Event,
    Method,
    Order,
    Part,
    Removal,
    Rigging,
    Stock,
    StripTest,
    WeighIn,
    WidthReading,
)
from datasets.weighing_checks import WEIGHING_CHECKS
from datasets.zero_points import from_back

DAY_TO_DAY = 0.03
"""Share by which a bow may weigh more on another day, by air and reading: common practice, no source."""

LEAST_SLENDERNESS = 30
"""Span over thickness of a strip from which shear is left out: there it adds some 2 % between edges (Wood Handbook
FPL-GTR-282, 2021, Eq. 9-2, at E/G = 16)."""


def findings(record: Record, contents: Contents) -> tuple[Finding, ...]:
    """Return what every check finds about a record, seen with the rest of the book.

    Args:
        record: the record, which may or may not be among the contents.
        contents: the book to see it with.
    """
    found = (finding for check in CHECKS for finding in check(record, contents))
    return tuple(dict.fromkeys(found))  # what both limbs share is found on each of them


def form_is_known(record: Record, contents: Contents) -> Iterator[Finding]:
    """A build points at a form revision that the book has."""
    if isinstance(record, Build) and contents.form_of(record) is None:
        latest = contents.latest_revision(record.form)
        came = f"revision {record.form_revision} of {record.form}"
        alike = get_close_matches(record.form, {name for name, _ in contents.forms}, n=1)
        if latest:
            do = f"the book has {record.form} up to revision {latest}"
        else:
            do = f"did you mean {alike[0]}? If not, add the form first" if alike else "add the form first"
        yield Finding("form", f"wanted a form of the book, got {came}; {do}", refuses=True)


def build_is_known(record: Record, contents: Contents) -> Iterator[Finding]:
    """An event belongs to a build that the book has, and its id starts with that build's."""
    if not isinstance(record, Event):
        return
    if record.build not in contents.builds:
        yield Finding(
            "build", f"wanted a build of the book, got {record.build}; add the build first", refuses=True
        )
    if record.id.split("/")[0] != record.build:
        yield Finding(
            "id",
            f"wanted an id that starts with {record.build}/, got {record.id}; leave the id out",
            refuses=True,
        )


def materials_are_known(record: Record, contents: Contents) -> Iterator[Finding]:
    """Every layer, strip and lam in stock names a material of the handbook or of the shop."""
    for field, material in _materials(record):
        try:
            named(material, contents.materials)
        except LookupError as unknown:
            yield Finding(field, str(unknown.args[0]), refuses=True)


def _materials(record: Record) -> Iterator[tuple[str, str]]:
    """Yield the materials that a record names, each with its place."""
    if isinstance(record, Build):
        for index, layer in enumerate(record.layers):
            yield f"layers.{index}.material", layer.material
    elif isinstance(record, StripTest | Stock):
        yield "material", record.material


def geometry_is_possible(record: Record, contents: Contents) -> Iterator[Finding]:
    """Something is left of every width, thickness and limb after all removals."""
    if isinstance(record, Build):
        build, events = record, contents.events.get(record.id, ())
    elif isinstance(record, Removal) and record.build in contents.builds:
        build, events = contents.builds[record.build], contents.plus(record).events[record.build]
    else:
        return
    form = contents.form_of(build)
    if form is None:
        return
    try:
        bow_at(form, build, events)
    except ValueError as impossible:
        yield Finding("", str(impossible), refuses=True)


def scale_is_known(record: Record, contents: Contents) -> Iterator[Finding]:
    """A weigh-in or an order names a scale that the book has."""
    if (
        isinstance(record, WeighIn | Order)
        and record.scale is not None
        and record.scale not in contents.scales
    ):
        known = ", ".join(sorted(contents.scales)) or "none yet"
        yield Finding(
            "scale",
            f"the book has no scale {record.scale} (known: {known}); add it to tell its error",
            odd=False,
        )


def weight_rises_with_draw(record: Record, contents: Contents) -> Iterator[Finding]:
    """A bow pulls more the further it is drawn."""
    if not isinstance(record, WeighIn):
        return
    in_order = sorted(_weights(record, contents))
    for (shorter, less), (longer, more) in pairwise(in_order):
        if more <= less:
            yield Finding(
                "readings",
                f"wanted more weight at a longer draw, got {less:g} lb and then {more:g} lb "
                f"{longer - shorter:g} in further; check both",
            )


def weight_falls_with_work(record: Record, contents: Contents) -> Iterator[Finding]:
    """Finishing and shooting in only take weight off, unless the bow was shortened or rigged otherwise."""
    if not isinstance(record, WeighIn):
        return
    rougher: dict[float, WeighIn] = {}
    for event in contents.plus(record).events[record.build]:
        if event.id == record.id:
            break
        if isinstance(event, Rigging) or (isinstance(event, Removal) and event.method is Method.SHORTEN):
            rougher.clear()
        elif isinstance(event, WeighIn):
            rougher.update(dict.fromkeys(dict(_weights(event, contents)), event))
    for draw, weight in _weights(record, contents):
        before = rougher.get(draw)
        if before is None:
            continue
        was = dict(_weights(before, contents))[draw]
        if weight > was * (1 + DAY_TO_DAY):
            yield Finding(
                "readings",
                f"wanted no more than the {was:g} lb of {before.stage} ({before.id}) at the same draw, "
                f"got {weight:g} lb; check draw, brace and scale",
            )


def work_follows_pressing(record: Record, contents: Contents) -> Iterator[Finding]:
    """Nothing happens to a bow before it was built or, where that day is not noted, before what was noted first."""
    if not isinstance(record, Event) or record.build not in contents.builds:
        return
    built = contents.builds[record.build].built
    if built is not None:
        if record.on < built:
            yield Finding(
                "on",
                f"wanted a day from {built} on, when {record.build} was built, got {record.on}; check both",
            )
        return
    first = min(contents.plus(record).events[record.build], key=lambda event: int(event.id.split("/")[1]))
    if record.on < first.on:
        yield Finding(
            "on", f"wanted a day from {first.on} on, as {first.id} says, got {record.on}; check both"
        )


def days_are_past(record: Record, _contents: Contents) -> Iterator[Finding]:
    """What has been done was done today at the latest."""
    if isinstance(record, Event | StripTest):
        field, day = "on", record.on
    elif isinstance(record, Build) and record.built is not None and not record.planned:
        field, day = "built", record.built
    else:
        return
    today = date.today()
    if day > today:
        yield Finding(field, f"wanted a day up to today, {today}, got {day}; check the year")


def limbs_narrow_outward(record: Record, contents: Contents) -> Iterator[Finding]:
    """A limb gets no wider toward the nock."""
    if not isinstance(record, Build):
        return
    for side in (Side.UPPER, Side.LOWER):
        readings = _along_limb(record, contents, side)
        for (_, inner), (index, outer) in pairwise(readings):
            if outer.belly_in.inch > inner.belly_in.inch:
                yield Finding(
                    f"widths.{index}.belly_in",
                    f"wanted no more than the {inner.belly_in.inch:g} in further in, "
                    f"got {outer.belly_in.inch:g} in; check place and width",
                )


def backs_are_not_wider(record: Record, _contents: Contents) -> Iterator[Finding]:
    """A trapped limb is narrower on its back."""
    if not isinstance(record, Build):
        return
    for index, width in enumerate(record.widths):
        if width.back_in is not None and width.back_in.inch > width.belly_in.inch:
            yield Finding(
                f"widths.{index}.back_in",
                f"wanted a back no wider than the belly's {width.belly_in.inch:g} in, "
                f"got {width.back_in.inch:g} in; check which is which",
            )


def lams_thin_outward(record: Record, _contents: Contents) -> Iterator[Finding]:
    """A lam is no thicker at its tip than at its butt, except a wedge at the tip."""
    if not isinstance(record, Build):
        return
    for index, layer in enumerate(record.layers):
        tip = layer.butt_in if layer.tip_in is None else layer.tip_in
        if layer.part is not Part.WEDGE and tip.inch > layer.butt_in.inch:
            yield Finding(
                f"layers.{index}.tip_in",
                f"wanted a tip no thicker than the butt's {layer.butt_in.inch:g} in, "
                f"got {tip.inch:g} in; check which is which",
            )


def glass_lies_outside(record: Record, _contents: Contents) -> Iterator[Finding]:
    """Glass faces are the outermost layers: the stack is written from back to belly."""
    if not isinstance(record, Build):
        return
    for side in (Side.UPPER, Side.LOWER):
        stack = [layer for layer in record.layers if layer.limb in (side, Side.BOTH)]
        glass = [layer.part is Part.GLASS for layer in stack]
        if any(glass) and not (glass[0] and glass[-1]):
            yield Finding(
                "layers",
                f"wanted glass on both faces of the {side} limb, got {stack[0].part} on the back and "
                f"{stack[-1].part} on the belly; write the layers from back to belly",
            )
            return


def glue_is_no_lam(record: Record, contents: Contents) -> Iterator[Finding]:
    """Adhesives are not among the layers, since a glue line is counted between any two of them."""
    if not isinstance(record, Build):
        return
    for index, layer in enumerate(record.layers):
        try:
            material = named(layer.material, contents.materials)
        except LookupError:  # which another check tells
            continue
        if material.kind is Kind.ADHESIVE:
            yield Finding(
                f"layers.{index}.material",
                f"wanted a lam, got the adhesive {material.name}; leave it out, glue lines are counted by themselves",
            )


def strips_are_slender(record: Record, _contents: Contents) -> Iterator[Finding]:
    """A strip is so long that it bends rather than shears."""
    if isinstance(record, StripTest) and record.span_in.inch < LEAST_SLENDERNESS * record.thickness_in.inch:
        yield Finding(
            "span_in",
            f"wanted a span of {LEAST_SLENDERNESS:g} thicknesses or more, "
            f"got {record.span_in.inch / record.thickness_in.inch:.0f}: shear makes a short strip look softer; "
            "use a longer span",
        )


def deflections_are_measurable(record: Record, _contents: Contents) -> Iterator[Finding]:
    """A strip goes down with each load, far enough to be read and not so far that it slides off its edges."""
    if not isinstance(record, StripTest):
        return
    most = MOST_DEFLECTION[record.support]
    for index, reading in enumerate(record.loads):
        share = reading.deflection_in.inch / record.span_in.inch
        if share > most:
            yield Finding(
                f"loads.{index}.deflection_in",
                f"wanted at most {most:.0%} of the span, got {share:.0%}; hang less on it",
                refuses=True,
            )
    in_order = sorted(record.loads, key=lambda reading: reading.load.lbf)
    for lighter, heavier in pairwise(in_order):
        if heavier.deflection_in.inch <= lighter.deflection_in.inch:
            yield Finding(
                "loads",
                f"wanted a larger deflection under {heavier.load.lbf:g} lb than under {lighter.load.lbf:g} lb, "
                f"got {heavier.deflection_in.inch:g} in after {lighter.deflection_in.inch:g} in; check both",
                refuses=True,
            )


def strips_are_told_once(record: Record, contents: Contents) -> Iterator[Finding]:
    """A strip whose lot, day and readings are those of another one is likelier the same strip told twice."""
    if not isinstance(record, StripTest):
        return
    for other in contents.strips.values():
        if other.id != record.id and _as_bent(other, contents) == _as_bent(record, contents):
            yield Finding(
                "loads",
                f"wanted each strip once, got the lot, day and readings of {other.id} again; leave it out if it is the "
                "same strip, for it would count as a second one",
            )
            return


def _as_bent(strip: StripTest, contents: Contents) -> tuple[object, ...]:
    """Return by what a strip is known again: material, lot, day, support, and each load with its deflection."""
    try:
        material = named(strip.material, contents.materials).name
    except LookupError:  # which another check tells
        material = strip.material
    readings = sorted((round(one.load.lbf, 6), round(one.deflection_in.inch, 6)) for one in strip.loads)
    return material, strip.lot, strip.on, strip.support, tuple(readings)


CHECKS: Sequence[Check] = (
    form_is_known,
    build_is_known,
    materials_are_known,
    geometry_is_possible,
    scale_is_known,
    weight_rises_with_draw,
    weight_falls_with_work,
    work_follows_pressing,
    days_are_past,
    limbs_narrow_outward,
    backs_are_not_wider,
    lams_thin_outward,
    glass_lies_outside,
    glue_is_no_lam,
    *PLACE_CHECKS,
    *WEIGHING_CHECKS,
    *ORDER_CHECKS,
    strips_are_slender,
    deflections_are_measurable,
    strips_are_told_once,
)
"""Every check. To add one, write it above and put it into this list."""


def _weights(weigh_in: WeighIn, contents: Contents) -> list[tuple[float, float]]:
    """Return each reading as its draw from the back of the riser [in] and its weight [lbf]."""
    build = contents.builds.get(weigh_in.build)
    form = None if build is None else contents.form_of(build)
    if form is None:
        return []
    depth = form.handle_depth_in.inch
    return [
        (round(from_back(reading.draw.inch, reading.draw.zero, depth), 6), reading.weight.lbf)
        for reading in weigh_in.readings
    ]


def _along_limb(build: Build, contents: Contents, side: Side) -> list[tuple[int, WidthReading]]:
    """Return the width readings of one limb from the fade outward, each with its place in the record."""
    form = contents.form_of(build)
    if form is None:
        return []
    length = (build.length_in.inch - form.riser_length_in.inch) / 2
    readings = [(i, width) for i, width in enumerate(build.widths) if width.limb in (side, Side.BOTH)]
    return sorted(readings, key=lambda item: place_in(item[1].at, length))
