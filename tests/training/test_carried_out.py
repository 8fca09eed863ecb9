"""How exactly planned removals are carried out is learned from those noted both ways, and starts from the default."""

from typing import Any

import numpy as np
import pytest

from datasets.contents import Contents
from datasets.schema import Removal, WeighIn
from predictor.carrying_out import WORTH_REMOVALS, Carried
from tests.predictor.bows import STRAIGHT, build
from training.carried_out import ENOUGH_REMOVALS, carrying_out, share_beyond, updated, weighed_removals


def removal(number: int, planned: str, done: str | None, of: str = "K-001") -> Removal:
    """Return sides taken in by some amount, planned and perhaps measured."""
    data: dict[str, Any] = {"planned": [{"at": "fade", "amount_in": planned}]}
    if done is not None:
        data["done"] = [{"at": "fade", "amount_in": done}]
    return Removal.model_validate(
        {"id": f"{of}/{number}", "build": of, "on": "2026-03-05", "method": "sides", **data}
    )


def test_the_share_of_what_was_planned() -> None:
    """An eighth planned and a sixteenth done is half short; a plan that nobody measured says nothing."""
    assert share_beyond(removal(1, "1/8", "1/16")) == -0.5
    assert share_beyond(removal(1, "1/8", None)) is None


def test_as_much_over_as_under_is_the_plan() -> None:
    """Taking a third too much as often as a third too little is the plan on average, as the loss of weight is."""
    removals = [removal(n, "3/32", "1/8" if n % 2 else "1/16") for n in range(1, 21)]
    habit = carrying_out(Contents.of([STRAIGHT, build(), *removals]))

    assert habit.anybody.mean == pytest.approx(0, abs=1e-12)


def test_without_records_the_default() -> None:
    """A book without measured removals leaves the default: the plan, give or take 12 %, worth ten removals."""
    habit = carrying_out(Contents.of([STRAIGHT, build(), removal(1, "1/8", None)]))

    assert habit.anybody == Carried()
    assert (habit.anybody.mean, habit.anybody.sd, habit.builders) == (0, 0.12, {})


def test_as_many_removals_as_the_default_is_worth() -> None:
    """Ten removals count as much as the default: the mean moves half way."""
    shares = np.full(WORTH_REMOVALS, 0.2)
    after = updated(Carried(), shares.tolist())

    assert after.mean == pytest.approx(0.1)
    assert after.sd**2 == pytest.approx((0.12**2 + 0.2**2 / 2) / 2)


@pytest.mark.parametrize(("mean", "sd"), [(0.0, 0.05), (-0.2, 0.25)])
def test_many_removals_outweigh_the_default(mean: float, sd: float) -> None:
    """After two thousand removals mean and scatter are those drawn from, within four standard errors."""
    count = 2000
    drawn = np.random.default_rng(1).normal(mean, sd, count)
    after = updated(Carried(), drawn.tolist())

    assert after.mean == pytest.approx(mean, abs=4 * sd / np.sqrt(count))
    assert after.sd == pytest.approx(sd, rel=4 / np.sqrt(2 * count) + 0.02)


def test_builders_are_told_apart_once_they_noted_enough() -> None:
    """Of two builders, the one who takes half as much again differs from anybody; one with few removals does not."""
    bold = [removal(n, "1/16", "3/32") for n in range(1, ENOUGH_REMOVALS + 1)]
    few = [removal(n, "1/16", "1/16", "K-002") for n in range(1, ENOUGH_REMOVALS)]
    builds = [build(builder="Ada"), build(id="K-002", builder="Bo")]
    habit = carrying_out(Contents.of([STRAIGHT, *builds, *bold, *few]))

    assert list(habit.builders) == ["Ada"]
    assert habit.by("Ada").mean > habit.by("Bo").mean > 0
    assert habit.by("Bo") == habit.by(None) == habit.anybody


def test_only_removals_between_weighings_are_counted() -> None:
    """A removal tells of its gain if a weighing that teaches stands before it and one after."""
    weigh_ins = [
        WeighIn.model_validate(
            {
                "id": f"K-001/{number}",
                "build": "K-001",
                "on": "2026-03-05",
                "stage": "tillered",
                "readings": [{"draw": "28", "weight": "50"}],
            }
        )
        for number in (2, 4)
    ]
    removals = [removal(number, "1/16", None) for number in (1, 3, 5)]
    book = Contents.of([STRAIGHT, build(), *weigh_ins, *removals])

    assert weighed_removals(book, ["K-001/2", "K-001/4"]) == {"gain of sides": 1}
    assert weighed_removals(book, ["K-001/4"]) == {}
