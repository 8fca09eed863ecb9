"""Records from files, pipes and answers: kept whole or not at all, mistakes with their lines, and nothing lost."""

import json
from pathlib import Path

import pytest

from datasets import store
from datasets.book import ShopBook
from reports import asking
from tests import shop
from tests.reports.conftest import Command


def test_a_record_of_the_wrong_bow_is_withdrawn(bow: Command) -> None:
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


def test_all_mistakes_of_a_file_at_once(command: Command) -> None:
    """Every mistake has its file and line, what is right is not kept with them, and the code says bad input."""
    Path("bad.toml").write_text(BAD)
    result = command("add bad.toml")

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


def test_what_is_right_can_be_kept(command: Command) -> None:
    """With --keep-good the good record is kept, the mistakes are still told, and the code stays bad input."""
    Path("bad.toml").write_text(BAD)
    result = command("add bad.toml --keep-good")

    assert (result.code, result.out) == (2, "kept 1: scale hanging\n")
    assert "bad.toml:7:" in result.err


def test_standard_input_is_not_lost(command: Command) -> None:
    """A text from a pipe that could not be added is beside the book, byte for byte, and its path is told."""
    result = command("add -", BAD.encode())

    saved = Path(result.err.split("what was typed is in ")[1].split("; mend")[0])
    assert result.code == 2
    assert saved.read_bytes() == BAD.encode()
    assert "standard input:7: build, length_in" in result.err


def test_standard_input_outlives_a_locked_book(command: Command, monkeypatch: pytest.MonkeyPatch) -> None:
    """A good text that the book could not take is saved like a bad one."""

    def locked(*_: object, **__: object) -> ShopBook:
        raise store.BookLockedError("wanted to write shop.book, got it locked; try again")

    with monkeypatch.context() as patch:
        patch.setattr(ShopBook, "open", locked)
        result = command("add -", b'[[scale]]\nid = "hanging"\ndivision_lbf = 0.25\n')
    saved = result.err.split("what was typed is in ")[1].split("; mend")[0]

    assert result.code == 3
    assert command("add -", Path(saved).read_bytes()).out == "kept 1: scale hanging\n"


def test_a_syntax_error_keeps_the_rest_out_too(command: Command) -> None:
    """A slip of TOML is told with its line, beside the other mistakes, and nothing of the file is kept."""
    Path("slip.toml").write_text(BAD.replace('id = "hanging"', "id = hanging"))
    result = command("add slip.toml")

    assert result.code == 2
    first, *others = result.err.splitlines()
    assert first.startswith("slip.toml:12: wanted TOML, got:")
    assert any("slip.toml:7: build, length_in" in line for line in others)
    assert not Path("shop.book").exists()


def test_oddities_are_told_and_kept(bow: Command) -> None:
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


def test_far_weights_of_a_file_are_odd(bow: Command) -> None:
    """A reading far off in a file is kept, and told on its line in the words of weigh; a fair one is not."""
    Path("far.toml").write_text(FAR)
    asked = bow("weigh K-001 27=60 28=95 --stage tillered --on 2026-03-05").err.splitlines()[0]
    result = bow("add far.toml")

    assert (result.code, result.out) == (1, "kept 1: weigh-in K-001/1\n")
    assert asked.startswith("expected ")
    assert result.err == f"odd: far.toml:6: weigh_in K-001/1, readings.2: {asked}\n"


def test_many_weights_are_not_compared(bow: Command, monkeypatch: pytest.MonkeyPatch) -> None:
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


def test_doubtful_profiles_are_odd(bow: Command) -> None:
    """A form or a bow's own profile that cannot be trusted is kept and told, item by item."""
    asking.save_draft(Path("form2.toml"), *shop.form(profile=SPARSE))
    asking.save_draft(Path("own.toml"), *shop.build(profile=SPARSE))

    for line, name in (("form --add form2.toml", "form plain-64/2"), ("add own.toml", "build K-002")):
        result = bow(line)
        assert result.code == 1
        assert f"kept 1: {name}" in result.out
        assert f"{name}, profile.3: readings stop short of the nock: the last is" in result.err


def test_doubts_stand_with_a_refusal(bow: Command) -> None:
    """Where nothing can be predicted, what is doubtful about the shape is told first."""
    asking.save_draft(Path("own.toml"), *shop.build(profile=SPARSE))
    result = bow("predict own.toml --draws 36")

    assert result.code == 1
    assert result.err.splitlines()[-1].startswith("drawweight: no prediction for K-002: ")
    assert "odd: profile, 26 in from the centre: readings stop short of the nock: " in result.err


@pytest.mark.parametrize("line", ["add bad.toml", "form --add bad.toml", "add --kind scale bad.csv"])
def test_a_refused_text_starts_no_book(command: Command, line: str) -> None:
    """A book's file is made when the first record is kept, not when one is refused."""
    Path("bad.toml").write_text('[[form]]\nid = "Plain 64"\n')
    Path("bad.csv").write_text("id\nhanging\n")

    assert command(line).code == 2
    assert not Path("shop.book").exists()


def test_questions_left_early_start_no_book(command: Command) -> None:
    """Nor is it made when the questions are left before the last one."""
    assert command("add", b"scale\nhanging\n", terminal=True).code == 1
    assert not Path("shop.book").exists()
    assert Path("shop-draft.toml").exists()


def test_csv_takes_its_kind(bow: Command) -> None:
    """Rows of one kind come in from a spreadsheet."""
    Path("w.csv").write_text(
        "build,on,stage,readings.1.draw,readings.1.weight\nK-001,2026-03-05,tillered,28,45\nK-001,2026-03-06,tillered,28,44\n"
    )
    assert bow("add w.csv --kind weigh_in").out == "kept 2: weigh-in K-001/1, weigh-in K-001/2\n"


