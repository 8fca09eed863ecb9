"""Weighing, taking off and correcting at the command line: what is expected is told before anything is kept."""

import json
from dataclasses import replace
from pathlib import Path

import pytest

from datasets.record import DrawLength, Force, ZeroPoint
from datasets.schema import Removal
from reports.expectation import Compared
from reports.printing import Units
from reports.show import describe, far_in_words
from tests.reports.conftest import Command


def test_a_bow_from_the_bench_to_its_prediction(bow: Command) -> None:
    """A form and a build typed with fractions go through weigh, reduce and predict to a table with intervals."""
    predicted = json.loads(bow("predict K-001 --draws 28 --json").out)["draws"][0]["weight_lbf"]
    weighed = bow(f"weigh K-001 28={predicted:.2f} --stage first-draw --pulls 30 --on 2026-03-05")
    reduced = bow("reduce K-001 sides fade=1/16 nock=1/32 --on 2026-03-06")
    table = bow("predict K-001")

    assert [weighed.code, reduced.code, table.code] == [0, 0, 0]
    assert "kept 1: weigh-in K-001/1" in weighed.out
    assert "expected, lb (99% of such bows)" in weighed.out
    assert "kept 1: removal K-001/2\nsides, fade 1/16 in, nock 1/32 in: worth -" in reduced.out
    assert "80% of such bows" in table.out
    lower = json.loads(bow("predict K-001 --draws 28 --json").out)["draws"][0]["weight_lbf"]
    assert f"worth {lower - predicted:.1f} lb (" in reduced.out


def test_a_reading_far_off_is_asked_about(bow: Command) -> None:
    """Without a terminal nothing is kept and the line to repeat is given; --yes keeps it."""
    refused = bow("weigh K-001 28=95 --stage tillered --on 2026-03-05")

    assert refused.code == 1
    assert " lb at 28 in, you typed 95\n" in refused.err
    assert refused.err.startswith("expected ")
    again = refused.err.split("if the reading is right: drawweight ")[1].strip()
    assert json.loads(bow("show K-001 --json").out)["history"] == []
    assert bow(again).code == 0
    assert len(json.loads(bow("show K-001 --json").out)["history"]) == 1


def test_rounding_never_hides_why() -> None:
    """A reading just outside of the range is told with as many decimals as show it."""
    one = Compared(DrawLength(inch=28, zero=ZeroPoint.STANDARD), Force(lbf=50), 54.6, 50.03, 59.2)

    assert far_in_words(one, Units("inch")) == "expected 50.03 to 59.20 lb at 28 in, you typed 50.00"
    far = replace(one, read=Force(lbf=94))
    assert far_in_words(far, Units("inch")) == "expected 50 to 59 lb at 28 in, you typed 94"


def test_an_old_cut_at_one_place_is_read_back_as_the_whole_limb() -> None:
    """A book of before has cuts at one place that hold for the whole limb, and says so."""
    data = {"id": "K-001/1", "build": "K-001", "on": "2026-03-05", "method": "sides"}
    old = Removal.model_validate({**data, "done": [{"at": "nock", "amount_in": "1/16"}]})

    assert describe(old, Units("inch")) == "sides, 1/16 in all along the limb (noted at one place, nock)"


@pytest.mark.parametrize(("answer", "kept"), [("y", 1), ("n", 0), ("", 0)])
def test_at_a_terminal_the_answer_counts(bow: Command, answer: str, kept: int) -> None:
    """A yes keeps the far reading, a no or nothing does not."""
    result = bow("weigh K-001 28=95 --stage tillered --on 2026-03-05", f"{answer}\n".encode(), terminal=True)

    assert result.code == 1 - kept
    assert len(json.loads(bow("show K-001 --json").out)["history"]) == kept


def test_a_reading_near_by_is_not_asked_about(bow: Command) -> None:
    """The question is about far readings only: the expected weight itself is kept without one."""
    predicted = json.loads(bow("predict K-001 --draws 28 --json").out)["draws"][0]["weight_lbf"]

    assert bow(f"weigh K-001 28={predicted:.2f} --stage tillered --on 2026-03-05").err == ""


def test_the_stage_is_as_last_time(bow: Command) -> None:
    """After the first weighing the stage may be left out; before it the choices are named."""
    first = bow("weigh K-001 28=40")
    bow("weigh K-001 28=45 --stage finished --on 2026-03-05 --yes")
    bow("weigh K-001 28=45 --on 2026-03-06 --yes")

    assert first.code == 2
    assert "add --stage, one of blank, first-draw, tillered, finished, settled" in first.err
    stages = [event["stage"] for event in json.loads(bow("show K-001 --json").out)["history"]]
    assert stages == ["finished", "finished"]


def test_everything_of_a_weighing_is_kept(bow: Command) -> None:
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


def test_a_correction_supersedes(bow: Command) -> None:
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


def test_a_removal_that_leaves_nothing_is_refused(bow: Command) -> None:
    """What cannot be on the bow is told at once and not kept."""
    result = bow("reduce K-001 sides nock=7/8")

    assert result.code == 2
    assert result.err.startswith("drawweight: what was typed: removal K-001/1: wanted some width left")
    assert json.loads(bow("show K-001 --json").out)["history"] == []


def test_a_trained_shop_catches_finer_slips(trained: Command) -> None:
    """A reading off by an eighth is asked about once trained; a damaged model keeps nobody from weighing."""
    weight = json.loads(trained("predict K-001 --draws 28 --json").out)["draws"][0]["weight_lbf"]
    slip = f"weigh K-001 28={weight * 1.13:.1f} --stage tillered --on 2026-03-06"

    assert trained(slip).code == 1
    Path("shop.book.model.json").write_text("{}", encoding="utf-8")
    kept = trained(f"weigh K-001 28={weight:.1f} --stage tillered --on 2026-03-06")
    assert kept.code == 0
    assert kept.err.startswith("expected untrained: ")


def test_arrows_that_go_back_are_asked_about(bow: Command) -> None:
    """Fewer arrows than at the weighing before are not kept unasked, and are kept if they are right."""
    bow("weigh K-001 28=44 --stage settled --shots 120 --on 2026-03-09 --yes")
    line = "weigh K-001 28=44 --stage settled --shots 100 --on 2026-03-10"
    expected = "wanted 120 shots or more, since K-001/1 says so on 2026-03-09, got 100 on 2026-03-10"

    refused = bow(line)
    assert refused.code == 1
    assert expected in refused.err
    assert "nothing was kept" in refused.err
    assert "kept 1" in bow(f"{line} --yes").out


def test_what_a_weighing_depends_on_is_shown(bow: Command) -> None:
    """Arrows, full draws and scale of each weighing stand in the telling of a bow, and a reading too early is named."""
    bow("weigh K-001 28=46 --stage tillered --pulls 3 --on 2026-03-08 --yes")
    bow("weigh K-001 28=44 --stage settled --shots 120 --pulls 40 --scale spring --on 2026-03-09 --yes")
    told = bow("show K-001").out.splitlines()

    assert "K-001/1: read after 3 full draws: does not count before about 30" in told
    assert "K-001/2: 120 shots, 40 full draws, on spring" in told
