"""The records of the shop's book: what a bowyer writes down, and within which physical ranges.

Every length field ends in its unit and takes bench notation; see `datasets.record` for the values that records are
made of. A build's geometry is a history: the build as it left the press and the cut to profile, then events. The
numbers at a moment of that history are computed by `datasets.history`.
"""

import datetime as dt
from enum import StrEnum
from types import MappingProxyType
from typing import Annotated, Any, Literal, Self

from pydantic import Field, model_validator

from datasets.materials import Material
from datasets.record import (
    Amount,
    BracedAt,
    Deflection,
    Draw,
    FormId,
    Gap,
    HungWeight,
    Length,
    Offset,
    Place,
    Record,
    Side,
    Station,
    Thickness,
    Weight,
    Width,
    ZeroPoint,
)

MOST_SHOTS = 1_000_000
"""More arrows than any bow is shot with: what lies above is a slip."""

BuildId = Annotated[
    str,
    Field(
        pattern=r"^[A-Z]{1,3}-\d{3,6}$",
        description="one to three capitals, a hyphen and three to six digits, such as K-014",
    ),
]
EventId = Annotated[
    str,
    Field(
        pattern=r"^[A-Z]{1,3}-\d{3,6}/\d{1,4}$",
        description="the build's id, a slash and a running number of up to four digits, such as K-014/3",
    ),
]
StripId = Annotated[
    str,
    Field(pattern=r"^STRIP-\d{3,6}$", description="STRIP- and three to six digits, such as STRIP-007"),
]
OrderId = Annotated[
    str,
    Field(pattern=r"^ORDER-\d{3,6}$", description="ORDER- and three to six digits, such as ORDER-007"),
]
StockId = Annotated[
    str,
    Field(pattern=r"^STOCK-\d{3,6}$", description="STOCK- and three to six digits, such as STOCK-007"),
]


class FormKind(StrEnum):
    """The family of side profiles a form belongs to."""

    STRAIGHT = "straight"
    REFLEX_DEFLEX = "reflex-deflex"
    RECURVE = "recurve"


class ProfileReading(Record):
    """One offset of the limb's back from a straight edge laid along the back of the riser."""

    at_in: Station = Field(description="along the straight edge from the bow's centre")
    offset_in: Offset = Field(
        description="positive toward the back (reflex), negative toward the string (deflex)"
    )


class Form(Record):
    """A press form. A changed form is a new revision; builds point at one revision."""

    id: FormId
    revision: int = Field(1, ge=1, le=99)
    kind: FormKind
    riser_length_in: Length = Field(description="the rigid part, from fade end to fade end")
    handle_depth_in: Width = Field(
        description="from the back of the riser to the pivot, the deepest of the grip"
    )
    limb_length_in: Length = Field(description="nominal limb length, from fade end to nock along the back")
    profile: tuple[ProfileReading, ...] = Field(min_length=2, description="from the fade end outward")
    kinks_in: tuple[Station, ...] = Field(
        (), description="stations from the fade end where the bend changes abruptly"
    )
    pivot_above_centre_in: Offset | None = Field(
        None, description="pivot above the bow's centre (default: at it)"
    )
    nocking_above_pivot_in: Offset | None = Field(
        None, description="nocking point above the pivot (default: level)"
    )
    note: str | None = None


class Part(StrEnum):
    """What a layer is in the stack."""

    GLASS = "glass"
    CORE = "core"
    VENEER = "veneer"
    POWER = "power"
    WEDGE = "wedge"


class Layer(Record):
    """One lam of the stack. Its thickness runs straight from its butt to its tip."""

    part: Part
    material: str = Field(
        min_length=1, max_length=40, description="a material of the handbook or of the shop"
    )
    lot: str | None = Field(
        None, min_length=1, max_length=40, description="the delivery or board it came from"
    )
    butt_in: Thickness = Field(description="thickness at the butt end")
    tip_in: Thickness | None = Field(None, description="thickness at the tip end (default: parallel)")
    taper_per_in: float | None = Field(
        None, ge=0, le=0.02, description="inch of thickness lost per inch, if no tip is given"
    )
    from_in: Offset | None = Field(
        None, description="where its butt lies, from the fade end outward (default: the bow's centre)"
    )
    to_in: Station | None = Field(
        None, description="where it ends, from the fade end outward (default: the nock)"
    )
    limb: Side = Side.BOTH

    @model_validator(mode="after")
    def _one_taper(self) -> Self:
        if self.tip_in is not None and self.taper_per_in is not None:
            raise ValueError("wanted tip_in or taper_per_in, got both; leave one out")
        return self


