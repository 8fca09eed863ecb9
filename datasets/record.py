"""The base of all records, and the small values they are made of: lengths, draw lengths, forces, places on a limb.

A value keeps what was typed beside the number in the project's own unit, so that a reader of the book can always
see what the bench wrote. Text is read by `datasets.notation`; a number alone has the unit of the field.
"""

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from typing import Annotated, Literal, TypeGuard, get_args

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, ValidationInfo

from datasets import notation
from datasets.notation import Quantity


class Record(BaseModel):
    """A frozen record: unknown fields are refused, and numbers are finite."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False, str_strip_whitespace=True)


class Taken(StrEnum):
    """How a dimension was come by; its measuring tolerance follows from it (`datasets.tolerances`)."""

    CALIPER = "caliper"
    RULE = "rule"
    PLANNED = "planned"


class ZeroPoint(StrEnum):
    """Where a draw length or a brace height is counted from (`datasets.zero_points` converts)."""

    STANDARD = "standard"
    BACK = "back"
    PIVOT = "pivot"


class Side(StrEnum):
    """The limb, or limbs, that a reading or a removal belongs to."""

    BOTH = "both"
    UPPER = "upper"
    LOWER = "lower"


@dataclass(frozen=True)
class Defaults:
    """What the shop means when a reading does not say: passed to validation as its context."""

    draw_zero: ZeroPoint = ZeroPoint.STANDARD
    brace_zero: ZeroPoint = ZeroPoint.PIVOT


class Dimension(Record):
    """A length as it was taken at the bench."""

    inch: float = Field(description="the length in inches")
    taken: Taken = Field(description="how it was taken")
    typed: str | None = Field(None, description="what was typed")


class DrawLength(Record):
    """A draw length with the zero point it is counted from."""

    inch: float = Field(description="the draw length in inches", ge=4, le=45)
    zero: ZeroPoint = Field(description="the point it is counted from")
    typed: str | None = Field(None, description="what was typed")


class BraceHeight(Record):
    """A brace height, square to the string, with the zero point it is counted from."""

    inch: float = Field(description="the brace height in inches", ge=2, le=14)
    zero: ZeroPoint = Field(description="the point it is counted from")
    taken: Taken = Field(Taken.RULE, description="how it was taken")
    typed: str | None = Field(None, description="what was typed")


class Force(Record):
    """A draw weight as it was read."""

    lbf: float = Field(description="the weight in pounds", ge=0.5, le=250)
    typed: str | None = Field(None, description="what was typed")


class Load(Record):
    """A weight hung on a strip."""

    lbf: float = Field(description="the load in pounds", ge=0.005, le=150)
    typed: str | None = Field(None, description="what was typed")


def _read_dimension(quantity: Quantity, usual: Taken) -> Callable[[object], object]:
    """Return the reader of a length field: bench notation, a number, a table with what was typed, or a stored value."""

    def read(raw: object) -> object:
        if _is_bench_text(raw):
            return {"inch": notation.read(raw, quantity), "taken": usual, "typed": str(raw)}
        if isinstance(raw, dict) and "inch" not in raw and _is_bench_text(raw.get("typed")):
            return {
                "taken": usual,
                **raw,
                "inch": notation.read(raw["typed"], quantity),
                "typed": str(raw["typed"]),
            }
        return raw

    return read


def _within(what: str, low: float, high: float) -> Callable[[Dimension], Dimension]:
    """Return the check of a length field's physical range."""

    def check(dimension: Dimension) -> Dimension:
        if not low <= dimension.inch <= high:
            raise ValueError(
                f"wanted a {what} of {low:g} to {high:g} in, got {dimension.inch:g} in; check its unit"
            )
        return dimension

    return check


def _read_draw(raw: object, info: ValidationInfo) -> object:
    return _read_zeroed(raw, Quantity.DRAW, _defaults(info).draw_zero)


def _read_brace(raw: object, info: ValidationInfo) -> object:
    return _read_zeroed(raw, Quantity.BRACE, _defaults(info).brace_zero)


def _read_zeroed(raw: object, quantity: Quantity, usual: ZeroPoint) -> object:
    if not _is_bench_text(raw):
        return raw
    inch, zero = notation.read_zeroed(raw, quantity)
    return {"inch": inch, "zero": zero or usual, "typed": str(raw)}


def _read_weight(raw: object) -> object:
    if _is_bench_text(raw):
        return {"lbf": notation.read(raw, Quantity.WEIGHT), "typed": str(raw)}
    return raw


def _read_load(raw: object) -> object:
    if _is_bench_text(raw):
        return {"lbf": notation.read(raw, Quantity.LOAD), "typed": str(raw)}
    return raw


def _read_place(raw: object) -> object:
    if isinstance(raw, str) and raw.strip().lower() in get_args(NamedPlace):
        return raw.strip().lower()
    if isinstance(raw, str) and not any(letter.isdigit() for letter in raw):
        raise ValueError(
            f"wanted {', '.join(get_args(NamedPlace))} or inches from the fade, got {raw!r}; write one of these"
        )
    return _read_dimension(Quantity.STATION, Taken.RULE)(raw)


def _is_bench_text(raw: object) -> TypeGuard[str | float]:
    return isinstance(raw, str | int | float) and not isinstance(raw, bool)


def _defaults(info: ValidationInfo) -> Defaults:
    return info.context if isinstance(info.context, Defaults) else Defaults()


def _field(quantity: Quantity, usual: Taken) -> BeforeValidator:
    return BeforeValidator(_read_dimension(quantity, usual), json_schema_input_type=Dimension | str | float)


NamedPlace = Literal["fade", "mid", "nock"]
Thickness = Annotated[
    Dimension, _field(Quantity.THICKNESS, Taken.CALIPER), AfterValidator(_within("thickness", 0, 1.5))
]
Amount = Annotated[Dimension, _field(Quantity.AMOUNT, Taken.CALIPER), AfterValidator(_within("amount", 0, 6))]
Width = Annotated[Dimension, _field(Quantity.WIDTH, Taken.RULE), AfterValidator(_within("width", 0.15, 4.5))]
Length = Annotated[Dimension, _field(Quantity.LENGTH, Taken.RULE), AfterValidator(_within("length", 4, 100))]
Station = Annotated[
    Dimension, _field(Quantity.STATION, Taken.RULE), AfterValidator(_within("station", 0, 60))
]
Offset = Annotated[Dimension, _field(Quantity.OFFSET, Taken.RULE), AfterValidator(_within("offset", -20, 20))]
Gap = Annotated[Dimension, _field(Quantity.TILLER, Taken.RULE), AfterValidator(_within("gap", 1, 14))]
Deflection = Annotated[
    Dimension,
    _field(Quantity.DEFLECTION, Taken.CALIPER),
    AfterValidator(_within("deflection", 0.001, 40)),
]
Place = Annotated[
    Dimension | NamedPlace, BeforeValidator(_read_place, json_schema_input_type=Dimension | str | float)
]
Draw = Annotated[DrawLength, BeforeValidator(_read_draw, json_schema_input_type=DrawLength | str | float)]
BracedAt = Annotated[
    BraceHeight, BeforeValidator(_read_brace, json_schema_input_type=BraceHeight | str | float)
]
Weight = Annotated[Force, BeforeValidator(_read_weight, json_schema_input_type=Force | str | float)]
HungWeight = Annotated[Load, BeforeValidator(_read_load, json_schema_input_type=Load | str | float)]
FormId = Annotated[
    str,
    Field(pattern=r"^[a-z0-9][a-z0-9-]{0,39}$", description="short name in small letters, such as ridge-66"),
]
