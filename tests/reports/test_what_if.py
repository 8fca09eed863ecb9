"""What a change would do, asked at the bench: words and notation, one line for what cannot be read."""

import json
from collections.abc import Callable
from pathlib import Path

import pytest
from rich.console import Console

from datasets.book import read_record
from datasets.contents import Contents
from datasets.history import bow_at
from datasets.materials import handbook
from datasets.record import Dimension, DrawLength, ZeroPoint
from datasets.schema import Removal, StringMaterial
from predictor.bows.bow import handbook_moduli
from predictor.prediction.supposed import Supposed
from predictor.prediction.worth import UNIT_IN, Worth, worth
from reports.printing import Units
from reports.supposing import in_words, suppose
from reports.worth import show_worth
from tests import shop
from tests.predictor.example_bows import STRAIGHT, build
from tests.reports.conftest import Ended

Command = Callable[[str], Ended]


@pytest.fixture(scope="module")
def contents() -> Contents:
    """Return a book of one bow that was weighed."""
    book = Contents()
    for raw in (shop.form(), shop.build(), shop.weigh_in(id="K-001/1")):
        record = read_record(raw.kind, raw.data, book).record
        assert record is not None
        book = book.plus(record)
    return book


@pytest.fixture(scope="module")
def now(contents: Contents) -> Supposed:
    """Return the bow as it is."""
    draw = DrawLength(inch=28, zero=ZeroPoint.STANDARD)
    return Supposed(contents.builds["K-001"], contents.events["K-001"], draw)


@pytest.fixture
def bow(command: Command) -> Command:
    """Return a way to type a command line beside a book of one bow."""
    records = {raw.kind: [raw.data] for raw in (shop.form(), shop.build())}
    Path("bow.json").write_text(json.dumps(records))
    assert command("add bow.json").code == 0
    return command


def test_removals_of_one_method_are_one(contents: Contents, now: Supposed) -> None:
    """Places of one method make one removal, planned, after all that happened; another method is one of its own."""
    then = suppose(now, ["sides@fade=1/16, sides@nock=1/32", "belly glass=.003"], contents, measured=False)
    *past, sides, glass = then.events

    assert tuple(past) == now.events
    assert isinstance(sides, Removal)
    assert isinstance(glass, Removal)
    assert [(cut.at, cut.amount_in.inch) for cut in sides.planned] == [("fade", 0.0625), ("nock", 0.03125)]
    assert (glass.method, glass.id, glass.done) == ("belly-glass", "K-001/3", ())


def test_measured_afterwards_is_done(contents: Contents, now: Supposed) -> None:
    """A removal that is to be measured counts as done."""
    sides = suppose(now, ["sides=1/32"], contents, measured=True).events[-1]

    assert isinstance(sides, Removal)
    assert sides.done
    assert not sides.planned


def test_values_and_steps(contents: Contents, now: Supposed) -> None:
    """A bare value stands for itself, one with a sign is counted from the value as it is; all are made together."""
    typed = [
        "brace=+1/8,length=63 1/2",
        "glass=-.005",
        "width=+1/16",
        "draw=29",
        "strands=+2",
        "string=polyester",
    ]
    then = suppose(now, typed, contents, measured=False)
    was = now.build

    assert then.brace().inch == now.brace().inch + 0.125
    assert then.build.length_in.inch == 63.5
    assert then.build.layers[0].butt_in.inch == pytest.approx(was.layers[0].butt_in.inch - 0.005)
    assert then.build.layers[1] == was.layers[1]
    assert [one.belly_in.inch for one in then.build.widths] == [
        one.belly_in.inch + 0.0625 for one in was.widths
    ]
    assert then.draw.inch == 29
    assert then.string().strands == now.string().strands + 2
    assert then.string().material is StringMaterial.POLYESTER


def test_trapped_and_tapered_keep_their_difference(contents: Contents, now: Supposed) -> None:
    """Wider all along widens the back too, and thicker glass keeps its taper."""
    narrow = Dimension(inch=0.4, taken=now.build.widths[0].belly_in.taken)
    widths = [one.model_copy(update={"back_in": narrow}) for one in now.build.widths]
    layers = [one.model_copy(update={"tip_in": narrow}) for one in now.build.layers]
    trapped = now.build.model_copy(update={"widths": tuple(widths), "layers": tuple(layers)})
    then = suppose(
        Supposed(trapped, (), now.draw), ["width=-1/32", "glass=+.005"], contents, measured=False
    ).build

    assert [one.back_in and one.back_in.inch for one in then.widths] == [0.4 - 0.03125] * 3
    assert then.layers[0].tip_in is not None
    assert then.layers[0].tip_in.inch == pytest.approx(0.405)


