"""Why two bows differ: parts that add up, change sign with the bows, and follow the laws of beams."""

from math import log
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from datasets.history import bow_at
from datasets.materials import handbook
from datasets.record import DrawLength, ZeroPoint
from datasets.schema import Event, Form, Removal, Rigging, Stage
from datasets.zero_points import from_back
from predictor.belief import posterior
from predictor.belief.columns import Columns, columns
from predictor.belief.model import prior_belief
from predictor.belief.scatter import BOW, PRIOR_SCATTER
from predictor.belief.seen import seen_by
from predictor.belief.weighings import moment_at
from predictor.bows.bow import handbook_moduli, weights
from predictor.bows.features import Case, Features, features
from predictor.planning.prospects import apart
from predictor.prediction.between import (
    BRACE,
    CORES,
    DRAW,
    GLASS,
    KINDS,
    LENGTH,
    MAKE_OF_CORES,
    WIDTHS,
    Stood,
    mixed,
)
from predictor.prediction.differences import by_effects, by_statics, logarithmic_mean
from tests.predictor.example_bows import REFLEXED, STRAIGHT, build


def stood(
    form: Form = STRAIGHT, draw_in: float = 28, events: tuple[Event, ...] = (), **changes: Any
) -> Stood:
    """Return a bow with some fields changed."""
    return Stood(form, build(**changes), events, draw_in)


def log_weight(bow: Stood) -> float:
    """Return the logarithm of its weight by the statics."""
    at = bow_at(bow.form, bow.build, bow.events)
    back = from_back(bow.draw_in, ZeroPoint.STANDARD, bow.form.handle_depth_in.inch)
    return log(weights([at], [handbook_moduli(at, handbook())], np.array([[back]])).lbf[0, 0])


def parts(first: Stood, second: Stood) -> dict[str, float]:
    """Return the parts of a difference, zeros left out."""
    found = by_statics(first, second, handbook())
    assert isinstance(found, dict), found
    return {kind: part for kind, part in found.items() if abs(part) > 1e-12}


CUT = Removal.model_validate(
    {
        "id": "K-002/1",
        "build": "K-002",
        "on": "2026-03-01",
        "method": "sides",
        "done": [{"at": "fade", "amount_in": "1/16"}, {"at": "nock", "amount_in": "1/16"}],
    }
)
REBRACED = Rigging.model_validate({"id": "K-002/2", "build": "K-002", "on": "2026-03-02", "brace": "7 1/8"})


def test_equal_bows_do_not_differ() -> None:
    """A bow against itself has no part at all."""
    assert parts(stood(), stood()) == {}


def test_bows_between_start_and_end_with_the_two() -> None:
    """With no kind of the other a mixed bow weighs as the one, with all kinds as the other, events and all."""
    one, other = stood(), stood(REFLEXED, 27, (CUT, REBRACED), length_in="66")
    for taken, whole in (((), one), (KINDS, other)):
        assert log_weight(mixed(one.plain(), other.plain(), taken)) == pytest.approx(
            log_weight(whole), abs=1e-12
        )


def test_one_difference_has_it_all() -> None:
    """Where bows differ in one kind only, that kind has the whole difference and no other has any."""
    for kind, other in (
        (DRAW, stood(draw_in=27)),
        (BRACE, stood(events=(REBRACED,))),
        (WIDTHS, stood(events=(CUT,))),
        (LENGTH, stood(length_in="66")),
    ):
        assert parts(stood(), other) == pytest.approx(
            {kind: log_weight(stood()) - log_weight(other)}, rel=1e-9
        )


def test_weight_goes_as_width() -> None:
    """With square edges a bow five per cent wider everywhere is heavier by log 1.05 for its width, near enough.

    Stiffness goes as width; the string's stretch takes a little of it, less than one part in fifty.
    """
    widths = [(place, inch) for place, inch in (("fade", 1.2), ("mid", 1.0), ("nock", 0.6))]

    def wide(factor: float) -> Stood:
        noted = [
            {"at": place, "belly_in": round(factor * inch, 6), "back_in": round(factor * inch, 6)}
            for place, inch in widths
        ]
        return stood(widths=noted, edge_radius_in="0")

    assert parts(wide(1.05), wide(1.0)) == pytest.approx({WIDTHS: log(1.05)}, rel=0.02)


