"""A bow's geometry at any moment: what was pressed, less everything that was taken off by then."""

from collections.abc import Sequence
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from datasets import tolerances
from datasets.book import read_record
from datasets.contents import Contents
from datasets.history import BowAt, bow_at, events_until, shifted_bows
from datasets.record import Taken
from datasets.removals import Polyline
from datasets.schema import Build, Event, Form, Part, WeighIn
from tests import shop

LIMB_IN = 24.0
"""Limb of the test bow: half of 64 in less the 16 in of the riser."""


def form(**changes: Any) -> Form:
    """Read the test form."""
    record = read_record("form", shop.form(**changes).data, Contents()).record
    assert isinstance(record, Form)
    return record


def build(**changes: Any) -> Build:
    """Read the test bow."""
    record = read_record("build", shop.build(**changes).data, Contents.of([form()])).record
    assert isinstance(record, Build)
    return record


def events(*typed: shop.Typed) -> tuple[Event, ...]:
    """Read events of the test bow, numbered in order."""
    contents = Contents.of([form(), build()])
    read = [
        read_record(raw.kind, {"id": f"K-001/{n}", **raw.data}, contents) for n, raw in enumerate(typed, 1)
    ]
    return tuple(outcome.record for outcome in read if isinstance(outcome.record, Event))


def bow(*typed: shop.Typed, shifts: dict[str, float] | None = None, **changes: Any) -> BowAt:
    """Return the test bow's geometry after events."""
    history = events(*typed)
    assert len(history) == len(typed)
    return bow_at(form(), build(**changes), history, shifts)


def at(line: Polyline, station: float) -> float:
    """Return a polyline's value at a station."""
    return float(np.interp(station, *line))


def test_as_pressed() -> None:
    """With no events the geometry is the record: length less the riser, widths, tapers and layers as typed."""
    made = bow()

    assert made.upper == made.lower
    assert made.upper.length == LIMB_IN
    assert [at(made.upper.width_belly, s) for s in (0, 12, 24)] == [1.25, 1.0625, 0.5]
    assert [lam.part for lam in made.upper.lams] == [Part.GLASS, Part.CORE, Part.CORE, Part.GLASS]
    assert made.upper.lams[1].thickness == (0.130, 0.100)
    assert made.upper.lams[1].stations == (-8.0, 24.0)


def test_a_taper_rate_counts_from_the_centre() -> None:
    """.001 per inch over the 32 in from the bow's centre to the nock takes .032 off the butt's .130."""
    assert bow().upper.lams[2].thickness == pytest.approx((0.130, 0.098))


def test_brace_is_counted_from_the_back() -> None:
    """7 1/4 in from a pivot 2 1/4 in deep is 9 1/2 in from the back."""
    assert bow().brace == 9.5
    assert bow(brace="9 1/2 back").brace == 9.5


def test_sides_come_off_belly_and_back() -> None:
    """A sixteenth at the fade and a thirty-second at the nock, straight in between, off the whole width."""
    made = bow(shop.removal())

    for before, after in (
        (bow().upper.width_belly, made.upper.width_belly),
        (bow().upper.width_back, made.upper.width_back),
    ):
        off = [at(before, s) - at(after, s) for s in (0.0, 12.0, 24.0)]
        assert off == pytest.approx([1 / 16, 3 / 64, 1 / 32])


def test_a_trap_narrows_the_back_only() -> None:
    """The belly stays as it was."""
    made = bow(shop.removal(method="trap", done=[{"amount_in": "1/8"}]))

    assert made.upper.width_belly == bow().upper.width_belly
    assert at(made.upper.width_back, 6) == pytest.approx(at(bow().upper.width_back, 6) - 1 / 8)


def test_one_limb_only() -> None:
    """What is taken off one limb leaves the other."""
    made = bow(shop.removal(limb="upper"))

    assert made.lower == bow().lower
    assert at(made.upper.width_belly, 0) == pytest.approx(1.1875)


def test_glass_comes_off_the_outermost_lam() -> None:
    """Belly glass is the last layer, back glass the first; the others keep their thickness."""
    belly = bow(shop.removal(method="belly-glass", done=[{"amount_in": ".005"}])).upper.lams
    back = bow(shop.removal(method="back-glass", done=[{"amount_in": ".005"}])).upper.lams

    assert list(belly[-1].thickness) == pytest.approx([0.045] * len(belly[-1].stations))
    assert list(back[0].thickness) == pytest.approx([0.045] * len(back[0].stations))
    assert (belly[:-1], back[1:]) == (bow().upper.lams[:-1], bow().upper.lams[1:])


def test_an_edge_is_never_sharp_again() -> None:
    """The corner radius is the largest that was reached; a smaller one afterwards changes nothing."""
    once = bow(shop.removal(method="edges", done=[{"amount_in": "1/8"}]))
    twice = bow(
        shop.removal(method="edges", done=[{"amount_in": "1/8"}]),
        shop.removal(method="edges", done=[{"amount_in": "1/16"}]),
    )

    assert at(once.upper.edge_radius, 10) == 0.125
    assert at(twice.upper.edge_radius, 10) == 0.125


