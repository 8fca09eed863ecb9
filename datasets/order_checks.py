"""Checks of orders: of a bow of the book, due on a day to come, one at a time."""

from collections.abc import Iterator, Sequence
from datetime import date

from datasets.contents import Contents
from datasets.finding import Check, Finding
from datasets.record import Record
from datasets.schema import Order, WeighIn


def order_is_of_the_book(record: Record, contents: Contents) -> Iterator[Finding]:
    """An order names a bow of the book, and was delivered by a weighing of it."""
    if not isinstance(record, Order):
        return
    if record.build is not None and record.build not in contents.builds:
        yield Finding(
            "build", f"wanted a build of the book, got {record.build}; add the build first", refuses=True
        )
    elif record.delivered is not None and not isinstance(contents.event(record.delivered), WeighIn):
        yield Finding(
            "delivered",
            f"wanted a weighing of {record.build}, got {record.delivered}; see: drawweight show {record.build}",
            refuses=True,
        )


def open_orders_are_due_later(record: Record, _contents: Contents) -> Iterator[Finding]:
    """What is still to be delivered is due today at the earliest."""
    if not isinstance(record, Order) or record.due is None or record.delivered is not None:
        return
    today = date.today()
    if record.due < today:
        yield Finding(
            "due",
            f"wanted a day from today, {today}, for what is not delivered, got {record.due}; check the year",
        )


def bows_have_one_open_order(record: Record, contents: Contents) -> Iterator[Finding]:
    """A bow is promised to nobody else as long as an order for it is open."""
    if not isinstance(record, Order) or record.build is None or record.delivered is not None:
        return
    for other in contents.orders.values():
        if other.id != record.id and other.build == record.build and other.delivered is None:
            yield Finding(
                "build",
                f"wanted one open order for {record.build}, got {other.id} as well; close or change one",
            )


ORDER_CHECKS: Sequence[Check] = (order_is_of_the_book, open_orders_are_due_later, bows_have_one_open_order)
