"""Which stack to press, at the command line: from stock, like a bow of the book, and at equal weight."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from datasets.record import DrawLength, ZeroPoint
from predictor.planning.promise import Judged, Promise
from predictor.pressing.swaps import Change
from reports import asking, layup
from tests import shop
from tests.reports import fitted
from tests.reports.conftest import Ended

Command = Callable[[str], Ended]


@pytest.fixture
def bow(command: Command) -> Command:
    """Return a command line whose book has one bow, and no stock."""
    for name, typed in (("form", shop.form()), ("bow", shop.build())):
        asking.save_draft(Path(f"{name}.toml"), *typed)
        assert command(f"add {name}.toml").code == 0
    return command


@pytest.fixture
def stocked(bow: Command) -> Command:
    """Return the same with glass, boards and ready lams in stock."""
    for line in (
        'stock glass "limb glass" .040 --pieces 8',
        'stock glass "limb glass" .050 --pieces 8',
        'stock core "hard maple" .180 --ground-to .050 --lot m7 --pieces 8',
        'stock core "red elm" .110 --pieces 8',
    ):
        assert bow(line).code == 0
    return bow


def told(command: Command, line: str) -> dict[str, Any]:
    """Return what a command says as JSON."""
    ended = command(f"{line} --json")
    assert ended.code == 0, ended.err
    values: dict[str, Any] = json.loads(ended.out)
    return values


def test_from_stock_to_a_stack(stocked: Command) -> None:
    """A form and a target give stacks of what is in stock, heavy enough as the shop wants, the table beside JSON."""
    line = 'layup --form plain-64 --target "50#@28" --count 3'
    values, table = told(stocked, line), stocked(line)
    choices = values["layup"]["choices"]

    assert (table.code, len(choices), values["from_stock"]) == (0, 3, True)
    assert any(choice["ground"] for choice in choices)
    assert all(choice["reach"] >= 0.95 for choice in choices if choice["ground"])
    assert all(set(choice["stock"]) <= {f"STOCK-00{n}" for n in range(1, 5)} for choice in choices)
    butt = choices[0]["layers"][1]["butt_in"]["inch"]
    assert f"{butt:.3f}".lstrip("0") + f" in ({25.4 * butt:.2f} mm" in table.out
    assert "1: limb glass" in table.out
    assert "respirator" in table.out
    assert "eye protection at first draws" in table.out


def test_glass_wood_and_length_can_be_named(stocked: Command) -> None:
    """What is asked for is what the stacks are made of."""
    values = told(
        stocked, 'layup --form plain-64 --target "45#@28" --glass .050 --wood "sugar maple" --length 66'
    )
    layers = [layer for choice in values["layup"]["choices"] for layer in choice["layers"]]

    assert values["length_in"] == 66
    assert {layer["butt_in"]["inch"] for layer in layers if layer["part"] == "glass"} == {0.05}
    assert {layer["material"] for layer in layers if layer["part"] == "core"} == {"hard maple"}


def test_without_stock_any_thickness_is_taken_as_at_hand(bow: Command) -> None:
    """A book without stock gives stacks of what the form's bows were made of, and says that they are not in stock."""
    values = told(bow, 'layup --form plain-64 --target "45#@28"')
    table = bow('layup --form plain-64 --target "45#@28"')

    assert not values["from_stock"]
    assert {layer["material"] for layer in values["layup"]["choices"][0]["layers"]} == {
        "limb glass",
        "hard maple",
    }
    assert "Not from stock" in table.out


def test_a_light_bows_next_one(bow: Command) -> None:
    """What core next time: more is asked of a bow like one of the book, and its cores get thicker, one by one."""
    light, heavy = (
        told(bow, f'layup --like K-001 --target "{lbf}#@28"')["layup"]["choices"][0] for lbf in (40, 60)
    )
    thickness = [[layer["butt_in"]["inch"] for layer in choice["layers"]] for choice in (light, heavy)]

    assert thickness[0][1] == pytest.approx(thickness[0][2])
    assert thickness[0][1] < thickness[1][1]
    assert thickness[0][0] == thickness[1][0] == 0.05


