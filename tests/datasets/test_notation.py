"""Bench notation: every accepted way of writing, every refusal, exact factors, round trips."""

import contextlib
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from datasets.notation import (
    MM_PER_INCH,
    NEWTON_PER_LBF,
    Mark,
    NotationError,
    Quantity,
    inches,
    millimetres,
    pounds,
    read,
    read_count,
    read_load,
    read_mark,
    read_pair,
    read_zeroed,
    round_half_up,
    thousandths,
)


@pytest.mark.parametrize(
    ("typed", "quantity", "inch"),
    [
        ("1 1/16", "width", 1.0625),
        ("1-1/16", "width", 1.0625),
        ("17/16", "width", 1.0625),
        ("1.0625", "width", 1.0625),
        ("1½", "width", 1.5),
        ("1 ⅜″", "width", 1.375),
        ("1 1\N{FRACTION SLASH}16 in.", "width", 1.0625),
        ("27 mm", "width", 27 / 25.4),
        ("27mm", "width", 27 / 25.4),
        ("2,7 cm", "width", 27 / 25.4),
        ("1,5", "width", 1.5),
        ("1,0625", "width", 1.0625),
        (".124 in", "width", 0.124),
        (1.25, "width", 1.25),
        (2, "width", 2.0),
        (".070", "thickness", 0.070),
        ("0,070", "thickness", 0.070),
        (",070", "thickness", 0.070),
        ("70 thou", "thickness", 0.070),
        ("1/32", "thickness", 0.03125),
        ("1.2 cm", "thickness", 12 / 25.4),
        ('66"', "length", 66.0),
        ("66''", "length", 66.0),
        ("66 in", "length", 66.0),
        ("66 Inches", "length", 66.0),
        ("5' 6\"", "length", 66.0),
        ("5\N{PRIME}6\N{DOUBLE PRIME}", "length", 66.0),
        ("5 ft 6 1/2 in", "length", 66.5),
        ("5'", "length", 60.0),
        ("-3/8", "offset", -0.375),
        ("\N{MINUS SIGN}1-1/16", "offset", -1.0625),
        ("+2 mm", "offset", 2 / 25.4),
        ("0", "offset", 0.0),
        ("-1/8", "tiller", -0.125),
        ("28 1/4", "draw", 28.25),
        ("71 cm", "draw", 710 / 25.4),
        ("7 1/4", "brace", 7.25),
    ],
)
def test_reads_lengths_as_they_are_written(typed: str | float, quantity: str, inch: float) -> None:
    """A length is read in every notation of the bench, a bare number in inches."""
    assert read(typed, quantity) == pytest.approx(inch, rel=1e-15)


@pytest.mark.parametrize(
    ("typed", "quantity", "value"),
    [
        ("52.5", "weight", 52.5),
        ("52.5 lb", "weight", 52.5),
        ("52 1/2#", "weight", 52.5),
        ("52,5 lbs", "weight", 52.5),
        ("68", "temperature", 68.0),
        ("20 C", "temperature", 68.0),
        ("-40 °C", "temperature", -40.0),
        ("30 F", "temperature", 30.0),
        ("45 %", "humidity", 45.0),
        ("45", "humidity", 45.0),
    ],
)
def test_reads_weights_and_weather(typed: str, quantity: str, value: float) -> None:
    """Weights are read in pounds, temperatures in Fahrenheit, humidity in percent."""
    assert read(typed, quantity) == pytest.approx(value, rel=1e-15)


def test_factors_are_the_exact_ones() -> None:
    """An inch is 25.4 mm and a pound 0.45359237 kg, exactly; a pound-force is 4.448222 N to seven digits.

    NIST Special Publication 811 (2008), appendix B.8.
    """
    assert MM_PER_INCH == 25.4
    assert f"{NEWTON_PER_LBF:.6f}" == "4.448222"
    assert float(Fraction("0.45359237") * Fraction("9.80665")) == NEWTON_PER_LBF
    assert read("25.4 mm", "width") == 1.0
    assert read("45.359237 kg", "weight") == 100.0
    assert read("444.82216152605 N", "weight") == 100.0


