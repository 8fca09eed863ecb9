"""Bench notation: what is written at the bench, read as numbers, and numbers written back.

A bare number has the field's own unit, and must then be of a usual size: a thickness of `70` is more likely
70 thousandths than 70 inches, so it is refused and both readings are named. With a unit written out, only
what no bow can have is refused.
"""

import math
import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Context, Decimal
from enum import StrEnum
from fractions import Fraction
from typing import Literal, NamedTuple, get_args

MM_PER_INCH = 25.4
"""Exact: NIST Special Publication 811 (2008), appendix B.8."""

NEWTON_PER_LBF = 4.4482216152605
"""Exact: 0.45359237 kg at 9.80665 m/s² (NIST Special Publication 811, 2008, appendix B.8)."""

Zero = Literal["standard", "back", "pivot"]


class NotationError(ValueError):
    """Text that cannot be read, in one line: what was wanted, what came, what to do."""


class Quantity(StrEnum):
    """What a field measures: it sets the field's own unit and the sizes that are usual."""

    THICKNESS = "thickness"
    AMOUNT = "amount"
    WIDTH = "width"
    LENGTH = "length"
    STATION = "station"
    OFFSET = "offset"
    DRAW = "draw"
    BRACE = "brace"
    TILLER = "tiller"
    DEFLECTION = "deflection"
    WEIGHT = "weight"
    LOAD = "load"
    TEMPERATURE = "temperature"
    HUMIDITY = "humidity"


class _Unit(NamedTuple):
    """A unit as the straight line that turns it into the field's own unit, exactly."""

    names: tuple[str, ...]
    factor: Fraction
    offset: Fraction = Fraction(0)

    def own(self, number: Fraction) -> Fraction:
        return number * self.factor + self.offset


# In each table the field's own unit comes first.
_INCH = Fraction("25.4")
_POUND_KG = Fraction("0.45359237")
_POUND_N = _POUND_KG * Fraction("9.80665")
_LENGTHS = {
    "in": _Unit(("in", "in.", "inch", "inches", '"'), Fraction(1)),
    "mm": _Unit(("mm", "millimetre", "millimetres", "millimeters"), 1 / _INCH),
    "cm": _Unit(("cm", "centimetre", "centimetres", "centimeters"), 10 / _INCH),
}
_THICKNESSES = {**_LENGTHS, "thou": _Unit(("thou", "thousandths"), Fraction(1, 1000))}
_FORCES = {
    "lb": _Unit(("lb", "lb.", "lbs", "lbs.", "lbf", "#", "pound", "pounds"), Fraction(1)),
    "kg": _Unit(("kg", "kgf"), 1 / _POUND_KG),
    "N": _Unit(("n", "newton", "newtons"), 1 / _POUND_N),
}
_LOADS = {
    **_FORCES,
    "oz": _Unit(("oz", "oz.", "ozs", "ounce", "ounces"), Fraction(1, 16)),
    "g": _Unit(("g", "gr", "gram", "grams", "gramme", "grammes"), 1 / (1000 * _POUND_KG)),
}
_TEMPERATURES = {
    "F": _Unit(("f", "°f", "° f", "deg f"), Fraction(1)),
    "C": _Unit(("c", "°c", "° c", "deg c"), Fraction(9, 5), Fraction(32)),
}
_PERCENTAGES = {"%": _Unit(("%", "percent", "pct"), Fraction(1))}


@dataclass(frozen=True)
class _Sizes:
    """What a bare number may be (usual), what any number may be (possible), and whether it may name a zero point."""

    noun: str
    usual: tuple[float, float]
    possible: tuple[float, float]
    units: Mapping[str, _Unit]
    zeroed: bool = False

    def is_usual(self, value: Fraction) -> bool:
        return self.usual[0] <= value <= self.usual[1]

    def is_possible(self, value: Fraction) -> bool:
        return self.possible[0] <= value <= self.possible[1]


