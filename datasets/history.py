"""The geometry of a bow at any moment of its history: the build as cut to profile, then every event up to then.

The result is numbers only, with the list of *inputs* they rest on: each recorded dimension by name with its measuring
tolerance. The same code computes the geometry with one input shifted, so an input's effect on anything is a
difference of two geometries.
"""

from bisect import bisect_right
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache, partial

import numpy as np

from datasets import tolerances
from datasets.ledger import Input, Ledger
from datasets.record import BraceHeight, Dimension, Side, Taken
from datasets.removals import Cuts, Polyline, combined, cuts_of, place_in, rounded
from datasets.schema import (
    Build,
    Event,
    Form,
    Layer,
    Method,
    Part,
    ProfileReading,
    Removal,
    Rigging,
    StringSpec,
    WeighIn,
    WidthReading,
)
from datasets.zero_points import from_back

UNNOTED_TRAP, UNNOTED_EDGES = "trap not noted", "edges not noted"
"""Sources of the doubt about what the build lacks, whatever its removals or other places say."""


class GeometryError(ValueError):
    """Records that add up to no bow: one line with what was wanted, what came, what to do."""


@dataclass(frozen=True)
class LamAt:
    """One layer of one limb: its thickness in inches at stations from the fade end, in ascending order."""

    part: Part
    material: str
    lot: str | None
    stations: tuple[float, ...]
    thickness: tuple[float, ...]


@dataclass(frozen=True)
class LimbAt:
    """One limb, in inches; stations are counted from the fade end outward, and may lie beyond a shortened nock.

    Attributes:
        profile: readings of the unstrung shape, along the straight edge and off it.
    """

    length: float
    lams: tuple[LamAt, ...]
    width_belly: Polyline
    width_back: Polyline
    edge_radius: Polyline
    profile: tuple[tuple[float, float], ...]
    kinks: tuple[float, ...]
    follow: float

    def stack_at(self, station: float) -> float:
        """Return the thickness of the lams at a station, in inches, glue lines apart."""
        there = [lam for lam in self.lams if lam.stations[0] <= station <= lam.stations[-1]]
        return sum(_value(lam.stations, lam.thickness, station) for lam in there)


@dataclass(frozen=True)
class BowAt:
    """A whole bow at one moment, in inches.

    Attributes:
        brace: string from the back of the riser.
        pivot_depth: pivot from the back of the riser.
        pivot_above: pivot above the bow's centre.
        nocking_above: nocking point above the pivot.
        glue_line: thickness of one glue line.
        nock_offset_shift: the string's distance from the neutral axis, beyond half the tip's thickness.
        string_stiffness_factor: of the handbook stiffness of the string's yarn.
        inputs: the recorded dimensions that this geometry rests on.
    """

    form: str
    kind: str
    riser_half: float
    pivot_depth: float
    pivot_above: float
    nocking_above: float
    brace: float
    string: StringSpec
    upper: LimbAt
    lower: LimbAt
    glue_line: float
    nock_offset_shift: float
    string_stiffness_factor: float
    inputs: tuple[Input, ...]


def bow_at(
    form: Form, build: Build, events: Iterable[Event] = (), shifts: Mapping[str, float] | None = None
) -> BowAt:
    """Return the geometry of a build after `events`, in their order.

    Args:
        form: the form revision that the build was pressed on.
        build: the build as it left the press and the first cut.
        events: what happened to it up to the moment asked for; weigh-ins only tell the brace height.
        shifts: amounts to add to inputs by name, to see their effect.

    Raises:
        GeometryError: a width, thickness or length has become zero or negative.
    """
    return _bow(form, build, tuple(events), Ledger(build.planned, shifts or {}))


def shifted_bows(
    form: Form, build: Build, events: Iterable[Event], shifts: Iterable[Mapping[str, float]]
) -> Iterator[BowAt]:
    """Yield the geometry under each of several shifts, as `bow_at` has it; what none of them touches is made once."""
    events = tuple(events)
    ledger = Ledger(build.planned)
    _bow(form, build, events, ledger)
    for shift in shifts:
        ledger.shifts = shift
        yield _bow(form, build, events, ledger)


