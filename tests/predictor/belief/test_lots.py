"""A strip tells of its lot in closed form, with what it is known to, and a prediction counts it at once."""

from math import exp, hypot, log, sqrt
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from datasets.book import read_record
from datasets.contents import Contents
from datasets.materials import handbook
from datasets.record import DrawLength, Taken, ZeroPoint
from datasets.schema import Stage, StripTest, Support
from datasets.tolerances import (
    CALIPER_SD_IN,
    DEFLECTION_SD_IN,
    HUNG_LOAD_SD,
    SEATING_SD_IN,
    SPAN_SD_IN,
    WIDTH_SD_IN,
)
from predictor.belief.foresight import Situation
from predictor.belief.lots import Lot, lot_belief, read_strip, with_strips
from predictor.belief.model import prior_belief
from predictor.belief.strip import load_number
from predictor.prediction.gains import Budget, budget
from predictor.prediction.predict import Prediction, predict
from tests import shop
from tests.predictor.example_bows import STRAIGHT, build

MAPLE, GLASS = "hard maple", "limb glass"
SPECIES_SD, LOT_SD, BOW_SD = 0.10, 0.06, 0.02
"""Of wood before training: handbook defaults of the project, and the prior scale of lots."""

AT_28 = (DrawLength(inch=28, zero=ZeroPoint.STANDARD),)
READ = Situation((), AT_28, Stage.TILLERED)


def strip(number: int = 1, stiffer: float = 1.0, **changes: Any) -> StripTest:
    """Return a strip of hard maple whose loads are so much larger than those of the plain one."""
    data = shop.strip(id=f"STRIP-{number:03d}", **changes).data
    loads = [
        {**one, "load": {"lbf": stiffer * pounds}}
        for one, pounds in zip(data["loads"], (1, 2, 3), strict=False)
    ]
    record = read_record("strip", {**data, "loads": loads}, Contents()).record
    assert isinstance(record, StripTest)
    return record


def predicted(*strips: StripTest) -> Prediction:
    """Return the prediction of a bow of maple lot m1 before training, with strips."""
    result = predict(STRAIGHT, build(), (), AT_28, handbook(), strips=strips)
    assert isinstance(result, Prediction)
    return result


def test_a_strip_reads_in_psi() -> None:
    """A strip that bends little has the modulus P S³ / 48 I δ; the logarithm is that over the handbook's."""
    by_hand = 1 * 20**3 * 12 / (48 * 0.1 * 1.5 * 0.125**3)
    reading = read_strip(strip(loads=[{"load": "1", "deflection_in": ".1"}]), handbook())

    assert reading.found.modulus == pytest.approx(by_hand, rel=0.001)
    assert reading.log_ratio == pytest.approx(log(reading.found.modulus / handbook()[MAPLE].modulus_psi))
    assert reading.log_sd == pytest.approx(hypot(reading.found.log_sd, BOW_SD))


def test_one_strip_by_hand() -> None:
    """A lot's belief is the precision-weighted mean of handbook and strip; another lot learns by its species alone."""
    reading = read_strip(strip(), handbook())
    belief = with_strips(prior_belief(), [strip()], handbook())
    own = lot_belief(belief, Lot(MAPLE, "m7"), handbook())
    other = lot_belief(belief, Lot(MAPLE, "m8"), handbook())

    prior = SPECIES_SD**2 + LOT_SD**2
    gain = prior / (prior + reading.log_sd**2)
    assert own.mean[0] == pytest.approx(gain * reading.log_ratio)
    assert own.sd[0] == pytest.approx(sqrt(prior * (1 - gain)))
    species_gain = SPECIES_SD**2 / (prior + reading.log_sd**2)
    assert other.mean[0] == pytest.approx(species_gain * reading.log_ratio)
    assert other.sd[0] == pytest.approx(sqrt(prior - SPECIES_SD**2 * species_gain))