# Common practice, no source: wide enough for a child's bow and for a heavy longbow.
_SIZES = {
    Quantity.THICKNESS: _Sizes("a thickness", (0, 1), (0, 3), _THICKNESSES),
    Quantity.AMOUNT: _Sizes("an amount", (0, 1), (0, 6), _THICKNESSES),
    Quantity.WIDTH: _Sizes("a width", (0.25, 4), (0.05, 6), _LENGTHS),
    Quantity.LENGTH: _Sizes("a length", (1, 100), (0.5, 120), _LENGTHS),
    Quantity.STATION: _Sizes("a station", (-20, 50), (-20, 60), _LENGTHS),
    Quantity.OFFSET: _Sizes("an offset", (-12, 12), (-20, 20), _LENGTHS),
    Quantity.DRAW: _Sizes("a draw length", (8, 36), (4, 45), _LENGTHS, zeroed=True),
    Quantity.BRACE: _Sizes("a brace height", (3, 12), (2, 14), _LENGTHS, zeroed=True),
    Quantity.TILLER: _Sizes("a tiller", (-12, 12), (-14, 14), _LENGTHS),
    Quantity.DEFLECTION: _Sizes("a deflection", (0, 20), (0, 40), _THICKNESSES),
    Quantity.WEIGHT: _Sizes("a draw weight", (1, 150), (0.5, 250), _FORCES),
    Quantity.LOAD: _Sizes("a load", (0.05, 50), (0.005, 150), _LOADS),
    Quantity.TEMPERATURE: _Sizes("a temperature", (40, 110), (-40, 130), _TEMPERATURES),
    Quantity.HUMIDITY: _Sizes("a humidity", (5, 100), (0, 100), _PERCENTAGES),
}

_LONGEST = 60
_LARGEST = 10**_LONGEST
_AMOUNT = re.compile(
    r"""(?P<sign>[+-]?)\s*
        (?:(?P<feet>[0-9]+)\s*(?:'|ft\.?|foot|feet)\s*)?
        (?:(?:(?P<whole>[0-9]+)(?:\s+|\s*-\s*))?(?P<top>[0-9]+)\s*/\s*(?P<bottom>[0-9]+)
           |(?P<decimal>[0-9]+[.,][0-9]+|[.,][0-9]+|[0-9]+\.?))?
        \s*(?P<unit>[^0-9.,/\s+-][^0-9]*)?""",
    re.VERBOSE,
)
_SEVERAL = re.compile(r"[0-9]\s*(?:-|,\s|;|to\b|or\b|\.\.)\s*[0-9]")
_ABOUT = re.compile(r"ish\b|~|\?|≈|\babout\b|\bapprox|\bca\b|\baround\b")
_THOUSANDS = re.compile(r"[1-9][0-9]{0,2},[0-9]{3}")
_ZERO_WORD = re.compile(r"(?P<length>.*?)\s+(?P<zero>standard|back|pivot)", re.IGNORECASE)
_KEYBOARD = {
    "-": "\N{MINUS SIGN}\N{EN DASH}\N{EM DASH}\N{HYPHEN}",
    "/": "\N{FRACTION SLASH}",
    "'": "\N{PRIME}\N{LEFT SINGLE QUOTATION MARK}\N{RIGHT SINGLE QUOTATION MARK}",
    '"': "\N{DOUBLE PRIME}\N{LEFT DOUBLE QUOTATION MARK}\N{RIGHT DOUBLE QUOTATION MARK}",
}
_SIGNS = str.maketrans({sign: key for key, signs in _KEYBOARD.items() for sign in signs})


def read(typed: str | float, quantity: Quantity | str) -> float:
    """Number of a field in its own unit: inch, pound-force, degrees Fahrenheit or percent.

    Takes whole numbers, decimals (`1.0625`, `.070`, `1,5`), fractions (`1 1/16`, `1-1/16`, `17/16`, `1½`),
    units (`27 mm`, `1.2 cm`, `70 thou`, `66"`, `5' 6"`, `52 1/2#`, `23.6 kg`, `232 N`, `20 C`, `45 %`), and a
    sign where the quantity has one. A number instead of text counts as typed without a unit.

    Args:
        typed: What was written.
        quantity: What the field measures.

    Raises:
        NotationError: It cannot be read, has two readings, or is of no plausible size.
    """
    sizes = _SIZES[Quantity(quantity)]
    number, unit = _amount(typed, sizes)
    own, bare = next(iter(sizes.units)), unit is None
    value = sizes.units[unit or own].own(number)
    if not (sizes.is_usual(value) if bare else sizes.is_possible(value)):
        raise NotationError(_implausible(typed, number, sizes, bare=bare))
    return float(value)


class ZeroedLength(NamedTuple):
    """A draw length or brace height [in], and the zero point if one was written with it."""

    inch: float
    zero: Zero | None


def read_zeroed(typed: str | float, quantity: Quantity | str) -> ZeroedLength:
    """Draw length or brace height, perhaps with its zero point: `28`, `28 1/4 pivot`, `6 1/2 in back`.

    Raises:
        NotationError: As for `read`.
    """
    match = _ZERO_WORD.fullmatch(typed.strip()) if isinstance(typed, str) else None
    if match is None:
        return ZeroedLength(read(typed, quantity), None)
    zero: dict[str, Zero] = {"standard": "standard", "back": "back", "pivot": "pivot"}
    return ZeroedLength(read(match["length"], quantity), zero[match["zero"].lower()])


