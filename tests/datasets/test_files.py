"""Texts as raw records: each layout, every mistake with its line, and no text that ends in an exception."""

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from datasets.files import Format, Reading, read_bytes, read_file

KINDS = ("form", "build", "weigh_in", "removal")


def _read(text: str, kind: str | None = None, written_as: Format | None = None) -> Reading:
    return read_bytes(text.encode(), KINDS, kind, written_as)


def _said(reading: Reading) -> list[str]:
    return [str(mistake) for mistake in reading.mistakes]


def test_reads_toml_by_kind() -> None:
    """Lists of tables and single tables are records of the kind they are called, with lines inside them."""
    reading = _read(
        '# my bows\n[form]\nid = "ridge-66"\n\n[[build]]\nid = "K-001"\n[[build.layers]]\nlot = "7"\n'
        '[[build.layers]]\nlot = "8"\n[[build]]\nid = "K-002"\n'
    )

    assert reading.mistakes == []
    assert [(record.kind, record.line) for record in reading.records] == [
        ("form", 2),
        ("build", 5),
        ("build", 11),
    ]
    first = reading.records[1]
    assert first.data == {"id": "K-001", "layers": [{"lot": "7"}, {"lot": "8"}]}
    assert first.lines == {
        ("id",): 6,
        ("layers",): 7,
        ("layers", 0): 7,
        ("layers", 0, "lot"): 8,
        ("layers", 1): 9,
        ("layers", 1, "lot"): 10,
    }


@pytest.mark.parametrize(
    "text",
    [
        '{"form": {"id": "ridge-66"},\n "build": [{"id": "K-001"}, {"id": "K-002"}]}',
        '[{"record": "form", "id": "ridge-66"},\n {"record": "build", "id": "K-001"},\n'
        ' {"record": "build", "id": "K-002"}]',
        "record,id\nform,ridge-66\nbuild,K-001\nbuild,K-002\n",
        "record;id\nform;ridge-66\n\nbuild;K-001\n;\nbuild;K-002",
        '[form]\nid = "ridge-66"\n[[build]]\nid = "K-001"\n[[build]]\nid = "K-002"',
    ],
)
def test_the_same_records_come_from_every_layout(text: str) -> None:
    """Each way of writing gives the same records, and is recognised without being told."""
    reading = _read(text)

    assert reading.mistakes == []
    assert [(record.kind, record.data) for record in reading.records] == [
        ("form", {"id": "ridge-66"}),
        ("build", {"id": "K-001"}),
        ("build", {"id": "K-002"}),
    ]


@pytest.mark.parametrize(
    "text", ['form = "ridge-66"\n[[layers]]\nlot = "7"', '{"form": "ridge-66", "layers": [{"lot": "7"}]}']
)
def test_one_record_of_a_given_kind_needs_no_heading(text: str) -> None:
    """With the kind given, the top level may be the record, even if a field is called like a kind."""
    reading = _read(text, kind="build")

    assert reading.mistakes == []
    assert [(record.kind, record.data, record.line) for record in reading.records] == [
        ("build", {"form": "ridge-66", "layers": [{"lot": "7"}]}, 1)
    ]


def test_reads_csv_with_parts_and_lists() -> None:
    """Dots lead inside, numbers make lists, quotes may hold line ends, and empty cells are missing."""
    reading = _read(
        "id,layers.1.butt_in,layers.1.lot,layers.2.butt_in,string.strands,note\n"
        'K-001,.070,7,.140,14,"two\nlines"\nK-002,".050",,,,\n',
        kind="build",
    )

    assert reading.mistakes == []
    assert [(record.data, record.line) for record in reading.records] == [
        (
            {
                "id": "K-001",
                "layers": [{"butt_in": ".070", "lot": "7"}, {"butt_in": ".140"}],
                "string": {"strands": "14"},
                "note": "two\nlines",
            },
            2,
        ),
        ({"id": "K-002", "layers": [{"butt_in": ".050"}]}, 4),
    ]


