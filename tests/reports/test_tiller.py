"""The report of a tiller says which limb, how much, where, and at what cost, in the units asked for."""

import json
import shlex
from collections.abc import Callable
from pathlib import Path

import pytest
from rich.console import Console

from datasets.record import DrawLength, Side, ZeroPoint
from predictor.bows.tiller import TillerCut, Tillered
from reports import asking, cli
from reports.printing import Units
from reports.tiller import show_tiller
from tests import shop

STIFF = Tillered(
    build="K-014",
    draw=DrawLength(inch=28, zero=ZeroPoint.STANDARD),
    from_records_in=0.0,
    measured_in=-0.125,
    tiller_in=-0.12,
    tiller_sd_in=0.03,
    difference=0.04,
    difference_sd=0.01,
    wanted_in=(0.125, 0.25),
    stiff=Side.UPPER,
    cuts=(
        TillerCut(from_fade_in=0.0, width_in=1.25, amount_in=0.0625),
        TillerCut(from_fade_in=26.0, width_in=0.5, amount_in=0.025),
    ),
    after_in=0.1875,
    weight_lbf=50.0,
    weight_after_lbf=48.9,
    notes=("take half of it",),
)


def said(told: Tillered, units: Units | None = None) -> str:
    """Return what is printed."""
    out = Console(width=200)
    with out.capture() as capture:
        show_tiller(told, units or Units("inch"), out)
    return capture.get()


@pytest.mark.parametrize(
    ("difference", "words"), [(0.101, "10.1% (± 1.0%) stiffer"), (-0.101, "10.1% (± 1.0%) softer")]
)
def test_a_limb_is_stiffer_or_softer(difference: float, words: str) -> None:
    """A limb is never told as stiffer by less than nothing."""
    text = said(STIFF.model_copy(update={"difference": difference}))

    assert f"So the upper limb is {words} against the lower one" in text


def test_a_stiff_limb_is_told_with_its_cuts() -> None:
    """The stiff limb, the amounts at stations, the tiller and the weight after it are all there."""
    text = said(STIFF)

    for part in (
        "measured -1/8 in",
        "wanted 1/8 in to 1/4 in",
        "upper limb is too stiff",
        "1/16 in",
        "tiller 3/16 in",
    ):
        assert part in text
    assert "1.1 lb (2.2%) less draw weight at 28 in" in text
    assert "upper limb is 4.0% (± 1.0%) stiffer" in text
    assert "Take half of it." in text
    assert "respirator" in text


def test_metric_is_printed_for_a_metric_shop() -> None:
    """Millimetres and kilograms stand in place of inches and pounds."""
    text = said(STIFF, Units("metric"))

    assert "4.8 mm" in text
    assert "0.50 kg" in text
    assert " in " not in text.split("Off its whole width:")[1].split("Then")[0]


def test_a_tiller_as_wanted_is_left() -> None:
    """Where nothing is to be cut, this is said, and no amount."""
    text = said(
        STIFF.model_copy(update={"stiff": None, "cuts": (), "tiller_in": 0.19, "measured_in": 0.1875})
    )

    assert "as wanted" in text
    assert "too stiff" not in text


def test_an_unmeasured_tiller_is_no_advice() -> None:
    """Without a measured tiller nothing is said to be right or wrong."""
    text = said(STIFF.model_copy(update={"stiff": None, "cuts": (), "measured_in": None}))

    assert "not measured" in text
    assert "as wanted" not in text


@pytest.fixture
def typed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Callable[[str], tuple[int, str, str]]:
    """Return a way to type a command line in a folder with a book of one bow, weighed with both gaps."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("DRAWWEIGHT_BOOK", raising=False)

    def run(line: str) -> tuple[int, str, str]:
        code = cli.run(shlex.split(line))
        out, err = capsys.readouterr()
        return code, out, err

    asking.save_draft(Path("form.toml"), *shop.form())
    asking.save_draft(Path("bow.toml"), *shop.build())
    weighed = "weigh K-001 28=45 --stage tillered --gaps '7,7 1/8' --on 2026-03-05 --yes"
    for line in ("form --add form.toml", "add bow.toml", weighed):
        code, _, err = run(line)
        assert code == 0, err
    return run


def test_the_command_tells_the_stiff_limb(typed: Callable[[str], tuple[int, str, str]]) -> None:
    """With the upper gap the smaller the upper limb is the stiff one, in words and as JSON; the exit code tells it."""
    code, out, _ = typed("tiller K-001")
    told = json.loads(typed("tiller K-001 --json")[1])

    assert code == 1
    assert "upper limb is too stiff" in out
    assert told["stiff"] == "upper"
    assert told["measured_in"] == -0.125
    assert told["wanted_in"] == [0.125, 0.25]


def test_the_command_takes_what_is_wanted(typed: Callable[[str], tuple[int, str, str]]) -> None:
    """A tiller that is as wanted is left, and the exit code is nought; a range the wrong way round is refused."""
    fine = typed("tiller K-001 --want ' -1/4,0'")
    wrong = typed("tiller K-001 --want 1/4,1/8")

    assert fine[0] == 0
    assert "as wanted" in fine[1]
    assert wrong[0] == 2
    assert "wanted the lower tiller first" in wrong[2]
