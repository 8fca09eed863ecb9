"""A blank has the sizes that the shop's bows of its form had, or usual ones that are named as such."""

import pytest

from datasets.record import Taken, ZeroPoint
from datasets.schema import Build, Form, Shop
from predictor.pressing.blanks import (
    USUAL_LEAST,
    USUAL_WIDTHS_IN,
    Copied,
    least_widths,
    narrowed,
    usual_blank,
    widths_of,
)
from tests.predictor.example_bows import REFLEXED, STRAIGHT, build


def wide(fade: str, nock: str, brace: str = "6 1/2") -> tuple[Form, Build]:
    """Return a bow of the plain form with some widths."""
    widths = [{"at": "fade", "belly_in": fade}, {"at": "nock", "belly_in": nock}]
    return STRAIGHT, build(widths=widths, brace=brace)


def test_sizes_are_the_medians_of_the_forms_bows() -> None:
    """Widths and brace are medians of the bows of the form; those of other forms and mere plans do not count."""
    builds = [wide("1", "3/8"), wide("1 1/8", "1/2"), wide("1 1/2", "5/8", "7 1/2")]
    others = [(REFLEXED, build(form="swan-62")), (STRAIGHT, build(planned=True))]
    blank = usual_blank(STRAIGHT, [*builds, *others])

    assert blank.alike == 3
    assert blank.widths_in == (1.125, (1.125 + 0.5) / 2, 0.5)
    assert blank.brace.zero is ZeroPoint.BACK
    assert blank.brace.inch == pytest.approx(6.5 + 2.25)
    assert blank.length_in == 16 + 2 * 26


def test_without_bows_the_sizes_are_usual_ones() -> None:
    """A form that nothing was pressed on gets the usual sizes of its kind, all of them planned."""
    blank = usual_blank(REFLEXED, [], length_in=64)
    made = blank.build(build().layers)

    assert (blank.alike, blank.widths_in) == (0, USUAL_WIDTHS_IN[REFLEXED.kind])
    assert made.length_in.inch == 64
    assert {width.belly_in.taken for width in made.widths} == {Taken.PLANNED}


def test_narrowing_stops_at_the_least_widths() -> None:
    """A narrowed bow has the least widths at fade and nock, is narrower between by proportion, and never wider."""
    least = narrowed(STRAIGHT, build(), 1.0, 0.6)

    assert [width.belly_in.inch for width in least.widths] == pytest.approx([1.0, 0.9, 0.5])


def test_least_widths_are_the_shops_or_a_share() -> None:
    """What the shop sets counts; where it sets nothing, a limb keeps a usual share of its first width."""
    shop = Shop.model_validate({"least_width_fade_in": "1 1/8"})

    assert least_widths(shop, (1.5, 1.2, 0.5)) == (1.125, USUAL_LEAST * 0.5)


def test_a_copied_blank_keeps_all_but_its_lams() -> None:
    """A bow like one of the book keeps its widths and brace, and its own length unless another is wanted."""
    original = build()
    same, longer = Copied(STRAIGHT, original), Copied(STRAIGHT, original, length_in=70)

    assert same.build(original.layers) == original
    assert longer.build(original.layers).length_in.inch == 70
    assert widths_of(STRAIGHT, longer.build(original.layers)) == pytest.approx(widths_of(STRAIGHT, original))
