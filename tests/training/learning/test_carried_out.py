"""How exactly planned removals are carried out is learned from those noted both ways, and starts from the default."""

from collections.abc import Sequence
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from datasets.contents import Contents
from datasets.record import Taken
from datasets.removals import AmountKind
from datasets.schema import Removal, WeighIn
from datasets.tolerances import WIDTH_SD_IN
from predictor.belief.carrying_out import WORTH_REMOVALS, Carried
from tests.predictor.example_bows import STRAIGHT, build
from training.learning.carried_out import (
    ENOUGH_REMOVALS,
    Share,
    carrying_out,
    share_of,
    updated,
    weighed_removals,
)

Array = NDArray[np.float64]


def removal(
    number: int, planned: str, done: str | dict[str, str] | None, of: str = "K-001", method: str = "sides"
) -> Removal:
    """Return stock taken off by some amount, planned and perhaps measured."""
    data: dict[str, Any] = {"planned": [{"at": "fade", "amount_in": planned}]}
    if done is not None:
        data["done"] = [{"at": "fade", "amount_in": done}]
    return Removal.model_validate(
        {"id": f"{of}/{number}", "build": of, "on": "2026-03-05", "method": method, **data}
    )


def exact(shares: Sequence[float] | Array) -> list[Share]:
    """Return shares that were measured without error."""
    return [Share(float(share), 0.0) for share in shares]


def beyond(one: Removal) -> float:
    """Return a removal's share less one."""
    share = share_of(one)
    assert share is not None
    return share.beyond


def test_the_share_of_what_was_planned() -> None:
    """An eighth planned and a sixteenth done is half short, nothing done wholly; a plan not measured says nothing."""
    assert beyond(removal(1, "1/8", "1/16")) == -0.5
    assert beyond(removal(1, "1/8", "0")) == -1
    assert share_of(removal(1, "1/8", None)) is None


def test_a_corner_counts_by_its_radius() -> None:
    """A corner rounded to 7/64 where 1/8 was planned is an eighth short, as the geometry of a planned corner has it."""
    assert beyond(removal(1, "1/8", "7/64", method="edges")) == -1 / 8


def test_failures_count() -> None:
    """Where every fifth plan comes to nothing, four fifths of the plan is what is got on average, and it scatters."""
    removals = [removal(n, "1/8", "1/8" if n % 5 else "0") for n in range(1, 501)]
    anybody = carrying_out(Contents.of([STRAIGHT, build(), *removals])).anybody

    assert anybody.mean == pytest.approx(-0.2, abs=0.01)
    assert anybody.sd == pytest.approx(0.4, abs=0.02)


def test_misreading_is_not_the_builders_scatter() -> None:
    """Cuts that scatter by 10 % and are read with an error of 30 % come out with 10 %, within four standard errors.

    A sum of squares of n normal deviates has a relative standard error of the root of 2 / n.
    """
    rng, count = np.random.default_rng(562_201), 4000
    read = rng.normal(0, np.hypot(0.1, 0.3), count)
    after = updated(Carried(), [Share(float(one), 0.3) for one in read])
    variance_error = 4 * np.sqrt(2 / count) * (0.1**2 + 0.3**2)

    assert after.sd**2 == pytest.approx(0.1**2, abs=variance_error)
    assert after.mean_sd == pytest.approx(np.hypot(after.sd, 0.3) / np.sqrt(count), rel=0.05)


def test_a_rule_misreads_a_small_cut_by_more() -> None:
    """A 1/32 cut read by a rule is misread by its tolerance over the cut; a caliper's is a third of that."""
    by_rule, by_caliper = (
        share_of(removal(1, "1/32", {"typed": "1/32", "taken": taken})) for taken in ("rule", "caliper")
    )
    assert by_rule is not None
    assert by_caliper is not None

    assert by_rule.misread == pytest.approx(32 * WIDTH_SD_IN[Taken.RULE])
    assert by_caliper.misread == pytest.approx(32 * WIDTH_SD_IN[Taken.CALIPER])


def test_kinds_of_amounts_are_learned_apart() -> None:
    """Glass that always comes out at half tells nothing of widths, which were cut as planned.

    Twenty removals, read a fortieth off at most, against ten that the default is worth.
    """
    glass = [removal(n, ".020", ".010", method="belly-glass") for n in range(1, 21)]
    sides = [removal(n, "1/8", "1/8") for n in range(21, 41)]
    habit = carrying_out(Contents.of([STRAIGHT, build(), *glass, *sides]))

    assert habit.anybody.mean == pytest.approx(0)
    assert habit.others[AmountKind.GLASS].mean == pytest.approx(-0.5 * 20 / 30, abs=0.01)
    assert (habit.anybody.removals, habit.others[AmountKind.GLASS].removals) == (20, 20)


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
    after = updated(Carried(), exact(shares))

    assert after.mean == pytest.approx(0.1)
    assert after.sd**2 == pytest.approx((0.12**2 + 0.2**2 / 2) / 2)


@pytest.mark.parametrize(("mean", "sd"), [(0.0, 0.05), (-0.2, 0.25)])
def test_many_removals_outweigh_the_default(mean: float, sd: float) -> None:
    """After two thousand removals mean and scatter are those drawn from, within four standard errors."""
    count = 2000
    drawn = np.random.default_rng(1).normal(mean, sd, count)
    after = updated(Carried(), exact(drawn))

    assert after.mean == pytest.approx(mean, abs=4 * sd / np.sqrt(count))
    assert after.sd == pytest.approx(sd, rel=4 / np.sqrt(2 * count) + 0.02)


def test_builders_are_told_apart_once_they_noted_enough() -> None:
    """Of two builders, the one who takes half as much again differs from anybody; one with few removals does not."""
    bold = [removal(n, "1/16", "3/32") for n in range(1, ENOUGH_REMOVALS + 1)]
    few = [removal(n, "1/16", "1/16", "K-002") for n in range(1, ENOUGH_REMOVALS)]
    builds = [build(builder="Ada"), build(id="K-002", builder="Bo")]
    habit = carrying_out(Contents.of([STRAIGHT, *builds, *bold, *few]))

    assert list(habit.builders) == ["Ada"]
    ada, bo, anybody = (habit.by(name, AmountKind.WIDTH) for name in ("Ada", "Bo", None))
    assert ada.mean > bo.mean > 0
    assert bo == anybody == habit.anybody


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
