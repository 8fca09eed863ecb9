"""Nonsense at the command line: what was wanted, what came and what to do, in one line, and nothing else happens."""

import io
import sys
from contextlib import redirect_stderr, redirect_stdout
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from reports import cli
from tests.reports.conftest import Command


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("predict K-001 --shots -5", "wanted arrows shot, a whole number from 0 to 1000000, got '-5'"),
        ("predict K-001 --shots 1e9", "wanted arrows shot, a whole number from 0 to 1000000, got '1e9'"),
        ("predict K-001 --shots 2.5", "wanted arrows shot, a whole number from 0 to 1000000, got '2.5'"),
        ("predict K-001 --shots ''", "wanted arrows shot, a whole number from 0 to 1000000, got ''"),
        ("predict K-001 --if sides=-1/32", "wanted an amount of 0 to 1 in, got '-1/32'; leave the sign out"),
        ("predict K-001 --if sides=1/0", "wanted an amount of 0 to 1 in, got '1/0'; check the fraction"),
        ("predict K-001 --if sides=1/32 --budget", "wanted --if or --budget, got both; ask for one after the other"),
        ("predict K-001 --measured", "wanted --if with --measured, got none; say what is taken off"),
        ("predict K-001 --draws 28,abc", "wanted a draw length of 8 to 36 in, got 'abc'; the units are in, mm, cm"),
        ("predict K-001 --draws nan", "wanted a draw length of 8 to 36 in, got 'nan'"),
        ("predict K-001 --scale ''", "wanted the name of a scale, got nothing; leave --scale out for the usual one"),
        ("predict K-001 --book", "wanted a value after --book, got nothing; see: drawweight predict --help"),
        ("predict K-001 --book nowhere.book", "wanted the shop's book at nowhere.book, got no book there"),
        ("predict ''", "wanted a file or a build's id, got nothing, which is neither; check the path"),
        ("predict .", ".: wanted a file that ends in .toml, .json, .csv, got the folder .; name a file"),
        ("show ''", "wanted a build of the book (the last ones: K-001), got nothing; see: drawweight show"),
        ("weigh K-001 28=45 --stage tillered --pulls -1", "wanted 0 or more, got '-1'; check the number and its unit"),
        ("weigh K-001 28=45 --stage tillered --on ''", "wanted a date, got ''; write it such as 2024-05-31"),
        ("weigh K-001 28=45 --stage tillered --corrects x", "such as K-014/3, got 'x'; write it so"),
        ("reduce K-001 sides -5=1/16", "got -5; write -- before words that start with -"),
        ("strip 'sugar maple' 1=.3 --span 20 --width 1 --thickness .1 --thickness-sd x", "wanted a number, got 'x'"),
        ("layup --form plain-64 --target ''", "wanted a mark such as 50#@28, got ''; write one @"),
        ("layup --form plain-64 --target 50@28 --count 0", "wanted how many stacks to tell, a whole number"),
        ("plan K-001 --target ''", "wanted a mark such as 50#@28, got ''"),
        ("order --customer Ann", "wanted what is promised, or an order to change, got neither; write it such as"),
        ("report differences K-001", "wanted BUILD BUILD after differences, got K-001; write: drawweight report"),
        ("report ''", "wanted a report, got nothing; use one of calibration, errors"),
    ],
)  # fmt: skip
def test_nonsense_gets_one_line(bow: Command, line: str, said: str) -> None:
    """What was wanted, what came, what to do; the exit code for bad input; the book unchanged."""
    before = Path("shop.book").read_bytes()

    ended = bow(line)

    assert (ended.code, ended.out, ended.err.count("\n")) == (2, "", 1)
    assert ended.err.startswith("drawweight: ")
    assert said in ended.err
    assert Path("shop.book").read_bytes() == before


def test_the_book_may_be_named_anywhere(bow: Command) -> None:
    """`--book FILE` after the command means what it means before it; the last one typed counts."""
    wanted = bow("show K-001")
    Path("shop.book").rename("other.book")

    assert bow("show K-001 --book other.book") == wanted
    assert bow("show --book=other.book K-001") == wanted
    assert bow("--book nowhere.book show --book other.book K-001") == wanted


