"""Stacks are put together from what is there, in the right order, and never from more than is there."""

from math import comb
from typing import Any

import pytest

from datasets.schema import Part, Stock
from predictor.pressing.stacks import MOST_CORES, Room, at_butt, shortages, stacks, with_free_cores
from tests.predictor.example_bows import GLASS, build, core

ROOM = Room(length_in=68, riser_in=16, width_in=1.25)


def stock(number: int, part: str, inch: str, **more: Any) -> Stock:
    """Return plenty of lams of one kind."""
    data = {"id": f"STOCK-{number:03d}", "part": part, "thickness_in": inch, "pieces": 100}
    return Stock.model_validate(
        {**data, "material": "limb glass" if part == "glass" else "hard maple", **more}
    )


def parts(*some: Stock) -> list[list[str]]:
    """Return what each stack is made of, back to belly."""
    return [[lam.stock or "" for lam in stack.lams] for stack in stacks(some, ROOM)]


def test_one_glass_and_one_core() -> None:
    """Glass lies on both faces, with one, two or three cores between."""
    assert parts(stock(1, "glass", ".050"), stock(2, "core", ".130")) == [
        ["STOCK-001", *["STOCK-002"] * count, "STOCK-001"] for count in (1, 2, 3)
    ]


@pytest.mark.parametrize("kinds", [1, 2, 4])
def test_as_many_as_there_are_combinations(kinds: int) -> None:
    """Cores are chosen with repetition, C(n + k - 1, k) ways (Feller 1968, II.5, from memory), faces likewise."""
    cores = [stock(place, "core", ".100") for place in range(kinds)]
    glass = [stock(90, "glass", ".050"), stock(91, "glass", ".040")]
    ways = sum(comb(kinds + count - 1, count) for count in range(1, MOST_CORES + 1))

    made = list(stacks([*glass, *cores], ROOM))

    assert len(made) == ways * comb(3, 2)
    assert all(stack.lams[0].layer.butt_in.inch <= stack.lams[-1].layer.butt_in.inch for stack in made)


def test_veneers_and_power_lams() -> None:
    """A veneer lies under both faces, and a power lam in the middle ends where half of its piece does."""
    made = list(
        stacks(
            [
                stock(1, "glass", ".050"),
                stock(2, "core", ".100"),
                stock(3, "veneer", ".030"),
                stock(4, "power", ".060", length_in="30"),
            ],
            ROOM,
        )
    )
    orders = {tuple(lam.layer.part.value for lam in stack.lams) for stack in made}
    ends = {lam.layer.to_in.inch for s in made for lam in s.lams if lam.layer.to_in is not None}

    assert ("glass", "veneer", "core", "power", "core", "veneer", "glass") in orders
    assert len(made) == MOST_CORES * 2 * 2
    assert ends == {7.0}


@pytest.mark.parametrize(
    ("changes", "most"),
    [
        ({"pieces": 1}, 0),
        ({"pieces": 1, "length_in": "72"}, 1),
        ({"pieces": 3, "length_in": "36"}, 1),
        ({"pieces": 4}, 2),
        ({"length_in": "33"}, 0),
        ({"width_in": "1 1/8"}, 0),
        ({"width_in": "1 1/4"}, 3),
    ],
)
def test_no_more_than_there_is(changes: dict[str, Any], most: int) -> None:
    """Two pieces make a lam, or one from nock to nock; short and narrow ones make none."""
    made = stacks([stock(1, "glass", ".050"), stock(2, "core", ".100", **changes)], ROOM)

    assert max((len(stack.lams) - 2 for stack in made), default=0) == most


def test_grinding_stays_within_what_may_be_ground() -> None:
    """Lams that may be ground get the thickness asked for, as far as each may; the others keep theirs."""
    some = [
        stock(1, "glass", ".050"),
        stock(2, "core", ".130", ground_to_in=".060"),
        stock(3, "core", ".100"),
    ]
    stack = next(one for one in stacks(some, ROOM) if len(one.stock) == 3)

    thickness = [[layer.butt_in.inch for layer in stack.layers(inch)] for inch in (0.01, 0.1, 0.2)]

    assert thickness == [[0.05, 0.06, 0.1, 0.05], [0.05, 0.1, 0.1, 0.05], [0.05, 0.13, 0.1, 0.05]]
    assert stack.bounds_in == (0.06, 0.13)
    assert stack.is_ground


def test_a_bows_cores_change_by_one_ratio() -> None:
    """The cores of another bow like one keep their ratio and tapers; glass stays; without cores there is no other."""
    bow = build(layers=[GLASS, core(".140", taper_per_in=0.0015), core(".070", tip_in=".050"), GLASS])
    thicker = with_free_cores(bow.layers).layers(0.168)

    assert [layer.butt_in.inch for layer in thicker] == pytest.approx([0.04, 0.168, 0.084, 0.04])
    assert thicker[1].taper_per_in == 0.0015
    assert thicker[2].tip_in is not None
    assert thicker[2].tip_in.inch == pytest.approx(0.064)
    with pytest.raises(ValueError, match="wanted a bow with cores"):
        with_free_cores([layer for layer in bow.layers if layer.part is Part.GLASS])


def test_nothing_is_ground_below_its_tip() -> None:
    """A lam ground by more than its tip is thick ends in nothing, not in less."""
    layer = build(layers=[GLASS, core(".140", tip_in=".010"), GLASS]).layers[1]

    ground = at_butt(layer, 0.1)
    assert ground.tip_in is not None
    assert ground.tip_in.inch == 0


@pytest.mark.parametrize(
    ("glass", "cores", "told"),
    [
        ([{"pieces": 2}], [{}], ["2 of the 4 pieces that one bow takes"]),
        ([{"pieces": 1, "length_in": "72"}], [{}], ["1 of the 2 pieces that one bow takes"]),
        ([{"pieces": 2}, {"pieces": 2}], [{}], []),
        ([{}], [{"pieces": 1}], ["1 of the 2 pieces that one bow takes"]),
        ([{}], [{"length_in": "30"}], ["30 in long, where 34 in are needed"]),
        ([{}], [{"width_in": "1"}], ["1 in wide, where 1.25 in are needed"]),
        ([], [], ["no glass", "no core"]),
    ],
)  # fmt: skip
def test_what_is_short_is_named(
    glass: list[dict[str, Any]], cores: list[dict[str, Any]], told: list[str]
) -> None:
    """What a bow lacks is told with how many there are and how many it takes: both faces need glass."""
    some = [stock(1 + number, "glass", ".050", **{"pieces": 4, **one}) for number, one in enumerate(glass)]
    some += [stock(5 + number, "core", ".100", **{"pieces": 4, **one}) for number, one in enumerate(cores)]

    short = list(shortages(some, ROOM))

    assert [one.split(": ")[-1] for one in short] == told
    assert all(
        one.startswith(("STOCK-001, glass of limb glass: ", "STOCK-005, core of hard maple: ", "no "))
        for one in short
    )
    assert not told or not list(stacks(some, ROOM))


@pytest.mark.parametrize(("part", "pieces"), [("glass", 4), ("core", 2), ("power", 2)])
def test_stock_is_one_bows_unless_said(part: str, pieces: int) -> None:
    """Glass lies on both faces, so one bow takes four pieces as long as a limb; of other lams it takes two."""
    typed = {"id": "STOCK-001", "part": part, "material": "limb glass", "thickness_in": ".050"}

    assert Stock.model_validate(typed).pieces == pieces
