"""First draws are foretold without the bow itself, and without what it was cut by afterwards."""

from dataclasses import replace

import numpy as np
import pytest

from datasets.contents import Contents
from datasets.schema import Stage, WeighIn
from predictor.cutting import cut_of
from training.first_draws import FirstDraws, first_draws
from training.train import Trained, train
from training.virtual_shop import simulate

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


def test_foretold_as_the_fit_that_left_it_out_but_for_the_cut(trained: Trained, drawn: FirstDraws) -> None:
    """What is foretold is what the fit without the bow says, less what the bow's later cut told it.

    The fit's own left-out prediction knows that cut, at the mean effect that the other builds give it.
    """
    left_out = trained.fit.leave_builds_out().quantile(0.5)
    rows = [(w, place) for w in trained.evidence.weighings for place in range(len(w.log_weight))]
    told = dict(zip(drawn.builds, drawn.predicted.quantile(0.5), strict=True))
    read = dict(zip(drawn.builds, np.log(drawn.read_lbf), strict=True))
    seen = set()
    for (weighing, place), expected in zip(rows, left_out, strict=True):
        name = weighing.build
        if (
            name in seen
            or name not in told
            or weighing.log_weight[place] != pytest.approx(read[name], abs=1e-12)
        ):
            continue
        seen.add(name)
        by_cut = expected + weighing.columns.offset[place] - told[name]
        cut = cut_of(weighing.columns)
        assert by_cut * np.sign(cut) >= 0
        assert abs(by_cut) <= 0.6 * abs(cut) + 1e-9

    assert seen == set(told)
    assert {cut_of(w.columns) != 0 for w in trained.evidence.weighings if w.build in told} == {True}