def test_changes_in_words(contents: Contents, now: Supposed) -> None:
    """Changes are told as one says them, with where along the limb a cut runs."""
    assert in_words(["sides@nock=1/16,brace=+1/8", "edges=1/8", "shorten=1/4"], now, contents) == (
        "sides 1/16 less at the nock, running out to nothing at the mid, brace +1/8, "
        "edges rounded to 1/8 all along, 1/4 off each nock end"
    )
    assert in_words(["trap@6=1/16"], now, contents) == (
        "trap 1/16 less 6 in from the fade, running out to nothing at the fade and the mid"
    )
    assert in_words(["sides@fade=1/16", "sides@nock=1/32"], now, contents) == (
        "sides 1/16 less at the fade, sides 1/32 less at the nock"
    )


@pytest.mark.parametrize(
    ("typed", "means"),
    [
        ("1/16", [("fade", 0.0625)]),
        ("nock=1/16", [("mid", 0), ("nock", 0.0625)]),
        ("fade=1/16", [("fade", 0.0625), ("mid", 0)]),
        ("mid=1/16", [("fade", 0), ("mid", 0.0625), ("nock", 0)]),
        ("18=1/16", [("mid", 0), (18, 0.0625), ("nock", 0)]),
        ("12=1/16", [("fade", 0), (12, 0.0625), ("nock", 0)]),
    ],
)
def test_one_place_means_the_same_everywhere(
    bow: Command, typed: str, means: list[tuple[str | float, float]]
) -> None:
    """Asked of with --if and kept by reduce, a cut at one place runs out at the places beside it."""
    change = f"sides@{typed}" if "=" in typed else f"sides={typed}"
    asked = json.loads(bow(f"predict K-001 --if {change} --json").out)
    assert bow(f"reduce K-001 sides {typed} --planned --yes --on 2026-03-06").code == 0
    (event,) = json.loads(bow("show K-001 --json").out)["history"]
    places = [cut["at"] if isinstance(cut["at"], str) else cut["at"]["inch"] for cut in event["planned"]]
    kept = list(zip(places, [cut["amount_in"]["inch"] for cut in event["planned"]], strict=True))

    assert kept == means
    after = json.loads(bow("predict K-001 --draws 28 --json").out)["force"]["weight_lbf"]
    assert asked["after"]["lbf"] == pytest.approx(after, rel=1e-6)


def test_a_cut_at_the_nock_costs_less_than_one_all_along(bow: Command) -> None:
    """The outer half of a limb is worth little: a cut at the nock costs less than a third of the same all along."""
    nock, fade, whole = (
        json.loads(bow(f"predict K-001 --if sides{at}=1/16 --measured --json").out)["difference"]
        for at in ("@nock", "@fade", "")
    )

    assert whole["lbf"] < fade["lbf"] < 3 * nock["lbf"] < 0
    assert nock["lbf"] > whole["lbf"] / 3
    assert nock["intervals"][1]["high_lbf"] - nock["intervals"][1]["low_lbf"] < -nock["lbf"]


def test_what_is_typed_twice_is_said_once(bow: Command) -> None:
    """Amounts given twice are refused in one line that speaks of what was typed, not of fields of a record."""
    for line, said in (
        (
            "predict K-001 --if sides=1/32,sides=1/32",
            "wanted one amount for the whole limb, or amounts at places",
        ),
        ("predict K-001 --if sides@24=1/32,sides@nock=1/32", "wanted one amount of sides at nock, got two"),
        ("predict K-001 --if brace=+1/8,brace=7", "wanted brace once, got it twice"),
        ("reduce K-001 sides nock=1/32 nock=1/32", "wanted one amount of sides at nock, got two"),
        (
            "predict K-001 --if sides@30=1/16",
            "wanted a place on the limb, 0 to 24 in from the fade, got 30 in",
        ),
        ("reduce K-001 sides 30=1/16", "wanted a place on the limb, 0 to 24 in from the fade, got 30 in"),
    ):
        ended = bow(line)

        assert (ended.code, len(ended.err.splitlines())) == (2, 1), ended
        assert said in ended.err
        assert "planned." not in ended.err


