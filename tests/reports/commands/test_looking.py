"""What is shown of a book and of a bow, and how it looks in a file and a pipe."""

import json
from datetime import date
from pathlib import Path

import pytest

from tests.reports.conftest import Command


def test_what_was_known_on_a_day(bow: Command) -> None:
    """The book can be shown as it was: with nothing in it long ago, with all of it by the end of today."""
    today = date.today().isoformat()

    assert list(json.loads(bow("show --json --as-of 2020-01-01").out)["build"]) == []
    assert bow(f"show --json --as-of {today}").out == bow("show --json").out
    assert bow("show --as-of yesterday").code == 2


@pytest.mark.parametrize(("name", "starts"), [("bow.png", b"\x89PNG"), ("bow.svg", b"<?xml")])
def test_shapes_are_drawn_into_a_file(bow: Command, name: str, starts: bytes) -> None:
    """The picture is what its ending says; another ending and a folder that is not there are told in one line."""
    assert bow(f"show K-001 --plot {name}") == (0, f"{name}\n", "")
    assert Path(name).read_bytes().startswith(starts)
    assert (
        bow("show K-001 --plot bow.gif").err
        == "drawweight: wanted a file that ends in .png or .svg, got bow.gif; rename it\n"
    )
    assert bow(f"show K-001 --plot nowhere/{name}").code == 3


def test_piped_output_has_no_lines_or_colours(bow: Command) -> None:
    """What goes into a pipe is plain text without box drawing and escape codes."""
    text = bow("predict K-001").out + bow("show").out + bow("show K-001").out

    assert "\x1b" not in text
    assert not any("\u2500" <= sign <= "\u257f" for sign in text)