def _bow(form: Form, build: Build, events: Sequence[Event], ledger: Ledger) -> BowAt:
    removals = [event for event in events if isinstance(event, Removal)]
    upper = ledger.part(Side.UPPER, lambda: _limb(form, build, removals, Side.UPPER, ledger))
    lower = (
        upper
        if ledger.part("alike", lambda: _limbs_alike(build, removals))
        else ledger.part(Side.LOWER, lambda: _limb(form, build, removals, Side.LOWER, ledger))
    )
    string, brace, brace_name = _rigging(build, events)
    pivot_depth = form.handle_depth_in.inch
    return BowAt(
        form=f"{form.id}/{form.revision}",
        kind=form.kind.value,
        riser_half=form.riser_length_in.inch / 2,
        pivot_depth=pivot_depth,
        pivot_above=_inch(form.pivot_above_centre_in),
        nocking_above=_inch(form.nocking_above_pivot_in),
        brace=ledger.note(
            brace_name,
            "brace height",
            from_back(brace.inch, brace.zero, pivot_depth),
            tolerances.BRACE_SD_IN[Taken.PLANNED if build.planned else brace.taken],
        ),
        string=string,
        upper=upper,
        lower=lower,
        glue_line=ledger.note("glue line", "glue line", tolerances.GLUE_LINE_IN, tolerances.GLUE_LINE_SD_IN),
        nock_offset_shift=ledger.note("nock offset", "string", 0.0, tolerances.NOCK_OFFSET_SD_IN),
        string_stiffness_factor=ledger.note(
            "string stiffness", "string", 1.0, tolerances.STRING_STIFFNESS_SD
        ),
        inputs=tuple(ledger.inputs.values()),
    )


def events_until(events: Sequence[Event], weigh_in: WeighIn) -> tuple[Event, ...]:
    """Return the events of a history up to and with one weigh-in: the geometry that it weighed."""
    return tuple(events[: events.index(weigh_in) + 1])


def _inch(dimension: Dimension | None) -> float:
    return 0.0 if dimension is None else dimension.inch


def _limbs_alike(build: Build, removals: Sequence[Removal]) -> bool:
    """Return whether nothing is recorded that holds for one limb only."""
    of_limbs: tuple[Layer | WidthReading | Removal, ...] = (*build.layers, *build.widths, *removals)
    return build.upper_longer_in is None and all(one.limb is Side.BOTH for one in of_limbs)


def _rigging(build: Build, events: Sequence[Event]) -> tuple[StringSpec, BraceHeight, str]:
    """Return string and brace height as last noted, and the name of that reading of the brace height."""
    string, brace, name = build.string, build.brace, "brace"
    for event in events:
        if isinstance(event, Rigging):
            string = event.string or string
        if isinstance(event, Rigging | WeighIn):
            brace, name = (event.brace, f"brace at {event.id}") if event.brace else (brace, name)
    return string, brace, name


def _limb(form: Form, build: Build, removals: Sequence[Removal], side: Side, ledger: Ledger) -> LimbAt:
    length = pressed = _pressed_length(form, build, side, ledger)
    cuts = []
    for index, removal in enumerate(removals):
        if removal.limb in (side, Side.BOTH):
            cut = ledger.part(
                ("removal", index, length), partial(cuts_of, removal, f"removals.{index}", length, ledger)
            )
            cuts.append(cut)
            length -= cut.amounts[1][0] if cut.method is Method.SHORTEN else 0.0
    if length <= 0:
        raise GeometryError(
            f"wanted a limb, got {length:.2f} in left of the {side} one; correct its removals"
        )
    belly, back = ledger.part(("widths", side, pressed), lambda: _widths(build, side, pressed, ledger))
    sides = tuple(cut.amounts for cut in cuts if cut.method is Method.SIDES)
    trap = tuple(cut.amounts for cut in cuts if cut.method is Method.TRAP)
    rounding = tuple(cut for cut in cuts if cut.method is Method.EDGES)
    return LimbAt(
        length=length,
        lams=_lams(form, build, cuts, side, pressed, ledger),
        width_belly=_less(belly, sides, "width"),
        width_back=_less(back, sides + trap, "width of the back"),
        edge_radius=ledger.part(("edges", rounding), lambda: _edge_radius(build, rounding, ledger)),
        profile=_profile(build.profile or form.profile),
        kinks=tuple(kink.inch for kink in form.kinks_in),
        follow=_inch(build.follow_in),
    )


def _pressed_length(form: Form, build: Build, side: Side, ledger: Ledger) -> float:
    """Return the limb's length before any shortening: half of what the riser leaves of the bow."""
    whole = ledger.take("length", "length", build.length_in, tolerances.LENGTH_SD_IN)
    longer = _inch(build.upper_longer_in) * (0.5 if side is Side.UPPER else -0.5)
    return (whole - form.riser_length_in.inch) / 2 + longer


def _widths(build: Build, side: Side, length: float, ledger: Ledger) -> tuple[Polyline, Polyline]:
    readings = [(i, reading) for i, reading in enumerate(build.widths) if reading.limb in (side, Side.BOTH)]
    if len(readings) < 2:
        raise GeometryError(
            f"wanted at least two widths on the {side} limb, got {len(readings)}; measure fade and nock"
        )
    points = sorted(
        (place_in(reading.at, length), *_width_at(reading, f"widths.{i}", ledger)) for i, reading in readings
    )
    stations = tuple(at for at, _, _ in points)
    return (stations, tuple(belly for _, belly, _ in points)), (
        stations,
        tuple(back for _, _, back in points),
    )


