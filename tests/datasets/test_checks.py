"""Each check finds its own mistake, says it in one line, and leaves the right record alone."""

from datetime import date
from typing import Any

import pytest

from datasets.book import id_of, read_record
from datasets.checks import findings
from datasets.contents import Contents
from datasets.record import Record
from tests import shop


def contents(*typed: shop.Typed) -> Contents:
    """Return a book's contents with the form and these records, ids given by hand."""
    records: list[Record] = []
    for raw in (shop.form(), *typed):
        outcome = read_record(raw.kind, raw.data, Contents.of(records))
        assert outcome.record is not None, outcome.invalid
        records.append(outcome.record)
    return Contents.of(records)


def found(typed: shop.Typed, book: Contents) -> list[tuple[str, str, bool]]:
    """Return what is found about one more record."""
    data: dict[str, Any] = (
        {"id": "K-001/9", **typed.data} if typed.kind not in {"build", "form"} else typed.data
    )
    outcome = read_record(typed.kind, data, book)
    assert outcome.record is not None, outcome.invalid
    return [(finding.field, finding.message, finding.refuses) for finding in outcome.findings]


WITH_BUILD = contents(shop.build())


def test_a_good_history_has_no_findings() -> None:
    """Nothing is found about a plain build and its events, so each finding below is its change's."""
    book = contents(shop.build(), shop.weigh_in(id="K-001/1"), shop.removal(id="K-001/2"))
    records = [*book.forms.values(), *book.builds.values(), *book.events["K-001"]]

    assert len(records) == 4
    assert [findings(record, book) for record in records] == [(), (), (), ()]
    assert [id_of(record) for record in records] == ["plain-64/1", "K-001", "K-001/1", "K-001/2"]


@pytest.mark.parametrize(
    ("typed", "field", "message"),
    [
        (
            shop.build(form="plain-66"),
            "form",
            "wanted a form of the book, got revision 1 of plain-66; did you mean plain-64? If not, add the form first",
        ),
        (
            shop.build(form="hook"),
            "form",
            "wanted a form of the book, got revision 1 of hook; add the form first",
        ),
        (
            shop.build(form_revision=2),
            "form",
            "wanted a form of the book, got revision 2 of plain-64; the book has plain-64 up to revision 1",
        ),
        (
            shop.build(layers=[{"part": "core", "material": "hard mapel", "butt_in": ".250"}]),
            "layers.0.material",
            "wanted a known material, got 'hard mapel'; did you mean hard maple or red maple",
        ),
        (
            shop.weigh_in(build="K-002", id="K-002/1"),
            "build",
            "wanted a build of the book, got K-002; add the build first",
        ),
        (
            shop.weigh_in(id="K-002/1"),
            "id",
            "wanted an id that starts with K-001/, got K-002/1; leave the id out",
        ),
        (
            shop.removal(done=[{"amount_in": "3/4"}]),
            "",
            "wanted some width left, got -0.250 in; correct the removals",
        ),
    ],
)
def test_what_has_no_geometry_is_refused(typed: shop.Typed, field: str, message: str) -> None:
    """A record that points at nothing, or leaves nothing of the bow, cannot be kept."""
    first, *_ = found(typed, WITH_BUILD)

    assert first[0] == field
    assert first[1].startswith(message)
    assert first[2]