def test_edges_not_noted_have_the_usual_radius() -> None:
    """A radius that nobody wrote is the usual one with its scatter; a written one has its measuring tolerance."""
    unnoted = {one.name: one for one in bow().inputs}["edge radius"]
    noted = {one.name: one for one in bow(edge_radius_in="1/8").inputs}["edge radius"]

    assert bow().upper.edge_radius[1] == (tolerances.DEFAULT_RADIUS_IN,)
    assert (unnoted.source, unnoted.sd) == ("edges not noted", tolerances.UNNOTED_RADIUS_SD_IN)
    assert noted.sd == tolerances.RADIUS_SD_IN[Taken.CALIPER]


def test_a_shortened_limb_keeps_its_shape() -> None:
    """Half an inch off each nock end shortens both limbs; stations count from the fade, so widths there stay."""
    made = bow(shop.removal(method="shorten", done=[{"amount_in": "1/2"}]))

    assert (made.upper.length, made.lower.length) == (23.5, 23.5)
    assert made.upper.width_belly == bow().upper.width_belly
    assert made.upper.lams == bow().upper.lams


def test_named_places_are_those_of_the_pressed_limb() -> None:
    """After shortening, `nock` of a later cut is still the nock that the widths were measured at."""
    shorten = shop.removal(method="shorten", done=[{"amount_in": "1"}])
    made = bow(
        shorten, shop.removal(done=[{"at": "fade", "amount_in": "1/16"}, {"at": "nock", "amount_in": "1/32"}])
    )

    assert at(made.upper.width_belly, 24) == pytest.approx(0.5 - 1 / 32)


def test_unlike_limbs() -> None:
    """An upper limb longer by half an inch takes a quarter from the lower and gives it to the upper."""
    made = bow(upper_longer_in="1/2")

    assert (made.upper.length, made.lower.length) == (24.25, 23.75)


def test_rigging_and_weighing_set_the_brace() -> None:
    """The last brace height that was noted holds, be it a rigging's or a weighing's; the last string too."""
    rigging = shop.Typed(
        "rigging", {"build": "K-001", "on": "2026-03-06", "brace": "8", "string": {"strands": 12}}
    )

    assert bow(rigging).brace == 10.25
    assert bow(rigging).string.strands == 12
    assert bow(rigging, shop.weigh_in(brace="7 1/2")).brace == 9.75
    assert bow(rigging, shop.weigh_in()).brace == 10.25


def test_the_moment_of_a_weighing() -> None:
    """A weighing sees what came before it and itself, and nothing after."""
    history = events(shop.removal(), shop.weigh_in(), shop.removal())
    weigh_in = history[1]

    assert isinstance(weigh_in, WeighIn)
    assert events_until(history, weigh_in) == history[:2]


def test_a_planned_removal_counts_as_a_plan() -> None:
    """Until it is measured afterwards, the plan counts, with the scatter of carrying a plan out; then the measure."""
    plan = [{"at": "fade", "amount_in": "1/8"}]
    planned = bow(shop.removal(planned=plan, done=[]))
    measured = bow(shop.removal(planned=plan, done=[{"at": "fade", "amount_in": "1/16"}]))

    assert at(planned.upper.width_belly, 0) == pytest.approx(1.125)
    assert at(measured.upper.width_belly, 0) == pytest.approx(1.1875)
    (doubt,) = [one for one in planned.inputs if one.source == "removal carried out, width"]
    assert doubt.sd == tolerances.CARRIED_OUT
    assert not [one for one in measured.inputs if one.source == "removal carried out, width"]


def test_a_plan_has_a_plans_tolerances() -> None:
    """Nothing of a planned build counts as measured, however it was typed."""
    measured, planned = bow(), bow(planned=True)
    sds = {one.name: one.sd for one in measured.inputs}

    for one in planned.inputs:
        assert one.sd >= sds[one.name]
    assert {one.name: one.sd for one in planned.inputs}["layers.1.butt"] == tolerances.THICKNESS_SD_IN[
        Taken.PLANNED
    ]


@pytest.mark.parametrize(
    ("name", "shift", "look"),
    [
        ("length", 0.2, lambda made: made.upper.length - 24),
        ("layers.1.butt", 0.004, lambda made: made.upper.lams[1].thickness[0] - 0.130),
        ("layers.1.butt", 0.004, lambda made: made.upper.lams[1].thickness[1] - 0.100),
        ("widths.0.belly", 0.01, lambda made: made.upper.width_belly[1][0] - 1.25),
        ("brace", 0.1, lambda made: made.brace - 9.5),
        ("glue line", 0.001, lambda made: made.glue_line - tolerances.GLUE_LINE_IN),
        ("trap", -0.05, lambda made: made.upper.width_back[1][0] - 1.25),
        ("string stiffness", 0.2, lambda made: made.string_stiffness_factor - 1),
    ],
)
def test_an_input_can_be_shifted(name: str, shift: float, look: Any) -> None:
    """The same record with one input shifted is the geometry shifted by that; a length by half of it on each limb."""
    expected = shift / 2 if name == "length" else shift

    assert look(bow(shifts={name: shift})) == pytest.approx(expected, abs=1e-12)


