"""First draws are foretold without the bow itself, and without what it was cut by afterwards."""

from dataclasses import replace

import numpy as np
import pytest

from datasets.contents import Contents
from datasets.schema import Stage, WeighIn
from predictor.belief.columns import DRAW_SHAPE
from predictor.belief.own_history import Slips
from predictor.belief.posterior import predict
from predictor.belief.seen import seen_by
from training.engine.hierarchy import fit
from training.learning.evidence import readings
from training.learning.train import Trained, train
from training.studies.first_draws import FirstDraws, first_draws
from training.workshop.virtual_shop import simulate

HASH = "0" * 64


@pytest.fixture(scope="module")
def contents() -> Contents:
    """Return the book of an invented shop."""
    return Contents.of(simulate(seed=44, builds=12).records)


@pytest.fixture(scope="module")
def trained(contents: Contents) -> Trained:
    """Return what it teaches."""
    return train(contents, HASH, 1)


@pytest.fixture(scope="module")
def drawn(contents: Contents, trained: Trained) -> FirstDraws:
    """Return its first draws."""
    found = first_draws(trained, contents, list(contents.builds))
    assert found is not None
    return found


def first(contents: Contents, build: str) -> WeighIn:
    """Return a build's first weighing."""
    return next(event for event in contents.events[build] if isinstance(event, WeighIn))


def test_only_bows_weighed_before_any_cut_are_asked(contents: Contents, drawn: FirstDraws) -> None:
    """A bow counts if its first weighing was of the blank or the first draw, by its reading nearest to 28 in."""
    uncut = [b for b in contents.builds if first(contents, b).stage in (Stage.BLANK, Stage.FIRST_DRAW)]

    assert sorted(drawn.builds) == sorted(uncut)
    for build, lbf in zip(drawn.builds, drawn.read_lbf, strict=True):
        nearest = min(first(contents, build).readings, key=lambda reading: abs(reading.draw.inch - 28))
        assert lbf == pytest.approx(nearest.weight.lbf)


def test_the_bow_itself_teaches_nothing(contents: Contents, drawn: FirstDraws) -> None:
    """A tenth more weight in every reading of one bow leaves what is foretold of its first draw nearly as it was.

    Nearly, since the scales are fitted to all bows: within a sixth of the prediction's standard deviation.
    """
    name = drawn.builds[-1]
    heavier = train(with_heavier(contents, name, 1.1), HASH, 1)
    again = first_draws(heavier, with_heavier(contents, name, 1.1), [name])
    assert again is not None

    assert again.read_lbf[0] == pytest.approx(1.1 * drawn.read_lbf[-1], abs=0.03)
    moved = again.predicted.quantile(0.5)[0] - drawn.predicted.quantile(0.5)[-1]
    assert abs(moved) < drawn.predicted.sd[-1] / 6


def with_heavier(contents: Contents, build: str, factor: float) -> Contents:
    """Return the contents with every reading of one build heavier."""

    def heavier(event: WeighIn) -> WeighIn:
        typed = event.model_dump(mode="json")
        for reading in typed["readings"]:
            reading["weight"] = f"{factor * reading['weight']['lbf']:.2f}"
        return WeighIn.model_validate(typed)

    events = tuple(heavier(e) if isinstance(e, WeighIn) else e for e in contents.events[build])
    return replace(contents, events={**contents.events, build: events})


def test_foretold_as_a_fit_that_never_had_the_bow(trained: Trained, drawn: FirstDraws) -> None:
    """What is foretold is what a fit to the other bows says, scales anew: neither the bow nor its cut is in it.

    Within a tenth of the prediction's standard deviation, as scores of left-out builds are.
    """
    weighings = trained.evidence.weighings
    for build, expected, sd in zip(
        drawn.builds, drawn.predicted.quantile(0.5), drawn.predicted.sd, strict=True
    ):
        others = fit(readings([one for one in weighings if one.build != build]), Slips()).posterior
        first_of = next(one for one in weighings if one.build == build)
        place = int(np.argmin(np.abs(first_of.columns.common[DRAW_SHAPE])))
        seen = seen_by(others, first_of.columns)
        again = (predict(others, seen.rows).marginal().quantile(0.5) + seen.offset)[place]
        assert abs(again - expected) < 0.1 * sd
    assert any(one.cut for one in weighings if one.build in drawn.builds)