@pytest.mark.parametrize(
    ("typed", "quantity", "readings"),
    [
        ("70", "thickness", "70 in? write 70 thou or .070"),
        ("2", "amount", "2 in? write 2 mm or"),
        (70, "thickness", "70 in? write 70 thou or .070"),
        ("27", "width", "27 in? write 27 mm or 2.7"),
        (".124", "width", "0.124 in? write 1.24 or 0.124 in if it is meant"),
        ("1676", "length", "1676 in? write 1676 mm"),
        ("71", "draw", "71 in? write 71 cm"),
        ("18", "brace", "18 in? write 18 cm"),
        ("45", "offset", "45 in? write 45 mm or 4.5"),
        ("232", "weight", "232 lb? write 232 N or 23.2 or 232 lb if it is meant"),
        ("20", "temperature", "20 F? write 20 C or 20 F if it is meant"),
        ("400", "temperature", "400 F? check the number and its unit, F or C"),
        ("1,250", "width", "which may be 1.250 or 1250"),
        ("12,500", "length", "which may be 12.500 or 12500"),
    ],
)
def test_names_the_likely_readings_of_an_unusual_number(
    typed: str | float, quantity: str, readings: str
) -> None:
    """A bare number of no usual size is refused, and the message offers what it may mean."""
    with pytest.raises(NotationError) as caught:
        read(typed, quantity)

    assert readings in str(caught.value)


@pytest.mark.parametrize(
    ("typed", "quantity", "do"),
    [
        ("48ish", "weight", "write the number that was read"),
        ("~48", "weight", "write the number that was read"),
        ("47-48", "weight", "write one value"),
        ("47 to 48", "weight", "write one value"),
        ("27 in", "width", "check number and unit"),
        ("27 miles", "width", "the units are in, mm, cm"),
        ("28 grip", "draw", "the units are in, mm, cm, the zero points standard, back, pivot"),
        ("2 m", "thickness", "the units are in, mm, cm, thou"),
        ("27 mm", "weight", "the units are lb, kg, N"),
        ("5' 6", "weight", "feet go with inches only"),
        ("5' 6 mm", "length", "feet go with inches only"),
        ("-1/16", "width", "leave the sign out"),
        ("1 17/16", "width", "check the fraction"),
        ("1/0", "width", "check the fraction"),
        ("1 1/16 1/16", "width", "write it such as"),
        ("", "width", "write it such as"),
        ("in", "width", "write it such as"),
        ("1e3", "width", "write it such as"),
        (float("nan"), "width", "write a number"),
        (10**400, "width", "write a number"),
        ("9" * 5000, "width", "write it such as"),
    ],
)
def test_says_what_to_do_with_what_it_cannot_read(typed: str | float, quantity: str, do: str) -> None:
    """What cannot be read is refused in one line with the next step."""
    with pytest.raises(NotationError) as caught:
        read(typed, quantity)

    assert do in str(caught.value)


def test_reads_marks_and_bench_readings() -> None:
    """A mark has the weight first, a bench reading the draw; both keep what was typed on each side."""
    assert read_mark("50#@28") == Mark(50.0, 28.0, None, "50#", "28")
    assert read_mark("50@28") == Mark(50.0, 28.0, None, "50", "28")
    assert read_mark("50 lb @ 28 in") == Mark(50.0, 28.0, None, "50 lb", "28 in")
    assert read_mark("50#@28 pivot") == Mark(50.0, 28.0, "pivot", "50#", "28 pivot")
    assert read_pair("27=49.5") == Mark(49.5, 27.0, None, "49.5", "27")
    assert read_pair("28 1/4 = 52.75") == Mark(52.75, 28.25, None, "52.75", "28 1/4")
    assert read_pair("28 BACK=52,75lb") == Mark(52.75, 28.0, "back", "52,75lb", "28 BACK")
    assert read_zeroed("7 1/4 in back", "brace") == (7.25, "back")
    assert read_zeroed(28, "draw") == (28.0, None)


@pytest.mark.parametrize(
    ("typed", "pounds_force"),
    [("2", 2.0), ("8 oz", 0.5), ("1 lb", 1.0), ("500 g", 500 / 453.59237), ("1 kg", 1 / 0.45359237)],
)
def test_reads_hung_weights(typed: str, pounds_force: float) -> None:
    """Loads are pounds unless they say otherwise; an ounce is 1/16 lb and a pound 453.59237 g (NIST SP 811, B.8)."""
    assert read(typed, "load") == pytest.approx(pounds_force, rel=1e-15)


