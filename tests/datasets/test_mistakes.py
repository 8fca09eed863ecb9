"""What validation says about typed records, as mistakes in the words of the bench and on the right lines."""

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from datasets.files import read_bytes
from datasets.mistakes import Mistake, RawRecord, line_of, mistakes_of
from datasets.schema import KINDS

BUILD = """\
[[build]]
id = "K-014"
form = "ridge-66"
length_in = "66"
brace = "7 1/4"
widths = [
    { at = "fade", belly_in = "1 1/8" },
    { at = "nock", belly_in = "1/2" },
]
[[build.layers]]
part = "core"
material = "maple"
butt_in = ".140"
"""


def _mistakes(text: str) -> list[Mistake]:
    """All that is wrong with the one record of a text."""
    reading = read_bytes(text.encode(), KINDS)
    assert reading.mistakes == []
    (raw,) = reading.records
    with pytest.raises(ValidationError) as caught:
        KINDS[raw.kind].model_validate(raw.data)
    return mistakes_of(caught.value, raw, KINDS[raw.kind])


def test_a_right_record_has_no_mistake() -> None:
    """The example that the other tests spoil is a good one."""
    (raw,) = read_bytes(BUILD.encode(), KINDS).records

    assert KINDS["build"].model_validate(raw.data).model_dump(include={"id"}) == {"id": "K-014"}


@pytest.mark.parametrize(
    ("good", "typed", "mistake"),
    [
        (
            'butt_in = ".140"',
            "butt_in = 70",
            "line 13: build K-014, layers.1.butt_in: wanted a thickness of 0 to 1 in",
        ),
        ('belly_in = "1/2"', 'belly_in = "27"', "line 8: build K-014, widths.2.belly_in: wanted a width of"),
        (
            'part = "core"',
            'part = "core"\nlott = "7"',
            "line 12: build K-014, layers.1.lott: wanted a field that",
        ),
        ('form = "ridge-66"\n', "", "line 1: build K-014, form: wanted this field, got nothing; add it"),
        ('at = "nock", ', "", "line 8: build K-014, widths.2.at: wanted this field, got nothing; add it"),
        (
            'part = "core"',
            'part = "wood"',
            "line 11: build K-014, layers.1.part: wanted 'glass', 'core', 'veneer',",
        ),
        (
            'form = "ridge-66"',
            'form = "Ridge 66"',
            "line 3: build K-014, form: wanted short name in small letters",
        ),
        (
            'id = "K-014"',
            'id = "14"',
            "line 2: build 14, id: wanted one to three capitals, a hyphen and three to six digits, such as",
        ),
        (
            'brace = "7 1/4"',
            'brace = "18"',
            "line 5: build K-014, brace: wanted a brace height of 3 to 12 in, got '18'",
        ),
        (
            'length_in = "66"',
            "length_in = []",
            "line 4: build K-014, length_in: wanted a value in bench notation",
        ),
        ('at = "nock"', "at = []", "line 8: build K-014, widths.2.at: wanted a value in bench notation"),
        (
            'id = "K-014"',
            'id = "K-014"\nbuilt = "May"',
            "line 3: build K-014, built: wanted a date, got 'May'; write",
        ),
        (
            'id = "K-014"',
            'id = "K-014"\nplanned = 7',
            "line 3: build K-014, planned: wanted true or false, got 7;",
        ),
        (
            'id = "K-014"',
            'id = "K-014"\nform_revision = 0',
            "line 3: build K-014, form_revision: wanted 1 or more, got 0",
        ),
        (
            'id = "K-014"',
            'id = "K-014"\nnote = 7',
            "line 3: build K-014, note: wanted text, got 7; put it in quotes",
        ),
        (
            'id = "K-014"',
            'id = "K-014"\nstring = {strands = 1.5}',
            "line 3: build K-014, string.strands: wanted a whole",
        ),
        (
            'id = "K-014"',
            'id = "K-014"\nteaches = false',
            "line 1: build K-014: wanted why_not exactly when teaches is",
        ),
        (
            '{ at = "nock", belly_in = "1/2" },',
            "",
            "line 6: build K-014, widths: wanted at least 2 of them, got [{",
        ),
    ],
)
def test_a_mistake_stands_on_its_line_in_plain_words(good: str, typed: str, mistake: str) -> None:
    """One slip in a build gives one mistake: line, record, place, what was wanted, what came, what to do."""
    assert BUILD.count(good) == 1

    (said,) = [str(found) for found in _mistakes(BUILD.replace(good, typed))]

    assert said.startswith(mistake)
    assert len(said.splitlines()) == 1