def test_takes_marks_line_ends_and_decimal_commas_of_other_systems() -> None:
    """A byte-order mark, carriage returns and a table with semicolons change nothing."""
    content = b"\xef\xbb\xbfid;width\r\nK-001;1,5\r\nK-002;1 1/16\r\n"

    reading = read_bytes(content, KINDS, "build")

    assert [(record.data, record.line) for record in reading.records] == [
        ({"id": "K-001", "width": "1,5"}, 2),
        ({"id": "K-002", "width": "1 1/16"}, 3),
    ]
    toml = read_bytes(b'\xef\xbb\xbf[[build]]\r\nid = "K-001"\r\n', KINDS)
    assert toml.records[0].lines == {("id",): 2}


@pytest.mark.parametrize(
    ("text", "mistake"),
    [
        (
            '[[build]]\nid = "K-001"\nid = "K-002"\n',
            "line 3: wanted TOML, got: ",
        ),
        ("[[build]]\nid = 1 1/16\n", "line 2: wanted TOML, got: "),
        ("[[build]]\nwidths = [\n 1,\n\n", "line 3: wanted TOML, got: "),
        ('[build]\nid = "K-001"\n[build]\nid = "K-002"\n', "line 3: wanted TOML, got: "),
        ('[[biuld]]\nid = "K-001"\n', "line 1: wanted a kind of record, got 'biuld'; did you mean build?"),
        ('[[zzz]]\nid = "K-001"\n', "line 1: wanted a kind of record, got 'zzz'; use one of form, build,"),
        (
            'id = "K-001"\n',
            "line 1: wanted records, got the value id outside of one; put it below a line such as",
        ),
        ("build = [1]\n", "line 1: build: wanted a record, got 1; write its fields with their names"),
        ("", "wanted records, got none; write for instance one of form, build"),
        ("# nothing\n", "wanted records, got none; write for instance one of form, build"),
        ('{"build": [\n {"id": 1,}]}', "line 2: wanted JSON, got: "),
        ('{"build": [{"id": 1,\n "id": 2}]}', "line 2: build.1.id: wanted each key once, got it twice"),
        (
            '[{"id": "K-001"}]',
            "line 1: wanted the kind of the record, got none; add the field record, one of form",
        ),
        ('[{"record": {}}]', "line 1: wanted a kind of record, got {}; use one of form"),
        ("[\n]", "wanted records, got none"),
        ("record,id\nbiuld,K-001\n", "line 2: wanted a kind of record, got 'biuld'; did you mean build?"),
        (
            "record,id\nbuild,K-001,7\n",
            "line 2: wanted 2 cells as in the first line, got 3; check commas and quotes",
        ),
        ("record,id\nbuild\n", "line 2: wanted 2 cells as in the first line, got 1"),
        ('record,id\nbuild,"K-001"x\n', "line 2: wanted CSV, got: "),
        ("record,,id\n", "line 1: wanted a field name for each column, got ''"),
        ("record,layers.0.lot\n", "line 1: wanted a field name for each column, got 'layers.0.lot'"),
        ("record,id,id\n", "line 1: wanted each column once, got 'id' twice; leave one out"),
        (
            "record,layers,layers.1.lot\n",
            "line 1: wanted a value or parts of it, got 'layers' beside its parts",
        ),
        (
            "record,a.1.lot,a.2.lot,a.3.lot\nbuild,x,,z\n",
            "line 2: wanted numbers from 1 without a gap, got a value in 'a.3' and none before it",
        ),
    ],
)
def test_each_mistake_has_its_line_and_what_to_do(text: str, mistake: str) -> None:
    """A text that cannot be taken gives just one mistake, on the line where it is."""
    (said,) = _said(_read(text))

    assert said.startswith(mistake)


