"""Scores of builds left out: the same as fitting again without them, one a build, new lots truly new."""

import numpy as np
import pytest

from datasets.contents import Contents
from predictor.belief import posterior
from predictor.belief.columns import DRAW_SHAPE
from predictor.belief.own_history import Slips
from predictor.belief.scatter import LOTS_OF_GLASS, LOTS_OF_WOOD
from predictor.belief.seen import seen_by
from training.engine.hierarchy import Fit, fit
from training.learning.calibrate import calibrate, main_readings
from training.learning.evidence import Evidence, evidence, readings
from training.workshop.virtual_shop import simulate

BUILDS = 14


@pytest.fixture(scope="module")
def shop() -> Evidence:
    """Return the weighings of an invented shop of lots that change."""
    return evidence(Contents.of(simulate(1001, BUILDS).records))


@pytest.fixture(scope="module")
def fitted(shop: Evidence) -> Fit:
    """Return the fit to all of it."""
    return fit(readings(shop.weighings), Slips())


def _predicted(shop: Evidence, without: set[str], build: str) -> float:
    """Return the score of a build's main reading when the named builds were never fitted."""
    others = fit(readings([w for w in shop.weighings if w.build not in without]), Slips()).posterior
    last = [w for w in shop.weighings if w.build == build][-1]
    seen = seen_by(others, last.columns)
    main = int(np.argmin(np.abs(last.columns.common[DRAW_SHAPE])))
    return float(
        posterior.predict(others, seen.rows).marginal().normal_score(last.log_weight - seen.offset)[main]
    )


def _lots(shop: Evidence) -> dict[str, frozenset[str]]:
    """Return the lots of wood and glass of each build."""
    return {
        weighing.build: frozenset(
            lot for kind in (LOTS_OF_WOOD, LOTS_OF_GLASS) for lot in weighing.columns.groups[kind]
        )
        for weighing in shop.weighings
    }


def test_one_score_a_build(shop: Evidence, fitted: Fit) -> None:
    """Every build has one score, however often it was weighed; one set aside has none."""
    calibration = calibrate(fitted, shop, frozenset(shop.builds[:1]))

    assert [score.build for score in calibration.builds] == list(shop.builds[1:])
    assert len(shop.weighings) > BUILDS


def test_main_reading_is_the_last_near_28(shop: Evidence) -> None:
    """A build's main reading belongs to its last weighing, and none there is nearer to 28 in."""
    read = np.concatenate([w.log_weight for w in shop.weighings])
    for main in main_readings(shop):
        last = [w for w in shop.weighings if w.build == main.build][-1]
        off = np.abs(last.columns.common[DRAW_SHAPE])

        assert read[main.row] in last.log_weight[off == off.min()]


@pytest.mark.slow
def test_scores_are_near_those_of_a_refit(shop: Evidence, fitted: Fit) -> None:
    """Fitting again without a build, scales and mistakes anew, moves its score by less than 0.1."""
    scores = calibrate(fitted, shop).builds
    again = [_predicted(shop, {score.build}, score.build) for score in scores]

    assert np.max(np.abs(np.array(again) - [score.score for score in scores])) < 0.1


@pytest.mark.slow
def test_new_lots_are_near_those_of_a_refit(shop: Evidence, fitted: Fit) -> None:
    """A score as of new lots is that of a fit without any build that shares a lot, to 0.5 where four builds stay."""
    lots = _lots(shop)
    compared = 0
    for score in calibrate(fitted, shop).builds:
        sharing = {other for other in lots if lots[other] & lots[score.build]}
        if score.as_new_lots is not None and len(sharing) <= BUILDS - 4:
            compared += 1
            assert _predicted(shop, sharing, score.build) == pytest.approx(score.as_new_lots, abs=0.5)

    assert compared >= 2


def test_first_build_of_its_lots(shop: Evidence, fitted: Fit) -> None:
    """One build of each set of lots, the first, is scored as of new lots."""
    lots = _lots(shop)
    scored = [score.build for score in calibrate(fitted, shop).builds if score.as_new_lots is not None]

    assert len({lots[build] for build in scored}) == len(scored) == len(set(lots.values()))
    assert scored[0] == shop.builds[0]
