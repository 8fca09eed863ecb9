"""Places on a limb: each check finds its own mistake, on its own item, and leaves the right record alone."""

from typing import Any

import pytest

from datasets.book import read_record
from datasets.contents import Contents
from datasets.history import bow_at
from datasets.schema import Build, Form, Removal
from tests import shop

FORM, BUILD = (
    read_record(typed.kind, typed.data, Contents()).record for typed in (shop.form(), shop.build())
)
assert isinstance(FORM, Form)
assert isinstance(BUILD, Build)
BOOK = Contents.of([FORM, BUILD])


def found(typed: shop.Typed, book: Contents = BOOK) -> list[tuple[str, str, bool]]:
    """Return what is found about one more record."""
    data: dict[str, Any] = {"id": "K-001/9", **typed.data} if typed.kind == "removal" else typed.data
    outcome = read_record(typed.kind, data, book)
    assert outcome.record is not None, outcome.invalid
    return [(finding.field, finding.message, finding.refuses) for finding in outcome.findings]


def cut(at: str, amount: str = "1/32") -> dict[str, str]:
    """Return one cut as typed."""
    return {"at": at, "amount_in": amount}


def width(at: str, belly: str, limb: str = "both") -> dict[str, str]:
    """Return one width as typed."""
    return {"at": at, "belly_in": belly, "limb": limb}


def reading(at: str, offset: str) -> dict[str, str]:
    """Return one reading of a profile as typed."""
    return {"at_in": at, "offset_in": offset}


TWICE = "wanted each place once, got {} in from the fade again, as in {}; leave one out"


@pytest.mark.parametrize(
    ("typed", "field", "message"),
    [
        (
            shop.build(widths=[width("fade", "1 1/4"), width("0", "1 1/16"), width("nock", "1/2")]),
            "widths.1.at",
            TWICE.format(0, "widths.1"),
        ),
        (
            shop.build(widths=[width("fade", "1 1/4"), width("nock", "1/2"), width("24", "1/2", "lower")]),
            "widths.2.at",
            TWICE.format(24, "widths.2"),
        ),
        (
            shop.removal(done=[cut("fade"), cut("mid"), cut("12 in")]),
            "done.2.at",
            TWICE.format(12, "done.2"),
        ),
        (
            shop.removal(method="shorten", done=[cut("fade", "1/2")]),
            "done.0.at",
            "wanted the nock, where a bow is shortened, got fade; write nock, with what comes off each end",
        ),
        (
            shop.removal(method="shorten", done=[cut("12", "1/2")]),
            "done.0.at",
            "wanted the nock, where a bow is shortened, got 12 in from the fade; "
            "write nock, with what comes off each end",
        ),
        (
            shop.removal(method="edges", done=[cut("mid", "0"), cut("nock", ".270")]),
            "done.1.amount_in",
            "wanted a radius of at most 0.149 in, half of the limb's thickness or width, got 0.27 in; "
            "give the radius of the corner",
        ),
        (
            shop.build(edge_radius_in=".300"),
            "edge_radius_in",
            "wanted a radius of at most 0.172 in, half of the limb's thickness or width, got 0.3 in; "
            "give the radius of the corner",
        ),
        (
            shop.form(profile=[reading("32", "1"), reading("20", "1/2"), reading("8", "0")]),
            "profile",
            "wanted readings from the fade outward, got 32 in first and 8 in last; turn them round",
        ),
        (
            shop.form(profile=[reading("8", "0"), reading("20", "12"), reading("21", "-12")]),
            "profile.2",
            "wanted readings from the fade outward, got -12 in off at 21 in after 12 in off at 20 in, "
            "which doubles back; check both and their signs",
        ),
        (
            shop.build(
                profile=[reading("8", "0"), reading("20", "1"), reading("14", "1/2"), reading("30", "2")]
            ),
            "profile.2",
            "wanted readings from the fade outward, got 0.5 in off at 14 in after 1 in off at 20 in, "
            "which doubles back; check both and their signs",
        ),
    ],
)
def test_what_cannot_be_is_refused(typed: shop.Typed, field: str, message: str) -> None:
    """A place noted twice, work where there is no room for it, or a profile out of order cannot be kept."""
    assert found(typed)[0] == (field, message, True)


ON_LIMB = "wanted a place on the limb, 0 to 24 in from the fade, got {} in; count from the fade end"


@pytest.mark.parametrize(
    ("typed", "field", "at"),
    [
        (shop.build(widths=[width("fade", "1 1/4"), width("32", "1/2")]), "widths.1.at", "32"),
        (shop.build(widths=[width("-8", "1 1/4"), width("nock", "1/2")]), "widths.0.at", "-8"),
        (shop.form(kinks_in=["30"]), "kinks_in.0", "30"),
    ],
)
def test_what_lies_beyond_the_limb_is_odd(typed: shop.Typed, field: str, at: str) -> None:
    """A place counted from somewhere else than the fade is named, and kept."""
    assert found(typed) == [(field, ON_LIMB.format(at), False)]