@pytest.mark.parametrize("strips", [1, 4, 100])
def test_strips_read_alike_by_hand(strips: int) -> None:
    """Of the mean of n strips read alike, what they share stays whole and the rest shrinks as 1/n: GUM 5.2.2, eq. 13.

    The shared parts are 3 x 0.0005/0.125 of the caliper, 0.005 of the weights, (2 + 1) x 0.030/20 of the span by rule
    and the shear, 12 x 16 / (10 x 160 x 160) by Eq. 9-2 of the Wood Handbook.
    """
    alike = strip(loads=[{"load": "1", "deflection_in": ".1"}])
    reading = read_strip(alike, handbook())
    told = [alike.model_copy(update={"id": f"STRIP-{n:03d}"}) for n in range(1, strips + 1)]
    own = lot_belief(with_strips(prior_belief(), told, handbook()), Lot(MAPLE, "m7"), handbook())

    shared = hypot(3 * 0.0005 / 0.125, 0.005, 3 * 0.030 / 20, 12 * 16 / (10 * 160**2))
    assert reading.shared_sd == pytest.approx(shared, rel=0.001)
    assert hypot(reading.own_sd, reading.shared_sd) == pytest.approx(reading.log_sd)
    prior = SPECIES_SD**2 + LOT_SD**2
    error = reading.shared_sd**2 + reading.own_sd**2 / strips
    assert own.sd[0] == pytest.approx(sqrt(prior * error / (prior + error)))
    assert own.mean[0] == pytest.approx(prior / (prior + error) * reading.log_ratio)


def test_another_instrument_brings_more_than_the_same() -> None:
    """A second strip whose thickness was read by micrometer narrows a lot more than one by the same caliper again.

    It is claimed no better read than by caliper: only the error that both would share is gone.
    """
    first, again = (strip(n, loads=[{"load": "1", "deflection_in": ".1"}]) for n in (1, 2))
    elsewhere = strip(2, loads=[{"load": "1", "deflection_in": ".1"}], thickness_sd_in=0.0015)
    same, other = (
        lot_belief(with_strips(prior_belief(), [first, second], handbook()), Lot(MAPLE, "m7"), handbook())
        for second in (again, elsewhere)
    )

    assert read_strip(elsewhere, handbook()).log_sd == pytest.approx(read_strip(again, handbook()).log_sd)
    assert other.sd[0] < same.sd[0]


def test_the_order_of_strips_does_not_matter() -> None:
    """Strips told one after the other, either way round, leave the same belief as all together."""
    strips = [strip(1, 1.1), strip(2, 0.95, lot="m8"), strip(3, 1.05)]
    together = with_strips(prior_belief(), strips, handbook())
    one_by_one = prior_belief()
    for one in reversed(strips):
        one_by_one = with_strips(one_by_one, [one], handbook())

    for lot in ("m7", "m8", "m9"):
        first, second = (lot_belief(b, Lot(MAPLE, lot), handbook()) for b in (together, one_by_one))
        assert first.mean == pytest.approx(second.mean, abs=1e-12)
        assert first.sd == pytest.approx(second.sd, rel=1e-10)


@given(st.floats(0.7, 1.4), st.sampled_from(["m1", "m2"]))
def test_a_strip_never_widens_what_is_believed_of_a_lot(stiffer: float, lot: str) -> None:
    """Whatever a strip says before training, of the lot or of another one, the lot is known better with it."""
    told = with_strips(prior_belief(), [strip(1, stiffer, lot=lot)], handbook())
    before, after = (lot_belief(b, Lot(MAPLE, "m1"), handbook()).sd[0] for b in (prior_belief(), told))

    assert after < before


def test_a_strip_narrows_a_prediction() -> None:
    """A strip of the bow's own lot narrows its interval more than one of another lot, and either more than none."""
    sds = [predicted(*strips).draws[0].log_sd for strips in ((), [strip(lot="m2")], [strip(lot="m1")])]

    assert sds[0] > sds[1] > sds[2]