class WidthReading(Record):
    """The limb's width at one place."""

    at: Place = Field(description="inches from the fade end, or fade, mid, nock")
    belly_in: Width
    back_in: Width | None = Field(
        None, description="width of the back where the limb is trapped (default: not noted)"
    )
    limb: Side = Side.BOTH


class StringMaterial(StrEnum):
    """The yarn of a string, by how far it stretches."""

    POLYESTER = "polyester"
    LOW_STRETCH = "low-stretch"


class StringSpec(Record):
    """The string a bow is braced with."""

    material: StringMaterial = StringMaterial.LOW_STRETCH
    strands: int = Field(14, ge=4, le=40)


class Build(Record):
    """One bow or kit as it left the press and the first cut to profile."""

    id: BuildId
    form: FormId
    form_revision: int = Field(1, ge=1, le=99)
    planned: bool = Field(False, description="nothing is cut yet: every dimension is a plan")
    length_in: Length = Field(description="nock to nock along the back, unbraced")
    upper_longer_in: Offset | None = Field(
        None, description="upper limb longer than the lower by (default: equal)"
    )
    layers: tuple[Layer, ...] = Field(min_length=1, max_length=24, description="from the back to the belly")
    widths: tuple[WidthReading, ...] = Field(min_length=2, max_length=60)
    edge_radius_in: Thickness | None = Field(
        None, description="radius of the four corners (default: not noted)"
    )
    profile: tuple[ProfileReading, ...] = Field(
        (), description="its own unstrung shape, if it differs from the form's"
    )
    follow_in: Offset | None = Field(
        None, description="tips toward the string from the form's shape, after pressing"
    )
    string: StringSpec = StringSpec()
    brace: BracedAt
    built: dt.date | None = None
    builder: str | None = None
    teaches: bool = Field(True, description="whether the model may learn from it")
    why_not: str | None = Field(None, min_length=3, description="the reason if it may not")
    note: str | None = None

    @model_validator(mode="after")
    def _reason_when_not_teaching(self) -> Self:
        if self.teaches == (self.why_not is not None):
            raise ValueError(
                "wanted why_not exactly when teaches is false, "
                f"got teaches = {str(self.teaches).lower()} and why_not = {self.why_not!r}; set both"
            )
        return self


class Stage(StrEnum):
    """How far a bow had come when it was weighed."""

    BLANK = "blank"
    FIRST_DRAW = "first-draw"
    TILLERED = "tillered"
    FINISHED = "finished"
    SETTLED = "settled"


class Reading(Record):
    """One draw weight at one draw length."""

    draw: Draw
    weight: Weight


class WeighIn(Record):
    """Draw weights of one build at one moment, with what they depend on."""

    id: EventId
    build: BuildId
    on: dt.date
    stage: Stage
    readings: tuple[Reading, ...] = Field(min_length=1, max_length=40)
    scale: str | None = Field(None, min_length=1, max_length=40)
    by: str | None = Field(None, min_length=1, max_length=40, description="who pulled and read")
    brace: BracedAt | None = Field(None, description="brace height at this weighing (default: the build's)")
    pulls: int | None = Field(None, ge=0, le=10_000, description="full draws since the last removal")
    shots: int | None = Field(None, ge=0, le=MOST_SHOTS, description="arrows shot so far")
    temperature_f: float | None = Field(None, ge=-40, le=130)
    humidity_pct: float | None = Field(None, ge=0, le=100)
    gap_upper_in: Gap | None = Field(
        None, description="string to belly at the upper fade, square to the string"
    )
    gap_lower_in: Gap | None = Field(
        None, description="string to belly at the lower fade, square to the string"
    )
    note: str | None = None

    @model_validator(mode="after")
    def _each_draw_once(self) -> Self:
        draws = [(reading.draw.inch, reading.draw.zero) for reading in self.readings]
        twice = sorted({inch for inch, zero in draws if draws.count((inch, zero)) > 1})
        if twice:
            raise ValueError(
                f"wanted each draw once, got {twice[0]:g} in twice; weigh again or average the two"
            )
        return self


class Method(StrEnum):
    """How stock is taken off."""

    SIDES = "sides"
    TRAP = "trap"
    EDGES = "edges"
    BELLY_GLASS = "belly-glass"
    BACK_GLASS = "back-glass"
    SHORTEN = "shorten"


class Cut(Record):
    """An amount at one place; between places it runs straight, beyond the end ones it stays."""

    at: Place = Field(
        "fade",
        description="inches from the fade end, or fade, mid, nock (left out: the amount holds for the whole limb; "
        "the nock for shorten); of one place alone add, with 0, where the cut runs out",
    )
    amount_in: Amount = Field(
        description="off the whole width (sides), off the width of the back (trap), corner radius reached (edges), "
        "off the thickness (glass), off each nock end (shorten)"
    )


