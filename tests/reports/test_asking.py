"""Questions at a terminal: wrong answers are asked again, and what was typed is never lost."""

from collections.abc import Iterator
from pathlib import Path

import pytest
import typer

from datasets.book import read_record
from datasets.contents import Contents
from datasets.files import read_file
from datasets.schema import KINDS
from reports import asking
from tests import shop


def answering(monkeypatch: pytest.MonkeyPatch, answers: list[str]) -> None:
    """Let the prompts be answered in order, then leave as Ctrl-C does."""
    left: Iterator[str] = iter(answers)

    def prompt(_text: str, **_options: object) -> str:
        for answer in left:
            return answer
        raise typer.Abort

    monkeypatch.setattr(typer, "prompt", prompt)


FORM = ["plain-64", "straight", "16", "2 1/4", "24", "8, 0", "16, 1/4", "24, 3/4", "32, 1 1/2", "", ""]


def test_answers_make_the_record(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Answers in bench notation give the record that a file with them would."""
    answering(monkeypatch, ["form", *FORM])
    raw = asking.ask(None, Contents(), tmp_path / "draft.toml")

    asked = read_record(raw.kind, raw.data, Contents()).record
    assert asked == read_record("form", shop.form().data, Contents()).record


def test_a_strip_is_asked_for_too(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Answers about a strip, a line for each load, give the record that a file with them would."""
    loads = ["1, .34", "2, .68", "3 lb, 1.02"]
    head = ["hard maple", "m7", "2026-03-01", "three-point", "20", "1 1/2", ".125"]
    answering(monkeypatch, ["strip", *head, *loads, "", ""])
    raw = asking.ask(None, Contents(), tmp_path / "draft.toml")

    asked = read_record(raw.kind, raw.data, Contents()).record
    assert asked == read_record("strip", shop.strip().data, Contents()).record


def test_a_wrong_answer_is_asked_again_with_the_reason(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The reason is the record's own, the right answer after it counts, and a needed one is insisted on."""
    answering(monkeypatch, ["Plain 64!", "", *FORM[:2], "16 furlongs", *FORM[2:6], "16, up", "16", *FORM[6:]])
    raw = asking.ask("form", Contents(), tmp_path / "draft.toml")

    said = capsys.readouterr().out
    assert "wanted short name in small letters, such as ridge-66, got 'Plain 64!'; write it so" in said
    assert "this one is needed" in said
    assert "wanted a length of 1 to 100 in, got '16 furlongs'; the units are in, mm, cm" in said
    assert "wanted an offset of -12 to 12 in, got 'up'; the units are in, mm, cm" in said
    assert "wanted this field, got nothing; add it" in said
    assert (
        read_record("form", raw.data, Contents()).record
        == read_record("form", shop.form().data, Contents()).record
    )


@pytest.mark.parametrize("count", range(1, len(FORM)))
def test_leaving_early_keeps_every_answer(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, count: int
) -> None:
    """Wherever Ctrl-C comes, the draft holds all answers so far and reads as a file for `add` does."""
    draft = tmp_path / "draft.toml"
    answering(monkeypatch, FORM[:count])
    with pytest.raises(asking.InterruptedAskingError, match=r"the answers so far are in .*draft\.toml"):
        asking.ask("form", Contents(), draft)

    reading = read_file(draft, KINDS)
    (raw,) = reading.records
    assert reading.mistakes == []
    single = {field: value for field, value in raw.data.items() if field != "profile"}
    assert list(single.values()) == FORM[: min(count, 5)]
    rows = [f"{row['at_in']}, {row['offset_in']}" for row in raw.data.get("profile", ())]
    assert rows == [answer for answer in FORM[5:count] if answer]


def test_leaving_before_the_first_answer_writes_nothing(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """There is no draft of nothing."""
    answering(monkeypatch, [])
    with pytest.raises(asking.InterruptedAskingError, match="nothing had been typed"):
        asking.ask("form", Contents(), tmp_path / "draft.toml")

    assert list(tmp_path.iterdir()) == []


def test_a_build_is_asked_for_on_the_latest_revision(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """A build points at the form as it is now."""
    forms = [read_record("form", shop.form(revision=revision).data, Contents()).record for revision in (1, 2)]
    contents = Contents.of([form for form in forms if form is not None])
    layers = ["glass, limb glass, .050", "core, hard maple, .26, .2", "glass, limb glass, .050", ""]
    answering(
        monkeypatch,
        ["plain-64", "64", *layers, "fade, 1 1/4", "nock, 1/2", "", "7 1/4", "", 'the "blue" one'],
    )
    raw = asking.ask("build", contents, tmp_path / "draft.toml")
    outcome = read_record("build", raw.data, contents)

    assert outcome.record is not None
    assert outcome.findings == ()
    assert raw.data["form_revision"] == 2


def test_a_form_asked_for_again_is_its_next_revision(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """A form that the book has is not overwritten by answers under its name."""
    form = read_record("form", shop.form().data, Contents()).record
    assert form is not None
    answering(monkeypatch, FORM)

    assert asking.ask("form", Contents.of([form]), tmp_path / "draft.toml").data["revision"] == 2


def test_every_question_is_about_a_field() -> None:
    """Every question asks for a field of its record, and every needed field is asked for."""
    for kind, questions in asking.QUESTIONS.items():
        asked = {question.field for question in questions}
        needed = {name for name, field in KINDS[kind].model_fields.items() if field.is_required()}
        assert asked <= set(KINDS[kind].model_fields)
        assert needed - {"id"} <= asked


def test_a_draft_keeps_quotes_and_backslashes(tmp_path: Path) -> None:
    """Inch marks and other signs of TOML come back as they were typed."""
    draft = tmp_path / "draft.toml"
    asking.save_draft(draft, "build", {"length_in": '66"', "note": "a\\b 5' 6\""})

    (raw,) = read_file(draft, KINDS).records
    assert raw.data == {"length_in": '66"', "note": "a\\b 5' 6\""}
