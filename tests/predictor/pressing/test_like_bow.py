"""What one bow's weighings tell of another like it: against bows drawn by lot, and counted once."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from datasets.materials import handbook
from datasets.schema import Build, Event, Stage
from predictor.belief.columns import Columns, columns
from predictor.belief.mixture import NormalMixture
from predictor.belief.own_history import exactly_read
from predictor.belief.scatter import PRIOR_SCATTER
from predictor.belief.weighings import moment_at
from predictor.bows.features import Case, Features, features
from predictor.planning.kit_state import Kit
from predictor.planning.knowledge import Knowledge
from predictor.planning.promise import Judged
from predictor.planning.prospects import Prospect, prospects
from predictor.pressing.like_bow import LikeBow, with_bow
from tests.predictor.drawn_by_lot import Lots, Weighted
from tests.predictor.example_bows import STRAIGHT, build
from tests.predictor.kits import DRAW, DRAW_IN, kit, weigh_in
from tests.reports import fitted
from tests.struck import bare

SETTLED = Judged(DRAW, 500)
PLAIN = build()


def expected(knowledge: Knowledge, bow: Build = PLAIN) -> NormalMixture:
    """Return what is believed of the logarithm of what another bow settles at."""
    (found,) = prospects(STRAIGHT, [bow], SETTLED, knowledge)
    assert isinstance(found, Prospect), found
    return found.settled


@cache
def alike(*events: Event) -> NormalMixture:
    """Return the same where one like it was weighed."""
    return expected(with_bow(kit(*events), Knowledge(handbook())))


def depends_on(bow: Build, stage: Stage, shots: int, scale: str | None) -> Columns:
    """Return what a weighing of a bow depends on."""
    (found,) = features([Case(STRAIGHT, bow, (), (DRAW_IN,))], handbook())
    assert isinstance(found, Features)
    return columns(found, moment_at(STRAIGHT, bow, [DRAW], stage, shots, scale), handbook(), PRIOR_SCATTER)


@pytest.mark.parametrize("bow", [PLAIN, bare(PLAIN)], ids=["of one lot", "lots not noted"])
def test_another_bow_is_that_of_bows_drawn_by_lot(bow: Build) -> None:
    """Mean and sd of another bow of the same lams, of 20,000 pairs whose first one reads 53 lb, to 4 standard errors.

    Each pair has one wood, one glass, one form, and two bows with effects and sizes of their own; lots of their own too
    where nobody noted any.
    """
    lots = Lots(20261126)
    reading = depends_on(bow, Stage.TILLERED, 0, "hook")
    other = exactly_read(depends_on(bow, Stage.SETTLED, 500, None))
    first, second = lots.log_lbf(reading, "first"), lots.log_lbf(other, "second")
    error = np.hypot(reading.sd[0], reading.weighing[0].column[0])
    drawn = Weighted(second, np.exp(-(((np.log(53.0) - first) / error) ** 2) / 2))
    like = replace(kit(weigh_in(1, 53)), build=bow)
    found = expected(with_bow(like, Knowledge(handbook())), bow)

    assert drawn.bows > 1000
    assert found.mean[0] == pytest.approx(drawn.mean, abs=4 * drawn.mean_error)
    assert found.sd[0] == pytest.approx(drawn.sd, abs=4 * drawn.sd_error)


def test_a_heavy_bow_makes_the_next_one_heavier() -> None:
    """A bow that reads heavy or light moves another like it, by less than itself, and narrows what is believed."""
    usual = expected(Knowledge(handbook()))
    light, heavy = alike(weigh_in(1, 48)), alike(weigh_in(1, 56))

    assert light.mean[0] < heavy.mean[0]
    assert 0.5 < (heavy.mean[0] - light.mean[0]) / np.log(56 / 48) < 1.0
    assert heavy.sd[0] < 0.7 * usual.sd[0]
    assert heavy.sd[0] > 0.02


def test_a_bow_that_was_never_weighed_tells_nothing() -> None:
    """Without weighings the shop's knowledge is left as it is."""
    knowledge = Knowledge(handbook())
    assert with_bow(kit(), knowledge) is knowledge


def test_a_slip_tells_nothing() -> None:
    """A bow that reads half of what it must weigh is a slip of the pencil, and no reason to press thicker."""
    knowledge = Knowledge(handbook())
    assert with_bow(kit(weigh_in(1, 24)), knowledge) is knowledge


@pytest.mark.slow
def test_a_bow_that_taught_the_model_counts_once() -> None:
    """Of bows that a model has learned from, others like them are expected as the model expects them, to 0.3 %."""
    shop = fitted.sources(16)
    assert shop.trained is not None
    knowledge = Knowledge(shop.contents.materials, shop.trained.model)
    taught = {one.build for one in shop.trained.model.taught}
    compared = 0
    for name in list(taught)[:6]:
        bow = shop.contents.builds[name]
        form = shop.contents.form_of(bow)
        assert form is not None
        like = with_bow(Kit(form, bow, tuple(shop.contents.events[name])), knowledge)
        if not isinstance(like, LikeBow):
            continue
        both = [prospects(form, [bow], SETTLED, known)[0] for known in (knowledge, like)]
        means = [one.settled.mean[0] for one in both if isinstance(one, Prospect)]
        assert means[1] == pytest.approx(means[0], abs=0.003)
        compared += 1
    assert compared > 3
