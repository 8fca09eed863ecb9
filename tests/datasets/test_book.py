"""The typed book: ids, order, refusals, corrections, and that what is kept reads back the same."""

from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from datasets import store
from datasets.book import ShopBook, id_of
from datasets.record import ZeroPoint
from datasets.schema import WeighIn
from tests import shop


@pytest.fixture
def book(tmp_path: Path) -> Iterator[ShopBook]:
    """Return a new, empty book."""
    with ShopBook.open(tmp_path / "shop.book", create=True) as opened:
        yield opened


def test_ids_are_given_out_in_order(book: ShopBook) -> None:
    """Builds get K-001, K-002; events count within their build, over all kinds of event."""
    first = book.add([shop.form(), shop.build(), shop.build()])
    second = book.add([shop.weigh_in(), shop.removal(), shop.removal(build="K-002")])

    assert [id_of(o.record) for o in first if o.record] == ["plain-64/1", "K-001", "K-002"]
    assert [id_of(o.record) for o in second if o.record] == ["K-001/1", "K-001/2", "K-002/1"]


def test_records_of_one_file_may_come_in_any_order(book: ShopBook) -> None:
    """An event above its build, and a build above its form, are read as if below them."""
    outcomes = book.add([shop.weigh_in(), shop.build(id="K-001"), shop.form()])

    assert [o.kept for o in outcomes] == [True, True, True]
    assert [type(o.record).__name__ for o in outcomes] == ["WeighIn", "Build", "Form"]


def test_all_or_nothing(book: ShopBook) -> None:
    """One bad record keeps the whole file out, and the good ones are not called kept."""
    outcomes = book.add([shop.form(), shop.build(brace="quite low")])

    assert [o.refused for o in outcomes] == [False, True]
    assert not any(o.kept for o in outcomes)
    assert book.contents().forms == {}


def test_what_is_right_can_be_kept(book: ShopBook) -> None:
    """With keep_good the rest of the file is kept; what rests on a refused record is refused with it."""
    outcomes = book.add(
        [shop.form(), shop.build(), shop.build(id="K-005", layers=[]), shop.weigh_in(build="K-005")],
        keep_good=True,
    )

    assert [o.kept for o in outcomes] == [True, True, False, False]
    assert list(book.contents().builds) == ["K-001"]


def test_the_number_of_a_refused_build_is_given_again(book: ShopBook) -> None:
    """A number is used up by a build that was kept, not by a try."""
    book.add([shop.form()])
    book.add([shop.build(layers=[])])
    (outcome,) = book.add([shop.build()])

    assert outcome.record is not None
    assert id_of(outcome.record) == "K-001"


def test_an_id_is_never_used_twice(book: ShopBook) -> None:
    """A record whose id the book has is refused and names the way out; the first one stays."""
    book.add([shop.form(), shop.build()])
    (outcome,) = book.add([shop.build(id="K-001", note="another")])

    assert [f.message for f in outcome.findings] == [
        "wanted a new id, got K-001, which the book has; correct that record or leave the id out"
    ]
    assert book.contents().builds["K-001"].note is None


def test_history_is_ordered_by_day_then_by_entry(book: ShopBook) -> None:
    """Events entered late stand at their day; on one day the order of entry holds, also beyond nine."""
    book.add([shop.form(), shop.build()])
    days = ["2026-03-08", "2026-03-04", *["2026-03-06"] * 10]
    book.add([shop.removal(on=day, done=[{"amount_in": ".001"}]) for day in days])

    ids = [event.id.split("/")[1] for event in book.contents().events["K-001"]]
    assert ids == ["2", "3", "4", "5", "6", "7", "8", "9", "10", "11", "12", "1"]


def test_the_shops_zero_points_apply(book: ShopBook) -> None:
    """A bare draw means what the shop's settings say; one that names its zero point keeps it."""
    book.add([shop.Typed("shop", {"draw_zero": "back"}), shop.form(), shop.build()])
    book.add([shop.weigh_in(readings=[{"draw": "28", "weight": "45"}, {"draw": "24 pivot", "weight": "42"}])])

    (weigh_in,) = book.contents().events["K-001"]
    assert isinstance(weigh_in, WeighIn)
    assert [reading.draw.zero for reading in weigh_in.readings] == [ZeroPoint.BACK, ZeroPoint.PIVOT]


def test_settings_change_field_by_field(book: ShopBook) -> None:
    """Giving some of the shop's settings later keeps the others, and the old ones in its history."""
    book.add([shop.Typed("shop", {"name": "Ash Lane", "units": "metric"})])
    book.add([shop.Typed("shop", {"units": "inch"})])

    settings = book.contents().shop
    assert (settings.name, settings.units) == ("Ash Lane", "inch")
    assert [version.reason for version in book.versions("shop")] == [None, "settings changed"]


