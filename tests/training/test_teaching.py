"""A build is taken out of a stored model exactly, so that its own weighings count once in its prediction."""

import numpy as np
import pytest

from datasets.contents import Contents
from predictor.cutting import cut_of, with_cut
from predictor.features import features
from predictor.foresight import standing
from predictor.model import read_model, seen_by
from predictor.own_history import together
from predictor.posterior import predict
from predictor.weighings import weighed
from training.train import train
from training.virtual_shop import simulate


@pytest.fixture(scope="module")
def contents():
    """Return the book of a small invented shop."""
    return Contents.of(simulate(seed=44, builds=9).records)


@pytest.fixture(scope="module")
def trained(contents):
    """Return what it teaches."""
    return train(contents, "0" * 64, 1)


def test_a_model_less_a_build_is_the_fit_that_left_it_out(contents, trained):
    """From the stored model and the book each build's readings are predicted as the fit predicts them left out."""
    model = read_model(trained.model.model_dump_json())
    left_out = trained.fit.leave_builds_out()
    offsets = np.concatenate([weighing.columns.offset for weighing in trained.evidence.weighings])
    start = 0
    for build in trained.evidence.builds:
        record = contents.builds[build]
        mine = list(weighed(contents.form_of(record), record, contents.events[build]))
        found = features([one.case for one in mine], contents.materials)
        stand = standing(mine, found, contents.materials, model)
        rows = [(one.weigh_in, with_cut(one.columns, stand.cut)) for one in stand.weighings]
        seen = seen_by(stand.belief, together(rows))
        told = predict(stand.belief, seen.rows).marginal()
        place = slice(start, start + len(seen.offset))
        assert not stand.changed
        assert told.mean + seen.offset == pytest.approx(left_out.mean[place] + offsets[place], abs=1e-8)
        assert told.sd == pytest.approx(left_out.sd[place], rel=1e-6)
        start = place.stop
    assert start == len(offsets)


def test_cuts_are_kept(trained):
    """What each build was cut by is kept with what it taught, and some are."""
    kept = {taught.build: taught.cut for taught in trained.model.taught}
    assert kept == {w.build: cut_of(w.columns) for w in trained.evidence.weighings}
    assert any(kept.values())
