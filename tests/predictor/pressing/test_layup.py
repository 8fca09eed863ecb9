"""The stack for a promise: laws of beams in the statics, chances against a draw of lots, the least to take off.

The law of the cube and of the width is that of the stiffness of a rectangular beam (Gere and Timoshenko, Mechanics of
Materials, from memory; Klopsteg, "Getting the Most out of the Bowstave", has it for bows).
"""

from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pytest

from datasets.materials import handbook
from datasets.record import DrawLength, ZeroPoint
from datasets.schema import Layer, Stage, Stock
from predictor.belief.columns import Prior
from predictor.bows.bow import Refusal
from predictor.planning.knowledge import Knowledge
from predictor.planning.promise import Judged, Promise
from predictor.planning.prospects import Prospect, prospects
from predictor.prediction.predict import predict
from predictor.pressing.blanks import Copied, narrowed, usual_blank, widths_of
from predictor.pressing.grinding import GRIND_STEP_IN, log_statics, rounded_up, thickness_for
from predictor.pressing.layup import Choice, Layup, Limits, chance_of, choose, reaches, strained
from predictor.pressing.stacks import Room, stacks, with_free_cores
from tests.predictor.example_bows import GLASS, STRAIGHT, build, core

DRAW = DrawLength(inch=28, zero=ZeroPoint.STANDARD, typed=None)
SETTLED = Judged(DRAW, 500)
KNOWLEDGE = Knowledge(handbook())
BLANK = Copied(STRAIGHT, build())
FADE_IN, _, NOCK_IN = widths_of(STRAIGHT, build())
LIMITS = Limits(0.95, 0.8 * FADE_IN, 0.8 * NOCK_IN)
SQUARE = [
    {"at": "fade", "belly_in": "1 1/4", "back_in": "1 1/4"},
    {"at": "nock", "belly_in": "1/2", "back_in": "1/2"},
]


def promise(lbf: float, tolerance: float = 1.0) -> Promise:
    """Return a promise at 28 in, settled, in true force."""
    return Promise(lbf, tolerance, SETTLED)


def stock(number: int, part: str, material: str, inch: str, **more: Any) -> Stock:
    """Return plenty of lams of one kind."""
    data = {"id": f"STOCK-{number:03d}", "part": part, "material": material, "thickness_in": inch}
    return Stock.model_validate({**data, "pieces": 100, **more})


@cache
def chosen(lbf: float = 50.0, reach: float = 0.95, strain: float | None = None) -> Layup:
    """Return stacks of maple to be ground, elm as it is, and two glasses."""
    some = [
        stock(1, "glass", "limb glass", ".040"),
        stock(2, "glass", "limb glass", ".050"),
        stock(3, "core", "hard maple", ".250", ground_to_in=".050"),
        stock(4, "core", "red elm", ".125"),
    ]
    made = list(stacks(some, Room(68, 16, 1.25)))
    limits = replace(LIMITS, reach=reach, strain=strain)
    return choose(made, BLANK, promise(lbf), KNOWLEDGE, limits, count=20)


def expected(layers: tuple[Layer, ...]) -> Prospect:
    """Return what is expected of a stack."""
    (prospect,) = prospects(STRAIGHT, [BLANK.build(layers)], SETTLED, KNOWLEDGE)
    assert isinstance(prospect, Prospect)
    return prospect


def maple(choice: Choice) -> float:
    """Return the thickness of all maple of a stack."""
    return sum(layer.butt_in.inch for layer in choice.layers if layer.material == "hard maple")


def test_a_limb_of_one_wood_goes_by_the_cube() -> None:
    """Of one wood alone, weight rises with the cube of thickness, but for the string's place in the nock.

    The string lies half the tip's thickness off the neutral axis, further in a thick limb: worth 1 % from .3 to .6 in.
    """
    inches = [0.3, 0.4, 0.6]
    bows = [build(layers=[core(f"{inch}")], widths=SQUARE, edge_radius_in="0") for inch in inches]
    logs = log_statics(STRAIGHT, bows, DRAW, handbook())

    powers = np.diff(logs) / np.diff(np.log(inches))
    assert powers == pytest.approx([3.0, 3.0], abs=0.04)
    assert np.all(powers < 3)


