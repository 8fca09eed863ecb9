"""The command line: what is typed at the bench, what comes back, and what is kept."""

import io
import json
import shlex
import subprocess
import sys
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import NamedTuple

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from datasets import store
from datasets.book import ShopBook
from reports import asking, cli, expectation
from tests import shop

ROOT = Path(__file__).parents[2]


class Result(NamedTuple):
    """How a command ended."""

    code: int
    out: str
    err: str


Run = Callable[..., Result]
COMMANDS = [command.name for command in cli.app.registered_commands]


class Input(io.StringIO):
    """Standard input with given content, as a pipe or as a terminal."""

    def __init__(self, content: bytes = b"", *, terminal: bool = False) -> None:
        super().__init__(content.decode("utf-8", "replace"))
        self.buffer = io.BytesIO(content)
        self._terminal = terminal

    def isatty(self) -> bool:
        """Whether this stands for a terminal."""
        return self._terminal


@pytest.fixture
def run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Run:
    """Return a way to type a command line in an empty folder."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("DRAWWEIGHT_BOOK", raising=False)

    def typed(line: str, stdin: bytes = b"", *, terminal: bool = False) -> Result:
        monkeypatch.setattr(sys, "stdin", Input(stdin, terminal=terminal))
        code = cli.run(shlex.split(line))
        said = capsys.readouterr()
        return Result(code, said.out, said.err)

    return typed


@pytest.fixture
def bow(run: Run) -> Run:
    """Return the same with a book of one form and one bow, typed with fractions."""
    asking.save_draft(Path("form.toml"), *shop.form())
    asking.save_draft(Path("bow.toml"), *shop.build())
    for command in ("form --add form.toml", "add bow.toml"):
        assert run(command).code == 0
    return run


def test_a_bow_from_the_bench_to_its_prediction(bow: Run) -> None:
    """A form and a build typed with fractions go through weigh, reduce and predict to a table with intervals."""
    predicted = json.loads(bow("predict K-001 --draws 28 --json").out)["draws"][0]["weight_lbf"]
    weighed = bow(f"weigh K-001 28={predicted:.2f} --stage first-draw --pulls 30 --on 2026-03-05")
    reduced = bow("reduce K-001 sides fade=1/16 nock=1/32 --on 2026-03-06")
    table = bow("predict K-001")

    assert [weighed.code, reduced.code, table.code] == [0, 0, 0]
    assert "kept 1: weigh-in K-001/1" in weighed.out
    assert "expected, lb (99 % of such bows)" in weighed.out
    assert "kept 1: removal K-001/2\nby the statics worth -" in reduced.out
    assert "80% of such bows" in table.out
    lower = json.loads(bow("predict K-001 --draws 28 --json").out)["draws"][0]["weight_lbf"]
    assert f"worth {lower - predicted:.1f} lb at 28 in" in reduced.out


def test_a_reading_far_off_is_asked_about(bow: Run) -> None:
    """Without a terminal nothing is kept and the line to repeat is given; --yes keeps it."""
    refused = bow("weigh K-001 28=95 --stage tillered --on 2026-03-05")

    assert refused.code == 1
    assert " lb at 28 in, you typed 95\n" in refused.err
    assert refused.err.startswith("expected ")
    again = refused.err.split("if the reading is right: drawweight ")[1].strip()
    assert json.loads(bow("show K-001 --json").out)["history"] == []
    assert bow(again).code == 0
    assert len(json.loads(bow("show K-001 --json").out)["history"]) == 1


@pytest.mark.parametrize(("answer", "kept"), [("y", 1), ("n", 0), ("", 0)])
def test_at_a_terminal_the_answer_counts(bow: Run, answer: str, kept: int) -> None:
    """A yes keeps the far reading, a no or nothing does not."""
    result = bow("weigh K-001 28=95 --stage tillered --on 2026-03-05", f"{answer}\n".encode(), terminal=True)

    assert result.code == 1 - kept
    assert len(json.loads(bow("show K-001 --json").out)["history"]) == kept


def test_a_reading_near_by_is_not_asked_about(bow: Run) -> None:
    """The question is about far readings only: the expected weight itself is kept without one."""
    predicted = json.loads(bow("predict K-001 --draws 28 --json").out)["draws"][0]["weight_lbf"]

    assert bow(f"weigh K-001 28={predicted:.2f} --stage tillered --on 2026-03-05").err == ""


def test_the_stage_is_as_last_time(bow: Run) -> None:
    """After the first weighing the stage may be left out; before it the choices are named."""
    first = bow("weigh K-001 28=40")
    bow("weigh K-001 28=45 --stage finished --on 2026-03-05 --yes")
    bow("weigh K-001 28=45 --on 2026-03-06 --yes")

    assert first.code == 2
    assert "add --stage, one of blank, first-draw, tillered, finished, settled" in first.err
    stages = [event["stage"] for event in json.loads(bow("show K-001 --json").out)["history"]]
    assert stages == ["finished", "finished"]


def test_everything_of_a_weighing_is_kept(bow: Run) -> None:
    """Zero point, brace, gaps, temperature and counts go into the record, as typed."""
    bow(
        'weigh K-001 "26 1/4 pivot=45 1/2" --stage settled --brace "7 1/8" --gaps "7 1/8,7" --temp "20 C" '
        "--pulls 30 --shots 500 --humidity 45 --note windy --on 2026-03-05 --yes"
    )
    (event,) = json.loads(bow("show K-001 --json").out)["history"]

    assert event["readings"][0]["draw"] == {"inch": 26.25, "zero": "pivot", "typed": "26 1/4 pivot"}
    assert event["readings"][0]["weight"] == {"lbf": 45.5, "typed": "45 1/2"}
    assert (event["brace"]["inch"], event["gap_upper_in"]["inch"], event["gap_lower_in"]["inch"]) == (
        7.125,
        7.125,
        7,
    )
    assert (event["temperature_f"], event["humidity_pct"], event["pulls"], event["shots"]) == (
        68,
        45,
        30,
        500,
    )


def test_a_correction_supersedes(bow: Run) -> None:
    """A weighing mistyped is typed again with its id and the reason; the history has it once."""
    bow("weigh K-001 28=95 --stage tillered --on 2026-03-05 --yes")
    corrected = bow(
        'weigh K-001 28=45 --stage tillered --on 2026-03-05 --yes --corrects K-001/1 --because "typed 95"'
    )

    assert corrected.code == 0
    (event,) = json.loads(bow("show K-001 --json").out)["history"]
    assert event["readings"][0]["weight"]["lbf"] == 45
    assert "K-001/1 was corrected: typed 95" in bow("show K-001").out
    without = bow("weigh K-001 28=46 --on 2026-03-05 --yes --corrects K-001/1")
    assert (without.code, without.err.splitlines()[-1]) == (
        2,
        "drawweight: wanted a reason for changing K-001/1, got none; say what was wrong",
    )


def test_what_was_known_on_a_day(bow: Run) -> None:
    """The book can be shown as it was: with nothing in it long ago, with all of it by the end of today."""
    today = date.today().isoformat()

    assert list(json.loads(bow("show --json --as-of 2020-01-01").out)["build"]) == []
    assert bow(f"show --json --as-of {today}").out == bow("show --json").out
    assert bow("show --as-of yesterday").code == 2


def test_a_record_of_the_wrong_bow_is_withdrawn(bow: Run) -> None:
    """A record that should not be there goes with a reason; without one, or without the record, nothing happens."""
    bow("weigh K-001 28=45 --stage tillered --on 2026-03-05 --yes")
    without = bow("add --withdraws K-001/1")
    unknown = bow('add --withdraws K-001/7 --because "that was K-002"')
    kept = json.loads(bow("show K-001 --json").out)["history"]
    done = bow('add --withdraws K-001/1 --because "that was K-002"')

    assert (without.code, unknown.code, done.code, len(kept)) == (2, 2, 0, 1)
    assert "wanted a reason for changing K-001/1, got none; say what was wrong" in without.err
    assert "got K-001/7, which it has not; check the id" in unknown.err
    assert json.loads(bow("show K-001 --json").out)["history"] == []


BAD = """[[form]]
id = "Plain 64"
kind = "straight"

