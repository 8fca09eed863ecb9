"""Training turns a book into a model that knows what it was made from, and predicts better than the handbook."""

import numpy as np
import pytest

from datasets.contents import Contents
from datasets.record import DrawLength, ZeroPoint
from predictor.belief.model import ModelError, read_model
from predictor.prediction.predict import Prediction, predict
from training.learning.train import NothingToLearnError, Trained, train
from training.workshop.virtual_shop import VirtualShop, simulate

SEED, BUILDS = 20261125, 24
HASH = "0" * 64


@pytest.fixture(scope="module")
def shop() -> VirtualShop:
    """A workshop of two dozen bows."""
    return simulate(SEED, BUILDS)


@pytest.fixture(scope="module")
def trained(shop: VirtualShop) -> Trained:
    """What training on its whole book gives."""
    return train(Contents.of(shop.records), HASH, len(shop.records))


def test_model_knows_what_made_it(shop: VirtualShop, trained: Trained) -> None:
    """A model counts its builds, by form too, and keeps the book's hash."""
    model = trained.model

    assert model.builds == BUILDS
    assert sum(model.builds_by_form.values()) == BUILDS
    assert (model.data_hash, model.records) == (HASH, len(shop.records))


def test_stored_and_read_back(trained: Trained) -> None:
    """A model that is stored and read back is equal to the last bit."""
    again = read_model(trained.model.model_dump_json())
    before, after = trained.model.belief(), again.belief()

    assert again == trained.model
    assert np.array_equal(before.covariances, after.covariances)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("{}", "wanted a stored model, got format"),
        ("not JSON", "wanted a stored model, got the file"),
    ],
)
def test_what_is_no_model_is_refused(text: str, message: str) -> None:
    """A file that is no model is refused in one line that says to train again."""
    with pytest.raises(ModelError, match=message) as refused:
        read_model(text)

    assert "train again" in str(refused.value)
    assert "\n" not in str(refused.value)


def test_a_number_that_is_none_is_refused(trained: Trained) -> None:
    """A model with a number missing from its posterior is refused."""
    broken = trained.model.model_dump()
    broken["posterior"]["means"][0][0] = None

    with pytest.raises(ModelError, match="train again"):
        read_model(trained.model.model_validate(broken).model_dump_json())


def test_learned_intervals_are_narrower(shop: VirtualShop, trained: Trained) -> None:
    """Two dozen builds narrow the intervals of bows like them by a quarter or more on average, and each of them."""
    contents = Contents.of(shop.records)
    draws = (DrawLength(inch=28, zero=ZeroPoint.STANDARD),)
    ratios = []
    for build in contents.builds.values():
        form = contents.form_of(build)
        assert form is not None
        before, after = (
            predict(form, build, (), draws, contents.materials, model) for model in (None, trained.model)
        )
        assert isinstance(before, Prediction)
        assert isinstance(after, Prediction)
        ratios.append(after.draws[0].log_sd / before.draws[0].log_sd)

    assert max(ratios) < 1
    assert np.mean(ratios) < 3 / 4


def test_an_empty_book_teaches_nothing() -> None:
    """Training on a book without a weighed build says what to do."""
    with pytest.raises(NothingToLearnError, match="weigh one, or predict untrained"):
        train(Contents.of([]), HASH, 0)
