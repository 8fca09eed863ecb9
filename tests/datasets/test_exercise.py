"""A reading counts after about thirty full draws since the last removal (common practice, no source)."""

from typing import Any

import pytest

from datasets.exercise import not_counted, notes_on_not_counted, too_few_draws
from datasets.schema import Event, Removal, WeighIn
from tests import shop


def weighed(number: int, **changes: Any) -> WeighIn:
    """Return a weighing of a day of March."""
    data = shop.weigh_in(id=f"K-001/{number}", on=f"2026-03-{number:02d}", **changes).data
    return WeighIn.model_validate(data)


def cut(number: int) -> Removal:
    """Return sides taken in on a day of March."""
    return Removal.model_validate(shop.removal(id=f"K-001/{number}", on=f"2026-03-{number:02d}").data)


@pytest.mark.parametrize(
    ("changes", "too_few"),
    [
        ({"pulls": 29}, 29),
        ({"pulls": 0}, 0),
        ({"pulls": 30}, None),
        ({"pulls": None}, None),
        ({"pulls": 3, "stage": "finished"}, 3),
        ({"pulls": 3, "stage": "settled"}, 3),
        ({"pulls": 3, "stage": "blank"}, None),
        ({"pulls": 3, "stage": "first-draw"}, None),
        ({"pulls": 3, "stage": "settled", "shots": 200}, None),
        ({"pulls": 3, "stage": "finished", "shots": 6}, 6),
    ],
)
def test_from_thirty_draws_on(changes: dict[str, Any], too_few: int | None) -> None:
    """Fewer than thirty noted do not count; nothing noted does, as do first draws, and an arrow shot is a draw."""
    assert too_few_draws(weighed(5, **changes), ()) == too_few


@pytest.mark.parametrize(("shots", "too_few"), [(500, 3), (520, 20), (540, None)])
def test_arrows_count_from_the_last_removal_on(shots: int, too_few: int | None) -> None:
    """Of a bow that was cut after 500 arrows only those shot since then have drawn it."""
    before: tuple[Event, ...] = (weighed(1, stage="settled", shots=500), cut(2))

    assert too_few_draws(weighed(5, stage="settled", pulls=3, shots=shots), before) == too_few


def test_the_last_one_is_to_be_weighed_again() -> None:
    """Every reading that does not count is named with its draws; only after the last one more is asked for."""
    early, alone, last = weighed(1, pulls=1), weighed(3), weighed(5, pulls=12)

    assert list(not_counted((early, cut(2), alone, last))) == [(early, 1), (last, 12)]
    assert notes_on_not_counted((early, alone, last)) == (
        "K-001/1 was read after 1 full draw: does not count before about 30",
        "K-001/5 was read after 12 full draws: does not count before about 30; pull it some more and weigh again",
    )