@pytest.mark.parametrize(
    ("typed", "field", "message"),
    [
        (
            shop.weigh_in(scale="hanging"),
            "scale",
            "the book has no scale hanging (known: none yet); add it to tell its error",
        ),
        (
            shop.weigh_in(readings=[{"draw": "27", "weight": "46"}, {"draw": "28", "weight": "45"}]),
            "readings",
            "wanted more weight at a longer draw, got 46 lb and then 45 lb 1 in further; check both",
        ),
        (
            shop.weigh_in(
                readings=[{"draw": "26 1/4 pivot", "weight": "45"}, {"draw": "27", "weight": "46"}]
            ),
            "readings",
            "wanted more weight at a longer draw, got 46 lb and then 45 lb 1 in further; check both",
        ),
        (
            shop.weigh_in(on="2026-03-01"),
            "on",
            "wanted a day from 2026-03-02 on, when K-001 was built, got 2026-03-01; check both",
        ),
        (
            shop.weigh_in(on="9996-03-05"),
            "on",
            f"wanted a day up to today, {date.today()}, got 9996-03-05; check the year",
        ),
        (
            shop.build(built="9996-03-02"),
            "built",
            f"wanted a day up to today, {date.today()}, got 9996-03-02; check the year",
        ),
        (
            shop.build(
                layers=[
                    {"part": "core", "material": "hard maple", "butt_in": ".200"},
                    {"part": "core", "material": "epoxy", "butt_in": ".004"},
                    {"part": "core", "material": "hard maple", "butt_in": ".200"},
                ]
            ),
            "layers.1.material",
            "wanted a lam, got the adhesive epoxy; leave it out, glue lines are counted by themselves",
        ),
        (
            shop.build(widths=[{"at": "fade", "belly_in": "1 1/8"}, {"at": "nock", "belly_in": "1 1/4"}]),
            "widths.1.belly_in",
            "wanted no more than the 1.125 in further in, got 1.25 in; check place and width",
        ),
        (
            shop.build(
                widths=[
                    {"at": "fade", "belly_in": "1 1/8", "back_in": "1 1/4"},
                    {"at": "nock", "belly_in": "1/2"},
                ]
            ),
            "widths.0.back_in",
            "wanted a back no wider than the belly's 1.125 in, got 1.25 in; check which is which",
        ),
        (
            shop.build(
                layers=[{"part": "core", "material": "hard maple", "butt_in": ".200", "tip_in": ".300"}]
            ),
            "layers.0.tip_in",
            "wanted a tip no thicker than the butt's 0.2 in, got 0.3 in; check which is which",
        ),
        (
            shop.build(
                layers=[
                    {"part": "core", "material": "hard maple", "butt_in": ".300"},
                    {"part": "glass", "material": "limb glass", "butt_in": ".050"},
                ]
            ),
            "layers",
            "wanted glass on both faces of the upper limb, got core on the back and glass on the belly; "
            "write the layers from back to belly",
        ),
    ],
)
def test_what_is_odd_is_found_once_and_kept(typed: shop.Typed, field: str, message: str) -> None:
    """An odd record is named with both values, once, and nothing about it refuses the record."""
    assert found(typed, WITH_BUILD) == [(field, message, False)]


def test_a_plan_may_be_for_a_day_to_come() -> None:
    """A planned bow is built later, so that its day is no finding."""
    assert found(shop.build(built="9996-03-02", planned=True), WITH_BUILD) == []


def test_a_day_before_the_first_one_noted() -> None:
    """Of a bow whose day of pressing is not noted, an event earlier than the first one noted is found."""
    undated = shop.build()
    del undated.data["built"]
    book = contents(undated, shop.weigh_in(id="K-001/1"))

    assert found(shop.removal(on="2026-03-06"), book) == []
    assert found(shop.removal(on="2026-03-04"), book) == [
        ("on", "wanted a day from 2026-03-05 on, as K-001/1 says, got 2026-03-04; check both", False)
    ]


def test_a_finished_bow_heavier_than_the_rough_one() -> None:
    """A weight that rises while only wood was taken off is found; three in a hundred are left to the weather."""
    book = contents(shop.build(), shop.weigh_in(id="K-001/1"))
    within = shop.weigh_in(on="2026-03-09", stage="finished", readings=[{"draw": "28", "weight": "46"}])
    beyond = shop.weigh_in(on="2026-03-09", stage="finished", readings=[{"draw": "28", "weight": "47"}])

    assert found(within, book) == []
    ((field, message, refuses),) = found(beyond, book)
    assert (field, refuses) == ("readings", False)
    assert message == (
        "wanted no more than the 45 lb of tillered (K-001/1) at the same draw, got 47 lb; "
        "check draw, brace and scale"
    )


@pytest.mark.parametrize(
    "between",
    [
        shop.removal(id="K-001/2", method="shorten", done=[{"amount_in": "1/2"}]),
        shop.Typed("rigging", {"id": "K-001/2", "build": "K-001", "on": "2026-03-06", "brace": "8"}),
    ],
)
def test_shortening_and_rigging_may_raise_the_weight(between: shop.Typed) -> None:
    """After a bow was shortened or rigged otherwise a higher weight is no finding."""
    beyond = shop.weigh_in(on="2026-03-09", stage="finished", readings=[{"draw": "28", "weight": "46"}])

    assert found(beyond, contents(shop.build(), shop.weigh_in(id="K-001/1"), between)) == []


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({"pulls": 12}, True),
        ({"pulls": 12, "stage": "finished"}, True),
        ({"pulls": 29}, True),
        ({"pulls": 30}, False),
        ({"pulls": 12, "stage": "first-draw"}, False),
        ({"pulls": 0, "stage": "settled", "shots": 200}, False),
        ({"pulls": None}, False),
    ],
)
def test_a_bow_that_was_hardly_drawn(changes: dict[str, Any], told: bool) -> None:
    """A tillered or finished bow with few full draws noted is told of; a first draw, or a bow that has shot, is not."""
    fields = [field for field, _, _ in found(shop.weigh_in(**changes), WITH_BUILD)]

    assert ("pulls" in fields) == told


