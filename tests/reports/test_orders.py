"""Orders, stock and settings at the command line: what is typed is kept, listed and changed."""

import json
from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest

from reports import asking
from tests import shop
from tests.reports.conftest import Ended

Command = Callable[[str], Ended]

DUE = date.today() + timedelta(days=60)


@pytest.fixture
def bow(command: Command) -> Command:
    """Return a command line whose book has one bow, weighed once."""
    for name, typed in (("form", shop.form()), ("bow", shop.build())):
        asking.save_draft(Path(f"{name}.toml"), *typed)
        assert command(f"add {name}.toml").code == 0
    command("weigh K-001 28=65 --stage tillered --on 2026-03-05 --yes")
    return command


def listed(command: Command, kind: str) -> list[dict[str, Any]]:
    """Return the records of a kind, as its listing has them."""
    records: list[dict[str, Any]] = json.loads(command(f"{kind} --json").out)[kind]
    return records


def test_an_order_from_its_day_to_its_delivery(bow: Command) -> None:
    """A promise is kept as it was typed, is open, and closes with the weighing it was delivered with."""
    taken = bow(f'order "46#@28" --build K-001 --tolerance 1.5 --shots 300 --customer Ann --due {DUE}')
    opened = bow("order").out
    closed = bow("order order-001 --delivered K-001/1")
    (order,) = listed(bow, "order")

    assert (taken.code, taken.out) == (0, "kept 1: order ORDER-001\n")
    assert "46 ± 1.5 lb" in opened
    assert opened.rstrip().endswith("open")
    assert closed.code == 0
    assert "K-001/1, read 65 lb" in bow("order").out
    assert (order["weight"]["lbf"], order["draw"]["inch"], order["tolerance_lbf"]) == (46, 28, 1.5)
    assert (order["shots"], order["customer"], order["delivered"]) == (300, "Ann", "K-001/1")


def test_orders_that_are_due_come_first(bow: Command) -> None:
    """Open orders stand above delivered ones, those due sooner above the others."""
    bow('order "45#@28" --build K-001 --delivered K-001/1')
    bow('order "50#@28"')
    bow(f'order "55#@28" --due {DUE}')

    ids = [line.split()[0] for line in bow("order").out.splitlines() if line.startswith("ORDER")]
    assert ids == ["ORDER-003", "ORDER-002", "ORDER-001"]


def test_stock_is_listed_and_used_up(command: Command) -> None:
    """Lams at hand and lams to be ground are kept, and what is left of them can be changed."""
    command('stock core "hard maple" .130 --ground-to .060 --lot m7 --taper .002 --pieces 8')
    command('stock glass "limb glass" .050 --length 72 --width "1 3/4"')
    changed = command("stock STOCK-001 --pieces 6")
    shown = command("stock").out
    boards, glass = listed(command, "stock")

    assert changed.code == 0
    assert (boards["pieces"], boards["lot"], boards["ground_to_in"]["inch"]) == (6, "m7", 0.06)
    assert (glass["pieces"], glass["length_in"]["inch"], glass["ground_to_in"]) == (4, 72, None)
    assert ".060 in to .130 in, ground" in shown
    assert "1 3/4 in" in shown


def test_settings_are_listed_and_changed(bow: Command) -> None:
    """A setting typed is kept, the others stay, and nothing after the sign brings the usual value back."""
    first = bow('shop tolerance_lbf=1.5 least_width_fade_in="1 1/8"')
    own = json.loads(bow("shop --json").out)
    bow("shop tolerance_lbf= least_width_fade_in=")
    usual = json.loads(bow("shop --json").out)

    assert first.code == 0
    assert (own["tolerance_lbf"], own["least_width_fade_in"]["inch"], own["pass_cost_lbf"]) == (
        1.5,
        1.125,
        0.05,
    )
    assert (usual["tolerance_lbf"], usual["least_width_fade_in"]) == (1.0, None)
    (nock,) = [line for line in bow("shop").out.splitlines() if line.startswith("least_width_nock_in")]
    assert "not set" in nock


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("order 50", "wanted a mark such as 50#@28, got '50'"),
        ('order "50#@28" --build K-009', "wanted a build of the book, got K-009; add the build first"),
        ("order ORDER-009 --due 2026-12-01", "wanted order ORDER-009 to correct it, got no such record"),
        ("order ORDER-001", "wanted something to change about ORDER-001, got nothing"),
        ("order --due 2026-12-01", "wanted what is promised, or an order to change, got neither"),
        ("stock core maple", "wanted part, material and thickness, got 2 of them"),
        ('stock core "hard mapel" .130', "did you mean hard maple"),
        ("shop tolerance=3", "did you mean tolerance_lbf?"),
        ("shop metric", "wanted a setting with its value, got 'metric'; write it such as units=metric"),
    ],
)
def test_what_cannot_be_kept_is_told_in_a_line(bow: Command, line: str, said: str) -> None:
    """A wrong word on the line is told with what to do, and nothing is kept."""
    ended = bow(line)

    assert ended.code == 2
    assert said in ended.err
    assert listed(bow, "order") == []
    assert listed(bow, "stock") == []


@pytest.mark.parametrize("kind", ["order", "stock"])
def test_an_empty_book_says_how_to_begin(bow: Command, kind: str) -> None:
    """Where there is nothing of a kind, the listing says how to add it."""
    ended = bow(kind)

    assert ended.code == 0
    assert f"with: drawweight {kind} " in ended.out