def test_a_cut_beyond_the_limb_is_refused() -> None:
    """Nothing can come off where there is no limb: what was counted from somewhere else is not kept."""
    told = found(shop.removal(done=[cut("fade"), cut("26")]))

    assert told == [("done.1.at", ON_LIMB.format(26), True)]


@pytest.mark.parametrize(
    ("at", "beside"),
    [
        ("nock", 'at = "mid"'),
        ("mid", 'at = "fade" and at = "nock"'),
        ("fade", 'at = "mid"'),
        ("18", 'at = "mid" and at = "nock"'),
    ],
)
def test_a_cut_at_one_place_says_where_it_runs_out(at: str, beside: str) -> None:
    """A record from a file that names one place is refused with what to type; without a place it is the whole limb."""
    ((field, message, refuses),) = found(shop.removal(done=[cut(at)]))

    assert (field, refuses) == ("done.0.at", True)
    assert f"add {beside} with amount_in = 0, or leave the place out for the whole limb" in message
    assert found(shop.removal(done=[{"amount_in": "1/32"}])) == []


def test_what_a_book_holds_may_be_corrected() -> None:
    """A cut at one place, as books of before have it, means the whole limb still, and its day can be corrected."""
    old = Removal.model_validate({"id": "K-001/9", **shop.removal(done=[cut("nock")]).data})
    (before,) = bow_at(FORM, BUILD, (old,)).upper.width_belly[1][:1]

    assert before == pytest.approx(bow_at(FORM, BUILD).upper.width_belly[1][0] - 1 / 32)
    again = shop.removal(id="K-001/9", done=[cut("nock")], on="2026-03-07")
    assert found(again, BOOK.plus(old)) == []
    other = shop.removal(id="K-001/9", done=[cut("nock", "1/16")])
    assert [refuses for _, _, refuses in found(other, BOOK.plus(old))] == [True]


@pytest.mark.parametrize(
    "typed",
    [
        shop.build(widths=[width("fade", "1 1/4"), width("24", "1/2", "upper"), width("24", "5/8", "lower")]),
        shop.build(widths=[width("fade", "1 1/4"), width("24 1/8", "1/2")]),
        shop.build(edge_radius_in="1/8"),
        shop.removal(method="shorten", done=[{"amount_in": "1/2"}]),
        shop.removal(method="shorten", done=[cut("24", "1 1/2 in")]),
        shop.removal(method="edges", done=[cut("mid", "0"), cut("nock", "5/32")]),
        shop.removal(planned=[{"amount_in": "1/32"}], done=[{"amount_in": "1/32"}]),
        shop.form(
            profile=[reading("8", "0"), reading("28", "1"), reading("30", "3"), reading("29 1/2", "4 1/2")]
        ),
    ],
)
def test_what_can_be_has_no_findings(typed: shop.Typed) -> None:
    """Limbs measured apart, a rounded station, a full round, a shortened bow and a hooked tip are fine."""
    assert found(typed) == []


def test_the_nock_is_that_of_the_limb_as_it_was() -> None:
    """After an inch is off each end the nock is at 23 in, where a place must not be noted again."""
    shorten = shop.removal(id="K-001/1", method="shorten", done=[cut("nock", "1 in")])
    shortened = read_record(shorten.kind, shorten.data, BOOK).record
    assert shortened is not None

    repeated = shop.removal(done=[cut("nock"), cut("23")])
    assert found(repeated) == []
    assert found(repeated, BOOK.plus(shortened))[0][:2] == ("done.1.at", TWICE.format(23, "done.1"))


@pytest.mark.parametrize(
    ("noted", "reached", "odd"),
    [("1/8", "1/16", True), ("1/8", "5/32", False), (None, "1/64", True), (None, "1/16", False)],
)
def test_a_corner_gets_no_sharper(noted: str | None, reached: str, odd: bool) -> None:
    """A radius below the one noted, or below a usual one where none is, is told, for it would be worth nothing."""
    changed = {} if noted is None else {"edge_radius_in": noted}
    build = read_record("build", shop.build(id="K-001", **changed).data, BOOK).record
    assert build is not None
    told = found(shop.removal(method="edges", done=[{"amount_in": reached}]), BOOK.plus(build))

    assert [(field, refuses) for field, _, refuses in told] == [("done.0.amount_in", False)] * odd
    assert all("give the radius reached, not what comes off" in message for _, message, _ in told)
    assert all(
        ("is not noted (edge_radius_in of the build)" in message) == (not noted) for _, message, _ in told
    )


def test_a_corner_keeps_what_an_earlier_rounding_gave() -> None:
    """A second rounding is checked against the first where that was."""
    first = shop.removal(id="K-001/1", method="edges", done=[cut("fade", "1/8"), cut("nock", "1/16")])
    rounded = read_record(first.kind, first.data, BOOK).record
    assert rounded is not None
    told = found(
        shop.removal(method="edges", done=[cut("fade", "3/32"), cut("nock", "3/32")]), BOOK.plus(rounded)
    )

    assert [field for field, _, _ in told] == ["done.0.amount_in"]