[[build]]
form = "plain-64"
length_in = "48ish"
brace = "7 1/4"
lenght_in = "64"

[[scale]]
id = "hanging"
division_lbf = 0.25
"""


def test_all_mistakes_of_a_file_at_once(run: Run) -> None:
    """Every mistake has its file and line, what is right is not kept with them, and the code says bad input."""
    Path("bad.toml").write_text(BAD)
    result = run("add bad.toml")

    lines = result.err.splitlines()
    assert result.code == 2
    assert all(line.startswith("bad.toml:") for line in lines)
    assert "bad.toml:2: form Plain 64, id: wanted short name in small letters" in result.err
    assert "bad.toml:7: build, length_in: wanted a length of 1 to 100 in, got '48ish'" in result.err
    assert (
        "bad.toml:9: build, lenght_in: wanted a field that there is, got 'lenght_in'; did you mean length_in?"
        in result.err
    )
    assert result.out == "kept nothing\n"
    assert not Path("shop.book").exists()


def test_what_is_right_can_be_kept(run: Run) -> None:
    """With --keep-good the good record is kept, the mistakes are still told, and the code stays bad input."""
    Path("bad.toml").write_text(BAD)
    result = run("add bad.toml --keep-good")

    assert (result.code, result.out) == (2, "kept 1: scale hanging\n")
    assert "bad.toml:7:" in result.err


def test_standard_input_is_not_lost(run: Run) -> None:
    """A text from a pipe that could not be added is beside the book, byte for byte, and its path is told."""
    result = run("add -", BAD.encode())

    saved = Path(result.err.split("what was typed is in ")[1].split("; mend")[0])
    assert result.code == 2
    assert saved.read_bytes() == BAD.encode()
    assert "standard input:7: build, length_in" in result.err


def test_standard_input_outlives_a_locked_book(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    """A good text that the book could not take is saved like a bad one."""

    def locked(*_: object, **__: object) -> ShopBook:
        raise store.BookLockedError("wanted to write shop.book, got it locked; try again")

    with monkeypatch.context() as patch:
        patch.setattr(ShopBook, "open", locked)
        result = run("add -", b'[[scale]]\nid = "hanging"\ndivision_lbf = 0.25\n')
    saved = result.err.split("what was typed is in ")[1].split("; mend")[0]

    assert result.code == 3
    assert run("add -", Path(saved).read_bytes()).out == "kept 1: scale hanging\n"


def test_a_syntax_error_keeps_the_rest_out_too(run: Run) -> None:
    """A slip of TOML is told with its line, beside the other mistakes, and nothing of the file is kept."""
    Path("slip.toml").write_text(BAD.replace('id = "hanging"', "id = hanging"))
    result = run("add slip.toml")

    assert result.code == 2
    first, *others = result.err.splitlines()
    assert first.startswith("slip.toml:12: wanted TOML, got:")
    assert any("slip.toml:7: build, length_in" in line for line in others)
    assert not Path("shop.book").exists()


def test_oddities_are_told_and_kept(bow: Run) -> None:
    """A record that is odd is kept, with the code for findings."""
    result = bow("weigh K-001 27=46 28=45 --stage tillered --on 2026-03-05 --yes")

    assert result.code == 1
    assert (
        "odd: what was typed: weigh_in K-001/1, readings: wanted more weight at a longer draw" in result.err
    )
    assert "kept 1: weigh-in K-001/1" in result.out


FAR = """[[weigh_in]]
build = "K-001"
on = "2026-03-05"
stage = "tillered"
readings = [{draw = "27", weight = "60"},
  {draw = "28", weight = "95"}]