class Mark(NamedTuple):
    """A draw weight [lbf] at a draw length [in], with the two pieces of text they were read from."""

    weight_lbf: float
    draw_in: float
    zero: Zero | None
    weight_typed: str
    draw_typed: str


def read_mark(typed: str) -> Mark:
    """Weight at a draw length as it is marked on a bow: `50#@28`, `50 lb @ 28 in`, `50@28 pivot`.

    Raises:
        NotationError: There is no single `@`, or one of the sides cannot be read.
    """
    weight, draw = _two_sides(typed, "@", "a mark such as 50#@28")
    return _mark(weight, draw)


def read_pair(typed: str) -> Mark:
    """One reading of the bench line, draw first: `27=49.5`, `28 1/4=52.75`, `28 pivot=52.75lb`.

    Raises:
        NotationError: There is no single `=`, or one of the sides cannot be read.
    """
    draw, weight = _two_sides(typed, "=", "a reading such as 28=52.75, draw first")
    return _mark(weight, draw)


def read_load(typed: str) -> tuple[str, str]:
    """One reading of a strip, load first: `2=.42`, `500 g=3.1 mm`; the two pieces of text.

    Raises:
        NotationError: There is no single `=`.
    """
    return _two_sides(typed, "=", "a load with its deflection, such as 2=.42", "load and deflection")


def read_count(typed: str | float) -> int:
    """Count such as pulls or shots: a whole number, zero or more.

    Raises:
        NotationError: It is no whole number.
    """
    text = str(typed).strip()
    if re.fullmatch(r"[0-9]{1,9}", text) is None:
        raise NotationError(f"wanted a whole number, got {_shown(typed)}; write digits only, such as 30")
    return int(text)


def round_half_up(value: float, digits: int) -> Decimal:
    """Decimal rounding as people do it: a half goes away from zero, and never to minus zero.

    The half is judged on the number as printed, so 2.675 becomes 2.68 although it is stored as a little less.

    Args:
        value: A finite number.
        digits: Places after the point.
    """
    if not math.isfinite(value):
        raise ValueError(
            f"wanted a finite number to round, got {value}; say instead why it could not be computed"
        )
    wide_enough = Context(prec=400)  # any finite float, whatever the caller's own context
    rounded = Decimal(repr(float(value))).quantize(Decimal(1).scaleb(-digits), ROUND_HALF_UP, wide_enough)
    return abs(rounded) if rounded.is_zero() else rounded


def inches(value_in: float, division: int = 64) -> str:
    """Inches as on a rule, reduced: `1 1/16`, `-3/8`, `0`; a half division is rounded away from zero.

    Args:
        value_in: Length [in].
        division: Parts of an inch, a power of two.
    """
    parts = math.floor(abs(Fraction(value_in)) * division + Fraction(1, 2))
    whole, rest = divmod(parts, division)
    pieces = [str(whole)] if whole or not rest else []
    if rest:
        pieces.append(str(Fraction(rest, division)))
    sign = "-" if value_in < 0 and parts else ""
    return sign + " ".join(pieces)


def thousandths(value_in: float) -> str:
    """Inches to three places without the leading zero, as lams are marked: `.070`, `1.062`."""
    text = str(round_half_up(value_in, 3))
    return re.sub(r"^(-?)0\.", r"\1.", text)


def millimetres(value_in: float, digits: int = 1) -> str:
    """Length in inches [in], written in millimetres: `27.0 mm`."""
    return f"{round_half_up(value_in * MM_PER_INCH, digits)} mm"


def pounds(value_lbf: float, digits: int = 1) -> str:
    """Force in pounds [lbf], written with its unit: `52.8 lb`."""
    return f"{round_half_up(value_lbf, digits)} lb"


def _amount(typed: str | float, sizes: _Sizes) -> tuple[Fraction, str | None]:
    """The number as written, and its unit unless it stands bare; feet become inches."""
    if isinstance(typed, (int, float)) and not isinstance(typed, bool):
        if not abs(typed) < _LARGEST:
            raise NotationError(f"{_wanted(typed, sizes)}; write a number of that size")
        return Fraction(typed), None
    text = _plain(str(typed))
    match = _AMOUNT.fullmatch(text) if 0 < len(text) <= _LONGEST else None
    if match is None or _ABOUT.search(text):
        raise NotationError(f"{_wanted(typed, sizes)}; {_advice(text)}")
    unit = _unit(typed, match["unit"], sizes)
    feet = match["feet"]
    number = Fraction(0)
    if feet is not None:
        if sizes.units is not _LENGTHS or unit not in {None, "in"}:
            raise NotationError(f"{_wanted(typed, sizes)}; feet go with inches only, such as 5' 6\"")
        unit = "in"
        number = Fraction(12 * int(feet))
    if feet is None or match["top"] or match["decimal"]:
        number += _number(typed, match, sizes)
    return (-number if match["sign"] == "-" else number), unit


