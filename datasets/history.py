"""The geometry of a bow at any moment of its history: the build as cut to profile, then every event up to then.

The result is numbers only, with the list of *inputs* they rest on: each recorded dimension by name with its measuring
tolerance. The same code computes the geometry with one input shifted, so an input's effect on anything is a
difference of two geometries.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from datasets import tolerances
from datasets.record import BraceHeight, Dimension, Place, Side, Taken
from datasets.schema import (
    Build,
    Cut,
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

Array = NDArray[np.float64]

Polyline = tuple[tuple[float, ...], tuple[float, ...]]
"""Stations and values; straight between stations, constant beyond the end ones."""

CARRIED_OUT = "removal carried out"
"""Source of the doubt about a removal of which only the plan is noted."""

GAIN_OF = "gain of "
"""What the source of the doubt about a way of taking stock off starts with."""


class GeometryError(ValueError):
    """Records that add up to no bow: one line with what was wanted, what came, what to do."""


@dataclass(frozen=True)
class Input:
    """One recorded dimension that a geometry rests on.

    Attributes:
        name: its place in the record, such as `layers.2.butt`.
        source: what kind of uncertainty it belongs to, such as `glass thickness`.
        sd: standard deviation of its error; inches, or a share where the source says so.
    """

    name: str
    source: str
    sd: float


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
        return float(sum(np.interp(station, lam.stations, lam.thickness) for lam in there))


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


@dataclass
class _Ledger:
    """Reads recorded dimensions: applies the shifts asked for and notes each input once."""

    shifts: Mapping[str, float]
    planned: bool
    inputs: dict[str, Input] = field(default_factory=dict)

    def note(self, name: str, source: str, value: float, sd: float) -> float:
        """Return `value` with the shift asked for, and note it as an input."""
        if name not in self.inputs:
            self.inputs[name] = Input(name, source, sd)
        return value + self.shifts.get(name, 0.0)

    def take(self, name: str, source: str, read: Dimension, sds: Mapping[Taken, float]) -> float:
        """Return a recorded dimension with the shift asked for, its tolerance by how it was taken."""
        taken = Taken.PLANNED if self.planned else read.taken
        return self.note(name, source, read.inch, sds[taken])


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
    events = tuple(events)
    ledger = _Ledger(shifts or {}, build.planned)
    removals = [event for event in events if isinstance(event, Removal)]
    upper = _limb(form, build, removals, Side.UPPER, ledger)
    lower = upper if _limbs_alike(build, removals) else _limb(form, build, removals, Side.LOWER, ledger)
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


def _limb(form: Form, build: Build, removals: Sequence[Removal], side: Side, ledger: _Ledger) -> LimbAt:
    length = pressed = _pressed_length(form, build, side, ledger)
    cuts = []
    for index, removal in enumerate(removals):
        if removal.limb in (side, Side.BOTH):
            cut = _cuts(removal, f"removals.{index}", length, ledger)
            cuts.append(cut)
            length -= cut.amounts[1][0] if cut.method is Method.SHORTEN else 0.0
    if length <= 0:
        raise GeometryError(
            f"wanted a limb, got {length:.2f} in left of the {side} one; correct its removals"
        )
    belly, back = _widths(build, side, pressed, ledger)
    sides = [cut.amounts for cut in cuts if cut.method is Method.SIDES]
    trap = [cut.amounts for cut in cuts if cut.method is Method.TRAP]
    return LimbAt(
        length=length,
        lams=_lams(form, build, cuts, side, pressed, ledger),
        width_belly=_less(belly, sides, "width"),
        width_back=_less(back, sides + trap, "width of the back"),
        edge_radius=_edge_radius(build, cuts, ledger),
        profile=_profile(build.profile or form.profile),
        kinks=tuple(kink.inch for kink in form.kinks_in),
        follow=_inch(build.follow_in),
    )


def _pressed_length(form: Form, build: Build, side: Side, ledger: _Ledger) -> float:
    """Return the limb's length before any shortening: half of what the riser leaves of the bow."""
    whole = ledger.take("length", "length", build.length_in, tolerances.LENGTH_SD_IN)
    longer = _inch(build.upper_longer_in) * (0.5 if side is Side.UPPER else -0.5)
    return (whole - form.riser_length_in.inch) / 2 + longer


@dataclass(frozen=True)
class _Cuts:
    """What one removal took off one limb, and the share of its loss of weight that the shop gets by that method."""

    method: Method
    amounts: Polyline
    gain: float


def _cuts(removal: Removal, name: str, length: float, ledger: _Ledger) -> _Cuts:
    """Return a removal's amounts: as measured afterwards, or as planned with the scatter of carrying a plan out."""
    gain = _gain(removal.method, ledger)
    of_corner = removal.method is Method.EDGES
    times = 1.0 if of_corner else gain
    if removal.done:
        sds = _CUT_SD_IN[removal.method]
        shift = ledger.note(name, "removal measured", 0.0, sds[removal.done[0].amount_in.taken])
        amounts = _polyline(removal.done, length, lambda amount: (amount + shift) * times)
    else:
        share = ledger.note(name, CARRIED_OUT, 1.0, tolerances.CARRIED_OUT) * times
        amounts = _polyline(removal.planned, length, lambda amount: amount * share)
    return _Cuts(removal.method, amounts, gain)


def gain_of(method: Method) -> str:
    """Return the name of the share of the statics' loss that a method gets."""
    return f"{GAIN_OF}{method.replace('-', ' ')}"