class Removal(Record):
    """Stock taken off a build: what was planned and what was done."""

    id: EventId
    build: BuildId
    on: dt.date
    method: Method
    limb: Side = Side.BOTH
    planned: tuple[Cut, ...] = ()
    done: tuple[Cut, ...] = Field(
        (), description="as measured afterwards (default: the plan counts, as a plan)"
    )
    note: str | None = None

    @model_validator(mode="before")
    @classmethod
    def _shortens_at_the_nock(cls, data: Any) -> Any:
        if not isinstance(data, dict) or data.get("method") != Method.SHORTEN:
            return data
        lists = {name: data[name] for name in ("planned", "done") if isinstance(data.get(name), list | tuple)}
        placed = {
            name: [{"at": "nock", **cut} if isinstance(cut, dict) else cut for cut in cuts]
            for name, cuts in lists.items()
        }
        return data | placed

    @model_validator(mode="after")
    def _says_how_much(self) -> Self:
        if not self.planned and not self.done:
            raise ValueError(
                "wanted an amount, got neither planned nor done; give at least one place with its amount"
            )
        return self


class Rigging(Record):
    """Another string or brace height, from this moment on."""

    id: EventId
    build: BuildId
    on: dt.date
    string: StringSpec | None = None
    brace: BracedAt | None = None
    note: str | None = None

    @model_validator(mode="after")
    def _changes_something(self) -> Self:
        if self.string is None and self.brace is None:
            raise ValueError("wanted a string or a brace height, got neither; give the one that changed")
        return self


class Support(StrEnum):
    """How a strip is held while it is bent."""

    THREE_POINT = "three-point"
    CANTILEVER = "cantilever"


MOST_DEFLECTION = MappingProxyType({Support.THREE_POINT: 0.2, Support.CANTILEVER: 0.6})
"""Deflection over span up to which a strip is read. Between edges the load that a strip bears falls from 0.24 on, where
it slides through: computed from the elastica in `predictor.belief.strip`."""


class StripLoad(Record):
    """A weight hung on a strip, and how far the strip went down from where it lay without any."""

    load: HungWeight
    deflection_in: Deflection


class StripTest(Record):
    """A lam or glass strip of one lot, bent on the bench: it tells the lot's stiffness before a bow is pressed."""

    id: StripId
    material: str = Field(
        min_length=1, max_length=40, description="a material of the handbook or of the shop"
    )
    lot: str | None = Field(
        None, min_length=1, max_length=40, description="the delivery or board it came from"
    )
    on: dt.date
    support: Support = Field(
        Support.THREE_POINT, description="on two edges and loaded midway, or clamped at one end"
    )
    span_in: Length = Field(description="between the edges, or from the clamp to the load")
    width_in: Width
    thickness_in: Thickness = Field(description="mean over the span")
    thickness_sd_in: float | None = Field(
        None,
        gt=0,
        le=0.05,
        description="standard deviation of that mean, if better known than by a caliper here and there",
    )
    loads: tuple[StripLoad, ...] = Field(min_length=1, max_length=20)
    note: str | None = None

    @model_validator(mode="after")
    def _bends(self) -> Self:
        if self.thickness_in.inch == 0:
            raise ValueError("wanted a thickness, got 0 in; measure the strip")
        return self


class Order(Record):
    """What was promised of one bow; it is open until it names the weighing with which the bow was delivered."""

    id: OrderId
    weight: Weight = Field(description="promised draw weight")
    draw: Draw = Field(description="draw length at which it is promised")
    tolerance_lbf: float | None = Field(
        None, gt=0, le=20, description="promised either way (default: the shop's)"
    )
    shots: int = Field(500, ge=0, le=MOST_SHOTS, description="arrows shot when the weight must hold")
    scale: str | None = Field(
        None, min_length=1, max_length=40, description="scale on which it is judged (default: the true force)"
    )
    build: BuildId | None = Field(None, description="the bow that is to keep the promise, once there is one")
    customer: str | None = Field(None, min_length=1, max_length=80)
    due: dt.date | None = None
    delivered: EventId | None = Field(None, description="the last weighing before it was handed over")
    note: str | None = None

    @model_validator(mode="after")
    def _delivers_its_build(self) -> Self:
        if self.delivered is not None and self.delivered.split("/")[0] != self.build:
            raise ValueError(
                f"wanted delivered to be a weighing of the order's build, got {self.delivered} and build "
                f"{self.build or 'not given'}; set both"
            )
        return self


PIECES_OF_A_LAM, PIECES_OF_GLASS = 2, 4
"""What one bow takes of pieces as long as a limb: two of a lam, and glass on both faces."""


