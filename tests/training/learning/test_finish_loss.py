"""What finishing takes is learned in two parts: sanding, and edges of which the book says nothing."""

import numpy as np
from scipy.stats import norm

from datasets.contents import Contents
from datasets.materials import handbook
from datasets.record import Record
from datasets.schema import Event, Removal, WeighIn
from predictor.belief.columns import COMMON_PRIORS, EDGES_NOT_NOTED
from predictor.belief.own_history import Slips
from predictor.belief.scatter import FINISH_SANDING, SHOOTING_IN
from predictor.bows.bow import Refusal
from predictor.bows.features import Case, features
from tests.predictor.example_bows import STRAIGHT, build
from training.engine.hierarchy import fit
from training.learning.evidence import evidence, readings
from training.workshop.shop_truth import Scatter

SANDING, EDGES = 0.015, 0.005
"""Shares that sanding and edges take of invented bows, away from both defaults."""

DRAW_FROM_BACK_IN = 28.0
BOWS = 40
AIR = 0.01


def _weigh_in(bow: str, number: int, stage: str, lbf: float) -> WeighIn:
    read = [{"draw": f"{DRAW_FROM_BACK_IN:g} back", "weight": f"{lbf:.3f}"}]
    on = f"2026-03-{number:02d}"
    return WeighIn.model_validate(
        {"id": f"{bow}/{number}", "build": bow, "on": on, "stage": stage, "pulls": 40, "readings": read}
    )


def _edges(bow: str) -> Removal:
    cuts = [{"at": "fade", "amount_in": "3/32"}]
    return Removal.model_validate(
        {"id": f"{bow}/2", "build": bow, "on": "2026-03-02", "method": "edges", "done": cuts}
    )


def _by_statics(*events: Event) -> float:
    (found,) = features([Case(STRAIGHT, build(), events, (DRAW_FROM_BACK_IN,))], handbook())
    assert not isinstance(found, Refusal)
    return found.weight_lbf[0]


def _book(rng: np.random.Generator) -> Contents:
    """Return bows weighed before and after finishing; of every other one the edges were noted between."""
    sharp, rounded = _by_statics(), _by_statics(_edges("K-001"))
    records: list[Record] = [STRAIGHT]
    for number in range(BOWS):
        bow, noted = f"K-{number + 1:03d}", number % 2 == 0
        before, after = rng.normal(rng.normal(0, 0.02), AIR, 2)
        after -= SANDING if noted else SANDING + EDGES
        records += [build(id=bow), _weigh_in(bow, 1, "tillered", sharp * np.exp(before))]
        records += [_edges(bow)] if noted else []
        records.append(_weigh_in(bow, 3, "finished", (rounded if noted else sharp) * np.exp(after)))
    return Contents.of(records)


def test_sanding_and_edges_are_told_apart() -> None:
    """Forty bows, half with their edges noted, bring both parts out from defaults that were a sd and more off.

    Within three of the standard deviations that are believed, and nearer than the defaults.
    """
    belief = fit(readings(evidence(_book(np.random.default_rng(562_100))).weighings), Slips()).posterior

    for name, true in ((FINISH_SANDING, -SANDING), (EDGES_NOT_NOTED, -EDGES)):
        effect, prior = belief.effect(name), COMMON_PRIORS[name]
        low, middle, high = (float(effect.quantile(p)[0]) for p in (0.00135, 0.5, 0.99865))
        assert low < true < high
        assert abs(middle - true) < abs(prior.mean - true)
        assert high - low < 6 * 0.8 * prior.sd


def test_finishers_who_take_more_after_the_edges_are_not_ruled_out() -> None:
    """The invented shop's mean loss after the edges, 2.5 %, stands against the trade's: the prior's 90 % has both."""
    prior = COMMON_PRIORS[FINISH_SANDING]
    trade = np.log(49 / 50) - COMMON_PRIORS[SHOOTING_IN].mean

    for loss in (trade, -Scatter().finish_mean):
        assert 0.05 < norm.cdf(loss, prior.mean, prior.sd) < 0.95