def test_materials_are_called_by_their_own_names(book: ShopBook) -> None:
    """Layers of one wood are one material, whichever of its names was typed."""
    layers = [
        {"part": "core", "material": name, "butt_in": ".15"}
        for name in ("Sugar Maple", "rock maple", "hard maple")
    ]
    book.add([shop.form(), shop.build(layers=layers)])

    assert {layer.material for layer in book.contents().builds["K-001"].layers} == {"hard maple"}


def test_a_correction_keeps_the_other_fields_and_the_old_version(book: ShopBook) -> None:
    """A correction gives the fields that were wrong and a reason; what was known before can be asked for."""
    book.add([shop.form(), shop.build()])
    before = datetime.now(UTC)
    outcome = book.correct("K-001", shop.Typed("build", {"brace": "7 1/2"}), "misread the rule")

    assert outcome.kept
    now, then = book.contents().builds["K-001"], book.contents(as_of=before).builds["K-001"]
    assert (now.brace.inch, then.brace.inch) == (7.5, 7.25)
    assert now.model_copy(update={"brace": then.brace}) == then
    assert [version.reason for version in book.versions("K-001")] == [None, "misread the rule"]


@pytest.mark.parametrize(
    ("record_id", "change", "reason", "message"),
    [
        (
            "K-009",
            {},
            "typo",
            "wanted build K-009 to correct it, got no such record in the book; check the id",
        ),
        ("K-001", {"id": "K-002"}, "typo", "wanted the id K-001 to stay, got K-002; leave the id out"),
        ("K-001", {}, " ", "wanted a reason for changing K-001, got none; say what was wrong"),
    ],
)
def test_corrections_that_are_refused(
    book: ShopBook, record_id: str, change: dict[str, Any], reason: str, message: str
) -> None:
    """Without a record of that id, with another id or without a reason the book stays as it was."""
    book.add([shop.form(), shop.build()])
    with pytest.raises(store.RecordError, match=message):
        book.correct(record_id, shop.Typed("build", change), reason)

    assert len(book.versions("K-001")) == 1


def test_a_correction_is_checked_like_a_new_record(book: ShopBook) -> None:
    """A correction that leaves no bow, or cannot be read, is refused with what is wrong."""
    book.add([shop.form(), shop.build(), shop.removal()])
    impossible = book.correct("K-001/1", shop.Typed("removal", {"done": [{"amount_in": "7/8"}]}), "typo")
    unreadable = book.correct("K-001/1", shop.Typed("removal", {"method": "planed"}), "typo")

    assert (impossible.kept, unreadable.kept) == (False, False)
    assert unreadable.invalid is not None
    assert [finding.refuses for finding in impossible.findings] == [True]
    assert len(book.versions("K-001/1")) == 1


def test_a_withdrawn_record_is_gone_but_not_forgotten(book: ShopBook) -> None:
    """A weigh-in of the wrong bow is taken out with a reason; its number is not used again."""
    book.add([shop.form(), shop.build(), shop.weigh_in()])
    book.withdraw("K-001/1", "that was K-002")
    book.add([shop.weigh_in(on="2026-03-07")])

    assert [event.id for event in book.contents().events["K-001"]] == ["K-001/2"]
    assert [version.reason for version in book.versions("K-001/1")] == [None, "that was K-002"]


def test_reopened_book_reads_the_same(tmp_path: Path) -> None:
    """What was kept reads back equal in another opening of the file, what was typed included."""
    path = tmp_path / "shop.book"
    with ShopBook.open(path, create=True) as book:
        book.add([shop.form(), shop.build(), shop.weigh_in(), shop.removal()])
        before = book.contents()
    with ShopBook.open(path) as book:
        after = book.contents()

    assert after == before
    assert after.builds["K-001"].widths[0].belly_in.typed == "1 1/4"


def test_length_and_hash_tell_what_is_new(book: ShopBook) -> None:
    """A correction makes the book longer by one and changes its hash; reading it changes neither."""
    book.add([shop.form(), shop.build(), shop.weigh_in()])
    before = book.length(), book.data_hash()
    book.contents()
    assert (book.length(), book.data_hash()) == before == (3, before[1])

    book.correct("K-001/1", shop.weigh_in(pulls=20), "counted again")

    assert book.length() == 4
    assert book.data_hash() != before[1]


def test_what_no_model_is_trained_on_leaves_the_hash(book: ShopBook) -> None:
    """A strip, an order or lams at hand make no model stale; another bow does."""
    book.add([shop.form(), shop.build()])
    before = book.data_hash()
    book.add([shop.strip(), shop.order(), shop.stock()])
    assert book.data_hash() == before

    book.add([shop.build()])
    assert book.data_hash() != before


def test_orders_and_stock_get_ids(book: ShopBook) -> None:
    """An order typed above its bow finds it, and lams at hand are called by their material's own name."""
    book.add([shop.order(), shop.stock(material="Sugar Maple"), shop.form(), shop.build()])
    contents = book.contents()

    assert [order.build for order in contents.orders.values()] == ["K-001"]
    assert list(contents.orders) == ["ORDER-001"]
    assert {one.id: one.material for one in contents.stock.values()} == {"STOCK-001": "hard maple"}
