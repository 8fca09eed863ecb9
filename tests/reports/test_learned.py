"""What training says of removals and settling: shares of the statics' loss, how plans come out, and the law's word."""

import re
from dataclasses import replace
from io import StringIO

import numpy as np
import pytest
from rich.console import Console

from datasets.contents import Contents
from predictor.model import Model
from reports.learned import show_learned
from training.train import train
from training.virtual_shop import simulate


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

    assert f"({measured} were measured afterwards)" in " ".join(told.split())
    assert model.habits.settling.in_words() in " ".join(told.split())


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
    [([0.02, 0.08], "4.0%"), ([0.06, 0.06], "6.0%"), ([0.03, 0.12], "not learned yet")],
)
def test_both_columns_are_medians(model: Model, sizes: list[float], told: str) -> None:
    """The middle of two sizes is their geometric mean, beside 6 % before; spread as wide as then, it is not learned."""
    assert _scatter(_with_wood_lots(model, sizes), "lot of wood") == (told, "6.0")
