"""Checks of how a bow was weighed, beside its neighbours in time: stage and brace height."""

import pytest

from tests import shop
from tests.datasets.test_checks import contents, found


def at(day: int, **changes: str | int | None) -> shop.Typed:
    """Return a weighing of a day of March."""
    return shop.weigh_in(**{"id": f"K-001/{day}", "on": f"2026-03-{day:02d}", **changes})


@pytest.mark.parametrize(
    ("stages", "stage", "odd"),
    [
        ({5: "blank"}, "finished", "wanted blank or earlier, since K-001/5 says so on 2026-03-05, got finished"),
        ({3: "finished"}, "tillered", "wanted finished or later, since K-001/3 says so on 2026-03-03, got tillered"),
        ({3: "blank", 5: "finished"}, "tillered", None),
        ({3: "tillered", 5: "tillered"}, "tillered", None),
    ],
)  # fmt: skip
def test_a_stage_lies_between_those_around_it(stages: dict[int, str], stage: str, odd: str | None) -> None:
    """Entered late, a weighing is checked against the one after it as against the one before it."""
    book = contents(shop.build(), *(at(day, stage=one) for day, one in stages.items()))
    messages = [message for field, message, _ in found(at(4, stage=stage), book) if field == "stage"]

    assert len(messages) == (odd is not None)
    assert all(message.startswith(str(odd)) for message in messages)


@pytest.mark.parametrize(
    ("noted", "odd"),
    [
        ("7 3/4", None),
        ("7", None),
        ("7 7/8", "wanted a brace height within 0.5 in of the 7.25 in before, got 7.875 in"),
        ("6 5/8", "wanted a brace height within 0.5 in of the 7.25 in before, got 6.625 in"),
        ("7 1/4 back", "wanted a brace height from the pivot as before, got one from the back"),
    ],
)
def test_a_brace_height_stays_where_it_was(noted: str, odd: str | None) -> None:
    """Half an inch of string may come or go; more, or another zero point, is a slip or a rigging not noted."""
    book = contents(shop.build(), at(3, brace="7 1/4"))
    told = [message for field, message, _ in found(at(4, brace=noted), book) if field == "brace"]

    assert len(told) == (odd is not None)
    assert all(message.startswith(str(odd)) for message in told)


def test_a_rigging_moves_the_brace_height() -> None:
    """After a rigging is noted its brace height counts, and that of a plan never does."""
    rigged = shop.Typed("rigging", {"id": "K-001/3", "build": "K-001", "on": "2026-03-03", "brace": "8 1/2"})

    assert found(at(4, brace="8 1/2"), contents(shop.build(), rigged)) == []
    assert found(at(4, brace="8 1/2"), contents(shop.build(planned=True))) == []
    assert len(found(at(4, brace="8 1/2"), contents(shop.build()))) == 1


@pytest.mark.parametrize(
    ("around", "shots", "odd"),
    [
        ({3: 120}, 100, "wanted 120 shots or more, since K-001/3 says so on 2026-03-03, got 100 on 2026-03-04"),
        ({5: 500}, 600, "wanted 500 shots or fewer, since K-001/5 says so on 2026-03-05, got 600 on 2026-03-04"),
        ({2: 500, 3: None}, 20, "wanted 500 shots or more, since K-001/2 says so on 2026-03-02, got 20 on 2026-03-04"),
        ({3: 120}, 0, "wanted 120 shots or more, since K-001/3 says so on 2026-03-03, got 0 on 2026-03-04"),
        ({3: 120, 5: 500}, 120, None),
        ({3: 120, 5: 500}, 500, None),
        ({3: 120, 5: 100}, None, None),
    ],
)  # fmt: skip
def test_arrows_are_counted_on(around: dict[int, int | None], shots: int | None, odd: str | None) -> None:
    """A weighing has no fewer arrows than one before it and no more than one after it, whichever was entered first."""
    book = contents(shop.build(), *(at(day, stage="settled", shots=one) for day, one in around.items()))
    told = [m for field, m, _ in found(at(4, stage="settled", shots=shots), book) if field == "shots"]

    assert len(told) == (odd is not None)
    assert all(message.startswith(str(odd)) for message in told)


@pytest.mark.parametrize(
    ("before", "stage", "shots", "odd"),
    [
        (None, "tillered", 200, 200),
        (None, "tillered", 24, None),
        (None, "tillered", None, None),
        (None, "finished", 200, None),
        (200, "tillered", None, 200),
        (200, "settled", 300, None),
    ],
)
def test_a_bow_that_is_shot_is_finished(
    before: int | None, stage: str, shots: int | None, odd: int | None
) -> None:
    """An unfinished bow after more than a few dozen arrows is odd, and it is said how its reading counts."""
    earlier = [] if before is None else [at(3, stage="tillered", shots=before)]
    told = [
        m
        for field, m, _ in found(at(4, stage=stage, shots=shots), contents(shop.build(), *earlier))
        if field == "stage"
    ]

    assert len(told) == (odd is not None)
    assert all(
        message.startswith(f"wanted finished or settled after {odd} shots, got {stage}") for message in told
    )
    assert all("finishing and shooting in are still to take weight off" in message for message in told)