def test_a_changed_form_is_a_new_revision(bow: Command) -> None:
    """Option --add numbers the revision; the old one stays and can be shown."""
    asking.save_draft(Path("form2.toml"), *shop.form(handle_depth_in="2 1/2"))
    added = bow("form --add form2.toml")

    assert added.out == "kept 1: form plain-64/2\n"
    assert "plain-64 revision 2" in bow("form plain-64").out
    assert "handle 2 1/4 in deep" in bow("form plain-64/1").out


def test_answers_outlive_a_locked_book(bow: Command, monkeypatch: pytest.MonkeyPatch) -> None:
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


DAY = "2026-10-05"
READ_56 = {"build": "K-001", "on": DAY, "stage": "tillered", "readings": [{"draw": "28", "weight": "56"}]}
SIDES = {
    "build": "K-001",
    "on": DAY,
    "method": "sides",
    "done": [{"at": "fade", "amount_in": "1/16"}, {"at": "nock", "amount_in": "1/32"}],
}
READ_53 = {**READ_56, "readings": [{"draw": "28", "weight": "53"}]}

IN_TOML = """[[weigh_in]]
build = "K-001"
on = 2026-10-05
stage = "tillered"
readings = [{ draw = "28", weight = "56" }]

[[removal]]
build = "K-001"
on = 2026-10-05
method = "sides"
done = [{ at = "fade", amount_in = "1/16" }, { at = "nock", amount_in = "1/32" }]

[[weigh_in]]
build = "K-001"
on = 2026-10-05
stage = "tillered"
readings = [{ draw = "28", weight = "53" }]
"""
IN_JSON = json.dumps(
    [
        {"record": "weigh_in", **READ_56},
        {"record": "removal", **SIDES},
        {"record": "weigh_in", **READ_53},
    ]
)
IN_CSV = (
    "record;build;on;stage;readings.1.draw;readings.1.weight;method;"
    "done.1.at;done.1.amount_in;done.2.at;done.2.amount_in\n"
    f"weigh_in;K-001;{DAY};tillered;28;56;;;;;\n"
    f"removal;K-001;{DAY};;;;sides;fade;1/16;nock;1/32\n"
    f"weigh_in;K-001;{DAY};tillered;28;53;;;;;\n"
)
BY_KIND = json.dumps({"weigh_in": [READ_56, READ_53], "removal": [SIDES]})
BY_KIND_IN_TOML = f"""weigh_in = [
  {{ build = "K-001", on = {DAY}, stage = "tillered", readings = [{{ draw = "28", weight = "56" }}] }},
]
removal = [
  {{ build = "K-001", on = {DAY}, method = "sides", done = [{{ amount_in = "1/16" }}] }},
]
"""


def history(bow: Command) -> list[str]:
    """Return what the book says happened to the bow, in order."""
    events = json.loads(bow("show K-001 --json").out)["history"]
    return [event.get("method") or f"{event['readings'][0]['weight']['lbf']:g}" for event in events]


@pytest.mark.parametrize(
    ("name", "text"), [("day.toml", IN_TOML), ("day.json", IN_JSON), ("day.csv", IN_CSV)]
)
def test_what_was_done_on_a_day_keeps_the_order_of_the_file(bow: Command, name: str, text: str) -> None:
    """A cut between two weighings of one day, without ids, stays between them, and no order is asked about."""
    Path(name).write_text(text)
    added = bow(f"add {name}")

    assert "kept 3" in added.out
    assert "wanted the order" not in added.err
    assert history(bow) == ["56", "sides", "53"]


@pytest.mark.parametrize(
    ("name", "text", "taken"),
    [
        ("day.json", BY_KIND, "K-001/1 weigh-in, K-001/2 weigh-in, K-001/3 removal"),
        ("day.toml", BY_KIND_IN_TOML, "K-001/1 weigh-in, K-001/2 removal"),
    ],
)
def test_lists_by_kind_cannot_tell_what_came_first(bow: Command, name: str, text: str, taken: str) -> None:
    """Where a day's cuts and weighings stand in lists by kind without ids, the order taken is told, and what to do."""
    Path(name).write_text(text)
    added = bow(f"add {name}")

    assert added.code == 1
    assert f"wanted the order of what was done on {DAY}, got lists by kind; taken as {taken}: " in added.err
    assert "add them with ids that are numbered in order" in added.err


def test_ids_tell_the_order_of_lists_by_kind(bow: Command) -> None:
    """With ids the lists may be by kind, and nothing is asked; an id is never given to another record first."""
    numbered = {
        "removal": [{"id": "K-001/2", **SIDES}],
        "weigh_in": [{"id": "K-001/1", **READ_56}, {"id": "K-001/3", **READ_53}],
    }
    Path("day.json").write_text(json.dumps(numbered))
    added = bow("add day.json")

    assert "wanted the order" not in added.err
    assert history(bow) == ["56", "sides", "53"]


def test_a_record_without_an_id_above_one_with_it_is_told(bow: Command) -> None:
    """Beside records with ids one without gets the next number, and that it then stands after them is told."""
    rows = [{"record": "removal", **SIDES}, {"record": "weigh_in", "id": "K-001/1", **READ_56}]
    Path("day.json").write_text(json.dumps(rows))
    added = bow("add day.json")

    assert "kept 2" in added.out
    assert "got an id after a record without one; taken as K-001/1 weigh-in, K-001/2 removal: " in added.err
    assert history(bow) == ["56", "sides"]
