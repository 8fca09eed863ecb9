"""The removal plan at the command line: from a target or the kit's order, its limits, and cautions with each."""

import io
import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from rich.console import Console

from datasets.history import bow_at
from datasets.materials import handbook
from datasets.notation import inches
from datasets.record import Side
from datasets.schema import Method
from predictor.bows.bow import Refusal
from predictor.bows.full_draw import drawn
from predictor.planning.plan_parts import Pass, PlannedCut
from reports import asking
from reports.numbers import with_intervals
from reports.pass_told import pass_in_words
from reports.plan_told import SAFETY, show_plan
from reports.printing import Units
from tests import shop
from tests.predictor import kits
from tests.reports.conftest import Ended

Command = Callable[[str], Ended]


@pytest.fixture
def kit(unweighed: Command) -> Command:
    """Return a command line whose book has one bow, weighed once."""
    assert unweighed("weigh K-001 28=66 --stage tillered --yes").code == 0
    return unweighed


@pytest.fixture
def unweighed(command: Command) -> Command:
    """Return a command line whose book has one bow, never weighed."""
    for name, typed in (("form", shop.form()), ("bow", shop.build())):
        asking.save_draft(Path(f"{name}.toml"), *typed)
        assert command(f"add {name}.toml").code == 0
    return command


def told(command: Command, line: str) -> dict[str, Any]:
    """Return what a command says as JSON."""
    ended = command(f"{line} --json")
    assert ended.code == 0, ended.err
    values: dict[str, Any] = json.loads(ended.out)
    return values


def test_a_plan_is_told_with_cautions(kit: Command) -> None:
    """Each pass stands with widths in inches and millimetres and the reading after it; cautions follow every plan."""
    line = 'plan K-001 --target "56#@28"'
    values, text = told(kit, line), kit(line).out
    words = " ".join(text.split())

    cut = values["passes"][0]["cuts"][0]
    assert cut["new_size_in"] < cut["size_in"]
    assert f"({25.4 * cut['new_size_in']:.1f} mm)" in text
    assert text.count("and weigh") == len(values["passes"])
    assert "Kept back for edges and finish sanding" in words
    assert all(line in words for line in SAFETY)
    assert values["cautions"] == list(SAFETY)
    assert values["under"] + values["within"] + values["over"] == pytest.approx(1)
    assert values["under"] <= 0.02


def test_what_is_to_be_noted_can_be_typed(kit: Command) -> None:
    """The line that notes the first pass is taken as it stands, and the widths are then those of the plan."""
    line = 'plan K-001 --target "56#@28"'
    first = told(kit, line)["passes"][0]
    text = " ".join(kit(line).out.split())
    typed = text[text.index("drawweight reduce") + len("drawweight ") :].split(" If followed")[0]
    assert kit(typed).code == 0
    after = told(kit, 'plan K-001 --target "54#@28"')["passes"][0]
    for cut, next_cut in zip(first["cuts"], after["cuts"], strict=True):
        assert next_cut["size_in"] == pytest.approx(cut["new_size_in"])


@pytest.mark.parametrize(
    ("upper_64ths", "lower_64ths", "runs_out"),
    [((1, 1, 0), (1, 1, 0), True), ((1, 1, 1), (0, 1, 0), True), ((2, 1, 1), (0, 0, 0), False)],
)
def test_a_pass_that_leaves_places_says_how_its_cuts_run_out(
    upper_64ths: tuple[int, ...], lower_64ths: tuple[int, ...], runs_out: bool
) -> None:
    """Said where a limb is cut at some places only, and not where one is cut all along and the other left."""
    cuts = [
        PlannedCut(limb=limb, from_fade_in=8.0 * place, size_in=1.0, new_size_in=1.0 - off / 64)
        for limb, offs in ((Side.UPPER, upper_64ths), (Side.LOWER, lower_64ths))
        for place, off in enumerate(offs)
    ]
    one = Pass(
        method=Method.SIDES,
        by_hand=True,
        once_finished=False,
        loss_lbf=0.5,
        cuts=tuple(cuts),
        removals=(),
        reading_lbf=50,
        weighing=None,
    )
    words = pass_in_words(1, one, Units("inch"))
    said = "cut only where a new width stands and let it run out evenly to nothing at each place to leave"
    assert (said in words, "but in whole 64ths" in words) == (runs_out, runs_out)
    assert words.endswith("; takes 0.5 lb of the settled weight:")