def test_a_stage_that_goes_back() -> None:
    """A bow weighed as tillered after it was weighed as finished is found, with the weigh-in that says so."""
    book = contents(shop.build(), shop.weigh_in(id="K-001/1", stage="finished"))

    assert found(shop.weigh_in(on="2026-03-09"), book) == [
        (
            "stage",
            "wanted finished or later, since K-001/1 says so on 2026-03-05, got tillered on 2026-03-09; "
            "check stage and date",
            False,
        )
    ]


STRIP_FINDINGS = [
    (
        {"material": "cherri"},
        ("material", "wanted a known material, got 'cherri'; did you mean cherry?", True),
    ),
    (
        {"thickness_in": "7/8"},
        (
            "span_in",
            "wanted a span of 30 thicknesses or more, got 23: shear makes a short strip look softer; "
            "use a longer span",
            False,
        ),
    ),
    (
        {"loads": [{"load": "9", "deflection_in": "4.5"}]},
        ("loads.0.deflection_in", "wanted at most 20% of the span, got 22%; hang less on it", True),
    ),
    (
        {"loads": [{"load": "2", "deflection_in": ".34"}, {"load": "1", "deflection_in": ".68"}]},
        (
            "loads",
            "wanted a larger deflection under 2 lb than under 1 lb, got 0.34 in after 0.68 in; check both",
            True,
        ),
    ),
]


@pytest.mark.parametrize(("changes", "finding"), STRIP_FINDINGS)
def test_what_is_wrong_with_a_strip(changes: dict[str, Any], finding: tuple[str, str, bool]) -> None:
    """A strip of no known material, too short, bent too far or read in the wrong order is named; a right one not."""
    right, wrong = (
        read_record("strip", shop.strip(**change).data, Contents()).findings for change in ({}, changes)
    )

    assert right == ()
    assert [(one.field, one.message, one.refuses) for one in wrong] == [finding]


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({}, True),
        ({"material": "sugar maple"}, True),
        ({"thickness_in": ".126"}, True),
        ({"loads": [*reversed(shop.strip().data["loads"])]}, True),
        ({"id": "STRIP-001"}, False),
        ({"on": "2026-03-02"}, False),
        ({"lot": "m8"}, False),
        ({"material": "red elm"}, False),
        ({"support": "cantilever"}, False),
        ({"loads": [*shop.strip().data["loads"][:2], {"load": "3", "deflection_in": "1.03"}]}, False),
    ],
)
def test_a_strip_told_twice(changes: dict[str, Any], told: bool) -> None:
    """The readings of another strip of the lot and day are found, by any name of the wood; a correction is not."""
    book = contents(shop.strip(id="STRIP-001"))
    typed = shop.strip(**({"id": "STRIP-002"} | changes))
    findings_told = read_record("strip", typed.data, book).findings

    said = (
        "wanted each strip once, got the lot, day and readings of STRIP-001 again; leave it out if it is the same "
        "strip, for it would count as a second one"
    )
    assert [(one.field, one.message, one.refuses, one.odd) for one in findings_told] == (
        [("loads", said, False, True)] if told else []
    )


@pytest.mark.parametrize(
    ("changes", "finding"),
    [
        ({}, ()),
        (
            {"build": "K-009"},
            (("build", "wanted a build of the book, got K-009; add the build first", True),),
        ),
        (
            {"delivered": "K-001/2"},
            (("delivered", "wanted a weighing of K-001, got K-001/2; see: drawweight show K-001", True),),
        ),
        (
            {"scale": "brass"},
            (
                (
                    "scale",
                    "the book has no scale brass (known: none yet); add it to tell its error",
                    False,
                ),
            ),
        ),
    ],
)
def test_what_is_wrong_with_an_order(
    changes: dict[str, Any], finding: tuple[tuple[str, str, bool], ...]
) -> None:
    """An order of no known bow, delivered by what is no weighing or judged on an unknown scale is named."""
    book = contents(shop.build(), shop.removal(id="K-001/2"))
    outcome = read_record("order", shop.order(**changes).data, book)

    assert tuple((one.field, one.message, one.refuses) for one in outcome.findings) == finding


def test_stock_is_of_a_known_material() -> None:
    """Lams of a material that nobody knows are refused."""
    outcome = read_record("stock", shop.stock(material="hard mapel").data, Contents())

    assert [one.refuses for one in outcome.findings] == [True]
    assert "did you mean hard maple" in outcome.findings[0].message