"""


def test_far_weights_of_a_file_are_odd(bow: Run) -> None:
    """A reading far off in a file is kept, and told on its line in the words of weigh; a fair one is not."""
    Path("far.toml").write_text(FAR)
    asked = bow("weigh K-001 27=60 28=95 --stage tillered --on 2026-03-05").err.splitlines()[0]
    result = bow("add far.toml")

    assert (result.code, result.out) == (1, "kept 1: weigh-in K-001/1\n")
    assert asked.startswith("expected ")
    assert result.err == f"odd: far.toml:6: weigh_in K-001/1, readings.2: {asked}\n"


def test_many_weights_are_not_compared(bow: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    """A file of more weigh-ins than can be compared at once is kept, and says that nothing was compared."""
    monkeypatch.setattr("reports.second_look.MOST_COMPARED", 1)
    Path("far.toml").write_text(FAR.replace("95", "63") + FAR.replace("95", "63").replace("-05", "-06"))
    result = bow("add far.toml")

    assert (result.code, result.out) == (0, "kept 2: weigh-in K-001/1, weigh-in K-001/2\n")
    assert result.err == (
        "wanted at most 1 weigh-ins to compare with what is expected, got 2: none is compared; "
        "see: drawweight show BUILD\n"
    )


SPARSE = [
    {"at_in": "8", "offset_in": "0"},
    {"at_in": "20", "offset_in": "1"},
    {"at_in": "26", "offset_in": "-5"},
]


def test_doubtful_profiles_are_odd(bow: Run) -> None:
    """A form or a bow's own profile that cannot be trusted is kept and told, item by item."""
    asking.save_draft(Path("form2.toml"), *shop.form(profile=SPARSE))
    asking.save_draft(Path("own.toml"), *shop.build(profile=SPARSE))

    for line, name in (("form --add form2.toml", "form plain-64/2"), ("add own.toml", "build K-002")):
        result = bow(line)
        assert result.code == 1
        assert f"kept 1: {name}" in result.out
        assert f"{name}, profile.3: readings stop short of the nock: the last is" in result.err