def test_each_way_is_told_in_its_own_measure(kit: Command) -> None:
    """Where the sides end edges are told by their radius, the back by its width and glass in thousandths, with mm."""
    widths = "least_width_fade_in=1.2 least_width_nock_in=.48"
    limits = f"{widths} edge_radius_limit_in=.11 trap_limit_in=.09 glass_off_limit_in=.006"
    assert kit(f"shop {limits}").code == 0
    line = 'plan K-001 --target "50#@28"'
    passes, text = told(kit, line)["passes"], kit(line).out
    heads = {"edges": "radius", "trap": "width of the back", "belly-glass": "glass"}
    methods = {one["method"] for one in passes}
    assert methods == {"sides", *heads}
    assert all(head in text for head in heads.values())
    glass = next(one for one in passes if one["method"] == "belly-glass")["cuts"][0]
    thousandths = f"{glass['new_size_in']:.3f}".removeprefix("0")
    assert f"{thousandths} in ({25.4 * glass['new_size_in']:.2f} mm)" in text
    assert "all along" in text


def test_an_order_counts_without_a_target(kit: Command) -> None:
    """The open order of a kit gives its plan; without one the command asks for a target."""
    refused = kit("plan K-001")
    assert (refused.code, refused.out) == (2, "")
    assert "wanted one open order of K-001, got 0; add --target" in refused.err

    assert kit('order "56#@28" --build K-001 --shots 300').code == 0
    values = told(kit, "plan K-001")
    assert (values["target_lbf"], values["shots"], values["scale"]) == (56, 300, None)


def test_a_light_bow_is_told_what_can_be_done(kit: Command) -> None:
    """A bow too light for its target has no passes, exit code 1, and what would help."""
    ended = kit('plan K-001 --target "70#@28"')
    assert ended.code == 1
    assert "take nothing off" in ended.out
    assert "shorten both nock ends by 1/4 in: about" in ended.out
    assert 'drawweight layup --like K-001 --target "70#@28"' in ended.out


def test_the_shops_limits_count(kit: Command) -> None:
    """Least widths that leave the target out of reach are told with what they leave, a strain limit refuses."""
    assert kit("shop least_width_fade_in=1.2 least_width_nock_in=.48").code == 0
    ended = kit('plan K-001 --target "48#@28"')
    assert ended.code == 1
    assert "The target is out of reach" in ended.out
    assert "- sides at the least widths: " in ended.out
    assert "- edges at the largest radius: " in ended.out

    assert kit("shop strain_limit=.001").code == 0
    refused = kit('plan K-001 --target "55#@28"')
    assert refused.code == 1
    assert "strain over the shop's limit of 0.10%" in refused.err


def test_what_comes_after_the_last_pass_is_told(kit: Command) -> None:
    """Near its target a bow is finish-sanded and shot in a little, once finished only shot in, and then it is done."""
    ask = 'plan K-001 --target "63#@28"'
    assert "finish-sand it, shoot 100 arrows, weigh it (--stage settled --shots 100)" in printed(kit(ask))
    assert kit("weigh K-001 28=64.5 --stage finished --yes").code == 0
    assert "Before any more comes off: shoot 100 arrows" in printed(kit(ask))
    assert kit("weigh K-001 28=63.4 --stage settled --shots 100 --yes").code == 0
    assert "Nothing more to take off: it is done." in printed(kit(ask))


def test_a_heavy_kit_is_not_drawn_past_its_target(kit: Command) -> None:
    """After a pass that leaves it heavy it is weighed at a shorter draw, and it is told where to stop before."""
    ask = 'plan K-001 --target "50#@28"'
    weighing = told(kit, ask)["passes"][0]["weighing"]
    inch, words = weighing["draw"]["inch"], printed(kit(ask))
    assert inch < 28
    assert weighing["reading"]["lbf"] <= 50
    assert f"30 draws to {inches(inch)} in, no further, and weigh there" in words
    assert "should the scale show 50.0 lb sooner, stop" in words
    finishing = printed(kit('plan K-001 --target "61#@28"'))
    assert "shoot 100 arrows drawn to 27 in, no further, weigh it there" in finishing


def test_a_kit_never_weighed_is_to_be_strung_and_weighed(unweighed: Command) -> None:
    """It is told its calculated weight, how to come to a first weighing, and what is likely to come off: no cuts."""
    ask = 'plan K-001 --target "56#@28"'
    assert told(unweighed, ask)["passes"] == []
    words = printed(unweighed(ask))
    assert "Not weighed yet; by its record" in words
    assert "take nothing off by this plan yet" in words
    assert "string it, check brace and tiller, draw it a little further each time" in words
    assert "likely to settle 8 lb over the target" in words
    assert all(line in words for line in SAFETY)
    assert "arrows" not in words
    assert "weigh again" not in words


