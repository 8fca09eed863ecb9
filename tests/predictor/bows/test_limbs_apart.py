"""How unlike two limbs are: what the records leave open of it, and what a tiller tells."""

from dataclasses import dataclass, replace

import numpy as np
import pytest
from scipy import stats

from datasets.history import BowAt, LimbAt, bow_at, events_until
from datasets.materials import handbook
from datasets.record import DrawLength, ZeroPoint
from datasets.schema import Build, Event, Form, Part, WeighIn
from predictor.bows.bow import Moduli, Refusal, handbook_moduli
from predictor.bows.limbs_apart import READING_SD_IN, Difference, LeftOpen, doubted, left_open, spread
from predictor.bows.pairs import Pair, tillers
from predictor.bows.tiller import Tillered, tillered
from tests.predictor.example_bows import GLASS, STRAIGHT, build, core
from training.workshop.virtual_shop import VirtualShop, simulate

PLACES = (("fade", "1 1/4"), ("mid", "1"), ("nock", "1/2"))


def opened(recorded: Build | None = None) -> LeftOpen:
    """Return what is left open of a straight bow."""
    found = left_open(STRAIGHT, recorded or build(), (), handbook())
    assert isinstance(found, LeftOpen), found
    return found


def sd_in(found: LeftOpen) -> float:
    """Return the spread of the tiller in inches."""
    return abs(found.per_difference_in) * found.prior.sd


def solved(*pairs: Pair) -> np.ndarray:
    """Return the tillers of bows."""
    found = tillers(pairs)
    assert not isinstance(found, Refusal), found
    return found


def widths(taken: str, *limbs: str) -> list[dict[str, object]]:
    """Return widths as read once for both limbs, or once for each."""
    return [
        {"at": at, "belly_in": {"typed": typed, "taken": taken}, "limb": limb}
        for limb in limbs
        for at, typed in PLACES
    ]


def test_a_reading_is_weighed_against_the_prior() -> None:
    """Mean and sd after a reading are those of the joint normal distribution, conditioned by dense algebra."""
    sd, slope, reading_sd, misfit = 0.04, -3.0, 1 / 32, 0.2
    joint = np.array([[sd**2, slope * sd**2], [slope * sd**2, slope**2 * sd**2 + reading_sd**2]])
    told = Difference(0.01, sd).given(misfit, slope, reading_sd)

    assert told.mean == pytest.approx(0.01 + joint[0, 1] / joint[1, 1] * misfit)
    assert told.sd == pytest.approx(np.sqrt(joint[0, 0] - joint[0, 1] ** 2 / joint[1, 1]))


def test_what_is_read_of_both_limbs_is_no_difference() -> None:
    """A stack and widths noted with a rule or planned leave the tiller as open as those noted with a caliper."""
    layers = [layer.model_dump() for layer in build().layers]
    for layer in layers:
        layer["butt_in"] |= {"taken": "rule"}
    coarse = build(layers=layers, widths=widths("planned", "both"))

    assert sd_in(opened(coarse)) == pytest.approx(sd_in(opened()), rel=1e-6)


def test_what_both_limbs_share_cancels() -> None:
    """With like limbs, doubt of moduli, glue lines, string, brace and length moves no tiller at all."""
    pairs = doubted(STRAIGHT, build(), (), handbook())
    alike = [pair for pair in pairs[3:] if pair.bow.upper == pair.bow.lower]

    assert len(alike) > 10
    np.testing.assert_allclose(solved(*alike), 0.0, atol=1e-9)


def test_widths_read_of_each_limb_count_by_how_they_were_taken() -> None:
    """A caliper on each limb settles more than that two limbs come out alike, a rule or a plan less."""
    both = sd_in(opened())
    caliper, rule, planned = (
        sd_in(opened(build(widths=widths(taken, "upper", "lower"))))
        for taken in ("caliper", "rule", "planned")
    )

    assert caliper < both < rule < planned


def test_lots_that_differ_between_the_limbs_leave_more_open() -> None:
    """Cores of two lots, one for each limb, leave the tiller far more open than cores of one lot for both."""
    cores = [core(".140"), core(".170")]
    own = [
        one | {"lot": lot, "limb": limb} for limb, lot in (("upper", "m1"), ("lower", "m2")) for one in cores
    ]
    one_lot, two_lots = (build(layers=[GLASS, *inner, GLASS]) for inner in (cores, own))

    assert sd_in(opened(two_lots)) > 1.2 * sd_in(opened(one_lot))


@pytest.mark.parametrize("planted", [-0.03, 0.03])
def test_a_planted_difference_is_recovered(planted: float) -> None:
    """Limbs 3 % apart in stiffness give a tiller from which a sure reading finds 3 %, to 1 % of it.

    A reading by a rule finds the share of it that the two variances leave.
    """
    recorded = opened()
    bow = bow_at(STRAIGHT, build())
    moduli = handbook_moduli(bow, handbook())
    (read,) = solved(Pair(bow, moduli, moduli, planted))
    sure = recorded.prior.given(read - recorded.tiller_in, recorded.per_difference_in, 1e-6)
    by_rule = recorded.given(float(read))

    share = 1 / (1 + (READING_SD_IN / sd_in(recorded)) ** 2)
    assert np.sign(read) == -np.sign(planted)
    assert sure.mean == pytest.approx(planted, rel=0.01)
    assert by_rule.mean == pytest.approx(share * planted, rel=0.01)
    assert by_rule.sd == pytest.approx(recorded.prior.sd * np.sqrt(1 - share))