def layers(glass: str, thickness: str, wood: str = "hard maple") -> list[dict[str, Any]]:
    """Return glass about one core."""
    face = {"part": "glass", "material": "limb glass", "butt_in": glass}
    return [face, {"part": "core", "material": wood, "butt_in": thickness}, face]


bows = st.builds(
    lambda form, draw, length, glass, thickness, wood, events: stood(
        form, draw, events, length_in=length, layers=layers(glass, thickness, wood)
    ),
    st.sampled_from([STRAIGHT]),
    st.sampled_from([26.0, 27.5, 28.0]),
    st.sampled_from(["66", "68", "70"]),
    st.sampled_from([".040", ".050"]),
    st.sampled_from([".200", ".230"]),
    st.sampled_from(["hard maple", "red elm"]),
    st.sampled_from([(), (CUT,), (CUT, REBRACED)]),
)


@settings(max_examples=15)
@given(bows, bows)
def test_parts_add_up_and_change_sign(first: Stood, second: Stood) -> None:
    """Parts add up to the logarithm of the ratio of weights, and are the negative ones when the bows change places."""
    there, back = by_statics(first, second, handbook()), by_statics(second, first, handbook())
    assert isinstance(there, dict)
    assert isinstance(back, dict)

    assert sum(there.values()) == pytest.approx(log_weight(first) - log_weight(second), abs=1e-10)
    assert [there[kind] for kind in KINDS] == pytest.approx([-back[kind] for kind in KINDS], abs=1e-10)


def test_thickness_and_wood_are_told_apart() -> None:
    """A thicker core of a softer wood: thickness makes it heavier, the wood lighter, glass nothing."""
    found = parts(stood(layers=layers(".050", ".230", "red elm")), stood(layers=layers(".050", ".200")))

    assert set(found) == {CORES, MAKE_OF_CORES}
    assert found[CORES] > 0 > found[MAKE_OF_CORES]


def test_unlike_stacks_are_swapped_whole() -> None:
    """Where one bow has two cores and the other one, the lams' part holds thickness and wood together."""
    two = [*layers(".050", ".120")[:2], *layers(".050", ".120", "red elm")[1:]]
    found = parts(stood(layers=two), stood(layers=layers(".050", ".200")))

    assert set(found) == {CORES}
    assert GLASS not in found


@given(st.floats(5, 150), st.floats(5, 150))
def test_logarithmic_mean_turns_logarithms_into_pounds(first: float, second: float) -> None:
    """The mean times the logarithm of the ratio is the difference, and the mean lies between the two."""
    mean = logarithmic_mean(first, second)

    assert mean * log(first / second) == pytest.approx(first - second, abs=1e-9)
    assert min(first, second) * (1 - 1e-9) <= mean <= max(first, second) * (1 + 1e-9)


def told(form: Form = STRAIGHT, **changes: Any) -> Columns:
    """Return the columns of a bow's weight at 28 in."""
    bow = build(**changes)
    (found,) = features([Case(form, bow, (), (28.5,))], handbook())
    assert isinstance(found, Features)
    draw = DrawLength(inch=28, zero=ZeroPoint.STANDARD)
    return columns(found, moment_at(form, bow, [draw], Stage.TILLERED), handbook(), PRIOR_SCATTER)


def variance(row: Columns) -> float:
    """Return the variance of what columns explain before anything is learned."""
    belief = prior_belief()
    return float(posterior.predict(belief, seen_by(belief, row).rows).marginal().sd[0] ** 2)


def test_shared_doubts_cancel() -> None:
    """Two like bows of one lot differ by their own scatter and tolerances only: twice those of one."""
    row = told()
    own = Columns(**{**vars(row), "common": {}, "groups": {}})

    assert variance(apart(row, row)) == pytest.approx(2 * variance(own), rel=1e-12)
    assert variance(apart(row, row)) < variance(row)
    assert variance(own) > prior_belief().scale(BOW)[0] ** 2


def test_effects_add_up_to_the_mean_of_the_prediction() -> None:
    """Before training the parts of the effects are their priors' means, and shared ones cancel."""
    row = apart(told(layers=layers(".050", ".230", "red elm")), told())
    belief = prior_belief()

    assert sum(by_effects(belief, row).values()) + row.offset[0] == pytest.approx(
        seen_by(belief, row).offset[0], abs=1e-12
    )
    assert by_effects(belief, apart(told(), told())) == pytest.approx(
        dict.fromkeys(by_effects(belief, apart(told(), told())), 0.0)
    )