def test_a_slip_does_not_hide_the_other_records() -> None:
    """Records beside one with a slip in its notation are read, with their lines, and every slip is told."""
    reading = _read(
        '[[build]]\nid = "K-001"\n[[build]]\nid = K-002\n[[build.layers]]\nlot = "7"\n'
        '[[form]]\nid = "ridge-66"\n[[build]]\nid = \n'
    )

    assert [(record.data["id"], record.lines) for record in reading.records] == [
        ("K-001", {("id",): 2}),
        ("ridge-66", {("id",): 8}),
    ]
    assert [mistake.line for mistake in reading.mistakes] == [4, 10]


def test_other_encodings_are_named() -> None:
    """Text in Latin-1 is refused with the line, the byte and what to do."""
    (said,) = _said(read_bytes('id = "K-001"\nnote = "1½"\n'.encode("latin-1"), KINDS))

    assert said == "line 2: wanted text in UTF-8, got the byte 0xbd ('½' in Latin-1); save it as UTF-8"


def test_reads_files_by_their_ending(tmp_path: Path) -> None:
    """The ending says how a file is written; what is no such file is told without a line."""
    table, data, other = tmp_path / "bows.CSV", tmp_path / "bows.json", tmp_path / "bows.xls"
    table.write_text("id\nK-001\n")
    data.write_text('{"build": {"id": "K-001"}}')
    other.write_text("")

    for path in (table, data):
        assert [record.data for record in read_file(path, KINDS, "build").records] == [{"id": "K-001"}]
    assert "wanted a file that ends in .toml, .json, .csv, got bows.xls" in _said(read_file(other, KINDS))[0]
    assert f"got the folder {tmp_path}; name a file" in _said(read_file(tmp_path, KINDS))[0]
    assert "No such file" in _said(read_file(tmp_path / "none.toml", KINDS))[0]
    (tmp_path / "folder.toml").mkdir()
    assert "Is a directory" in _said(read_file(tmp_path / "folder.toml", KINDS))[0]


@pytest.mark.parametrize(
    "text", ["build = " + "[" * 3000, '{"build":' + "[" * 100_000, '{"build": ' + "9" * 5000 + "}"]
)
def test_texts_made_to_break_a_parser_are_refused(text: str) -> None:
    """Nesting and numbers beyond what the parsers take are mistakes as well."""
    assert len(_read(text).mistakes) == 1


NEAR_TOML = st.lists(
    st.sampled_from(
        [
            "[[build]]\n",
            "[build.layers]\n",
            "id = ",
            '"K-1"\n',
            "[",
            "]",
            "{",
            "}",
            "'",
            '"""',
            "\n",
            ",",
            "#",
            "\r",
        ]
    )
).map("".join)
NEAR_JSON = st.lists(st.sampled_from(['{"build":', "[", "]", "{", "}", '"id":', "1", ",", "\n", '"'])).map(
    "".join
)
NEAR_CSV = st.lists(
    st.sampled_from(["record", "id", ",", ";", "\n", '"', "build", ".1", ".", "2", "\r", " "])
).map("".join)


@given(
    NEAR_TOML.map(str.encode) | NEAR_JSON.map(str.encode) | NEAR_CSV.map(str.encode) | st.binary(max_size=60),
    st.sampled_from([None, *Format]),
    st.sampled_from([None, "build"]),
)
def test_any_bytes_give_records_or_mistakes_of_one_line(
    content: bytes, written_as: Format | None, kind: str | None
) -> None:
    """Whatever is given, the answer is records of known kinds on lines of the text, mistakes, or both."""
    reading = read_bytes(content, KINDS, kind, written_as)

    assert reading.records or reading.mistakes
    last_line = content.count(b"\n") + 1
    for record in reading.records:
        assert record.kind in KINDS
        assert all(1 <= line <= last_line for line in (record.line, *record.lines.values()))
    for mistake in reading.mistakes:
        assert mistake.line is None or 1 <= mistake.line <= last_line
        assert len(str(mistake).splitlines()) == 1