def _number(typed: str | float, match: re.Match[str], sizes: _Sizes) -> Fraction:
    """Value of the digits, without sign, feet and unit."""
    decimal, top = match["decimal"], match["top"]
    if decimal is not None:
        if _THOUSANDS.fullmatch(decimal):
            readings = f"{decimal.replace(',', '.')} or {decimal.replace(',', '')}"
            raise NotationError(
                f"{_wanted(typed, sizes)}, which may be {readings}; write it without the comma"
            )
        return Fraction(decimal.replace(",", "."))
    if top is None:
        raise NotationError(f"{_wanted(typed, sizes)}; {_advice('')}")
    whole, bottom = int(match["whole"] or 0), int(match["bottom"])
    if bottom == 0 or (match["whole"] and int(top) >= bottom):
        raise NotationError(f"{_wanted(typed, sizes)}; check the fraction, such as 1 1/16")
    return whole + Fraction(int(top), bottom)


def _unit(typed: str | float, written: str | None, sizes: _Sizes) -> str | None:
    if written is None:
        return None
    word = " ".join(written.lower().split())
    for name, unit in sizes.units.items():
        if word in unit.names:
            return name
    zeros = f", the zero points {', '.join(get_args(Zero))}" if sizes.zeroed else ""
    raise NotationError(f"{_wanted(typed, sizes)}; the units are {', '.join(sizes.units)}{zeros}")


def _plain(text: str) -> str:
    """The text with typographic signs replaced by those of the keyboard: `1½″` becomes `1 1/2"`."""
    spelled = (
        " " + unicodedata.normalize("NFKC", sign)
        if unicodedata.decomposition(sign).startswith("<fraction>")
        else sign
        for sign in text[: _LONGEST + 1]
    )
    return "".join(spelled).translate(_SIGNS).replace("''", '"').lower().strip()


def _advice(text: str) -> str:
    if _SEVERAL.search(text):
        return "write one value, and each further one as a reading of its own"
    if _ABOUT.search(text):
        return "write the number that was read, and put the doubt into the note"
    return "write it such as 1 1/16, 1.0625 or with its unit"


def _implausible(typed: str | float, number: Fraction, sizes: _Sizes, *, bare: bool) -> str:
    """Message that names the readings which would be of a usual size."""
    own = next(iter(sizes.units))
    if number < 0 <= sizes.possible[0]:
        return f"{_wanted(typed, sizes)}; leave the sign out"
    if not bare:
        low, high = sizes.possible
        return f"wanted {sizes.noun} of {low:g} to {high:g} {own}, got {_shown(typed)}; check number and unit"
    digits = f"{float(number):g}"
    readings = [
        f"{digits} thou or {thousandths(float(number / 1000))}" if name == "thou" else f"{digits} {name}"
        for name, unit in sizes.units.items()
        if name != own and sizes.is_usual(unit.own(number))
    ]
    # Degrees have no decimal point to slip.
    slips = () if sizes.units is _TEMPERATURES else (number / 10, number * 10)
    readings += [f"{float(slip):g}" for slip in slips if sizes.is_usual(slip)]
    if sizes.is_possible(number):
        readings.append(f"{digits} {own} if it is meant")
    do = (
        f"write {' or '.join(readings)}"
        if readings
        else f"check the number and its unit, {' or '.join(sizes.units)}"
    )
    return f"{_wanted(typed, sizes)}: {digits} {own}? {do}"


def _wanted(typed: str | float, sizes: _Sizes) -> str:
    low, high = sizes.usual
    return f"wanted {sizes.noun} of {low:g} to {high:g} {next(iter(sizes.units))}, got {_shown(typed)}"


def _shown(typed: str | float) -> str:
    text = str(typed)
    return repr(text if len(text) <= _LONGEST else text[:_LONGEST] + "...")


def _two_sides(typed: str, sign: str, wanted: str, sides_are: str = "weight and draw") -> tuple[str, str]:
    sides = typed.split(sign)
    if len(sides) != 2 or not all(side.strip() for side in sides):
        raise NotationError(f"wanted {wanted}, got {_shown(typed)}; write one {sign} between {sides_are}")
    return sides[0].strip(), sides[1].strip()


def _mark(weight: str, draw: str) -> Mark:
    zeroed = read_zeroed(draw, Quantity.DRAW)
    return Mark(read(weight, Quantity.WEIGHT), zeroed.inch, zeroed.zero, weight, draw)
