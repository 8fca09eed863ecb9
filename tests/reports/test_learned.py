"""What training says of removals and settling: shares of the statics' loss, how plans come out, and the law's word."""

import re
from io import StringIO

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