def test_doubts_stand_with_a_refusal(bow: Run) -> None:
    """Where nothing can be predicted, what is doubtful about the shape is told first."""
    asking.save_draft(Path("own.toml"), *shop.build(profile=SPARSE))
    result = bow("predict own.toml --draws 36")

    assert result.code == 1
    assert result.err.splitlines()[-1].startswith("drawweight: no prediction for K-002: ")
    assert "odd: profile, 26 in from the centre: readings stop short of the nock: " in result.err


@pytest.mark.parametrize("line", ["add bad.toml", "form --add bad.toml", "add --kind scale bad.csv"])
def test_a_refused_text_starts_no_book(run: Run, line: str) -> None:
    """A book's file is made when the first record is kept, not when one is refused."""
    Path("bad.toml").write_text('[[form]]\nid = "Plain 64"\n')
    Path("bad.csv").write_text("id\nhanging\n")

    assert run(line).code == 2
    assert not Path("shop.book").exists()


def test_questions_left_early_start_no_book(run: Run) -> None:
    """Nor is it made when the questions are left before the last one."""
    assert run("add", b"scale\nhanging\n", terminal=True).code == 1
    assert not Path("shop.book").exists()
    assert Path("shop-draft.toml").exists()


def test_csv_takes_its_kind(bow: Run) -> None:
    """Rows of one kind come in from a spreadsheet."""
    Path("w.csv").write_text(
        "build,on,stage,readings.1.draw,readings.1.weight\nK-001,2026-03-05,tillered,28,45\nK-001,2026-03-06,tillered,28,44\n"
    )
    assert bow("add w.csv --kind weigh_in").out == "kept 2: weigh-in K-001/1, weigh-in K-001/2\n"


def test_a_changed_form_is_a_new_revision(bow: Run) -> None:
    """Option --add numbers the revision; the old one stays and can be shown."""
    asking.save_draft(Path("form2.toml"), *shop.form(handle_depth_in="2 1/2"))
    added = bow("form --add form2.toml")

    assert added.out == "kept 1: form plain-64/2\n"
    assert "plain-64 revision 2" in bow("form plain-64").out
    assert "handle 2 1/4 in deep" in bow("form plain-64/1").out