def test_reads_a_load_with_its_deflection() -> None:
    """Load first, then the deflection, each with its unit or without."""
    assert read_load("2=.42") == ("2", ".42")
    assert read_load("500 g = 3.1 mm") == ("500 g", "3.1 mm")
    for typed in ("2", "=.42", "2=", "1=2=3"):
        with pytest.raises(NotationError, match="write one = between load and deflection"):
            read_load(typed)


@pytest.mark.parametrize("typed", ["50", "50@28@29", "28=50=51", "50#28", "@", "="])
def test_refuses_half_a_reading(typed: str) -> None:
    """A reading without exactly one of each side is refused."""
    with pytest.raises(NotationError):
        read_mark(typed)
    with pytest.raises(NotationError):
        read_pair(typed)


def test_reads_counts() -> None:
    """A count is a whole number of pulls or shots and nothing else."""
    assert read_count("30") == 30
    assert read_count(0) == 0
    for typed in ("-1", "1,000", "30ish", "3.5", "", True, "٣"):
        with pytest.raises(NotationError, match="whole number"):
            read_count(typed)


@given(st.text(max_size=80) | st.from_regex(r"\A[-+]?[0-9 ,./'\"½#a-z=@]{0,20}\Z"), st.sampled_from(Quantity))
def test_any_text_is_read_or_refused(typed: str, quantity: Quantity) -> None:
    """No text leads to anything but a number or a notation error."""
    for reader in (lambda text: read(text, quantity), read_mark, read_pair, read_count):
        with contextlib.suppress(NotationError):
            reader(typed)


@given(st.text(min_size=1).filter(lambda text: not any(sign.isnumeric() for sign in text)))
def test_refusals_take_one_line(typed: str) -> None:
    """A refusal is one line, whatever was typed."""
    with pytest.raises(NotationError) as caught:
        read(typed, "width")

    assert len(str(caught.value).splitlines()) == 1


@given(st.integers(min_value=-12 * 64, max_value=12 * 64))
def test_written_sixty_fourths_read_back(parts: int) -> None:
    """Every length on a rule of 64ths comes back exactly after being written and read."""
    written = inches(parts / 64)

    assert read(written, "offset") == parts / 64
    assert read(written.replace(" ", "-").removeprefix("-"), "offset") == abs(parts) / 64


@given(st.decimals(min_value=2, max_value=100, places=4))
def test_units_agree_with_one_another(number: Decimal) -> None:
    """The same length in millimetres, centimetres and inches is the same number."""
    millimetre = read(f"{number * 10} mm", "length")

    assert read(f"{number} cm", "length") == millimetre
    assert millimetre * MM_PER_INCH == pytest.approx(float(number) * 10, rel=1e-15)


@pytest.mark.parametrize(
    ("value", "digits", "text"),
    [
        (2.5, 0, "3"),
        (-2.5, 0, "-3"),
        (0.125, 2, "0.13"),
        (2.675, 2, "2.68"),
        (52.25, 1, "52.3"),
        (-0.04, 1, "0.0"),
        (1e300, 0, str(10**300)),
    ],
)
def test_halves_round_away_from_zero(value: float, digits: int, text: str) -> None:
    """A printed half is rounded up in size, and nothing becomes minus zero (IEEE 754: round half away)."""
    assert str(round_half_up(value, digits)) == text


def test_refuses_to_round_what_is_no_number() -> None:
    """Infinity and not-a-number are never printed as digits."""
    with pytest.raises(ValueError, match="finite"):
        round_half_up(float("inf"), 1)


def test_writes_numbers_as_the_bench_does() -> None:
    """Inches as on a rule, lams in thousandths, millimetres and pounds with their unit."""
    assert inches(1.0625) == "1 1/16"
    assert inches(-0.375) == "-3/8"
    assert inches(2.0) == "2"
    assert inches(0.0) == inches(-0.001) == "0"
    assert inches(1 + 1 / 128) == "1 1/64"
    assert inches(1.0625, division=8) == "1 1/8"
    assert thousandths(0.07) == ".070"
    assert thousandths(-0.0625) == "-.063"
    assert thousandths(1.5) == "1.500"
    assert millimetres(1.0625) == "27.0 mm"
    assert pounds(52.75) == "52.8 lb"
