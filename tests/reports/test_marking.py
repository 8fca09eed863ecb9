"""When a bow is weighed and marked is told once, and what the book knows stands in the text to write on it."""

import json

import pytest

from datasets.contents import Contents
from datasets.record import DrawLength, ZeroPoint
from datasets.schema import Removal, Rigging, WeighIn
from reports.marking import Marking, mark_after_shots, mark_text, marking, marking_in_words
from reports.printing import Units
from reports.settling_report import make, tell
from tests.predictor.example_bows import STRAIGHT, build
from tests.reports.conftest import Command
from tests.reports.fitted import sources

DRAW = DrawLength(inch=28, zero=ZeroPoint.STANDARD)
UNITS = Units("inch")


def weighed(number: int, **changes: object) -> WeighIn:
    """Return a weighing of the plain bow at two draws."""
    plain = {
        "id": f"K-001/{number}",
        "build": "K-001",
        "on": f"2026-03-{number:02d}",
        "stage": "tillered",
        "readings": [{"draw": "26", "weight": "46"}, {"draw": "28", "weight": "51 1/2"}],
        "scale": "hanging",
    }
    return WeighIn.model_validate({**plain, **changes})


RIGGED = Rigging.model_validate(
    {
        "id": "K-001/2",
        "build": "K-001",
        "on": "2026-03-02",
        "string": {"strands": 14, "material": "polyester"},
        "brace": "7 1/2 back",
    }
)


CUT = Removal.model_validate(
    {
        "id": "K-001/4",
        "build": "K-001",
        "on": "2026-03-04",
        "method": "sides",
        "done": [{"amount_in": "1/16"}],
    }
)


def marked(*events: WeighIn | Rigging | Removal) -> Marking:
    """Return how the plain bow is marked after some events."""
    bow = build()
    told = marking(Contents.of([STRAIGHT, bow, *events]), bow, DRAW)
    assert told is not None
    return told


@pytest.mark.parametrize("builds", [0, 8, 24])
def test_one_moment_for_all(builds: int) -> None:
    """A prediction tells the shots that the report on settling tells, by default and as the shop's bows settle."""
    learned = sources(builds)
    report = make(learned, ())

    assert mark_after_shots(learned.trained.model if learned.trained else None) == report.mark_at_shots
    told = " ".join(str(block) for block in tell(report, UNITS))
    assert f"Weigh and mark after {report.mark_at_shots} shots" in told


def test_the_text_holds_what_the_book_knows() -> None:
    """Of a settled bow: weight, draw with its zero point, string and brace by then, arrows, day and scale."""
    told = marked(
        weighed(1), RIGGED, weighed(3, stage="settled", shots=500), weighed(4, stage="settled", pulls=3)
    )

    assert mark_text(told, UNITS) == (
        '"51.5 lb at 28 in from pivot + 1 3/4 in, 14 strands of polyester, brace 7 1/2 in back, settled, 500 shots, '
        '2026-03-03, on scale hanging"'
    )


def test_what_nobody_noted_is_left_open() -> None:
    """Before any weighing the string and the brace are known; scale and arrows that nobody noted are open too."""
    new = mark_text(marked(), UNITS)
    unnoted = mark_text(marked(weighed(1, stage="settled", scale=None)), UNITS)

    assert new.startswith('"___ lb at 28 in from pivot + 1 3/4 in, ')
    assert new.endswith('___ shots, date ___, on scale ___"')
    assert unnoted.endswith('settled, ___ shots, 2026-03-01, on scale ___"')


@pytest.mark.parametrize(
    ("change", "what"),
    [
        (CUT, "a removal, K-001/4"),
        (
            RIGGED.model_copy(update={"id": "K-001/4", "on": CUT.on}),
            "another string or brace height, K-001/4",
        ),
    ],
)
def test_a_weight_before_a_change_is_no_text(change: Removal | Rigging, what: str) -> None:
    """What a bow read before it was cut or rigged anew is not written on it: it is to be weighed again."""
    told = marked(weighed(3, stage="settled", shots=900), change)
    said = marking_in_words(told, UNITS)

    assert told.weighed is None
    assert "weigh it now, and mark it with what is read" in said
    assert f"K-001/3 was read before {what}, so weigh it again." in said
    assert '"___ lb at 28 in from pivot + 1 3/4 in' in said
    assert "51.5" not in said


def test_a_weight_after_too_few_draws_is_no_text() -> None:
    """What a cut bow reads after a few draws is not written on it, and why is told: it is to be weighed again."""
    early = weighed(5, stage="finished", pulls=3)
    said = marking_in_words(marked(weighed(3, stage="settled", shots=900), CUT, early), UNITS)

    assert "K-001/5 was read after 3 full draws: does not count before about 30, so weigh it again." in said
    assert '"___ lb at 28 in from pivot + 1 3/4 in' in said


def test_a_weight_after_a_cut_is_the_text() -> None:
    """Once it is weighed again after the cut, that reading is the text, though an older one was of a settled bow."""
    again = weighed(5, stage="finished", readings=[{"draw": "28", "weight": "49"}])
    told = marking_in_words(marked(weighed(3, stage="settled", shots=900), CUT, again), UNITS)

    assert '"49 lb at 28 in' in told
    assert "was read before" not in told


def test_one_shot_is_told_as_one() -> None:
    """The text of a bow after one arrow does not speak of 1 shots."""
    assert "finished, 1 shot, " in mark_text(marked(weighed(1, stage="finished", shots=1)), UNITS)


def test_the_zero_point_is_that_of_the_reading() -> None:
    """A weight read at a draw from the back is marked so, and not as one by the standard."""
    read = [{"draw": "28 1/2 back", "weight": "51"}]

    assert "51 lb at 28 1/2 in from the back" in mark_text(marked(weighed(1, readings=read)), UNITS)


@pytest.mark.parametrize(
    ("events", "new", "words"),
    [
        ((), True, "A new bow is weighed after about 30 full draws"),
        ((weighed(1),), True, "A new bow is weighed after about 30 full draws"),
        ((weighed(1, stage="finished", shots=20),), False, "(so far it has shot 20)"),
        ((weighed(1, stage="settled", shots=900),), False, "mark it with what was read then."),
        (
            (weighed(1, stage="settled", shots=900), weighed(2, stage="settled", shots=900, pulls=None)),
            False,
            "It has been shot with 900 arrows",
        ),
    ],
)
def test_only_a_new_bow_is_called_one(events: tuple[WeighIn, ...], new: bool, words: str) -> None:
    """A bow is new until it is weighed finished; one that was shot enough is to be marked with what was read."""
    told = marking_in_words(marked(*events), UNITS)

    assert ("A new bow" in told) == new
    assert words in told


def test_a_prediction_tells_when_to_mark(trained: Command) -> None:
    """The text of a settled prediction and its JSON hold the same moment and the last reading."""
    trained("weigh K-001 28=43.25 --stage finished --on 2026-03-09 --yes")
    told = json.loads(trained("predict K-001 --stage settled --shots 500 --json").out)["marking"]
    text = " ".join(trained("predict K-001 --stage settled --shots 500").out.split())

    assert f"Weigh and mark after {told['after_shots']} shots" in text
    assert (told["new"], told["weighed"]["weight"]["lbf"]) == (False, 43.25)
    assert '"43.25 lb at 28 in from pivot + 1 3/4 in' in text
    assert "A new bow" not in text