def test_a_stiffer_strip_means_a_heavier_bow() -> None:
    """A strip moves the weight by the wood's share of the bow's stiffness times what the lot's belief moved."""
    before = predicted()
    after = predicted(strip(1, 0.99, lot="m1"))
    moved = log(after.draws[0].weight_lbf / before.draws[0].weight_lbf)
    lot = lot_belief(
        with_strips(prior_belief(), [strip(1, 0.99, lot="m1")], handbook()), Lot(MAPLE, "m1"), handbook()
    )
    stiffer = {**handbook(), MAPLE: _times(exp(float(lot.mean[0])))}
    solved = predict(STRAIGHT, build(), (), AT_28, stiffer)
    assert isinstance(solved, Prediction)

    assert moved == pytest.approx(log(solved.draws[0].weight_lbf / before.draws[0].weight_lbf), rel=0.02)
    assert "1 strip test counted" in after.basis
    assert "strip" not in before.basis


def _times(factor: float) -> Any:
    maple = handbook()[MAPLE]
    return maple.model_copy(update={"modulus_psi": maple.modulus_psi * factor})


def test_strips_of_other_woods_are_not_counted() -> None:
    """A strip of a wood that the bow has none of changes nothing."""
    assert predicted(strip(material="red elm")) == predicted()


def test_shares_add_up_with_a_strip() -> None:
    """The squares of the sources' shares are the square of the standard deviation with a strip too."""
    prediction = predicted(strip(lot="m1"))
    main = prediction.draws[0]

    assert sqrt(sum(share.sd_lbf**2 for share in prediction.shares)) == pytest.approx(
        main.log_sd * main.weight_lbf
    )
    assert "what builds and strip tests so far leave open" in {share.source for share in prediction.shares}


def test_a_second_strip_is_worth_less_than_the_first() -> None:
    """The budget knows of the strips that were bent: testing the same lot again brings less than it did."""

    def gained(*strips: StripTest) -> float:
        told = budget(STRAIGHT, build(), (), READ, handbook(), strips=strips)
        assert isinstance(told, Budget)
        (gain,) = [one for one in told.gains if one.measure == "strip test of hard maple, m1"]
        return told.half_width_lbf - gain.half_width_lbf

    assert 0 < gained(strip(lot="m1")) < gained() / 2


def test_the_budget_says_what_a_strip_will_bring() -> None:
    """The reach told before a strip is bent is the one found after, if it is read to 2 % and says what is expected."""
    told = budget(STRAIGHT, build(), (), READ, handbook())
    assert isinstance(told, Budget)
    (gain,) = [one for one in told.gains if one.measure == "strip test of hard maple, m1"]
    rough = strip(lot="m1", thickness_sd_in=1e-6)
    others = read_strip(rough, handbook())
    sd = 0.125 / 3 * sqrt(0.02**2 - others.found.log_sd**2)
    after = predicted(strip(1, exp(-others.log_ratio), lot="m1", thickness_sd_in=sd))
    (interval,) = [one for one in after.draws[0].intervals if one.level == 0.9]

    assert gain.half_width_lbf < 0.97 * told.half_width_lbf
    assert (interval.high_lbf - interval.low_lbf) / 2 == pytest.approx(gain.half_width_lbf, rel=0.002)


@pytest.mark.parametrize("again", ["m1", "m2"])
def test_the_budget_says_what_one_more_strip_will_bring(again: str) -> None:
    """Of a lot with a strip, and of another lot of that wood, the reach told is the one that such a strip then leaves.

    Both strips say what is expected, and share the caliper, the weights and the span.
    """
    first = strip(1, exp(-read_strip(strip(), handbook()).log_ratio), lot="m1")
    second = first.model_copy(update={"id": "STRIP-002", "lot": again})
    layers = tuple(
        layer.model_copy(update={"lot": again}) if layer.material == MAPLE else layer
        for layer in build().layers
    )
    bow = build().model_copy(update={"layers": layers})
    told = budget(STRAIGHT, bow, (), READ, handbook(), strips=(first,))
    assert isinstance(told, Budget)
    (gain,) = [one for one in told.gains if one.measure == f"strip test of hard maple, {again}"]
    after = predict(STRAIGHT, bow, (), AT_28, handbook(), strips=(first, second))
    assert isinstance(after, Prediction)
    (interval,) = [one for one in after.draws[0].intervals if one.level == 0.9]

    assert gain.half_width_lbf < told.half_width_lbf
    assert (interval.high_lbf - interval.low_lbf) / 2 == pytest.approx(gain.half_width_lbf, rel=1e-6)


