"""Predictions at the command line: of builds, files and pipes, with and without what was learned."""

import json
import subprocess
import sys
from pathlib import Path

import pytest

from reports import asking
from tests import shop
from tests.reports.conftest import Command

ROOT = Path(__file__).parents[3]


def test_a_planned_file_is_wider_than_the_same_measured(bow: Command) -> None:
    """A file is a plan unless it says otherwise, and a plan's interval is wider than the measured one's."""
    planned = json.loads(bow("predict bow.toml --draws 28 --json").out)
    measured = json.loads(bow("predict K-001 --draws 28 --json").out)

    def width(prediction: dict) -> float:  # type: ignore[type-arg]  # any JSON
        interval = prediction["draws"][0]["intervals"][0]
        return float(interval["high_lbf"] - interval["low_lbf"])

    assert (planned["planned"], measured["planned"]) == (True, False)
    assert width(planned) > 1.05 * width(measured)


def test_the_stage_is_the_last_one_weighed(trained: Command) -> None:
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


def test_arrows_without_a_stage_mean_settled(trained: Command) -> None:
    """The weight after 500 arrows is that of a settled bow, finished first; the heading names both, and it is said."""
    alone = trained("predict K-001 --shots 500 --draws 28")
    settled = trained("predict K-001 --stage settled --shots 500 --draws 28")

    assert alone.out == settled.out
    assert "weighed as settled after 500 shots\n" in alone.out
    assert alone.err == "--shots 500 without --stage: told as settled after them\n"
    assert settled.err == ""
    assert "weighed as first-draw\n" in trained("predict K-001 --shots 0 --draws 28").out


@pytest.mark.parametrize("stage", ["blank", "first-draw", "tillered"])
def test_an_unfinished_bow_is_not_shot(bow: Command, stage: str) -> None:
    """Arrows at a stage before finished are refused in one line, with what to type; none at all are not."""
    refused = bow(f"predict K-001 --stage {stage} --shots 300")

    assert (refused.code, refused.out, refused.err.count("\n")) == (2, "", 1)
    assert f"wanted finished or settled with --shots 300, got {stage}" in refused.err
    assert bow(f"predict K-001 --stage {stage} --shots 0 --draws 28").code == 0


def test_a_question_about_fewer_arrows_looks_back(bow: Command) -> None:
    """Where a bow was weighed after more arrows than are asked about it is said; no way from now on is told."""
    bow("weigh K-001 28=44 --stage settled --shots 500 --on 2026-03-09 --yes")
    back = bow("predict K-001 --shots 300 --stage settled --draws 28")
    on = bow("predict K-001 --shots 800 --stage settled --draws 28")

    assert (
        back.err
        == "K-001: it was weighed after 500 shots already: this looks back to 300, and no way there is told\n"
    )
    assert "The way there" not in back.out
    assert on.err == ""
    assert "The way there" in on.out


def test_no_arrows_and_one_are_told_as_asked(bow: Command) -> None:
    """A question about no arrows, of a bow that was shot 400 times, says so; one arrow is one shot."""
    bow("weigh K-001 28=44 --stage settled --shots 400 --on 2026-03-09 --yes")
    none = bow("predict K-001 --stage settled --shots 0 --draws 28")
    one = bow("predict K-001 --stage settled --shots 1 --draws 28")

    assert "weighed as settled after 0 shots" in none.out
    assert "weighed as settled after 1 shot\n" in one.out
    assert "1 shots" not in one.out


def test_a_tillered_reading_after_many_arrows_is_told_of(bow: Command) -> None:
    """Its weight counts as before finishing and shooting in, which are taken off again; the prediction says so."""
    kept = bow("weigh K-001 28=45 --stage tillered --shots 200 --on 2026-03-09 --yes")
    told = " ".join(bow("predict K-001 --shots 500 --draws 28").out.split())

    assert "wanted finished or settled after 200 shots, got tillered" in kept.err + kept.out
    assert (
        "K-001/1 is noted as tillered after 200 shots: it counts as a bow that finishing and shooting in"
        in told
    )


def test_a_column_has_one_number_of_decimals(bow: Command) -> None:
    """Readings of 45 and 45.25 lb stand as 45.00 and 45.25, and expected weights likewise have the same digits."""
    bow("weigh K-001 20=45 28=45.25 --stage tillered --on 2026-03-05 --yes")
    rows = [line.split(" at ")[1].split() for line in bow("show K-001").out.splitlines() if " at 2" in line]
    predicted = [line.split() for line in bow("predict K-001 --draws 12,20,30").out.splitlines()[2:5]]

    assert [row[2] for row in rows] == ["45.00", "45.25"]
    for column in ([row[3] for row in rows], [row[2] for row in predicted], [row[5] for row in predicted]):
        assert len({len(cell.partition(".")[2]) for cell in column}) == 1


def test_a_plan_with_the_id_of_a_bow_of_the_book_says_what_counts(bow: Command) -> None:
    """Where the book has weighed and cut a bow of the file's id, these count, and that is told with the way out."""
    text = Path("bow.toml").read_text()
    Path("same.toml").write_text(text.replace("[[build]]", '[[build]]\nid = "K-001"'))
    before = bow("predict same.toml")
    bow("weigh K-001 28=45 --stage tillered --on 2026-03-05 --yes")
    same, other = bow("predict same.toml"), bow("predict bow.toml")

    assert (before.err, other.err) == ("", "")
    assert (
        "K-001: the book has a bow of this id, and what it says of that one's weighings and cuts (1 event) counts here "
        "as well; for another bow leave the id out" in same.err
    )


