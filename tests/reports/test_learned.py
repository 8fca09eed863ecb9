"""What training says of removals and settling: shares of the statics' loss, how plans come out, and the law's word."""

import re
from dataclasses import replace
from io import StringIO

import numpy as np
import pytest
from rich.console import Console

from datasets.contents import Contents
from datasets.removals import AmountKind
from predictor.belief.calibration import BuildScore, Calibration
from predictor.belief.carrying_out import Carried, CarryingOut
from predictor.belief.model import Model
from predictor.belief.settling import SettlingLaw
from reports.learned import show_learned
from training.learning.train import train
from training.workshop.virtual_shop import simulate


@pytest.fixture(scope="module")
def model() -> Model:
    """A model of an invented shop of sixteen bows."""
    records = simulate(20261126, 16).records
    return train(Contents.of(records), "0" * 64, len(records)).model


@pytest.fixture(scope="module")
def told(model: Model) -> str:
    """What is printed of it."""
    out = StringIO()
    show_learned(model, 1.0, Console(width=120, file=out))
    return out.getvalue()


def test_gains_come_with_interval_and_removals(model: Model, told: str) -> None:
    """Every method that was weighed before and after stands with the number behind it and an interval around it."""
    assert model.habits.weighed_removals
    for name, count in model.habits.weighed_removals.items():
        method = name.removeprefix("gain of ")
        row = re.search(rf"^{method} +{count} +([\d.]+)% \(([\d.]+)% to ([\d.]+)%\)", told, re.MULTILINE)

        assert row is not None, method
        middle, low, high = (float(share) for share in row.groups())
        assert low < middle < high


def test_plans_and_settling_are_told(model: Model, told: str) -> None:
    """How planned removals come out and how bows settle is said, with how many records it rests on."""
    measured = model.habits.carrying_out.anybody.removals

    assert measured > 1
    assert f"(measured afterwards {measured} times)" in " ".join(told.split())
    assert model.habits.settling.in_words() in " ".join(told.split())


def _printed(model: Model) -> str:
    """Return what is printed of a model, on one line."""
    out = StringIO()
    show_learned(model, 1.0, Console(width=120, file=out))
    return " ".join(out.getvalue().split())


def _of_builds(model: Model, scores: list[float]) -> str:
    """Return what is printed of a model whose builds fared so when they were left out."""
    builds = (BuildScore(build=f"K-{n:03d}", form="plain-64/1", score=one) for n, one in enumerate(scores))
    return _printed(model.model_copy(update={"calibration": Calibration(builds=tuple(builds))}))


def test_what_few_builds_can_test(model: Model) -> None:
    """No build tests nothing, one is foretold from no other, and two are from one another."""
    one = "1 build, foretold from what was believed before any, can test ranges of up to 50%."

    assert "No build has put them to the test yet." in _of_builds(model, [])
    assert one in _of_builds(model, [0.5])
    two = _of_builds(model, [0.5, 1])
    assert "2 builds, each foretold from the others, can test ranges of up to 65%." in two


def test_builds_that_read_as_foretold_tell_no_width(model: Model) -> None:
    """Twelve builds all but on their expectation are not told as a width of nought; luck's range stands beside it.

    The largest of twelve uniform shares is 0.05 ** (1 / 12) or 0.95 ** (1 / 12): 0.744 and 1.737 of 1.645 sd.
    """
    told = _of_builds(model, [0.001] * 12)

    assert "0.00 times" not in told
    assert re.search(r"90% +12 +12 under a tenth as wide 0\.74 to 1\.74", told)


def test_defaults_are_told_as_such(model: Model) -> None:
    """Without measured removals and bows that came back, what is told of both is a default; with one of each, found."""

    def told(count: int) -> str:
        habits = model.habits.model_copy(
            update={
                "carrying_out": CarryingOut(anybody=Carried(removals=count)),
                "settling": SettlingLaw(histories=count),
            }
        )
        return _printed(model.model_copy(update={"habits": habits}))

    assert (
        "Of planned width 100.0% is taken to come off, give or take 12.0%: the default, until some is "
        "measured afterwards." in told(0)
    )
    assert "Of planned width 100.0% comes off, give or take 12.0% (measured afterwards once)" in told(1)
    assert "shots is taken by default as " in told(0)
    assert "for no bow was weighed again after shooting yet." in told(0)
    assert "The mean loss in the first 500 shots is " in told(1)


def test_each_kind_of_plan_is_told_in_its_own_words(model: Model) -> None:
    """A corner's share is of its radius, glass comes off a face, and a bow is not said to lose all of its length."""
    others = {
        AmountKind.CORNERS: Carried(removals=3),
        AmountKind.GLASS: Carried(removals=1),
        AmountKind.LENGTH: Carried(removals=0),
    }
    habits = model.habits.model_copy(update={"carrying_out": CarryingOut(others=others)})
    told = _printed(model.model_copy(update={"habits": habits}))

    assert "Of a planned radius of the corners 100.0% is reached, give or take 12.0%" in told
    assert "Of glass planned to come off a face 100.0% comes off, give or take" in told
    assert "Of what is planned to be sawn off each end 100.0% is taken to come off, give or take" in told


def _scatter(model: Model, source: str) -> tuple[str, str]:
    """Return what is printed of a scatter: as it is learned, and as it was believed before."""
    out = StringIO()
    show_learned(model, 1.0, Console(width=120, file=out))
    row = re.search(rf"^{source} +(not learned yet|[\d.]+%) +([\d.]+)%", out.getvalue(), re.MULTILINE)
    assert row is not None
    return row[1], row[2]


def test_one_build_teaches_nothing_of_lots() -> None:
    """One bow cannot tell a lot from its material, and the table says so rather than a figure."""
    records = simulate(20261126, 1).records
    model = train(Contents.of(records), "0" * 64, len(records)).model

    for source in ("lot of wood", "lot of glass", "the scale"):
        assert _scatter(model, source)[0] == "not learned yet"


def _with_wood_lots(model: Model, sizes: list[float]) -> Model:
    """Return a model whose scatter of wood lots is one of some sizes, each as likely."""
    belief = model.belief()
    scales = belief.scales.copy()
    scales[:, belief.groups.index("lots of wood")] = np.resize(sizes, len(scales))
    weights = np.full(len(scales), 1 / len(scales))
    return model.model_copy(update={"posterior": replace(belief, weights=weights, scales=scales).to_json()})


@pytest.mark.parametrize(
    ("sizes", "told"),
    [([0.01, 0.07], "5.0%"), ([0.06, 0.06], "6.0%"), ([0.035, 0.08], "not learned yet")],
)
def test_both_columns_are_root_mean_squares(model: Model, sizes: list[float], told: str) -> None:
    """Of 1 and 7 % the root mean square is 5 %, beside 6 % before; about as before and as open, it is not learned."""
    assert _scatter(_with_wood_lots(model, sizes), "lot of wood") == (told, "6.0")
