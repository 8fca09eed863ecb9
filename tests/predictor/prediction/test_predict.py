"""A prediction before learning: its interval is honest, and says where its width comes from."""

import subprocess
import sys
from itertools import product
from math import sqrt
from typing import Any

import numpy as np
import pytest

from datasets.history import bow_at
from datasets.materials import handbook
from datasets.record import Dimension, DrawLength, Taken, ZeroPoint
from datasets.schema import Event, Form, Removal, Stage, WeighIn
from predictor.belief.settling import FOLLOWED_SHOTS
from predictor.bows.bow import Refusal, weights
from predictor.prediction.predict import Prediction, predict
from tests.predictor.example_bows import GLASS, REFLEXED, STRAIGHT, build, core

DRAWS = tuple(DrawLength(inch=inch, zero=ZeroPoint.STANDARD) for inch in (26, 27, 28, 29))


def predicted(
    form: Form = STRAIGHT,
    events: tuple[Event, ...] = (),
    draws: tuple[DrawLength, ...] = DRAWS,
    **changes: Any,
) -> Prediction:
    """Return the prediction of a build with some fields changed."""
    result = predict(form, build(**changes), events, draws, handbook())
    assert isinstance(result, Prediction), result
    return result


def cut_at(**amounts: str) -> list[dict[str, str]]:
    """Return cuts by place."""
    return [{"at": place, "amount_in": amount} for place, amount in amounts.items()]


def width(prediction: Prediction, level: float = 0.9) -> float:
    """Return the relative width of the interval at the main draw."""
    main = next(d for d in prediction.draws if d.draw == prediction.main_draw)
    interval = next(i for i in main.intervals if i.level == level)
    return (interval.high_lbf - interval.low_lbf) / main.weight_lbf


def test_shares_add_up() -> None:
    """The squares of the sources' shares are the square of the standard deviation at the main draw."""
    prediction = predicted()
    main = prediction.draws[2]

    assert prediction.main_draw == main.draw
    assert sqrt(sum(s.sd_lbf**2 for s in prediction.shares)) == pytest.approx(main.log_sd * main.weight_lbf)


def test_planned_is_wider_than_measured() -> None:
    """The interval of a planned layup is wider than that of the same one measured."""
    assert width(predicted(planned=True)) > 1.02 * width(predicted())


def test_eighty_lies_inside_ninety() -> None:
    """The 80 % interval lies inside the 90 % one, and both hold the weight."""
    for at_draw in predicted().draws:
        eighty, ninety = at_draw.intervals

        assert ninety.low_lbf < eighty.low_lbf < at_draw.weight_lbf < eighty.high_lbf < ninety.high_lbf


def test_interval_against_simulation() -> None:
    """Drawing every modulus and dimension from its scatter and solving each bow gives the same spread to 6 %.

    Of 600 draws the spread has a standard error of 2.9 %; the tolerance is two of them. Scatter that no dimension
    explains is left out of both sides, for it is not propagated.
    """
    rng = np.random.default_rng(20261125)
    bow, materials = build(), handbook()
    base = bow_at(STRAIGHT, bow)
    simulated, moduli = [], []
    for _ in range(600):
        shifts = {i.name: rng.normal(0, i.sd) for i in base.inputs}
        simulated.append(bow_at(STRAIGHT, bow, (), shifts))
        moduli.append(
            {
                (name, lot): materials[name].modulus_psi
                * np.exp(
                    rng.normal(
                        0,
                        np.hypot(
                            np.hypot(materials[name].species_sd, materials[name].lot_sd),
                            materials[name].bow_sd,
                        ),
                    )
                )
                for name, lot in (("limb glass", "g1"), ("hard maple", "m1"))
            }
        )
    drawn = weights(simulated, moduli, np.full((600, 1), 28.0 - 1.75 + 2.25))
    spread = np.log(drawn.lbf[:, 0]).std(ddof=1)
    unexplained = {
        "what beam statics leave out",
        "the form's true shape",
        "statics off by stack, length and share of wood",
        "shape of the draw curve",
        "this bow's own scatter",
        "moisture and temperature",
        "a scale that nobody noted",
        "reading the scale and the draw",
    }
    prediction = predicted()
    explained = sqrt(sum(s.sd_lbf**2 for s in prediction.shares if s.source not in unexplained))

    assert explained / prediction.draws[2].weight_lbf == pytest.approx(spread, rel=0.06)