def _width_at(reading: WidthReading, name: str, ledger: Ledger) -> tuple[float, float]:
    belly = ledger.take(f"{name}.belly", "width", reading.belly_in, tolerances.WIDTH_SD_IN)
    if reading.back_in is None:
        return belly, belly + ledger.note("trap", UNNOTED_TRAP, 0.0, tolerances.UNNOTED_TRAP_SD_IN)
    return belly, ledger.take(f"{name}.back", "width", reading.back_in, tolerances.WIDTH_SD_IN)


def _edge_radius(build: Build, cuts: Sequence[Cuts], ledger: Ledger) -> Polyline:
    """Return the corner radius: the largest reached by then anywhere, as no edge gets sharp again."""
    if build.edge_radius_in is None:
        start = ledger.note(
            "edge radius", UNNOTED_EDGES, tolerances.DEFAULT_RADIUS_IN, tolerances.UNNOTED_RADIUS_SD_IN
        )
    else:
        start = ledger.take("edge radius", "edges", build.edge_radius_in, tolerances.RADIUS_SD_IN)
    radius: Polyline = ((0.0,), (max(start, 0.0),))
    for cut in cuts:
        radius = combined(radius, cut.amounts, partial(rounded, gain=cut.gain))
    return radius


def _lams(
    form: Form, build: Build, cuts: Sequence[Cuts], side: Side, length: float, ledger: Ledger
) -> tuple[LamAt, ...]:
    """Return the layers of one limb, back to belly, with what was sanded off the outermost ones."""
    layers = [(i, layer) for i, layer in enumerate(build.layers) if layer.limb in (side, Side.BOTH)]
    lams = [
        ledger.part(("layer", i, length), partial(_lam, layer, f"layers.{i}", form, length, ledger))
        for i, layer in layers
    ]
    for method, outermost in ((Method.BACK_GLASS, 0), (Method.BELLY_GLASS, -1)):
        amounts = tuple(cut.amounts for cut in cuts if cut.method is method)
        if amounts:
            lam = lams[outermost]
            stations, thickness = _less((lam.stations, lam.thickness), amounts, f"thickness of the {method}")
            lams[outermost] = replace(lam, stations=stations, thickness=thickness)
    return tuple(lams)


def _lam(layer: Layer, name: str, form: Form, length: float, ledger: Ledger) -> LamAt:
    start = -form.riser_length_in.inch / 2 if layer.from_in is None else layer.from_in.inch
    end = length if layer.to_in is None else layer.to_in.inch
    if end <= start:
        raise GeometryError(
            f"wanted a lam that ends beyond its butt, got {start:g} to {end:g} in; correct from_in or to_in"
        )
    noted = layer.butt_in.inch
    thinned = noted - (layer.taper_per_in or 0.0) * (end - start)
    tip = thinned if layer.tip_in is None else layer.tip_in.inch
    if tip < 0:
        raise GeometryError(
            f"wanted a lam with some thickness, got {tip:.3f} in at its tip; correct taper_per_in or to_in"
        )
    glass = layer.part is Part.GLASS
    butt = ledger.take(
        f"{name}.butt",
        f"{layer.part} thickness",
        layer.butt_in,
        tolerances.GLASS_SD_IN if glass else tolerances.THICKNESS_SD_IN,
    )
    tip += butt - noted
    if not glass:
        uneven = 1.0 + ledger.note(f"{name}.evenness", "lam evenness", 0.0, tolerances.LAM_WAVINESS)
        butt, tip = butt * uneven, tip * uneven
    ends = (max(butt, 0.0), max(tip, 0.0))
    return LamAt(layer.part, layer.material, layer.lot, (start, end), ends)


def _profile(readings: Sequence[ProfileReading]) -> tuple[tuple[float, float], ...]:
    return tuple((reading.at_in.inch, reading.offset_in.inch) for reading in readings)


def _value(stations: Sequence[float], values: Sequence[float], station: float) -> float:
    """Return a polyline's value at a station within it; for one place this is quicker than by arrays."""
    after = min(bisect_right(stations, station), len(stations) - 1)
    start, end = stations[after - 1], stations[after]
    return values[after - 1] + (values[after] - values[after - 1]) * (station - start) / (end - start)


@lru_cache(maxsize=64)
def _less(curve: Polyline, amounts: tuple[Polyline, ...], what: str) -> Polyline:
    """Return a curve less the amounts taken off it."""
    for amount in amounts:
        curve = combined(curve, amount, np.subtract)
    if min(curve[1]) <= 0:
        raise GeometryError(f"wanted some {what} left, got {min(curve[1]):.3f} in; correct the removals")
    return curve