def test_a_file_without_a_build_is_no_plan(bow: Command) -> None:
    """A file with a weighing alone is told to lack the build, not to lack fields of the weighing."""
    weighing = {"build": "K-001", "on": "2026-10-05", "stage": "tillered", "readings": []}
    Path("w.json").write_text(json.dumps({"weigh_in": weighing}))
    refused = bow("predict w.json")

    assert (refused.code, refused.out) == (2, "")
    assert refused.err == (
        "drawweight: wanted one planned build in w.json, got only weigh_in; write the build there, or ask about one of "
        "the book by its id\n"
    )


@pytest.mark.parametrize(
    "line",
    ["reduce K-001 edges all=1/8", "reduce K-001 shorten all=1/8", "predict K-001 --if sides@all=1/32"],
)
def test_no_place_of_a_limb_says_which_there_are(bow: Command, line: str) -> None:
    """Where a place is none, the line names those that there are, the whole limb's way, and the option of one limb."""
    refused = bow(line)

    assert refused.code == 2
    assert refused.err.count("\n") == 1
    for part in ("got 'all'", "fade, mid, nock or inches from the fade", "the amount alone", "--limb upper"):
        assert part in refused.err


def test_a_plan_may_come_from_a_pipe(bow: Command) -> None:
    """Of - the plan is read from standard input, and its mistakes are told with its lines."""
    text = Path("bow.toml").read_bytes()

    assert bow("predict - --json", text).out == bow("predict bow.toml --json").out
    wrong = bow("predict -", text.replace(b"1 1/16", b"11 1/16"))
    assert wrong.code == 2
    assert wrong.err.startswith("drawweight: standard input:")
    assert "got '11 1/16'" in wrong.err
    assert wrong.err.count("\n") == 1


def test_draws_may_name_their_zero_point(bow: Command) -> None:
    """26 1/4 to the pivot is 28 by the standard (AMO FP-3): the same weight."""
    draws = json.loads(bow('predict K-001 --draws "28, 26 1/4 pivot" --json').out)["draws"]

    assert draws[0]["weight_lbf"] == pytest.approx(draws[1]["weight_lbf"], rel=1e-9)


def test_metric_output(bow: Command) -> None:
    """With --units metric, draws are centimetres to one place and weights kilograms, of the same prediction."""
    inch = json.loads(bow("predict K-001 --draws 28 --json").out)["draws"][0]["weight_lbf"]
    text = bow("predict K-001 --draws 28 --units metric").out

    row = next(line for line in text.splitlines() if line.startswith("71.1 cm"))
    assert float(row.split()[2]) == pytest.approx(inch * 0.45359237, abs=0.5)


def test_a_bow_that_cannot_be_drawn_has_no_answer(bow: Command) -> None:
    """No answer is one line with the reason and exit code 1, not a number."""
    asking.save_draft(Path("short.toml"), *shop.build(length_in="30"))
    result = bow("predict short.toml --draws 28")

    assert result.code == 1
    assert result.out == ""
    assert result.err.startswith("drawweight: no prediction for K-002: ")
    assert result.err.count("\n") == 1


def test_prediction_uses_what_was_learned(trained: Command) -> None:
    """After training, predict of a like bow rests on the builds and is narrower; --untrained ignores them."""
    Path("twin.json").write_text(json.dumps({"build": [shop.build().data]}))
    with_builds = json.loads(trained("predict twin.json --draws 28 --json").out)
    without = json.loads(trained("predict twin.json --draws 28 --json --untrained").out)

    def widths(prediction: dict[str, list[dict[str, list[dict[str, float]]]]]) -> list[float]:
        return [one["high_lbf"] - one["low_lbf"] for one in prediction["draws"][0]["intervals"]]

    assert "1 of the shop's builds" in with_builds["basis"]
    assert "nothing is learned" in without["basis"]
    assert all(learned < wide for learned, wide in zip(widths(with_builds), widths(without), strict=True))
    assert with_builds["distance"] < without["distance"] == pytest.approx(1)
    assert (
        "1 build, foretold without the builds of its lots. That is too few to test 90%: 9 are needed"
        in with_builds["interval_basis"]
    )


def test_a_model_behind_its_book(trained: Command) -> None:
    """A model that lacks records says how many, and is used all the same."""
    trained("weigh K-001 28=50 --stage finished --on 2026-03-09 --yes")
    predicted = trained("predict K-001 --draws 28")

    assert predicted.code == 0
    assert "1 record is newer than the model; train again: drawweight train" in predicted.err


@pytest.mark.parametrize("content", ["", "{}", '{"format": 1', "\x80\x04"])
def test_a_model_that_is_none(trained: Command, content: str) -> None:
    """A damaged model ends predict in one line that says what to do; --untrained does without it."""
    Path("shop.book.model.json").write_text(content, encoding="utf-8")
    predicted = trained("predict K-001 --draws 28")

    assert predicted.code == 3
    assert predicted.err.count("\n") == 1
    assert "train again" in predicted.err
    assert "--untrained" in predicted.err
    assert trained("predict K-001 --draws 28 --untrained").code == 0


def test_budget(bow: Command) -> None:
    """The budget's shares add up to the whole variance, and tell what a caliper and a strip would bring."""
    parts = json.loads(bow("predict K-001 --draws 28 --budget --json").out)
    at_28, total = parts["draws"][0], sum(share["sd_lbf"] ** 2 for share in parts["shares"])
    table = bow("predict K-001 --draws 28 --budget").out

    assert total == pytest.approx((at_28["log_sd"] * at_28["weight_lbf"]) ** 2)
    assert all(
        gain["half_width_lbf"] <= parts["budget"]["half_width_lbf"] for gain in parts["budget"]["gains"]
    )
    for said in ("strip test of the lot of limb glass", "caliper instead of what is noted", "100%"):
        assert said in table


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
