"""Bows between two bows: those that have some kinds of dimensions of one and the others of the other."""

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from types import MappingProxyType

from datasets.history import bow_at
from datasets.record import BraceHeight, ZeroPoint
from datasets.schema import Build, Event, Form, Layer, Method, Part, Removal

FORM, LENGTH, GLASS, CORES, WIDTHS, EDGES, STRING, BRACE, DRAW = (
    "form and unstrung shape",
    "length",
    "glass",
    "cores and other lams",
    "widths",
    "edges",
    "string",
    "brace height",
    "draw",
)
MAKE_OF_GLASS, MAKE_OF_CORES = "make of glass", "wood of the lams"
"""Told apart from thickness where both bows have the same number of lams of each part."""

KINDS = (FORM, LENGTH, GLASS, MAKE_OF_GLASS, CORES, MAKE_OF_CORES, WIDTHS, EDGES, STRING, BRACE, DRAW)
"""Of what two bows may differ in; each kind takes the removals that bear on it with it."""

REMOVED_FROM = MappingProxyType(
    {
        Method.SIDES: WIDTHS,
        Method.TRAP: WIDTHS,
        Method.EDGES: EDGES,
        Method.BELLY_GLASS: GLASS,
        Method.BACK_GLASS: GLASS,
        Method.SHORTEN: LENGTH,
    }
)


@dataclass(frozen=True)
class Stood:
    """A build as it stood at a moment, and a draw length as the standard counts it."""

    form: Form
    build: Build
    events: tuple[Event, ...]
    draw_in: float

    def plain(self) -> "Stood":
        """Return the same bow with its last string and brace height in the build, and removals as its only events."""
        bow = bow_at(self.form, self.build, self.events)
        brace = BraceHeight(inch=bow.brace, zero=ZeroPoint.BACK, taken=self.build.brace.taken)
        build = self.build.model_copy(update={"string": bow.string, "brace": brace})
        removals = tuple(event for event in self.events if isinstance(event, Removal))
        return Stood(self.form, build, removals, self.draw_in)


def mixed(first: Stood, second: Stood, taken: Collection[str]) -> Stood:
    """Return a bow that has some kinds of dimensions of the second bow and all others of the first.

    Args:
        first: as `Stood.plain` gives it.
        second: likewise.
        taken: kinds that are the second one's.
    """

    def of(kind: str) -> Stood:
        return second if kind in taken else first

    shape, length = of(FORM), of(LENGTH).build
    build = first.build.model_copy(
        update={
            "form": shape.form.id,
            "form_revision": shape.form.revision,
            "profile": shape.build.profile,
            "follow_in": shape.build.follow_in,
            "length_in": length.length_in,
            "upper_longer_in": length.upper_longer_in,
            "layers": _layers(of),
            "widths": of(WIDTHS).build.widths,
            "edge_radius_in": of(EDGES).build.edge_radius_in,
            "string": of(STRING).build.string,
            "brace": of(BRACE).build.brace,
        }
    )
    removals = tuple(
        event
        for owner in (first, second)
        for event in owner.events
        if isinstance(event, Removal) and of(REMOVED_FROM[event.method]) is owner
    )
    return Stood(shape.form, build, removals, of(DRAW).draw_in)


def _layers(of: Callable[[str], Stood]) -> tuple[Layer, ...]:
    """Return the layers of a mixed bow: glass faces around all other lams."""
    back, _, belly = _parted(of(GLASS).build.layers)
    back_make, _, belly_make = _parted(of(MAKE_OF_GLASS).build.layers)
    _, lams, _ = _parted(of(CORES).build.layers)
    _, lams_make, _ = _parted(of(MAKE_OF_CORES).build.layers)
    return (*_made_of(back, back_make), *_made_of(lams, lams_make), *_made_of(belly, belly_make))


def _parted(layers: Sequence[Layer]) -> tuple[Sequence[Layer], Sequence[Layer], Sequence[Layer]]:
    """Return the glass of the back, all between, and the glass of the belly."""
    others = [place for place, layer in enumerate(layers) if layer.part is not Part.GLASS]
    if not others:
        return layers, (), ()
    return layers[: others[0]], layers[others[0] : others[-1] + 1], layers[others[-1] + 1 :]


def _made_of(lams: Sequence[Layer], others: Sequence[Layer]) -> Sequence[Layer]:
    """Return lams of the materials and lots of others or, where they do not answer to each other, as they are."""
    if [(one.part, one.limb) for one in lams] != [(one.part, one.limb) for one in others]:
        return lams
    return [
        one.model_copy(update={"material": other.material, "lot": other.lot})
        for one, other in zip(lams, others, strict=True)
    ]