@pytest.mark.parametrize("share", [0.9, 0.6])
def test_weight_goes_by_the_width(share: float) -> None:
    """All widths less by one share leave that share of the weight, but for the stretch of the string."""
    square = Copied(STRAIGHT, build(widths=SQUARE, edge_radius_in="0")).build(build().layers)
    narrow = narrowed(STRAIGHT, square, 1.25 * share, 0.5 * share)
    wide, less = log_statics(STRAIGHT, [square, narrow], DRAW, handbook())

    assert np.exp(less - wide) == pytest.approx(share, rel=1e-3)


def test_the_core_solved_for_gives_the_weight() -> None:
    """The statics at the thickness found weigh what was wanted, to .01 lb; without any wood to grind it stays."""
    stack = with_free_cores(build().layers)
    for lbf in (35.0, 50.0, 65.0):
        (inch,) = thickness_for(BLANK, [stack], DRAW, handbook(), np.log([lbf])).tolist()
        (log,) = log_statics(STRAIGHT, [BLANK.build(stack.layers(inch))], DRAW, handbook())
        assert np.exp(log) == pytest.approx(lbf, abs=0.01)


def test_what_is_ground_is_rounded_up() -> None:
    """Thicknesses are rounded to the next thousandth, never down, and never beyond the wood there is."""
    assert rounded_up(
        np.array([0.1201, 0.120, 0.1299]), np.array([0.2, 0.2, 0.1295])
    ).tolist() == pytest.approx([0.121, 0.120, 0.1295])


def test_a_lam_that_runs_out_is_no_bow() -> None:
    """Where a taper leaves nothing of the tip, there is no weight, and the other bows have theirs."""
    bows = [build(layers=[GLASS, core(".060", taper_per_in=0.004), GLASS]), build()]
    logs = log_statics(STRAIGHT, bows, DRAW, handbook())

    assert np.isnan(logs).tolist() == [True, False]


def test_every_ground_stack_has_the_chance_wanted_and_no_wood_to_spare() -> None:
    """Each stack is heavy enough with the chance wanted; a thousandth less of each ground lam, and it is not."""
    layup = chosen()
    ground = [choice for choice in layup.choices if choice.ground]

    assert len(ground) >= 3
    for choice in ground:
        thinner = tuple(
            layer.model_copy(
                update={
                    "butt_in": layer.butt_in.model_copy(update={"inch": layer.butt_in.inch - GRIND_STEP_IN})
                }
            )
            if layer.material == "hard maple"
            else layer
            for layer in choice.layers
        )
        assert choice.reach >= 0.95
        assert reaches(expected(thinner), promise(50.0)) < 0.95


def test_chances_are_those_of_drawing_lots() -> None:
    """Reach and chance are the shares of 400,000 bows drawn from the predictive distribution, within 4 errors.

    Narrowed to the least widths, each loses by a gain of its shop: 1, to a tenth, before anything is learned.
    """
    choice = chosen().choices[0]
    settled = expected(choice.layers).settled
    rng = np.random.default_rng(20261125)
    of = rng.choice(len(settled.weights), size=400_000, p=settled.weights[:, 0])
    lbf = np.exp(settled.means[of, 0] + settled.sds[of, 0] * rng.standard_normal(of.size))

    heavy = lbf >= 49.0
    gains = 1 + 0.1 * rng.standard_normal(of.size)
    met = heavy & (lbf * choice.left**gains <= 51.0)

    for share, stated in ((heavy.mean(), choice.reach), (met.mean(), choice.chance)):
        assert abs(share - stated) < 4 * np.sqrt(stated * (1 - stated) / of.size)
    assert np.median(lbf) == pytest.approx(choice.settled.lbf, abs=0.1)


def test_the_settled_weight_is_that_of_any_prediction() -> None:
    """The expected settled weight of a stack is what a prediction says of the same build at that stage."""
    choice = chosen().choices[0]
    told = predict(STRAIGHT, BLANK.build(choice.layers), (), (DRAW,), handbook(), stage=Stage.SETTLED)

    assert not isinstance(told, Refusal)
    assert choice.settled.lbf == pytest.approx(told.draws[0].weight_lbf, rel=1e-9)


def test_the_least_to_take_off_comes_first() -> None:
    """Stacks that meet the chance wanted stand in the order of what is to be taken off, each from other stock."""
    choices = chosen(reach=0.7).choices
    good = [choice for choice in choices if choice.chance >= 0.7 - 0.005]
    rest = choices[len(good) :]

    assert len(good) >= 2
    assert list(choices[: len(good)]) == sorted(good, key=lambda choice: choice.excess_lbf)
    assert [choice.chance for choice in rest] == pytest.approx(
        sorted((choice.chance for choice in rest), reverse=True), abs=0.01
    )
    assert len({frozenset(choice.stock) for choice in choices}) == len(choices)


