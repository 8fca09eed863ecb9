"""Checks of orders: due days, and one promise for a bow at a time."""

from datetime import date, timedelta
from typing import Any

import pytest

from tests import shop
from tests.datasets.test_checks import contents, found


@pytest.mark.parametrize(("days", "odd"), [(-1, True), (0, False), (1, False)])
def test_an_open_order_is_due_from_today_on(days: int, odd: bool) -> None:
    """A day that is past is told for what is not delivered, and is history for what is."""
    due = date.today() + timedelta(days=days)
    book = contents(shop.build(), shop.weigh_in(id="K-001/1"))
    told = found(shop.order(id="ORDER-002", due=str(due)), book)

    assert [(field, refuses) for field, _, refuses in told] == [("due", False)] * odd
    assert all(f"for what is not delivered, got {due}" in message for _, message, _ in told)
    assert found(shop.order(id="ORDER-002", due=str(due), delivered="K-001/1"), book) == []


@pytest.mark.parametrize(
    ("other", "odd"),
    [({}, True), ({"delivered": "K-001/1"}, False), ({"build": None}, False), ({"id": "ORDER-002"}, False)],
)
def test_a_bow_has_one_open_order(other: dict[str, Any], odd: bool) -> None:
    """A second open order for a bow is told with the first one's id; one delivered, or for no bow, is no rival."""
    book = contents(
        shop.build(), shop.weigh_in(id="K-001/1"), shop.order(**{"id": "ORDER-001", "due": None, **other})
    )
    told = found(shop.order(id="ORDER-002", due=None), book)

    assert [message.split(";")[0] for _, message, _ in told] == [
        "wanted one open order for K-001, got ORDER-001 as well"
    ] * odd