def test_intervals_of_lots_hold_as_often_as_they_say() -> None:
    """Of 500 lots drawn from handbook scatter and tested with true errors, the 90 % interval holds 90 %.

    The band is three binomial standard errors, 4 %.
    """
    rng = np.random.default_rng(20261125)
    plain = read_strip(strip(), handbook())
    inside = 0
    for _ in range(500):
        lot = rng.normal(0, hypot(SPECIES_SD, LOT_SD))
        error = rng.normal(0, plain.log_sd)
        tested = strip(1, exp(lot + error - plain.log_ratio))
        found = lot_belief(with_strips(prior_belief(), [tested], handbook()), Lot(MAPLE, "m7"), handbook())
        inside += bool(abs(found.mean[0] - lot) < 1.6449 * found.sd[0])

    assert inside / 500 == pytest.approx(0.9, abs=0.04)


def _four_strips_of_one_caliper(rng: np.random.Generator, lot: float) -> list[StripTest]:
    """Bend four glass strips of a lot, read by one caliper and loaded by one set of weights, each a little off."""
    glass = handbook()[GLASS]
    caliper, weights, span = rng.normal(0, [CALIPER_SD_IN, HUNG_LOAD_SD, SPAN_SD_IN[Taken.CALIPER]])
    strips = []
    for number in range(1, 5):
        psi = glass.modulus_psi * exp(lot + rng.normal(0, glass.bow_sd))
        true_load = float(load_number(Support.THREE_POINT, 0.03)[0]) * psi * 1.5 * 0.05**3 / 12 / 20**2
        down = 0.03 * 20 + rng.normal(0, SEATING_SD_IN) + rng.normal(0, DEFLECTION_SD_IN[Taken.CALIPER])
        changes = {
            "material": GLASS,
            "lot": "g1",
            "thickness_in": {"inch": 0.05 + caliper, "taken": "caliper"},
            "width_in": {"inch": 1.5 + rng.normal(0, WIDTH_SD_IN[Taken.CALIPER]), "taken": "caliper"},
            "span_in": {"inch": 20 + span, "taken": "caliper"},
            "loads": [
                {
                    "load": {"lbf": true_load * exp(weights)},
                    "deflection_in": {"inch": down, "taken": "caliper"},
                }
            ],
        }
        record = read_record("strip", shop.strip(id=f"STRIP-{number:03d}", **changes).data, Contents()).record
        assert isinstance(record, StripTest)
        strips.append(record)
    return strips


def test_intervals_hold_for_several_strips_of_one_caliper() -> None:
    """Of 200 glass lots, each told by four strips that share their instruments' errors, 90 % intervals hold 90 %.

    The band is three binomial standard errors, 6.4 %. Counted as four independent strips they would hold fewer than
    that: the errors are drawn in inches and pounds, as a bench makes them.
    """
    rng = np.random.default_rng(20261129)
    glass = handbook()[GLASS]
    prior_sd = float(lot_belief(prior_belief(), Lot(GLASS, "g1"), handbook()).sd[0])
    inside = as_independent = 0
    for _ in range(200):
        lot = rng.normal(0, prior_sd)
        tested = _four_strips_of_one_caliper(rng, lot)
        found = lot_belief(with_strips(prior_belief(), tested, handbook()), Lot(GLASS, "g1"), handbook())
        inside += bool(abs(found.mean[0] - lot) < 1.6449 * found.sd[0])
        readings = [read_strip(one, handbook()) for one in tested]
        precision = prior_sd**-2 + sum(one.log_sd**-2 for one in readings)
        mean = sum(one.log_ratio / one.log_sd**2 for one in readings) / precision
        as_independent += bool(abs(mean - lot) < 1.6449 * precision**-0.5)

    assert glass.bow_sd < readings[0].shared_sd
    assert inside / 200 == pytest.approx(0.9, abs=0.064)
    assert as_independent / 200 < 0.9 - 0.064