@pytest.mark.slow
def test_more_is_asked_more_is_pressed() -> None:
    """A heavier target or a surer chance takes more maple, and a surer chance leaves more to take off."""
    plain, heavier, surer = chosen(), chosen(lbf=55.0), chosen(reach=0.98)
    of = [
        {choice.stock[:2]: choice for choice in layup.choices if choice.ground}
        for layup in (plain, heavier, surer)
    ]
    shared = set(of[0]) & set(of[1]) & set(of[2])

    assert shared
    for kind in shared:
        assert maple(of[0][kind]) < maple(of[1][kind])
        assert maple(of[0][kind]) < maple(of[2][kind])
        assert of[0][kind].excess_lbf < of[2][kind].excess_lbf


def test_the_chance_falls_where_nothing_may_be_narrowed() -> None:
    """Where no width may be lost, only bows that come out right meet the promise; with all of it, all heavy ones."""
    prospect = expected(chosen().choices[0].layers)
    right = prospect.settled.cdf(np.log([51.0]))[0] - prospect.settled.cdf(np.log([49.0]))[0]

    known = Prior(1.0, 0.0)
    chances = [chance_of(prospect, promise(50.0), left, known) for left in (1.0, 0.9, 0.8, 0.5)]
    assert chances[0] == pytest.approx(right)
    assert chances == sorted(chances)
    assert chances[-1] == pytest.approx(reaches(prospect, promise(50.0)), abs=1e-3)


def test_a_shop_that_gets_less_off_its_sides_can_meet_less() -> None:
    """The less of the statics' loss a shop gets off the sides, the fewer heavy bows come down to the promise."""
    prospect = expected(chosen().choices[0].layers)
    chances = [chance_of(prospect, promise(50.0), 0.9, Prior(gain, 0.05)) for gain in (0.7, 1.0, 1.3)]
    assert chances[0] < chances[1] < chances[2]


def test_a_stack_above_the_strain_limit_is_refused() -> None:
    """A shop's own limit refuses what would be strained beyond it, with place and strain; a high one refuses none."""
    limited, free = chosen(strain=0.004), chosen(strain=0.04)

    assert limited.choices == ()
    assert len(limited.refused) >= len(free.choices)
    assert all("strain over the shop's limit of 0.40%" in one.reason for one in limited.refused)
    assert free == chosen()


def test_what_would_break_is_refused() -> None:
    """A short stack of thick glass, drawn beyond what it stands, is refused whatever the shop's settings."""
    blank = Copied(STRAIGHT, build(), length_in=46)
    thick = [{**GLASS, "butt_in": ".125"}, core(".250"), {**GLASS, "butt_in": ".125"}]
    layers = tuple(Layer.model_validate(layer) for layer in thick)

    told = strained(layers, blank, promise(50.0).judged.draw, KNOWLEDGE, None)

    assert isinstance(told, Refusal)


@pytest.mark.slow
def test_the_same_book_gives_the_same_stacks() -> None:
    """Nothing is drawn by chance: the same stock and promise give the same answer."""
    chosen.cache_clear()
    first = chosen()
    chosen.cache_clear()

    assert chosen() == first


def test_stock_that_cannot_make_the_weight_is_told_with_its_chance() -> None:
    """Lams that are too thin for a promise still come with what they would weigh, and with their small chance."""
    made = list(
        stacks(
            [stock(1, "glass", "limb glass", ".040"), stock(2, "core", "red elm", ".090")], Room(68, 16, 1.25)
        )
    )
    layup = choose(made, BLANK, promise(45.0), KNOWLEDGE, LIMITS, count=5)

    assert layup.choices
    assert [choice.ground for choice in layup.choices] == [False] * len(layup.choices)
    assert all(choice.reach < 0.95 for choice in layup.choices)


def test_usual_sizes_make_a_bow() -> None:
    """A blank at usual sizes of a form that nothing was pressed on takes a stack and has a weight."""
    (log,) = log_statics(STRAIGHT, [usual_blank(STRAIGHT, []).build(build().layers)], DRAW, handbook())

    assert 30 < np.exp(log) < 90