def test_pounds_per_inch() -> None:
    """Near 28 in a fifty-pound bow gains 2.3 to 3.8 lb per inch, short bows more (common practice, no source)."""
    long = predicted().draws[2]
    short = predicted(length_in="60").draws[2]
    at_fifty = [d.per_inch_lbf * 50 / d.weight_lbf for d in (long, short)]

    assert 2.3 <= at_fifty[0] <= 3.8
    assert at_fifty[1] > at_fifty[0]


def test_slope_agrees_with_neighbouring_draws() -> None:
    """Pounds per inch are the slope of the weights, to the curvature of the draw curve."""
    d27, d28, d29 = predicted().draws[1:]

    assert d28.per_inch_lbf == pytest.approx((d29.weight_lbf - d27.weight_lbf) / 2, rel=0.01)


# Single reported bows: one builder's stack, length and weight each (common practice, no source). What was not reported
# is taken at the ends of what is usual: rigid riser 12 to 18 in, fade 1 to 1 1/4 in and nock 3/8 to 5/8 in wide, 0 to
# 1 in of string follow.
FADES = ("1", "1 1/4")
REPORTED = {
    "42 at 28": (
        42,
        "68",
        FADES,
        [GLASS, core(".125", taper_per_in=0.0015), core(".105"), core(".085"), GLASS],
    ),
    "35 at 28": (35, "66", FADES, [GLASS, core(".297"), GLASS]),
    "slim, 27 at 28": (27, "66", FADES[:1], [GLASS, core(".133"), core(".127"), GLASS]),
}


@pytest.mark.parametrize("name", REPORTED)
def test_reported_bows(name: str) -> None:
    """A reported weight lies within what the unreported dimensions span, each with its 80 % interval."""
    reported, length, fades, layers = REPORTED[name]
    lows, highs = [], []
    for riser, fade, nock, follow in product(("12", "18"), fades, ("3/8", "5/8"), ("0", "1")):
        form = STRAIGHT.model_copy(update={"riser_length_in": Dimension(inch=float(riser), taken=Taken.RULE)})
        widths = [{"at": "fade", "belly_in": fade}, {"at": "nock", "belly_in": nock}]
        changes = {"length_in": length, "widths": widths, "layers": layers, "follow_in": follow}
        eighty = predicted(form=form, **changes).draws[2].intervals[0]
        lows.append(eighty.low_lbf)
        highs.append(eighty.high_lbf)

    assert min(lows) <= reported <= max(highs)


def test_zero_points_name_the_same_draw() -> None:
    """28 in is 26 1/4 in to the pivot (AMO FP-3), and a bow weighs the same at both."""
    pivot = DrawLength(inch=26.25, zero=ZeroPoint.PIVOT)

    assert predicted(draws=(pivot,)).draws[0].weight_lbf == pytest.approx(predicted().draws[2].weight_lbf)


def test_removal_lowers_the_weight() -> None:
    """A bow with its sides taken in weighs less, about in proportion to its width (beam theory)."""
    narrowed = Removal.model_validate(
        {
            "id": "K-001/1", "build": "K-001", "on": "2026-03-01", "method": "sides",
            "done": cut_at(fade="1/8", mid=".1", nock=".05"),
        }
    )  # fmt: skip
    before, after = (predicted(events=events).draws[2].weight_lbf for events in ((), (narrowed,)))

    assert after / before == pytest.approx(0.9, abs=0.012)


def test_recurve_is_predicted() -> None:
    """A working recurve is braced and drawn."""
    prediction = predicted(
        form=REFLEXED, form_revision=1, length_in="62", brace="7 3/4",
        layers=[GLASS, core(".080"), core(".085", taper_per_in=0.001), GLASS],
        widths=[{"at": "fade", "belly_in": "1 3/4"}, {"at": "nock", "belly_in": "3/4"}],
    )  # fmt: skip

    assert 20 < prediction.draws[2].weight_lbf < 70


def test_a_bow_that_cannot_be_drawn_is_refused() -> None:
    """A very short bow cannot be drawn to 40 in, and the refusal says so and how far it went."""
    draws = (DrawLength(inch=40, zero=ZeroPoint.STANDARD),)
    result = predict(STRAIGHT, build(length_in="46"), (), draws, handbook())

    assert isinstance(result, Refusal)
    assert "drawn" in result.reason
    assert "got to" in result.where


def test_quick_imports() -> None:
    """The predict path loads no data-frame, learning or plotting library."""
    heavy = "('pandas', 'sklearn', 'statsmodels', 'matplotlib')"
    code = (
        f"import sys, predictor.prediction.predict; print([name for name in {heavy} if name in sys.modules])"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)

    assert run.stdout.strip() == "[]"