def test_an_unknown_field_is_met_with_the_nearest_one() -> None:
    """A misspelt field names the one that was meant, at any depth; a foreign one lists what there is."""
    (deep,) = _mistakes(BUILD + 'tip = ".070"\n')
    assert deep.message == "wanted a field that there is, got 'tip'; did you mean tip_in?"

    (foreign,) = _mistakes(BUILD + "[build.string]\ncolour = 'red'\n")
    assert foreign.message == "wanted a field that there is, got 'colour'; use one of material, strands"


def test_all_mistakes_of_a_record_are_told_at_once() -> None:
    """Several slips give several mistakes, each on its line."""
    text = BUILD.replace('".140"', '"70"').replace('"fade"', '"handle"').replace("ridge-66", "Ridge")

    assert sorted(mistake.line or 0 for mistake in _mistakes(text)) == [3, 7, 13]


def test_of_half_a_record_nothing_is_missing() -> None:
    """Where the text breaks off in a record, what it lacks is not complained of; what it has still is."""
    text = '[[build]]\nform = "Ridge"\nwidths = []\n[[build]\nlength_in = "66"\n'
    reading = read_bytes(text.encode(), KINDS)
    (raw,) = reading.records
    with pytest.raises(ValidationError) as caught:
        KINDS[raw.kind].model_validate(raw.data)

    assert not raw.whole
    assert [mistake.where for mistake in mistakes_of(caught.value, raw, KINDS[raw.kind])] == ["build, form"]
    assert [mistake.line for mistake in reading.mistakes] == [4]


def test_a_place_without_a_line_gets_that_of_its_holder() -> None:
    """The line of a value is its own, or else that of the nearest list or table around it."""
    raw = RawRecord("build", {}, 4, {("layers",): 7, ("layers", 0): 8, ("layers", 0, "lot"): 9})

    assert line_of(("layers", 0, "lot"), raw) == 9
    assert line_of(("layers", 0, "butt_in"), raw) == 8
    assert line_of(("layers", 3, "lot"), raw) == 7
    assert line_of(("form",), raw) == line_of((), raw) == 4


NAMES = st.sampled_from(
    ["id", "form", "layers", "widths", "at", "belly_in", "inch", "typed", "readings", "draw", "x\n"]
)
PLAIN = st.sampled_from([None, True, 0, -1, 2.5, float("nan"), "", "1/2", "K-001", "x\n"]) | st.text(
    max_size=5
)
VALUES = (
    PLAIN
    | st.lists(PLAIN | st.dictionaries(NAMES, PLAIN, max_size=2), max_size=2)
    | st.dictionaries(NAMES, PLAIN, max_size=2)
)


@given(st.sampled_from(sorted(KINDS)), st.dictionaries(NAMES, VALUES, max_size=4))
def test_whatever_was_typed_is_answered_in_single_lines(kind: str, data: dict[str, Any]) -> None:
    """Any data is read as a record or answered by mistakes of one line each, with nothing left unfilled."""
    raw = RawRecord(kind, data, 1)
    try:
        KINDS[kind].model_validate(data)
    except ValidationError as error:
        mistakes = mistakes_of(error, raw, KINDS[kind])
        said = [str(mistake) for mistake in mistakes]
    else:
        said = ["line 1: wanted"]

    assert said
    for line in said:
        assert line.startswith("line 1: ")
        assert "wanted" in line
        assert len(line.splitlines()) == 1


def test_a_moment_is_told_as_it_was_typed() -> None:
    """A day with a time of day, which TOML reads as a moment, is repeated in digits."""
    typed = BUILD.replace('brace = "7 1/4"', 'brace = "7 1/4"\nbuilt = 2026-01-02T10:00:00')
    (mistake,) = _mistakes(typed)

    assert str(mistake) == (
        "line 6: build K-014, built: wanted a date, got 2026-01-02T10:00:00; leave the time of day out"
    )