def _gain(method: Method, ledger: _Ledger) -> float:
    """Return the share of the statics' loss that a method gets; 1 but for a shift asked for.

    One share holds for all removals of a method. A shortened bow gets heavier: it has no such share.
    """
    if method is Method.SHORTEN:
        return 1.0
    return ledger.note(gain_of(method), gain_of(method), 1.0, tolerances.GAIN_SD)


_CUT_SD_IN = {
    Method.SIDES: tolerances.WIDTH_SD_IN,
    Method.TRAP: tolerances.WIDTH_SD_IN,
    Method.EDGES: tolerances.RADIUS_SD_IN,
    Method.BELLY_GLASS: tolerances.GLASS_SD_IN,
    Method.BACK_GLASS: tolerances.GLASS_SD_IN,
    Method.SHORTEN: tolerances.WIDTH_SD_IN,
}


def _polyline(cuts: Sequence[Cut], length: float, amount: Callable[[float], float]) -> Polyline:
    points = sorted((place_in(cut.at, length), amount(cut.amount_in.inch)) for cut in cuts)
    return tuple(at for at, _ in points), tuple(value for _, value in points)


def place_in(place: Place, length: float) -> float:
    """Return a place on a limb of `length` inches as inches from the fade end."""
    if isinstance(place, Dimension):
        return place.inch
    return {"fade": 0.0, "mid": length / 2, "nock": length}[place]


def _widths(build: Build, side: Side, length: float, ledger: _Ledger) -> tuple[Polyline, Polyline]:
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


def _width_at(reading: WidthReading, name: str, ledger: _Ledger) -> tuple[float, float]:
    belly = ledger.take(f"{name}.belly", "width", reading.belly_in, tolerances.WIDTH_SD_IN)
    if reading.back_in is None:
        return belly, belly + ledger.note("trap", "trap not noted", 0.0, tolerances.UNNOTED_TRAP_SD_IN)
    return belly, ledger.take(f"{name}.back", "width", reading.back_in, tolerances.WIDTH_SD_IN)


def _edge_radius(build: Build, cuts: Sequence[_Cuts], ledger: _Ledger) -> Polyline:
    """Return the corner radius: the largest reached by then anywhere, as no edge gets sharp again."""
    if build.edge_radius_in is None:
        start = ledger.note(
            "edge radius", "edges not noted", tolerances.DEFAULT_RADIUS_IN, tolerances.UNNOTED_RADIUS_SD_IN
        )
    else:
        start = ledger.take("edge radius", "edges", build.edge_radius_in, tolerances.RADIUS_SD_IN)
    radius: Polyline = ((0.0,), (max(start, 0.0),))
    for cut in cuts:
        if cut.method is Method.EDGES:
            radius = _combined(radius, cut.amounts, partial(_rounded, gain=cut.gain))
    return radius


CORNER_POWER = 1.6
"""Power of its radius that a corner costs, glass about wood: less than two, as the glass lies at the face (computed by
`predictor.section`; the tests hold it)."""


def _rounded(before: Array, reached: Array, gain: float) -> Array:
    """Return the radius after a rounding of which a share of the loss is got."""
    after = np.maximum(reached, before)
    had = np.divide(before, after, out=np.ones_like(after), where=after > 0) ** CORNER_POWER
    return np.asarray(after * (1 + (gain - 1) * (1 - had)) ** (1 / CORNER_POWER))


def _lams(
    form: Form, build: Build, cuts: Sequence[_Cuts], side: Side, length: float, ledger: _Ledger
) -> tuple[LamAt, ...]:
    """Return the layers of one limb, back to belly, with what was sanded off the outermost ones."""
    layers = [(i, layer) for i, layer in enumerate(build.layers) if layer.limb in (side, Side.BOTH)]
    lams = [_lam(layer, f"layers.{i}", form, length, ledger) for i, layer in layers]
    for method, outermost in ((Method.BACK_GLASS, 0), (Method.BELLY_GLASS, -1)):
        amounts = [cut.amounts for cut in cuts if cut.method is method]
        if amounts:
            lam = lams[outermost]
            stations, thickness = _less((lam.stations, lam.thickness), amounts, f"thickness of the {method}")
            lams[outermost] = replace(lam, stations=stations, thickness=thickness)
    return tuple(lams)


def _lam(layer: Layer, name: str, form: Form, length: float, ledger: _Ledger) -> LamAt:
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


def _less(curve: Polyline, amounts: Sequence[Polyline], what: str) -> Polyline:
    """Return a curve less the amounts taken off it."""
    for amount in amounts:
        curve = _combined(curve, amount, np.subtract)
    if min(curve[1]) <= 0:
        raise GeometryError(f"wanted some {what} left, got {min(curve[1]):.3f} in; correct the removals")
    return curve


def _combined(curve: Polyline, other: Polyline, combine: Callable[[Array, Array], Array]) -> Polyline:
    """Return two polylines combined value by value at the stations of both that the first one spans."""
    ends = (curve[0][0], curve[0][-1]) if len(curve[0]) > 1 else (-np.inf, np.inf)
    stations = np.array(sorted({*curve[0], *(at for at in other[0] if ends[0] < at < ends[1])}))
    values = combine(np.interp(stations, *curve), np.interp(stations, *other))
    return tuple(stations.tolist()), tuple(values.tolist())