def test_records_that_add_up_to_no_bow() -> None:
    """A taper that runs a lam to nothing is refused with what to correct, not with a traceback."""
    result = predict(
        STRAIGHT, build(layers=[GLASS, core(".100", taper_per_in=0.02), GLASS]), (), DRAWS, handbook()
    )

    assert isinstance(result, Refusal)
    assert "correct taper_per_in" in result.reason
    assert result.where == "in the records of K-001"


def test_a_power_lam_may_end_in_nothing() -> None:
    """A lam that tapers to nothing is solved, and its thickness counts only as far as there is wood to lose."""
    layers = [GLASS, core(".140"), core(".060", tip_in="0", to_in="6"), core(".140"), GLASS]

    assert predicted(layers=layers).draws[2].weight_lbf > 30


def test_own_weighings_are_counted() -> None:
    """A prediction of a weighed bow follows its own weighing, is less than half as wide, and says so."""
    weighed = WeighIn.model_validate(
        {
            "id": "K-001/1",
            "build": "K-001",
            "on": "2026-03-01",
            "stage": "tillered",
            "readings": [{"draw": "28", "weight": "52.5"}],
        }
    )
    told = predicted(events=(weighed,))

    assert told.draws[2].weight_lbf == pytest.approx(52.5, abs=0.5)
    assert told.force.interval.low_lbf < 52.5 < told.force.interval.high_lbf
    assert width(told) < width(predicted()) / 2
    assert "1 weighing of its own counted" in told.basis


def test_a_reading_after_few_full_draws_does_not_count() -> None:
    """It changes nothing, and is named; with thirty draws noted it counts, as one does with none noted."""
    one = {"id": "K-001/1", "build": "K-001", "on": "2026-03-04", "stage": "tillered"}
    read = [{"draw": "28", "weight": "53"}]

    def after(pulls: int | None) -> Prediction:
        return predicted(events=(WeighIn.model_validate({**one, "readings": read, "pulls": pulls}),))

    assert after(3).draws == predicted().draws
    assert "own" not in after(3).basis
    assert (
        "K-001/1 was read after 3 full draws: does not count before about 30; pull it some more and weigh again"
        in after(3).notes
    )
    assert after(30).draws == after(None).draws
    assert width(after(30)) < 0.5 * width(after(3))
    assert not any("full draws" in note for note in after(30).notes)


def test_readings_of_one_day_share_its_air() -> None:
    """However often a bow is weighed on one day, air and a scale that nobody noted stay: 1 and .6 % of the force.

    On as many days the air averages out, and the scale alone stays.
    """
    one = {"build": "K-001", "stage": "tillered", "readings": [{"draw": "28", "weight": "52.5"}]}
    one_day, many_days = (
        tuple(
            WeighIn.model_validate({**one, "id": f"K-001/{n}", "on": f"2026-03-{1 + n * apart:02d}"})
            for n in range(1, 13)
        )
        for apart in (0, 2)
    )
    before, together, spread = (
        float(np.log(force.interval.high_lbf / force.interval.low_lbf)) / (2 * 1.645)
        for force in (predicted(events=events).force for events in ((), one_day, many_days))
    )

    assert together > 1 / np.hypot(1 / before, 1 / np.hypot(0.01, 0.006))
    assert 0.99 * 0.006 < spread < 0.9 * together


def test_a_settled_weight_says_what_law_it_rests_on() -> None:
    """Of a settled bow it is said that the law of settling is a default; of a tillered one nothing of it."""
    said = "settling goes as log(1 + shots / 10) by default"

    settled = predict(STRAIGHT, build(), (), DRAWS, handbook(), stage=Stage.SETTLED)

    assert isinstance(settled, Prediction)
    assert [note for note in settled.notes if note.startswith(said)]
    assert not [note for note in predicted().notes if note.startswith("settling")]


@pytest.mark.parametrize(("shots", "told"), [(None, 0), (FOLLOWED_SHOTS, 0), (FOLLOWED_SHOTS + 1, 1)])
def test_a_settled_weight_far_from_any_weighing_is_extrapolated(shots: int | None, told: int) -> None:
    """Beyond the shots that bows are usually followed over, a settled weight is said to be extrapolated."""
    settled = predict(STRAIGHT, build(), (), DRAWS, handbook(), stage=Stage.SETTLED, shots=shots)

    assert isinstance(settled, Prediction)
    assert len([note for note in settled.notes if "is extrapolated" in note]) == told
