"""The report of what stock is worth: whole limbs and quarters, in the units asked for."""

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from rich.console import Console

from datasets.history import bow_at
from datasets.materials import handbook
from datasets.record import DrawLength, ZeroPoint
from predictor.bows.bow import handbook_moduli
from predictor.prediction.worth import Worth, worth
from reports import asking, cli
from reports.printing import Units
from reports.worth import show_worth, worth_json
from tests import shop
from tests.predictor.example_bows import STRAIGHT, build

DRAW = DrawLength(inch=28.5, zero=ZeroPoint.BACK)


def stock() -> Worth:
    """Return what stock on a plain bow is worth."""
    bow = bow_at(STRAIGHT, build())
    found = worth(bow, handbook_moduli(bow, handbook()), DRAW.inch)
    assert isinstance(found, Worth)
    return found


def said(units: Units) -> str:
    """Return what is printed."""
    out = Console(width=200)
    with out.capture() as capture:
        show_worth("K-001", stock(), DRAW, units, out)
    return capture.get()


def test_quarters_add_up() -> None:
    """The first number of each method is the sum of the four quarters, and the fade's quarter is the largest."""
    for lost in worth_json("K-001", stock(), DRAW)["lost_lbf"].values():
        whole, *quarters = lost

        assert whole == sum(quarters)
        assert max(quarters) == quarters[0]


def test_a_table_in_inches_and_pounds() -> None:
    """A sixty-fourth off the width and a thousandth off the glass stand with their pounds."""
    text = said(Units("inch"))

    assert "1/64 in off the whole width" in text
    assert ".001 in off the belly's glass" in text
    assert f"{worth_json('K-001', stock(), DRAW)['lost_lbf']['sides'][0]:.2f}" in text


def test_a_table_in_metric() -> None:
    """A metric shop reads kilograms, and the millimetres that they are for: an inch is 25.4 mm exactly."""
    text = said(Units("metric"))

    assert "0.397 mm off the whole width" in text  # 25.4 / 64
    assert "0.794 mm more radius on the edges" in text
    assert "0.0254 mm off the belly's glass" in text
    assert "kg" in text


def test_unlike_limbs_are_told_of() -> None:
    """Where the limbs differ a line says whose mean the weight is; where they are alike there is none."""
    bow = bow_at(STRAIGHT, build())
    upper = replace(bow.upper, length=bow.upper.length - 0.25)
    found = worth(replace(bow, upper=upper), handbook_moduli(bow, handbook()), DRAW.inch)
    assert isinstance(found, Worth)
    out = Console(width=300)
    with out.capture() as capture:
        show_worth("K-001", found, DRAW, Units("inch"), out)

    assert "The limbs differ: the shares are the mean" in capture.get()
    assert "The limbs differ" not in said(Units("inch"))


def test_the_command(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The command prints the table, or the same as JSON; more than one draw is refused."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("DRAWWEIGHT_BOOK", raising=False)
    asking.save_draft(Path("form.toml"), *shop.form())
    asking.save_draft(Path("bow.toml"), *shop.build())
    codes = [cli.run(line.split()) for line in ("form --add form.toml", "add bow.toml")]
    capsys.readouterr()

    assert codes == [0, 0]
    assert cli.run(["worth", "K-001"]) == 0
    assert "1/64 in off the whole width" in capsys.readouterr().out
    assert cli.run(["worth", "K-001", "--draw", "27", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["draw"]["inch"] == 27
    assert cli.run(["worth", "K-001", "--draw", "27,28"]) == 2
    assert "wanted one draw length, got 2" in capsys.readouterr().err


def test_pounds_are_of_the_expected_force(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Pounds are of the force that predict expects, which a bow's own weighing moves; shares by the statics stay."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("DRAWWEIGHT_BOOK", raising=False)
    asking.save_draft(Path("form.toml"), *shop.form())
    asking.save_draft(Path("bow.toml"), *shop.build())

    def ask(line: str) -> dict[str, Any]:
        capsys.readouterr()
        assert cli.run([*line.split(), "--json"]) == 0
        told: dict[str, Any] = json.loads(capsys.readouterr().out)
        return told

    assert [cli.run(line.split()) for line in ("form --add form.toml", "add bow.toml")] == [0, 0]
    before, force = ask("worth K-001"), ask("predict K-001 --draws 28")["force"]["weight_lbf"]
    heavier = f"weigh K-001 28={1.08 * force:.2f} --stage tillered --on 2026-03-05 --yes"
    assert cli.run(heavier.split()) <= 1
    after = ask("worth K-001")

    assert before["weight_lbf"] == pytest.approx(force)
    assert after["weight_lbf"] == pytest.approx(ask("predict K-001 --draws 28")["force"]["weight_lbf"])
    assert after["weight_lbf"] > 1.03 * before["weight_lbf"]
    for method, lost in after["lost_lbf"].items():
        shares, before_it = (
            [pounds / one["weight_lbf"] / one["share_got"][method] for pounds in some]
            for one, some in ((after, lost), (before, before["lost_lbf"][method]))
        )
        assert shares == pytest.approx(before_it)