def test_a_kit_far_too_heavy_is_not_strung(unweighed: Command) -> None:
    """Expected past its target just beyond the brace, it is not to be strung, and its record to be looked at."""
    ended = unweighed('plan K-001 --target "12#@28"')
    assert ended.code == 1
    assert "too heavy to be strung for this: no draw, down to 4 in past its brace" in " ".join(
        ended.out.split()
    )
    assert "string it, check" not in ended.out


@pytest.mark.parametrize("target", ["56#@28", "70#@28", "30#@28", "63#@28"])
def test_every_plan_has_its_cautions(kit: Command, target: str) -> None:
    """Heavy, too light, out of reach or to be finished: dust, saw, first draws, eyes, ticks and local rules."""
    words = " ".join(kit(f'plan K-001 --target "{target}"').out.split())
    assert all(line in words for line in SAFETY)
    for said in (
        "respirator and extraction",
        "Saw and sander",
        "untested bow",
        "eye protection",
        "glue line",
    ):
        assert said in words
    assert "local rules" in words


def test_metric_comes_first_where_asked(kit: Command) -> None:
    """Sizes are told in millimetres with inches after them, weights and the cost of a pass in kilograms."""
    ask = 'plan K-001 --target "56#@28"'
    cut = told(kit, ask)["passes"][0]["cuts"][0]
    words = printed(kit(f"{ask} --units metric"))
    assert f"{25.4 * cut['size_in']:.1f} mm ({inches(cut['size_in'])} in)" in words
    assert "a pass 0.023 kg" in words
    assert " lb" not in words.split("Caution: ", 1)[0]


def test_shortening_is_told_with_its_range_and_that_it_stays(kit: Command) -> None:
    """Each shorter bow has its range and how it then ends, and that it can't be undone is told."""
    ask = 'plan K-001 --target "70#@28"'
    first = json.loads(kit(f"{ask} --json").out)["shortened"][0]
    settled = first["settled"]
    ((middle, low, high),) = with_intervals([(settled["lbf"], settled["low_lbf"], settled["high_lbf"])])
    text = " ".join(kit(ask).out.split())
    chances = f"under {100 * first['chances']['under']:.0f}%, within {100 * first['chances']['within']:.0f}%"
    by = f"{inches(first['each_end_in'])} in"
    assert f"nock ends by {by}: about {middle} lb ({low} to {high}) settled, {chances}" in text
    assert "cannot be undone: take half of it first" in text


def test_a_bow_far_too_light_is_not_to_be_shortened(kit: Command) -> None:
    """Where no shortening brings a bow within its tolerance none is offered, and that is said."""
    ended = kit('plan K-001 --target "95#@28"')
    assert ended.code == 1
    assert "- no shortening, from 1/8 in to 1 in off both nock ends, makes it likelier" in " ".join(
        ended.out.split()
    )
    assert "cannot be undone" not in ended.out


def test_a_settled_bow_within_its_tolerance_is_left_as_it_is(kit: Command) -> None:
    """Expected a little below its target it is not called too light: it is left, with its chance of ending under."""
    assert kit("weigh K-001 28=63.4 --stage settled --shots 600 --yes").code == 0
    target = told(kit, 'plan K-001 --target "63#@28"')["settled"]["lbf"] + 0.2
    ask = f'plan K-001 --target "{target:.2f}#@28"'
    values, words = told(kit, ask), printed(kit(ask))
    assert not values["too_light"]
    assert values["under"] > 0.03
    assert (
        "Nothing more to take off: leave it as it is. It ends under the tolerance with a chance of" in words
    )
    assert f"chance of {100 * values['under']:.0f}%, where the shop wants 2% at most" in words
    assert "shorten both nock ends" not in words


def test_a_shortening_that_is_refused_is_told_as_refused() -> None:
    """Of a bow that is left as it is a shortening refused for strain is told with the reason, not as no help."""
    first = kits.weigh_in(1, 50, stage="settled", shots=600)
    bow = kits.kit(first)
    places = drawn(bow_at(bow.form, bow.build, bow.events), kits.DRAW, kits.DRAW_IN, handbook(), None)
    assert not isinstance(places, Refusal)
    limits = replace(kits.WIDE_OPEN, strain=1.0001 * max(abs(one.strain) for one in places))
    values = kits.planned(kits.state(first).settled_lbf + 0.3, first, limits=limits)
    out = Console(file=io.StringIO(), width=120)
    show_plan(values, Units("inch"), out)
    words = " ".join(out.file.getvalue().split())  # type: ignore[attr-defined]  # the file is the StringIO

    assert not values.too_light
    assert "; shortening, from 1/8 in at either end on, is refused: " in words
    assert "strain over the shop's limit" in words
    assert "likelier within" not in words


def printed(ended: Ended) -> str:
    """Return what was printed, its lines joined."""
    assert ended.code == 0, ended.err
    return " ".join(ended.out.split())