def test_a_planned_file_is_wider_than_the_same_measured(bow: Run) -> None:
    """A file is a plan unless it says otherwise, and a plan's interval is wider than the measured one's."""
    planned = json.loads(bow("predict bow.toml --draws 28 --json").out)
    measured = json.loads(bow("predict K-001 --draws 28 --json").out)

    def width(prediction: dict) -> float:  # type: ignore[type-arg]  # any JSON
        interval = prediction["draws"][0]["intervals"][0]
        return float(interval["high_lbf"] - interval["low_lbf"])

    assert (planned["planned"], measured["planned"]) == (True, False)
    assert width(planned) > 1.05 * width(measured)


def test_the_stage_is_the_last_one_weighed(trained: Run) -> None:
    """A finished bow is predicted as finished, which is lighter than as tillered, and the heading says so."""
    trained("weigh K-001 28=44 --stage finished --on 2026-03-09 --yes")

    def weight(line: str) -> float:
        return float(
            json.loads(trained(f"predict K-001 --draws 28 --json {line}").out)["draws"][0]["weight_lbf"]
        )

    assert weight("") == weight("--stage finished") < weight("--stage tillered")
    assert "expected draw weight in lb, weighed as finished\n" in trained("predict K-001").out
    assert "expected draw weight in lb, weighed as blank\n" in trained("predict K-001 --stage blank").out
    assert "expected draw weight in lb, weighed as tillered\n" in trained("predict bow.toml").out


def test_a_column_has_one_number_of_decimals(bow: Run) -> None:
    """Readings of 45 and 45.25 lb stand as 45.00 and 45.25, and expected weights likewise have the same digits."""
    bow("weigh K-001 20=45 28=45.25 --stage tillered --on 2026-03-05 --yes")
    rows = [line.split(" at ")[1].split() for line in bow("show K-001").out.splitlines() if " at 2" in line]
    predicted = [line.split() for line in bow("predict K-001 --draws 12,20,30").out.splitlines()[2:5]]

    assert [row[2] for row in rows] == ["45.00", "45.25"]
    for column in ([row[3] for row in rows], [row[2] for row in predicted], [row[5] for row in predicted]):
        assert len({len(cell.partition(".")[2]) for cell in column}) == 1


def test_the_list_of_commands_is_whole(run: Run) -> None:
    """No command's first sentence is cut in the list, 80 columns wide."""
    listed = run("--help").out.split("Commands:")[1]

    assert "..." not in listed
    assert all(name in listed for name in COMMANDS)


def test_a_plan_may_come_from_a_pipe(bow: Run) -> None:
    """Of - the plan is read from standard input, and its mistakes are told with its lines."""
    text = Path("bow.toml").read_bytes()

    assert bow("predict - --json", text).out == bow("predict bow.toml --json").out
    wrong = bow("predict -", text.replace(b"1 1/16", b"11 1/16"))
    assert wrong.code == 2
    assert wrong.err.startswith("drawweight: standard input:")
    assert "got '11 1/16'" in wrong.err
    assert wrong.err.count("\n") == 1


def test_draws_may_name_their_zero_point(bow: Run) -> None:
    """26 1/4 to the pivot is 28 by the standard (AMO FP-3): the same weight."""
    draws = json.loads(bow('predict K-001 --draws "28, 26 1/4 pivot" --json').out)["draws"]

    assert draws[0]["weight_lbf"] == pytest.approx(draws[1]["weight_lbf"], rel=1e-9)


def test_metric_output(bow: Run) -> None:
    """With --units metric, draws are centimetres to one place and weights kilograms, of the same prediction."""
    inch = json.loads(bow("predict K-001 --draws 28 --json").out)["draws"][0]["weight_lbf"]
    text = bow("predict K-001 --draws 28 --units metric").out

    row = next(line for line in text.splitlines() if line.startswith("71.1 cm"))
    assert float(row.split()[2]) == pytest.approx(inch * 0.45359237, abs=0.5)