def test_every_input_does_something() -> None:
    """No input is listed that the geometry does not rest on."""
    plain = bow(shop.removal())
    for one in plain.inputs:
        shifted = bow(shop.removal(), shifts={one.name: one.sd})
        assert shifted != plain, one.name


@given(st.lists(st.floats(0.001, 0.05), min_size=1, max_size=5))
def test_sides_add_up_in_any_order(amounts: list[float]) -> None:
    """Passes off the sides add up, whatever their order."""

    def after(passes: Sequence[float]) -> Polyline:
        return bow(*(shop.removal(done=[{"amount_in": amount}]) for amount in passes)).upper.width_belly

    forward, backward = after(amounts), after(amounts[::-1])
    assert at(forward, 0) == pytest.approx(1.25 - sum(amounts), abs=1e-12)
    assert forward[1] == pytest.approx(backward[1], abs=1e-12)


@pytest.mark.parametrize(
    ("typed", "message"),
    [
        (
            shop.removal(done=[{"amount_in": "5/8"}]),
            r"wanted some width left, got -0\.125 in; correct the removals",
        ),
        (
            shop.removal(method="belly-glass", done=[{"amount_in": ".050"}]),
            r"wanted some thickness of the belly-glass left, got 0\.000 in; correct the removals",
        ),
        (
            shop.removal(method="trap", done=[{"amount_in": "5/8"}]),
            r"wanted some width of the back left, got -0\.125 in; correct the removals",
        ),
    ],
)
def test_what_leaves_nothing_is_refused(typed: shop.Typed, message: str) -> None:
    """A removal of more than there is has no geometry, and says what is left where."""
    with pytest.raises(ValueError, match=message):
        bow(typed)


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        (
            {
                "layers": [
                    {"part": "power", "material": "ipe", "butt_in": ".06", "from_in": "6", "to_in": "5"}
                ]
            },
            "wanted a lam that ends beyond its butt, got 6 to 5 in; correct from_in or to_in",
        ),
        (
            {"layers": [{"part": "core", "material": "ipe", "butt_in": ".06", "taper_per_in": 0.01}]},
            r"wanted a lam with some thickness, got -0\.\d{3} in at its tip; correct taper_per_in or to_in",
        ),
        (
            {
                "widths": [
                    {"at": "fade", "belly_in": "1", "limb": "upper"},
                    {"at": "nock", "belly_in": ".5", "limb": "upper"},
                ]
            },
            "wanted at least two widths on the lower limb, got 0; measure fade and nock",
        ),
        ({"length_in": "15"}, "wanted a limb, got -"),
    ],
)
def test_what_has_no_geometry_is_refused(changes: dict[str, Any], message: str) -> None:
    """A record without a possible bow is refused with what to correct."""
    with pytest.raises(ValueError, match=message):
        bow(**changes)


def test_the_nock_moves_with_a_shortening() -> None:
    """After a limb is shortened, the nock of later removals is that of the shorter limb."""
    shorten = shop.removal(method="shorten", done=[{"at": "nock", "amount_in": "1"}])
    ends = [{"at": "fade", "amount_in": "0"}, {"at": "nock", "amount_in": "1/8"}]
    before, after = bow(shorten).upper, bow(shorten, shop.removal(method="sides", done=ends)).upper

    assert at(before.width_belly, 23) - at(after.width_belly, 23) == pytest.approx(1 / 8)


@pytest.mark.parametrize("limb", ["upper", "both"])
def test_many_shifts_at_once_are_each_one_by_itself(limb: str) -> None:
    """Geometries that share what no shift touches are those made one at a time, in whatever order."""
    methods = (("sides", ".03"), ("belly-glass", ".003"), ("edges", ".125"), ("trap", ".02"))
    history = events(
        *(
            shop.removal(limb=limb, method=method, done=[{"at": "mid", "amount_in": amount}])
            for method, amount in methods
        )
    )
    assert len(history) == len(methods)
    recorded = bow_at(form(), build(), history)
    shifts = [{one.name: one.sd} for one in recorded.inputs]
    shifts += [{}, *reversed(shifts), shifts[0] | shifts[-1]]

    together = list(shifted_bows(form(), build(), history, shifts))

    assert together == [bow_at(form(), build(), history, shift) for shift in shifts]
    assert together[0] != recorded