def test_a_thicker_limb_is_found_the_stiffer() -> None:
    """A limb of thicker cores, the other of thinner ones, is found stiffer by what its sections are on the average.

    For a limb of one stuff the stiffness goes with the cube of the thickness; here cores of .285 in in a stack of .365
    in grow by 2 % against the other's while the glass only moves outward, which adds under 6 % and over twice 2 %.
    """
    bow = bow_at(STRAIGHT, build())
    moduli = handbook_moduli(bow, handbook())
    thick = replace(bow, upper=_with_cores(bow.upper, 1.01), lower=_with_cores(bow.lower, 0.99))
    recorded = opened()
    (read,) = solved(Pair(thick, moduli, moduli))
    told = recorded.prior.given(read - recorded.tiller_in, recorded.per_difference_in, 1e-6)

    assert 2 * 0.02 * 0.285 / 0.365 < told.mean < 3 * 0.02


def _with_cores(limb: LimbAt, factor: float) -> LimbAt:
    """Return a limb with thicker cores."""
    lams = [
        lam if lam.part is Part.GLASS else replace(lam, thickness=tuple(factor * t for t in lam.thickness))
        for lam in limb.lams
    ]
    return replace(limb, lams=tuple(lams))


@dataclass(frozen=True)
class Stood:
    """A virtual bow as it was first weighed: its records, and its truth."""

    form: Form
    build: Build
    events: tuple[Event, ...]
    true: BowAt
    moduli: Moduli


def stood(shop: VirtualShop, rng: np.random.Generator) -> list[Stood]:
    """Return a shop's bows; each truly has its own strips of glass and its own spring-back in either limb."""
    kept = {kind: [r for r in shop.records if isinstance(r, kind)] for kind in (Form, Build)}
    forms = {form.id: form for form in kept[Form]}
    bows = []
    for one in kept[Build]:
        events = tuple(r for r in shop.records if getattr(r, "build", None) == one.id)
        first = next(event for event in events if isinstance(event, WeighIn))
        truth = shop.truth.bows[one.id]
        true = next(weighed.bow for weighed in truth.weighed if weighed.weigh_in == first.id)
        until = events_until(events, first)
        bows.append(Stood(forms[one.form], one, until, own_strips(rng, true), truth.moduli))
    return bows


def own_strips(rng: np.random.Generator, bow: BowAt) -> BowAt:
    """Return a bow whose strips of glass differ by half a thousandth, scattered so, and its tips by a thirty-second."""
    glass = rng.normal(0, 0.00025, len(bow.upper.lams))
    tip = rng.normal(0, 1 / 64)

    def own(limb: LimbAt, sign: int) -> LimbAt:
        lams = [
            replace(lam, thickness=tuple(value + sign * more for value in lam.thickness))
            if lam.part is Part.GLASS
            else lam
            for lam, more in zip(limb.lams, glass, strict=True)
        ]
        return replace(limb, lams=tuple(lams), follow=limb.follow + sign * tip)

    return replace(bow, upper=own(bow.upper, 1), lower=own(bow.lower, -1))


@pytest.mark.slow
def test_tillers_of_virtual_bows_lie_where_they_are_believed() -> None:
    """Of 160 bows nine in ten true tillers lie in the 90 % interval, and errors over their sd have an sd of one.

    So it is by the records alone, and after the tiller was read with a rule. Bands: those that 99 % of such counts and
    such standard deviations lie in (binomial; chi-square).
    """
    rng = np.random.default_rng(530000)
    bows = [one for seed in range(530000, 530008) for one in stood(simulate(seed, 20), rng)]
    recorded = [doubted(one.form, one.build, one.events, handbook()) for one in bows]
    true = solved(*(Pair(one.true, one.moduli, one.moduli) for one in bows))
    ends = np.cumsum([len(pairs) for pairs in recorded])[:-1]
    before = [spread(part) for part in np.split(solved(*(p for pairs in recorded for p in pairs)), ends)]
    read = true + rng.normal(0, 1 / 32, len(bows))
    after = [opened.given(float(value)) for opened, value in zip(before, read, strict=True)]
    even = [pairs[0] for pairs in recorded]
    now = solved(*(replace(pair, difference=told.mean) for pair, told in zip(even, after, strict=True)))
    sds = np.array([[o.prior.sd, told.sd] for o, told in zip(before, after, strict=True)])
    sds *= np.abs([[o.per_difference_in] for o in before])

    errors = (true[:, None] - np.stack([[o.tiller_in for o in before], now], axis=1)) / sds
    assert len(bows) >= 150
    low, high = stats.binom.interval(0.99, len(bows), 0.9)
    fewest, most = stats.chi2.interval(0.99, len(bows))
    for error in errors.T:
        assert low <= np.sum(np.abs(error) <= stats.norm.ppf(0.95)) <= high
        assert fewest <= np.sum(error**2) <= most


def test_what_is_told_is_what_is_believed() -> None:
    """The tiller that is told for a reading, and its sd, are those of the difference that is believed after it."""
    weighed = WeighIn.model_validate(
        {
            "id": "K-001/1", "build": "K-001", "on": "2026-03-01", "stage": "tillered",
            "readings": [{"draw": "28", "weight": "50"}], "gap_upper_in": "7", "gap_lower_in": "7 1/8",
        }
    )  # fmt: skip
    told = tillered(STRAIGHT, build(), (weighed,), DrawLength(inch=28, zero=ZeroPoint.STANDARD), handbook())
    recorded = opened()
    believed = recorded.given(-1 / 8)
    bow = bow_at(STRAIGHT, build())
    moduli = handbook_moduli(bow, handbook())

    assert isinstance(told, Tillered)
    assert (told.difference, told.difference_sd) == pytest.approx((believed.mean, believed.sd))
    assert told.tiller_in == pytest.approx(solved(Pair(bow, moduli, moduli, believed.mean))[0])
    assert told.tiller_sd_in == pytest.approx(abs(recorded.per_difference_in) * believed.sd)