def test_a_bow_that_cannot_be_drawn_has_no_answer(bow: Run) -> None:
    """No answer is one line with the reason and exit code 1, not a number."""
    asking.save_draft(Path("short.toml"), *shop.build(length_in="30"))
    result = bow("predict short.toml --draws 28")

    assert result.code == 1
    assert result.out == ""
    assert result.err.startswith("drawweight: no prediction for K-002: ")
    assert result.err.count("\n") == 1


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
        ("reduce K-001 sides fade", 2, "wanted a place with its amount, got 'fade'; write it such as fade=1/16"),
        ("add", 2, "wanted a file or a terminal to ask at, got neither; write: drawweight add FILE (or -)"),
        ("--book other.book show", 2, "wanted the shop's book at other.book, got no book there"),
        ("--book form.toml show", 2, "form.toml"),
        ("reduce K-001 planing fade=1/16", 2, "wanted method, one of sides, trap, edges, belly-glass, back-glass,"),
        ("shwo", 2, "wanted a command, got shwo; did you mean show?"),
    ],
)  # fmt: skip
def test_bad_input_gets_one_line(bow: Run, line: str, code: int, said: str) -> None:
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
def test_no_words_bring_a_traceback(bow: Run, words: list[str]) -> None:
    """Whatever is typed ends with a known code, and a failure with a line of what was wanted or refused."""
    result = bow(shlex.join(words))

    assert result.code in (0, 1, 2)
    assert "Traceback" not in result.err + result.out
    assert result.code == 0 or result.err


def test_a_removal_that_leaves_nothing_is_refused(bow: Run) -> None:
    """What cannot be on the bow is told at once and not kept."""
    result = bow("reduce K-001 sides nock=7/8")

    assert result.code == 2
    assert result.err.startswith("drawweight: what was typed: removal K-001/1: wanted some width left")
    assert json.loads(bow("show K-001 --json").out)["history"] == []


