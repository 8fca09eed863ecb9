"""The page of reports: what all begin with stands once, tables fit a phone, and names are not broken."""

import html5lib
import pytest
from hypothesis import given
from hypothesis import strategies as st
from markupsafe import escape

from reports.blocks import Block, Caution, Paragraph, Section, grid
from reports.page import page, unbroken

SHARED: tuple[Block, ...] = (Paragraph("Made of 3 records."), Caution("One of them is odd."))


def section(name: str, *blocks: Block) -> Section:
    """Return a section that begins with what all share."""
    return Section(name, name.title(), f"What of {name}?", (*SHARED, *blocks))


def test_what_all_begin_with_stands_once() -> None:
    """Two reports that begin alike tell that once, and what is their own each; one report tells all of it itself."""
    both = page("Both", [section("one", Paragraph("First.")), section("two", Paragraph("Second."))])
    alone = page("One", [section("one", Paragraph("First."))])

    for text in (both, alone):
        assert text.count("Made of 3 records.") == 1
        assert text.count("One of them is odd.") == 1
    assert both.index("Made of 3 records.") < both.index('id="one"')
    assert both.index('id="one"') < both.index("First.") < both.index('id="two"') < both.index("Second.")


def test_only_the_beginning_is_shared() -> None:
    """A block that two reports have alike after one that differs stays with both."""
    alike = Paragraph("Said by both.")
    text = page(
        "Both", [section("one", Paragraph("First."), alike), section("two", Paragraph("Second."), alike)]
    )

    assert text.count("Said by both.") == 2


@pytest.mark.parametrize(
    ("columns", "rows", "stacked"),
    [(3, 4, False), (8, 4, True), (8, 40, False)],
    ids=["narrow", "wide", "wide, long"],
)
def test_wide_tables_stand_upright_on_a_phone(columns: int, rows: int, stacked: bool) -> None:
    """A short table that is too wide for a phone has its heads in the cells, to stand under one another; others not."""
    heads = [f"head {place}" for place in range(columns)]
    told = grid("Table", heads, [["12.5 ± 3.5"] * columns] * rows)
    document = html5lib.parse(page("Page", [section("one", told)]), namespaceHTMLElements=False)

    (table,) = document.findall(".//table")
    named = [cell.get("data-head") for cell in table.findall("tbody/tr/td")]
    assert (table.get("class") == "stacked") == stacked
    assert named == (heads * rows if stacked else [None] * columns * rows)


def test_names_are_not_broken() -> None:
    """A line never ends inside of a name or an option with hyphens, or of a mixed number; others are left alone."""
    assert unbroken("see K-002, ask --budget now") == (
        'see <span class="whole">K-002,</span> ask <span class="whole">--budget</span> now'
    )
    assert unbroken("1 7/32 in / 9/16 in") == '<span class="whole">1 7/32</span> in / 9/16 in'
    assert unbroken("a minus - is no name") == "a minus - is no name"


@given(st.text())
def test_text_stays_what_it_is(text: str) -> None:
    """Whatever the text, only marks are added: without them it is the escaped text itself."""
    plain = unbroken(text).replace('<span class="whole">', "").replace("</span>", "")

    assert plain == escape(text)
