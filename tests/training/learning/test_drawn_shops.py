"""Simulation-based calibration of the engine that training uses, on the columns of an invented shop's records.

Talts, Betancourt, Simpson, Vehtari and Gelman, arXiv:1804.06788 (from memory): where truth is drawn from the priors and
readings from the truth, a truth that no reading has shown falls evenly over what is said of it.
"""

from dataclasses import dataclass

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.stats import chisquare

from datasets.contents import Contents
from predictor.belief.columns import DRAW_SHAPE, extrapolated
from predictor.belief.familiarity import has_new_lots
from predictor.belief.own_history import Slips
from predictor.belief.posterior import predict
from predictor.belief.seen import seen_by
from predictor.belief.weighings import Weighing
from tests.drawn_shops import draw_truth, drawn
from training.checking.questions import at_draw
from training.engine.hierarchy import fit
from training.learning.calibrate import calibrate
from training.learning.cuts import usual_cut, with_cuts
from training.learning.evidence import Evidence, evidence, readings
from training.learning.train import DOUBTFUL, sizes_seen
from training.workshop.virtual_shop import simulate

Array = NDArray[np.float64]

SHOPS = 300
BUILDS = 9
"""Builds on record: one is asked for, the others teach."""
FIRST_SEED = 616_000


@pytest.fixture(scope="module")
def weighings() -> tuple[Weighing, ...]:
    """Return an invented shop's weighings with what its bows were cut by."""
    found = evidence(Contents.of(simulate(FIRST_SEED, BUILDS).records)).weighings
    return with_cuts(found, usual_cut(found))


@dataclass(frozen=True)
class Ranks:
    """Where truths fell in what was said of them, as shares of it, shape (shops,).

    Attributes:
        plain: of the prediction that follows from the fit.
        stretched: of the one that is given, as wide as left-out builds ask.
    """

    plain: Array
    stretched: Array


def ranks(weighings: tuple[Weighing, ...], slips: Slips | None, first: int) -> Ranks:
    """Draw shops, and return where a reading that no fit has seen fell in each."""
    each = [_rank(weighings, shop, slips, np.random.default_rng(first + shop)) for shop in range(SHOPS)]
    return Ranks(*np.array(each).T)


def _rank(
    weighings: tuple[Weighing, ...], shop: int, slips: Slips | None, rng: np.random.Generator
) -> tuple[float, float]:
    builds = tuple(dict.fromkeys(weighing.build for weighing in weighings))
    held = builds[shop % len(builds)]
    truth = draw_truth(rng)
    taught = drawn(truth, [weighing for weighing in weighings if weighing.build != held], slips)
    fitted = fit(readings(taught), Slips())
    asked = next(weighing for weighing in weighings if weighing.build == held)
    row = int(np.argmin(np.abs(asked.columns.common[DRAW_SHAPE])))
    told = extrapolated(at_draw(asked.columns, row), sizes_seen(taught))
    seen = seen_by(fitted.posterior, told)
    said = predict(fitted.posterior, seen.rows).marginal()
    off = truth.reads(held, asked.weigh_in, told) - seen.offset
    found = Evidence(taught, ())
    doubtful = [
        build for build, chance in zip(found.builds, fitted.suspicion.any, strict=True) if chance >= DOUBTFUL
    ]
    wider = calibrate(fitted, found, frozenset(doubtful)).wider(new_lots=has_new_lots(fitted.posterior, told))
    return float(said.cdf(off)[0]), float(said.stretched(wider).cdf(off)[0])


@pytest.fixture(scope="module")
def sound(weighings: tuple[Weighing, ...]) -> Ranks:
    """Return the ranks where no record is wrong, though the engine looks for such."""
    return ranks(weighings, None, 1_000_000)


@pytest.fixture(scope="module")
def slipped(weighings: tuple[Weighing, ...]) -> Ranks:
    """Return the ranks where records are wrong as often as the engine takes them to be."""
    return ranks(weighings, Slips(), 2_000_000)


@pytest.mark.slow
@pytest.mark.parametrize("records", ["sound", "slipped"])
def test_truth_falls_evenly(records: str, request: pytest.FixtureRequest) -> None:
    """Of 300 shops with scales drawn from their priors, the reading asked for falls evenly over its prediction.

    Eight builds teach, with all groups, build effects, tolerances, cuts and mistakes that training knows, at its own
    settings. False alarms: one in a hundred for the chi-square on 15 bins, one in a hundred for the band around the
    distribution function (Dvoretzky, Kiefer and Wolfowitz with Massart's constant, from memory).
    """
    at = np.sort(request.getfixturevalue(records).plain)
    counts = np.histogram(at, bins=15, range=(0, 1))[0]
    steps = np.arange(SHOPS + 1) / SHOPS
    apart = max(np.max(np.abs(at - steps[1:])), np.max(np.abs(at - steps[:-1])))

    assert chisquare(counts).pvalue > 0.01
    assert apart < np.sqrt(np.log(2 / 0.01) / (2 * SHOPS))


@pytest.mark.slow
@pytest.mark.parametrize("records", ["sound", "slipped"])
def test_stretched_intervals_hold_at_least(records: str, request: pytest.FixtureRequest) -> None:
    """Stretched as left-out builds ask, never pressed, central intervals of every level hold at least so often.

    A stretch of one or more makes them wider than the model's own, so the promise has one side: the one-sided band of
    Massart, false alarms one in a hundred.
    """
    ranks_ = request.getfixturevalue(records)
    needed = np.sort(2 * np.abs(ranks_.stretched - 0.5))
    held = np.arange(1, SHOPS + 1) / SHOPS

    assert np.max(needed - held) < np.sqrt(np.log(1 / 0.01) / (2 * SHOPS))
    assert np.all(needed <= np.sort(2 * np.abs(ranks_.plain - 0.5)) + 1e-12)