def test_a_bow_that_read_heavy_needs_less_core_next_time(bow: Command) -> None:
    """The weighings of the bow that another is like count at once, untrained: heavy, and its cores get thinner."""

    def cores_in() -> float:
        choice = told(bow, 'layup --like K-001 --target "50#@28"')["layup"]["choices"][0]
        return sum(layer["butt_in"]["inch"] for layer in choice["layers"][1:-1])

    before = cores_in()
    assert bow("weigh K-001 28=72 --stage first-draw --yes").code == 0
    assert cores_in() < before - 0.005
    assert "it last read 72 lb at 28 in (first-draw), which counts here" in " ".join(
        bow('layup --like K-001 --target "50#@28"').out.split()
    )


def test_a_slip_does_not_count_next_time(bow: Command) -> None:
    """A weighing that looks like a slip of the pencil changes no core, and the text says so."""
    line = 'layup --like K-001 --target "50#@28"'
    before = told(bow, line)["layup"]
    assert bow("weigh K-001 28=26 --stage first-draw --yes").code == 0
    assert told(bow, line)["layup"] == before
    assert "which does not count beyond what training made of it" in " ".join(bow(line).out.split())


def test_equal_weight_with_other_glass(bow: Command) -> None:
    """Other glass at equal weight: the cores then, and how far two such bows may be apart."""
    values, table = told(bow, "layup --like K-001 --glass .040"), bow("layup --like K-001 --glass .040")

    assert values["new_weight"]["lbf"] == pytest.approx(values["weight"]["lbf"], abs=0.01)
    assert values["new"][1]["butt_in"]["inch"] > values["old"][1]["butt_in"]["inch"]
    assert ".050 in  .040 in  1.02 mm     -.010" in table.out
    assert "One bow against one bow: -" in table.out


def test_an_order_is_a_target(bow: Command) -> None:
    """What an order promises is what its stacks are for: weight, draw, tolerance, shots and scale."""
    bow('order "46#@27" --tolerance 2 --shots 100')
    values = told(bow, "layup --like K-001 --order order-001")

    assert (values["target_lbf"], values["draw"]["inch"]) == (46, 27)
    assert (values["tolerance_lbf"], values["shots"], values["scale"]) == (2, 100, None)


def test_metric_books_read_metric(bow: Command) -> None:
    """In a metric book weights are in kilograms; thicknesses are told both ways, as gauges differ."""
    bow("shop units=metric")
    table = bow('layup --like K-001 --target "20 kg@28"').out

    assert "20.00 ± 0.45 kg" in table
    assert "settled, kg" in table


def test_a_strain_limit_refuses(bow: Command) -> None:
    """Where every stack is strained above the shop's limit, none is told, the reason is, and the code says so."""
    bow("shop strain_limit=0.003")
    ended = bow('layup --like K-001 --target "50#@28"')

    assert ended.code == 1
    assert "strain over the shop's limit of 0.30%" in ended.out
    assert "No stack is left" in ended.out


@pytest.mark.parametrize(
    ("line", "code", "said"),
    [
        ("layup", 2, "wanted --form or --like with --target or --order"),
        ("layup --form plain-64", 2, "wanted --form or --like with --target or --order"),
        (
            'layup --form plain-64 --like K-001 --target "50#@28"',
            2,
            "wanted --form or --like with --target or --order",
        ),
        ("layup --like K-001", 2, "wanted what is to change about K-001, got nothing"),
        ('layup --form plain-46 --target "50#@28"', 2, "did you mean plain-64?"),
        ('layup --form plain-64 --target "50"', 2, "wanted a mark such as 50#@28"),
        ('layup --like K-001 --wood "hard mapel"', 2, "did you mean hard maple"),
        ("layup --like K-001 --glass 50", 2, "wanted a thickness"),
        ('layup --form plain-64 --target "50#@28" --tolerance 60', 2, "drawweight: --tolerance: wanted 20"),
        ('layup --form plain-64 --target "5#@28" --tolerance 6', 1, "wanted a tolerance below the target"),
        ("layup --form plain-64 --order ORDER-009", 2, "wanted an order of the book, got ORDER-009"),
        ('layup --form plain-64 --target "50#@28" --shots some', 2, "shots"),
    ],
)
def test_what_cannot_be_told_says_what_to_type(bow: Command, line: str, code: int, said: str) -> None:
    """A wrong line is told in one line, with what to do."""
    ended = bow(line)

    assert ended.code == code
    assert said in ended.err
    assert len(ended.err.splitlines()) == 1