def test_the_limits_of_the_shop_are_told(bow: Command) -> None:
    """What reduce asks about is told with --if too, far off no range is trusted, and paper-thin glass is refused."""
    little, much, sanded = (
        " ".join(bow(f"predict K-001 --if {change}").out.split())
        for change in ("sides=1/64", "sides=.45", "belly-glass=.045")
    )

    assert "wanted at most" not in little
    assert "not to be trusted" not in little
    for said in ("10% of the weight at once", "the least width at the nock", "range is not to be trusted"):
        assert said in much
    for said in ("a quarter of the glass off in all", "range is not to be trusted"):
        assert said in sanded
    for change in ("glass=-.049", "glass=.0001"):
        refused = bow(f"predict K-001 --if {change}")
        assert (refused.code, len(refused.err.splitlines())) == (2, 1)
        assert "wanted glass of at least 0.010 in" in refused.err
    bow("shop strain_limit=.004 glass_off_limit_in=.002")
    assert "strain over the shop's limit of 0.40%" in bow("predict K-001 --if sides=1/64").out
    assert "the shop's .002 in off one face" in " ".join(
        bow("predict K-001 --if belly-glass=.003").out.split()
    )


@pytest.mark.parametrize("method", ["sides", "trap", "back-glass", "belly-glass"])
def test_all_tell_the_same_pounds(trained: Command, method: str) -> None:
    """One measured cut costs the same by worth (to first order), by reduce and with --if, what was learned counted."""
    unit = ".001" if "glass" in method else "1/64"
    table = json.loads(trained("worth K-001 --json").out)["lost_lbf"][method][0]
    asked = json.loads(trained(f"predict K-001 --if {method}={unit} --measured --json").out)["difference"][
        "lbf"
    ]
    kept = trained(f"reduce K-001 {method} {unit} --on 2026-03-09").out
    (line,) = [line for line in kept.splitlines() if "worth" in line]

    assert table == pytest.approx(-asked, rel=0.03)
    assert float(line.split("worth ")[1].split(" lb")[0]) == pytest.approx(asked, abs=0.051)


def test_the_table_counts_what_was_learned() -> None:
    """Where a method gets more than the statics say, its row of the table does, and the text names it."""
    stock = worth(bow_at(STRAIGHT, build()), handbook_moduli(bow_at(STRAIGHT, build()), handbook()), 28.5)
    assert isinstance(stock, Worth)
    got = {method: 1.25 if method == "sides" else 1.0 for method in UNIT_IN}
    ratios = {
        method: stock.times(got).upper.lost[method].sum() / stock.upper.lost[method].sum()
        for method in UNIT_IN
    }

    assert ratios == pytest.approx(got)
    out = Console(width=300)
    with out.capture() as capture:
        show_worth(
            "K-001", stock.times(got), DrawLength(inch=28, zero=ZeroPoint.STANDARD), Units("inch"), out
        )
    assert "times what such work has got of them: 1.25 of sides" in capture.get()


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("sides", "wanted something with its change, got 'sides'"),
        ("=1/32", "wanted something with its change, got '=1/32'"),
        ("sids=1/32", "got 'sids'; did you mean sides?"),
        ("brace@nock=7", "got 'brace@nock'"),
        ("sides=2", "wanted an amount of 0 to 1 in, got '2'"),
        ("sides@tip=1/32", "'tip'"),
        ("width=1", "wanted how much wider all along, got '1'; write it such as width=+1/16"),
        ("brace=+90", "got '90'"),
        ("brace=+9", "wanted a brace height"),
        ("brace=7 back", "wanted a brace height counted from the pivot"),
        ("strands=lots", "wanted a whole number, got 'lots'"),
        ("strands=-12", "wanted 4 to 40 strands, got 2"),
        ("string=cat", "wanted a string of polyester or low-stretch, got 'cat'"),
    ],
)
def test_what_cannot_be_read_is_one_line(contents: Contents, now: Supposed, typed: str, said: str) -> None:
    """What was wanted, what came and what to do stand in one line."""
    with pytest.raises(ValueError, match="wanted") as refused:
        suppose(now, [typed], contents, measured=False)

    assert said in str(refused.value)
    assert len(str(refused.value).splitlines()) == 1


