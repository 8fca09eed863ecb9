"""A bow with something about it thought of otherwise: stock off, another length, width, glass, brace or string.

What is thought of is a changed record, so that a doubt about a dimension is one and the same before and after: the
caliper that read a glass a little thick would have read the other one as thick. Only a removal brings doubts of
its own, how it is carried out and how much of its loss is got.
"""

from dataclasses import dataclass, replace

from datasets.record import BraceHeight, Dimension, DrawLength
from datasets.schema import Build, Event, Layer, Part, Removal, Rigging, StringSpec, WeighIn, WidthReading


@dataclass(frozen=True)
class Supposed:
    """A bow as it is recorded or thought of, at one draw.

    Attributes:
        build: as pressed and first cut.
        events: its history.
        draw: at which its weight is asked for.
    """

    build: Build
    events: tuple[Event, ...]
    draw: DrawLength

    def string(self) -> StringSpec:
        """Return the string as last noted."""
        noted = [event.string for event in self.events if isinstance(event, Rigging) and event.string]
        return noted[-1] if noted else self.build.string

    def brace(self) -> BraceHeight:
        """Return the brace height as last noted."""
        noted = [event.brace for event in self.events if isinstance(event, Rigging | WeighIn) and event.brace]
        return noted[-1] if noted else self.build.brace


def with_removal(bow: Supposed, removal: Removal) -> Supposed:
    """Return a bow after one more removal."""
    return replace(bow, events=(*bow.events, removal))


def with_string(bow: Supposed, string: StringSpec) -> Supposed:
    """Return a bow with another string at the same brace height."""
    for place in reversed(range(len(bow.events))):
        event = bow.events[place]
        if isinstance(event, Rigging) and event.string:
            return _with_event(bow, place, event.model_copy(update={"string": string}))
    return _with_fields(bow, string=string)


def with_brace(bow: Supposed, inch: float) -> Supposed:
    """Return a bow braced otherwise, counted from where its brace height as last noted counts."""
    brace = bow.brace().model_copy(update={"inch": inch})
    for place in reversed(range(len(bow.events))):
        event = bow.events[place]
        if isinstance(event, Rigging | WeighIn) and event.brace:
            return _with_event(bow, place, event.model_copy(update={"brace": brace}))
    return _with_fields(bow, brace=brace)


def with_length(bow: Supposed, inch: float) -> Supposed:
    """Return a bow pressed and cut to another length, all else alike."""
    return _with_fields(bow, length_in=_moved(bow.build.length_in, inch - bow.build.length_in.inch))


def wider(bow: Supposed, inch: float) -> Supposed:
    """Return a bow cut wider by the same at every place, back and belly; narrower for a negative amount."""
    return _with_fields(bow, widths=tuple(_wider(reading, inch) for reading in bow.build.widths))


def with_glass(bow: Supposed, inch: float, *, more: bool) -> Supposed:
    """Return a bow pressed with other glass.

    Args:
        bow: as it is.
        inch: thickness of every glass at its butt.
        more: whether `inch` is what every glass is thicker by, rather than its thickness.
    """
    layers = tuple(
        _thicker(layer, inch if more else inch - layer.butt_in.inch) if layer.part is Part.GLASS else layer
        for layer in bow.build.layers
    )
    return _with_fields(bow, layers=layers)


def _with_event(bow: Supposed, place: int, event: Event) -> Supposed:
    return replace(bow, events=(*bow.events[:place], event, *bow.events[place + 1 :]))


def _with_fields(bow: Supposed, **fields: object) -> Supposed:
    return replace(bow, build=bow.build.model_copy(update=fields))


def _wider(reading: WidthReading, inch: float) -> WidthReading:
    back = None if reading.back_in is None else _moved(reading.back_in, inch)
    return reading.model_copy(update={"belly_in": _moved(reading.belly_in, inch), "back_in": back})


def _thicker(layer: Layer, inch: float) -> Layer:
    tip = None if layer.tip_in is None else _moved(layer.tip_in, inch)
    return layer.model_copy(update={"butt_in": _moved(layer.butt_in, inch), "tip_in": tip})


def _moved(dimension: Dimension, inch: float) -> Dimension:
    return dimension.model_copy(update={"inch": dimension.inch + inch})
