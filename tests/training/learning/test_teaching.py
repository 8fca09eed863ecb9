"""A build is taken out of a stored model exactly, so that its own weighings count once in its prediction."""

import numpy as np
import pytest

from datasets.contents import Contents
from predictor.belief.cutting import cut_of
from predictor.belief.foresight import standing
from predictor.belief.model import read_model
from predictor.belief.own_history import laid_with_cut, together
from predictor.belief.posterior import predict
from predictor.belief.seen import seen_by
from predictor.belief.weighings import weighed
from predictor.bows.features import features
from tests.struck import without_lots
from training.learning.train import train
from training.workshop.virtual_shop import simulate


@pytest.fixture(scope="module", params=[lambda book: book, without_lots], ids=["lots noted", "no lot noted"])
def contents(request):
    """Return the book of a small invented shop, that notes its lots or not."""
    return request.param(Contents.of(simulate(seed=44, builds=9).records))


@pytest.fixture(scope="module")
def trained(contents):
    """Return what it teaches."""
    return train(contents, "0" * 64, 1)


def test_a_model_less_a_build_is_the_fit_that_left_it_out(contents, trained):
    """From the stored model and the book each build's readings are predicted as the fit predicts them left out.

    Either knows what the build was cut by.
    """
    model = read_model(trained.model.model_dump_json())
    left_out = trained.fit.leave_builds_out()
    offsets = np.concatenate([weighing.columns.offset for weighing in trained.evidence.weighings])
    start = known = 0
    for build in trained.evidence.builds:
        record = contents.builds[build]
        mine = list(weighed(contents.form_of(record), record, contents.events[build]))
        found = features([one.case for one in mine], contents.materials)
        stand = standing(mine, found, contents.materials, model)
        laid, cut = laid_with_cut((), cut_of(stand.weighings, model.habits.usual_cut))
        laid += [(one.weigh_in, one.columns) for one in stand.weighings]
        seen = seen_by(stand.belief, together(laid))
        own, wanted = seen.rows.part(slice(len(cut))), seen.rows.part(slice(len(cut), None))
        told = predict(stand.belief, wanted, own, cut - seen.offset[: len(cut)]).marginal()
        place = slice(start, start + len(wanted.sd))
        known += len(cut)
        assert not stand.changed
        assert told.mean + seen.offset[len(cut) :] == pytest.approx(
            left_out.mean[place] + offsets[place], abs=1e-8
        )
        assert told.sd == pytest.approx(left_out.sd[place], rel=1e-6)
        start = place.stop
    assert start == len(offsets)
    assert known >= 4