def test_a_locked_book_could_not_be_used(bow: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    """A book that another process holds is exit code 3, in one line."""

    def locked(*_: object, **__: object) -> ShopBook:
        raise store.BookLockedError("wanted to write shop.book, got it locked; try again")

    monkeypatch.setattr(ShopBook, "open", locked)
    assert bow("show") == (3, "", "drawweight: wanted to write shop.book, got it locked; try again\n")


def test_the_unexpected_is_one_line_and_a_report(bow: Run, monkeypatch: pytest.MonkeyPatch) -> None:
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
def test_every_command_has_help_with_an_example(run: Run, name: str) -> None:
    """Help starts with a sentence and has a line to paste."""
    result = run(f"{name} --help")

    assert result.code == 0
    assert f"Example: drawweight {name}" in " ".join(result.out.split())


def test_the_book_is_named_by_option_or_environment(bow: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    """--book comes before the command; DRAWWEIGHT_BOOK does the same; the option wins."""
    Path("shop.book").rename("other.book")

    assert bow("--book other.book show").code == 0
    monkeypatch.setenv("DRAWWEIGHT_BOOK", "other.book")
    assert bow("show").code == 0
    assert bow("--book shop.book show").code == 2


def test_the_answer_at_the_bench_loads_no_learning_library(tmp_path: Path) -> None:
    """Predicting a build loads neither pandas, scikit-learn, statsmodels nor matplotlib."""
    asking.save_draft(tmp_path / "form.toml", *shop.form())
    asking.save_draft(tmp_path / "bow.toml", *shop.build())
    code = (
        "import sys; from reports.cli import run; "
        "codes = [run(line.split()) for line in ('add form.toml', 'add bow.toml', 'predict K-001')]; "
        "heavy = {'pandas', 'sklearn', 'statsmodels', 'matplotlib'} & set(sys.modules); "
        "sys.stderr.write(f'{codes} {sorted(heavy)} {\"numpy\" in sys.modules}')"
    )
    done = subprocess.run(
        [sys.executable, "-c", code],
        cwd=tmp_path, env={"PYTHONPATH": str(ROOT), "PATH": ""}, capture_output=True, text=True, check=True,
    )  # fmt: skip

    assert done.stderr == "[0, 0, 0] [] True"


def test_the_demo_ends_with_a_prediction(run: Run) -> None:
    """The demo lays out a book, says that it is invented, predicts the planned kit, and may be run again."""
    for _ in range(2):
        result = run("demo --into demo")
        assert result.code == 0
        assert "invented" in result.out
        assert "as planned: expected draw weight in lb" in result.out
    kit = run("--book demo/shop.book predict demo/planned-kit.toml --json")
    assert len(json.loads(kit.out)["draws"]) == 4
    assert len(json.loads(run("--book demo/shop.book show --json").out)["build"]) >= 40


def test_answers_outlive_a_locked_book(bow: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    """Answers that the book could not take are in a draft that can be added, beside any older one."""
    Path("shop-draft.toml").write_text("older")
    answers = "\n".join(["scale", "hanging", "0.25", ""]).encode()

    def locked(*_: object, **__: object) -> None:
        raise store.BookLockedError("wanted to write shop.book, got it locked; try again")

    with monkeypatch.context() as patch:
        patch.setattr(ShopBook, "add", locked)
        failed = bow("add", answers + b"\n", terminal=True)
        assert (failed.code, len(failed.err.splitlines())) == (3, 2)
        assert "what was typed is in shop-draft-2.toml; add that file later" in failed.err
    assert Path("shop-draft.toml").read_text() == "older"
    assert bow("add shop-draft-2.toml").out == "kept 1: scale hanging\n"

    Path("shop-draft-2.toml").unlink()
    assert bow("add", answers.replace(b"hanging", b"spring") + b"\n", terminal=True).code == 0
    assert not Path("shop-draft-2.toml").exists()


@pytest.mark.parametrize(("name", "starts"), [("bow.png", b"\x89PNG"), ("bow.svg", b"<?xml")])
def test_shapes_are_drawn_into_a_file(bow: Run, name: str, starts: bytes) -> None:
    """The picture is what its ending says; another ending and a folder that is not there are told in one line."""
    assert bow(f"show K-001 --plot {name}") == (0, f"{name}\n", "")
    assert Path(name).read_bytes().startswith(starts)
    assert (
        bow("show K-001 --plot bow.gif").err
        == "drawweight: wanted a file that ends in .png or .svg, got bow.gif; rename it\n"
    )
    assert bow(f"show K-001 --plot nowhere/{name}").code == 3


def test_piped_output_has_no_lines_or_colours(bow: Run) -> None:
    """What goes into a pipe is plain text without box drawing and escape codes."""
    text = bow("predict K-001").out + bow("show").out + bow("show K-001").out

    assert "\x1b" not in text
    assert not any("\u2500" <= sign <= "\u257f" for sign in text)


@pytest.fixture
def trained(bow: Run) -> Run:
    """Return the same with the bow weighed and the model trained on it."""
    expected = json.loads(bow("predict K-001 --draws 27,28 --json").out)["draws"]
    read = " ".join(f"{inch}={draw['weight_lbf']:.2f}" for inch, draw in zip((27, 28), expected, strict=True))
    assert bow(f"weigh K-001 {read} --stage first-draw --pulls 30 --on 2026-03-05").code == 0
    assert bow("train").code == 0
    return bow


def test_prediction_uses_what_was_learned(trained: Run) -> None:
    """After training, predict of a like bow rests on the builds and is narrower; --untrained ignores them."""
    Path("twin.json").write_text(json.dumps({"build": [shop.build().data]}))
    with_builds = json.loads(trained("predict twin.json --draws 28 --json").out)
    without = json.loads(trained("predict twin.json --draws 28 --json --untrained").out)

    def widths(prediction: dict[str, list[dict[str, list[dict[str, float]]]]]) -> list[float]:
        return [one["high_lbf"] - one["low_lbf"] for one in prediction["draws"][0]["intervals"]]

    assert "1 of the shop's builds" in with_builds["basis"]
    assert "nothing is learned" in without["basis"]
    assert all(learned < wide for learned, wide in zip(widths(with_builds), widths(without), strict=True))
    assert with_builds["distance"] < 0.7 < without["distance"] == pytest.approx(1)
    assert (
        "1 build, foretold without its own weighings. That is too few to test 90%: 9 are needed"
        in with_builds["interval_basis"]
    )


def test_training_tells_what_it_learned(trained: Run) -> None:
    """Train tells materials against the handbook, scatters, checks and where a level needs more builds."""
    told = trained("train").out
    kept = json.loads(trained("train --json").out)

    for said in ("2 readings of 1 builds", "hard maple", "this bow's own scatter", "needs 9 builds"):
        assert said in told
    assert kept["builds"] == 1
    assert Path("shop.book.model.json").exists()


def test_reports_as_text_values_and_page(trained: Run) -> None:
    """A report comes as text, as JSON of the same values, and as a page; the book of one build says what it cannot."""
    told = trained("report calibration")
    values = json.loads(trained("report calibration --json").out)
    page = trained("report calibration --html calibration.html")

    assert (told.code, page.code, page.out) == (0, 0, "calibration.html\n")
    assert values["verdict"] in " ".join(told.out.split())
    assert values["verdict"] in Path("calibration.html").read_text(encoding="utf-8")
    assert "tells nothing yet" in values["verdict"]


def test_what_no_report_is_made_of(trained: Run) -> None:
    """All reports go into a folder and only they; a name that is none is told with the nearest; nothing is written."""
    assert trained("report all").code == trained("report errors --into here").code == 2
    assert "wanted --into DIR with the reports named all" in trained("report all").err
    assert "wanted a report, got eror; did you mean errors?" in trained("report eror").err
    assert not Path("here").exists()


def test_a_model_behind_its_book(trained: Run) -> None:
    """A model that lacks records says how many, and is used all the same."""
    trained("weigh K-001 28=50 --stage finished --on 2026-03-09 --yes")
    predicted = trained("predict K-001 --draws 28")

    assert predicted.code == 0
    assert "1 record is newer than the model; train again: drawweight train" in predicted.err


@pytest.mark.parametrize("content", ["", "{}", '{"format": 1', "\x80\x04"])
def test_a_model_that_is_none(trained: Run, content: str) -> None:
    """A damaged model ends predict in one line that says what to do; --untrained does without it."""
    Path("shop.book.model.json").write_text(content, encoding="utf-8")
    predicted = trained("predict K-001 --draws 28")

    assert predicted.code == 3
    assert predicted.err.count("\n") == 1
    assert "train again" in predicted.err
    assert "--untrained" in predicted.err
    assert trained("predict K-001 --draws 28 --untrained").code == 0


def test_a_trained_shop_catches_finer_slips(trained: Run) -> None:
    """A reading off by an eighth is asked about once trained; a damaged model keeps nobody from weighing."""
    weight = json.loads(trained("predict K-001 --draws 28 --json").out)["draws"][0]["weight_lbf"]
    slip = f"weigh K-001 28={weight * 1.13:.1f} --stage tillered --on 2026-03-06"

    assert trained(slip).code == 1
    Path("shop.book.model.json").write_text("{}", encoding="utf-8")
    kept = trained(f"weigh K-001 28={weight:.1f} --stage tillered --on 2026-03-06")
    assert kept.code == 0
    assert kept.err.startswith("expected untrained: ")


def test_nothing_to_learn_from(bow: Run) -> None:
    """A book without a weighed build trains nothing, in one line, and leaves no model."""
    result = bow("train")

    assert result.code == 1
    assert "wanted a weighed build that may teach" in result.err
    assert not Path("shop.book.model.json").exists()


def test_budget(bow: Run) -> None:
    """The budget's shares add up to the whole variance, and tell what a caliper and a strip would bring."""
    parts = json.loads(bow("predict K-001 --draws 28 --budget --json").out)
    at_28, total = parts["draws"][0], sum(share["sd_lbf"] ** 2 for share in parts["shares"])
    table = bow("predict K-001 --draws 28 --budget").out

    assert total == pytest.approx((at_28["log_sd"] * at_28["weight_lbf"]) ** 2)
    assert all(
        gain["half_width_lbf"] <= parts["budget"]["half_width_lbf"] for gain in parts["budget"]["gains"]
    )
    for said in ("strip test of limb glass", "caliper instead of what is noted", "100%"):
        assert said in table