@pytest.mark.slow
def test_what_is_learned_leaves_less_to_take_off() -> None:
    """A model of the shop's builds narrows what a stack may weigh, so less has to be left on, and names new lots."""
    trained = fitted.sources(24).trained
    assert trained is not None
    contents = fitted.sources(24).contents
    judged = Judged(DrawLength(inch=28, zero=ZeroPoint.STANDARD, typed=None), 500)
    form = contents.forms["long-66", 1]
    change = Change(wood="hard maple", glass_in=0.05)
    learned, unlearned = (
        layup.for_form(
            layup.Asked(contents, model, judged, change), form, Promise(50.0, 1.0, judged), 1
        ).layup.choices[0]
        for model in (trained.model, None)
    )

    assert learned.excess_lbf < unlearned.excess_lbf
    assert learned.chance > unlearned.chance
    assert any(note.startswith("no lot is noted of") for note in learned.notes)
    assert unlearned.notes == ()


def test_stock_that_makes_no_bow_is_told(bow: Command) -> None:
    """Cores without glass make no bow."""
    bow('stock core "hard maple" .130')

    ended = bow('layup --form plain-64 --target "50#@28"')
    assert ended.code == 1
    assert "got no glass; see: drawweight stock" in ended.err


def test_what_stock_is_short_of_is_told(bow: Command) -> None:
    """Two pieces of glass make one face: that, how many there are and how many a bow takes are told."""
    bow('stock glass "limb glass" .050 --pieces 2')
    bow('stock core "hard maple" .200 --ground-to .060 --pieces 8')
    short = bow('layup --form plain-64 --target "45#@28"')

    assert short.code == 1
    assert "STOCK-001, glass of limb glass: 2 of the 4 pieces that one bow takes" in short.err
    assert "STOCK-002" not in short.err


def test_a_promise_out_of_reach_tells_what_is_within(bow: Command) -> None:
    """Where stock makes no such bow, the heaviest and the lightest that it makes are told, and can be promised."""
    bow('stock glass "limb glass" .040')
    bow('stock core "hard maple" .100 --pieces 4')
    for target in (4, 120):
        line = f'layup --form plain-64 --target "{target}#@28"'
        ended = bow(line)
        reach = json.loads(bow(f"{line} --json").out)["within_reach"]

        assert ended.code == 1
        assert 4 < reach["lightest"]["lbf"] < reach["heaviest"]["lbf"] < 120
        assert (
            "The heaviest bow of these lams that is not strained too far is expected to settle" in ended.out
        )
        assert "The lightest, at the least widths, is expected to settle" in ended.out
        assert "Not from stock" not in ended.out
    assert bow(f'layup --form plain-64 --target "{reach["heaviest"]["lbf"] - 3:.0f}#@28"').code == 0


def test_an_equal_weight_swap_tells_its_strain(bow: Command) -> None:
    """Another bow of the same weight is told with its strain margin, and none that would be over its limit."""
    told = bow("layup --like K-001 --length 66")
    refused = bow("layup --like K-001 --length 50")

    assert told.code == 0
    assert "Strain margin of the new bow at full draw: " in told.out
    assert "a margin is no promise" in " ".join(told.out.split())
    assert refused.code == 1
    assert "no bow like K-001: " in refused.err


def test_a_hopeless_stack_is_told_with_what_is_within_reach(bow: Command) -> None:
    """A stack that is pressed near a promise but never meets it stands with the weights that can be."""
    bow('stock glass "limb glass" .040')
    bow('stock core "hard maple" .100')
    within = json.loads(bow('layup --form plain-64 --target "120#@28" --json').out)["within_reach"]
    ended = bow(f'layup --form plain-64 --target "{1.26 * within["heaviest"]["lbf"]:.0f}#@28"')

    assert ended.code == 0
    assert "heavy enough" in ended.out
    assert "The heaviest bow of these lams that is not strained too far is expected to settle" in ended.out