def test_a_change_at_the_bench(bow: Command) -> None:
    """Predict with --if tells the change, its range and the weight after; JSON has the same, and nothing is kept."""
    told = bow("predict K-001 --if sides=1/32")
    values = json.loads(bow("predict K-001 --if sides=1/32 --json").out)
    low, high = (values["difference"]["intervals"][1][end] for end in ("low_lbf", "high_lbf"))

    assert told.code == 0
    assert "sides 1/32 less all along: -" in told.out
    assert f"after {values['after']['lbf']:.0f}" in told.out
    assert low < values["difference"]["lbf"] < high < 0
    assert json.loads(bow("show K-001 --json").out)["history"] == []
    assert "brace +0: no change" in bow("predict K-001 --if brace=+0").out


def test_a_change_that_cannot_be_ends_in_one_line(bow: Command) -> None:
    """What cannot be read and a bow that cannot be are told apart by the exit code, each in one line."""
    wrong, impossible = bow("predict K-001 --if sids=1"), bow("predict K-001 --if width=-1/2")

    assert (wrong.code, impossible.code) == (2, 1)
    assert [len(one.err.splitlines()) for one in (wrong, impossible)] == [1, 1]


def test_the_way_to_settled(bow: Command) -> None:
    """Settled is told with the way there: now, finished, settled, and the losses add up to the whole."""
    told = bow("predict K-001 --stage settled --shots 500 --draws 28")
    way = json.loads(bow("predict K-001 --stage settled --shots 500 --draws 28 --json").out)["way"]
    now, finished, settled = way["steps"]

    assert "edges and finish sanding -" in told.out
    assert "settled after 500 shots" in told.out
    assert "mark it with what is read" in " ".join(told.out.split())
    lost = finished["change"]["lbf"] + settled["change"]["lbf"]
    assert lost == pytest.approx(settled["weight"]["lbf"] - now["weight"]["lbf"], abs=0.02)
    for step in (finished, settled):
        low, high = (step["change"]["intervals"][1][end] for end in ("low_lbf", "high_lbf"))
        weight = step["weight"]["intervals"][1]
        assert high - low < 0.5 * (weight["high_lbf"] - weight["low_lbf"])
    assert "way" not in json.loads(bow("predict K-001 --json").out)


def test_a_bow_shot_as_far_has_no_way_to_go(bow: Command) -> None:
    """A bow weighed settled has nothing left to settle, unless more shots are asked for than were counted."""
    assert bow("weigh K-001 28=44 --stage settled --shots 400 --yes").code in (0, 1)

    assert "The way there" not in bow("predict K-001 --shots 300").out
    assert "shooting in" in bow("predict K-001 --shots 800").out


@pytest.mark.parametrize("line", ["predict K-001 --draws {}", "predict K-001 --draws 26 --if draw={}"])
def test_a_draw_over_the_limit_is_cautioned_on_top(bow: Command, line: str) -> None:
    """What strains glass past its limit says so before all else, with its place, and ends with a finding."""
    sound, over = bow(line.format(27)), bow(line.format(36))

    assert (sound.code, over.code) == (0, 1)
    caution = " ".join(over.out.split())
    assert caution.startswith("Caution, over its limit: limb glass strained to ")
    assert "in from the fade, drawn to 36 in: do not draw so far. K-001" in caution
    assert "over its limit" not in sound.out


def test_cautions_are_those_of_the_change(bow: Command) -> None:
    """Dust belongs to what takes stock off, tillering to a longer draw; eyes and limb tips to all."""
    sides, longer, shorter = (
        " ".join(bow(f"predict K-001 --if {change}").out.split())
        for change in ("sides=1/32", "draw=+1", "draw=-1")
    )

    assert ["respirator" in told for told in (sides, longer, shorter)] == [True, False, False]
    assert ["tiller it to the new draw" in told for told in (sides, longer, shorter)] == [False, True, False]
    assert all("eye protection" in told for told in (sides, longer, shorter))