class Stock(Record):
    """Lams of one thickness at hand, or boards that lams can be ground from."""

    id: StockId
    part: Part
    material: str = Field(
        min_length=1, max_length=40, description="a material of the handbook or of the shop"
    )
    lot: str | None = Field(
        None, min_length=1, max_length=40, description="the delivery or board it came from"
    )
    thickness_in: Thickness = Field(description="at the butt; of what can be ground, the thickest")
    ground_to_in: Thickness | None = Field(
        None, description="the thinnest that may be ground from it (default: it is used as it is)"
    )
    taper_per_in: float | None = Field(
        None, ge=0, le=0.02, description="inch of thickness lost per inch (default: parallel)"
    )
    length_in: Length | None = Field(None, description="of one piece (default: long enough for a limb)")
    width_in: Width | None = Field(None, description="of one piece (default: wide enough)")
    pieces: int = Field(
        default_factory=lambda typed: PIECES_OF_GLASS if typed.get("part") is Part.GLASS else PIECES_OF_A_LAM,
        ge=0,
        le=10_000,
        description="how many; a lam takes two, or one that reaches from nock to nock (default: one bow's, "
        "4 of glass for both faces, else 2)",
    )
    note: str | None = None

    @model_validator(mode="after")
    def _grinds_thinner(self) -> Self:
        if self.ground_to_in is not None and self.ground_to_in.inch > self.thickness_in.inch:
            raise ValueError(
                f"wanted ground_to_in at or below thickness_in, got {self.ground_to_in.inch:g} in over "
                f"{self.thickness_in.inch:g} in; check which is which"
            )
        return self


class CheckWeight(Record):
    """A known weight hung on a scale, and what the scale read."""

    known: Weight
    read: Weight


class Scale(Record):
    """A bow scale and its readings of known weights."""

    id: str = Field(pattern=r"^[a-z0-9][a-z0-9-]{0,39}$", description="short name, such as hanging-digital")
    division_lbf: float = Field(gt=0, le=5, description="the smallest step it shows")
    checks: tuple[CheckWeight, ...] = ()
    note: str | None = None


class Shop(Record):
    """The shop's settings."""

    id: Literal["shop"] = "shop"
    name: str = Field("my shop", min_length=1, max_length=80, description="of the shop")
    draw_zero: ZeroPoint = Field(ZeroPoint.STANDARD, description="what a bare draw length means")
    brace_zero: ZeroPoint = Field(ZeroPoint.PIVOT, description="what a bare brace height means")
    units: Literal["inch", "metric"] = Field("inch", description="what is printed: inch, or metric")
    tolerance_lbf: float = Field(1.0, gt=0, le=20, description="promised either way")
    under_to_over_cost: float = Field(9.0, ge=1, le=1000, description="a pound under against a pound over")
    pass_cost_lbf: float = Field(0.05, ge=0, le=10, description="one more pass, in pounds over")
    miss_cost_lbf: float = Field(
        0.2, ge=0, le=100, description="ending outside the tolerance at all, in pounds over"
    )
    most_under_chance: float = Field(
        0.02, gt=0, le=0.5, description="largest chance that a plan may end under the tolerance"
    )
    reach_chance: float = Field(
        0.95, ge=0.5, lt=1, description="chance wanted that a new stack is heavy enough for its order"
    )
    least_width_fade_in: Width | None = Field(
        None, description="narrowest that a limb may become at the fade"
    )
    least_width_nock_in: Width | None = Field(
        None, description="narrowest that a limb may become at the nock"
    )
    edge_radius_limit_in: Thickness | None = Field(
        None, description="largest radius that a plan may round corners to; 0 for none (default: 1/8 in)"
    )
    trap_limit_in: Thickness | None = Field(
        None, description="most that a plan may make the back narrower than the belly (default: nothing)"
    )
    glass_off_limit_in: Thickness | None = Field(
        None,
        description="most that may be sanded off one face's glass in all; a plan sands the belly's (default: nothing)",
    )
    strain_limit: float | None = Field(
        None, gt=0, le=0.05, description="highest face strain allowed (default: the material's)"
    )
    tiller_low_in: Offset | None = Field(None, description="lowest upper-minus-lower tiller wanted")
    tiller_high_in: Offset | None = Field(None, description="highest upper-minus-lower tiller wanted")


Event = WeighIn | Removal | Rigging

KINDS: dict[str, type[Record]] = {
    "form": Form,
    "build": Build,
    "weigh_in": WeighIn,
    "removal": Removal,
    "rigging": Rigging,
    "strip": StripTest,
    "order": Order,
    "stock": Stock,
    "material": Material,
    "scale": Scale,
    "shop": Shop,
}
"""Every kind of record, by the name it has in files and in the book."""
