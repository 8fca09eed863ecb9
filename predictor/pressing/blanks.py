"""A bow to be pressed on a form, but for its lams: as the shop usually cuts bows of that form."""

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median
from types import MappingProxyType
from typing import Any, Protocol

import numpy as np

from datasets.history import bow_at
from datasets.record import BraceHeight, Dimension, Taken, ZeroPoint
from datasets.removals import place_in
from datasets.schema import Build, Form, FormKind, Layer, Shop, StringSpec, WidthReading
from datasets.zero_points import from_back

PLACES = ("fade", "mid", "nock")

USUAL_WIDTHS_IN = MappingProxyType(
    {
        FormKind.STRAIGHT: (1.5, 1.25, 0.625),
        FormKind.REFLEX_DEFLEX: (1.5, 1.25, 0.625),
        FormKind.RECURVE: (2.0, 1.75, 0.75),
    }
)
"""Of a blank at fade, mid-limb and nock, for a form that the shop has no builds of: common practice, no source."""

USUAL_BRACE_IN = MappingProxyType(
    {FormKind.STRAIGHT: 7.0, FormKind.REFLEX_DEFLEX: 7.25, FormKind.RECURVE: 8.0}
)
"""Pivot to string, for the same: common practice, no source."""


USUAL_LEAST = 0.8
"""Share of its first width that a limb keeps where the shop sets no least width: common practice, no source."""


class Blank(Protocol):
    """A planned bow without its lams."""

    @property
    def form(self) -> Form:
        """That it is pressed on."""

    def build(self, layers: Sequence[Layer]) -> Build:
        """Return the planned build of a stack."""


@dataclass(frozen=True)
class UsualBlank:
    """A blank at the sizes that a shop usually gives to bows of a form.

    Attributes:
        form: that it is pressed on.
        length_in: nock to nock.
        widths_in: at fade, mid-limb and nock, when it is first strung.
        brace: height of the string.
        string: that it is braced with.
        edge_radius_in: of the corners; nothing where the shop notes none.
        alike: how many of the shop's builds these sizes are the medians of.
    """

    form: Form
    length_in: float
    widths_in: tuple[float, ...]
    brace: BraceHeight
    string: StringSpec
    edge_radius_in: float | None
    alike: int

    def build(self, layers: Sequence[Layer]) -> Build:
        """Return the planned build of a stack."""
        return Build(
            id="K-000",
            form=self.form.id,
            form_revision=self.form.revision,
            length_in=_planned(self.length_in),
            layers=tuple(layers),
            widths=tuple(
                WidthReading(at=place, belly_in=_planned(width))
                for place, width in zip(PLACES, self.widths_in, strict=True)
            ),
            edge_radius_in=None if self.edge_radius_in is None else _planned(self.edge_radius_in),
            string=self.string,
            brace=self.brace,
        )


@dataclass(frozen=True)
class Copied:
    """A blank at the sizes that one bow had as first cut.

    Attributes:
        form: that it is pressed on.
        original: the bow.
        length_in: nock to nock, if it is another one; widths keep their places from the fade.
    """

    form: Form
    original: Build
    length_in: float | None = None

    def build(self, layers: Sequence[Layer]) -> Build:
        """Return the build of a stack; what the original's dimensions were taken with holds for it too."""
        changed: dict[str, Any] = {"layers": tuple(layers)}
        if self.length_in is not None:
            changed["length_in"] = _planned(self.length_in)
        return self.original.model_copy(update=changed)


def widths_of(form: Form, build: Build) -> tuple[float, float, float]:
    """Return the belly's widths of a build as first cut, at fade, mid-limb and nock, in inches."""
    limb = bow_at(form, build).upper
    fade, mid, nock = np.interp([0.0, limb.length / 2, limb.length], *limb.width_belly).tolist()
    return fade, mid, nock


def least_widths(shop: Shop, widths_in: Sequence[float]) -> tuple[float, float]:
    """Return the least widths at fade and nock: the shop's own or, where it sets none, a share of the first ones."""
    own = (shop.least_width_fade_in, shop.least_width_nock_in)
    fade, nock = (
        USUAL_LEAST * first if least is None else least.inch
        for first, least in zip((widths_in[0], widths_in[-1]), own, strict=True)
    )
    return fade, nock


def narrowed(form: Form, build: Build, fade_in: float, nock_in: float) -> Build:
    """Return a build at least widths, where they are less than its own; between fade and nock by proportion."""
    fade, _, nock = widths_of(form, build)
    limb = (build.length_in.inch - form.riser_length_in.inch) / 2
    shares = min(fade_in / fade, 1.0), min(nock_in / nock, 1.0)
    widths = []
    for reading in build.widths:
        share = float(np.interp(place_in(reading.at, limb), [0.0, limb], shares))
        back = None if reading.back_in is None else _planned(reading.back_in.inch * share)
        narrow = {"belly_in": _planned(reading.belly_in.inch * share), "back_in": back}
        widths.append(reading.model_copy(update=narrow))
    return build.model_copy(update={"widths": tuple(widths)})


def usual_blank(
    form: Form, builds: Sequence[tuple[Form, Build]], length_in: float | None = None
) -> UsualBlank:
    """Return a blank of a form at the median sizes of the shop's bows of it as first cut.

    Args:
        form: that is to be pressed on.
        builds: the shop's, each with its form revision; those of other forms are left out.
        length_in: nock to nock (default: the form's nominal length).
    """
    alike = [(own, build) for own, build in builds if own.id == form.id and not build.planned]
    length = length_in or form.riser_length_in.inch + 2 * form.limb_length_in.inch
    if not alike:
        brace = BraceHeight(inch=USUAL_BRACE_IN[form.kind], zero=ZeroPoint.PIVOT, taken=Taken.PLANNED)
        return UsualBlank(form, length, USUAL_WIDTHS_IN[form.kind], brace, StringSpec(), None, 0)
    radii = [build.edge_radius_in.inch for _, build in alike if build.edge_radius_in is not None]
    heights = [
        from_back(build.brace.inch, build.brace.zero, own.handle_depth_in.inch) for own, build in alike
    ]
    return UsualBlank(
        form=form,
        length_in=length,
        widths_in=tuple(np.median([widths_of(own, build) for own, build in alike], axis=0).tolist()),
        brace=BraceHeight(inch=median(heights), zero=ZeroPoint.BACK, taken=Taken.PLANNED),
        string=alike[-1][1].string,
        edge_radius_in=median(radii) if radii else None,
        alike=len(alike),
    )


def _planned(inch: float) -> Dimension:
    return Dimension(inch=inch, taken=Taken.PLANNED)