def test_a_scale_that_nobody_weighed_on_is_told(bow: Command) -> None:
    """A slip in the name of a scale is seen, and told with the nearest known one; the prediction is of a new scale."""
    assert bow("weigh K-001 28=45 --stage tillered --scale hanging --on 2026-03-05 --yes").code <= 1

    slipped = bow("predict K-001 --draws 28 --scale hangng")

    assert slipped.code == 0
    assert slipped.err == (
        "nobody has weighed on hangng yet: its error may be any scale's; did you mean hanging?\n"
    )
    assert bow("predict K-001 --draws 28 --scale hanging").err == ""


def test_a_stack_that_cannot_be_drawn_is_refused(bow: Command) -> None:
    """A length at which no stack is a bow is told with its reason: there is no answer, and no fault."""
    short = bow("layup --like K-001 --length 25")

    assert (short.code, short.out) == (1, "")
    assert short.err == (
        "drawweight: no bow like K-001: the statics give it no weight (at any thickness of its cores)\n"
    )


ODD = ("", " ", "-", "--", "-5", "0", "1/0", "nan", "inf", "1e9", "1" * 40, "=", "@", ",", "28,abc", "K-001",
       "50#@28", "/", ".", "nowhere.toml", "[bold]", "ü²", "a\nb", "'")  # fmt: skip

NOT_TYPED = "\0"
"""No shell passes this on."""

typed = st.sampled_from(ODD) | st.text(
    st.characters(exclude_categories=["Cs"], exclude_characters=NOT_TYPED), max_size=12
)

LINES = """
predict ?
predict K-001 --draws ?
predict K-001 --shots ?
predict K-001 --stage ?
predict K-001 --if ?
predict K-001 --if sides=?
predict K-001 --if brace=?
predict K-001 --if strands=?
show ?
show --as-of ?
show K-001 --plot ?
show --units ?
--book ? show
form ?
form --add ?
add ?
add bow.toml --kind ?
add --withdraws ? --because ?
add bow.toml --corrects ? --because ?
weigh ? 28=45
weigh K-001 ?
weigh K-001 28=? --stage tillered
weigh K-001 28=45 --stage ?
weigh K-001 28=95 --stage tillered --pulls ?
weigh K-001 28=95 --stage tillered --shots ?
weigh K-001 28=95 --stage tillered --brace ?
weigh K-001 28=95 --stage tillered --gaps ?
weigh K-001 28=95 --stage tillered --temp ?
weigh K-001 28=95 --stage tillered --humidity ?
weigh K-001 28=95 --stage tillered --on ?
weigh K-001 28=95 --stage tillered --corrects ?
reduce K-001 ? fade=1/16
reduce K-001 sides ?
reduce K-001 sides fade=?
reduce K-001 sides ?=1/16
strip ? 1=.3 --span 20 --width 1 --thickness .1
strip maple ? --span 20 --width 1 --thickness .1
strip maple 1=.3 --span ? --width ? --thickness ?
order ?
order 50#@28 --build ?
order 50#@28 --due ?
order 50#@28 --shots ?
order 50#@28 --tolerance ?
stock ?
stock core maple ?
stock ? ? ?
shop ?
shop tolerance_lbf=?
shop units=?
worth ?
worth K-001 --draw ?
tiller K-001 --want ?
tiller K-001 --draw ?
plan ?
plan K-001 --target ?
plan K-001 --target 44#@28 --tolerance ?
layup --form ? --target 50#@28
layup --like K-001 --length ?
layup --like K-001 --glass ?
layup --like K-001 --wood ?
layup --form plain-64 --order ?
layup --form plain-64 --target ?@28
report ?
report calibration ?
report differences ? K-001
schema ?
train ?
?
? show
""".strip().splitlines()
"""Command lines with ? where something is to be typed."""


@pytest.mark.slow
@pytest.mark.usefixtures("bow")
@given(line=st.sampled_from(LINES), word=typed)
@settings(max_examples=250, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_nonsense_anywhere(monkeypatch: pytest.MonkeyPatch, line: str, word: str) -> None:
    """Whatever is typed for any value: it is done, has no answer or is told in lines that say so; nothing breaks."""
    book = Path("shop.book")
    kept = book.read_bytes()
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(b"")))
    said, told = io.StringIO(), io.StringIO()

    with redirect_stdout(said), redirect_stderr(told):
        code = cli.run([part.replace("?", word) for part in line.split()])
    book.write_bytes(kept)

    assert code in (0, 1, 2) or "check the path" in told.getvalue(), told.getvalue()
    assert "please send" not in told.getvalue()
    assert "Traceback" not in told.getvalue()
    if code == 2:
        assert all(text.strip() for text in told.getvalue().splitlines())
        assert told.getvalue().splitlines()
