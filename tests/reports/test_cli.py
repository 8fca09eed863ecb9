"""The command line as a whole: help, usage, exit codes, and failures in one line."""

import shlex
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from datasets import store
from datasets.book import ShopBook
from reports import cli, expectation
from tests.reports.conftest import Command

COMMANDS = [command.name for command in cli.app.registered_commands]


def test_the_list_of_commands_is_whole(command: Command) -> None:
    """No command's first sentence is cut in the list, 80 columns wide."""
    listed = command("--help").out.split("Commands:")[1]

    assert "..." not in listed
    assert all(name in listed for name in COMMANDS)


@pytest.mark.parametrize(
    ("line", "code", "said"),
    [
        ("show K-009", 2, "wanted a build of the book (the last ones: K-001), got K-009; see: drawweight show"),
        ("predict K-009", 2, "wanted a build of the book (the last ones: K-001), got K-009; see: drawweight show"),
        ("predict nowhere.toml", 2, "wanted a file or a build's id, got nowhere.toml, which is neither"),
        ("predict K-001 --draws 280", 2, "wanted a draw length of 8 to 36 in, got '280'"),
        ("form ridge", 2, "wanted a form of the book, got ridge; use one of plain-64, plain-64/1"),
        ("form plain-66", 2, "wanted a form of the book, got plain-66; did you mean plain-64?"),
        ("form plain-64/²", 2, "wanted a form of the book, got plain-64/²; did you mean plain-64/1?"),
        (f"form plain-64/{'9' * 5000}", 2, f"wanted a form of the book, got plain-64/{'9' * 48}...; use one of"),
        (f"predict {'x' * 5000}.toml", 2, f"wanted a file or a build's id, got {'x' * 57}..., which is neither"),
        (f"--book {'x' * 5000} show", 3, f"wanted to use {'x' * 57}..., got: File name too long; check the path"),
        ("predict", 2, "wanted FILE|-|BUILD, got nothing; see: drawweight predict --help"),
        ("predict K-001 --drwas 28", 2, "wanted an option that there is, got --drwas; see: drawweight predict --help"),
        ("predict K-001 --draws", 2, "wanted a value after --draws, got nothing; see: drawweight predict --help"),
        ("show K-001 K-002", 2, "wanted no more words, got K-002; see: drawweight show --help"),
        ("weigh K-001 28=45 --stage raw", 2, "wanted --stage, one of blank, first-draw, tillered, finished,"),
        ("schema bow", 2, "one of form, build, weigh_in"),
        ("weigh K-001 28:45", 2, "wanted a reading such as 28=52.75, draw first, got '28:45'"),
        ("weigh K-001 28=45 --gaps 7", 2, "wanted the upper and the lower gap, got '7'"),
        ("reduce K-001 sides fade", 2, "wanted a place with its amount, or an amount for the whole limb, got 'fade'"),
        ("add", 2, "wanted a file or a terminal to ask at, got neither; write: drawweight add FILE (or -)"),
        ("--book other.book show", 2, "wanted the shop's book at other.book, got no book there"),
        ("--book form.toml show", 2, "form.toml"),
        ("reduce K-001 planing fade=1/16", 2, "wanted method, one of sides, trap, edges, belly-glass, back-glass,"),
        ("shwo", 2, "wanted a command, got shwo; did you mean show?"),
    ],
)  # fmt: skip
def test_bad_input_gets_one_line(bow: Command, line: str, code: int, said: str) -> None:
    """What was wanted, what came, what to do; the exit code for bad input; no traceback; the book unchanged."""
    before = Path("shop.book").read_bytes()
    result = bow(line)

    assert result.code == code
    assert said in result.err
    assert result.err.count("\n") == 1
    assert "Traceback" not in result.err
    assert result.out == ""
    assert Path("shop.book").read_bytes() == before


WORDS = st.sampled_from(
    [*COMMANDS, "K-001", "28=45", "fade=1/16", "--json", "--stage", "--on", "-", "sides"]
) | st.text(st.characters(codec="utf-8", exclude_characters="\0"), max_size=8)


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(WORDS, max_size=5))
def test_no_words_bring_a_traceback(bow: Command, words: list[str]) -> None:
    """Whatever is typed ends with a known code, and a failure with a line of what was wanted or refused."""
    result = bow(shlex.join(words))

    assert result.code in (0, 1, 2)
    assert "Traceback" not in result.err + result.out
    assert result.code == 0 or result.err


def test_a_locked_book_could_not_be_used(bow: Command, monkeypatch: pytest.MonkeyPatch) -> None:
    """A book that another process holds is exit code 3, in one line."""

    def locked(*_: object, **__: object) -> ShopBook:
        raise store.BookLockedError("wanted to write shop.book, got it locked; try again")

    monkeypatch.setattr(ShopBook, "open", locked)
    assert bow("show") == (3, "", "drawweight: wanted to write shop.book, got it locked; try again\n")


def test_the_unexpected_is_one_line_and_a_report(bow: Command, monkeypatch: pytest.MonkeyPatch) -> None:
    """An error that nobody foresaw is one line that names a report, which holds the line typed and the trace."""

    def broken(*_: object) -> None:
        raise ZeroDivisionError("division by zero")

    monkeypatch.setattr(expectation, "predict", broken)
    result = bow("predict K-001")

    assert result.code == 3
    assert result.err.count("\n") == 1
    report = Path(result.err.split("please send ")[1].split(" with what")[0])
    text = report.read_text()
    report.unlink()
    assert text.startswith("drawweight predict K-001\n")
    assert "Traceback" in text


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_has_help_with_an_example(command: Command, name: str) -> None:
    """Help starts with a sentence and has a line to paste."""
    result = command(f"{name} --help")

    assert result.code == 0
    assert f"Example: drawweight {name}" in " ".join(result.out.split())


def test_the_book_is_named_by_option_or_environment(bow: Command, monkeypatch: pytest.MonkeyPatch) -> None:
    """--book comes before the command; DRAWWEIGHT_BOOK does the same; the option wins."""
    Path("shop.book").rename("other.book")

    assert bow("--book other.book show").code == 0
    monkeypatch.setenv("DRAWWEIGHT_BOOK", "other.book")
    assert bow("show").code == 0
    assert bow("--book shop.book show").code == 2
