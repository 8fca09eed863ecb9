"""The model beside the book: it comes back equal to the bit, and nothing else is taken for it."""

import json
from pathlib import Path

import numpy as np
import pytest

from predictor.belief.calibration import BuildScore, Calibration
from predictor.belief.habits import Habits
from predictor.belief.model import FORMAT, Model, ModelError, prior_belief, sealed, this_version
from predictor.belief.model_file import load_model, model_path, save_model, staleness


@pytest.fixture
def model() -> Model:
    """Return a model of random numbers over six hundred orders of magnitude."""
    rng = np.random.default_rng(20261125)
    belief = prior_belief()
    posterior = belief.to_json() | {
        "effects": ["a", "b", "c"],
        "means": (rng.standard_normal((1, 3)) * 10.0 ** rng.integers(-300, 300, (1, 3))).tolist(),
        "covariances": rng.standard_normal((1, 6)).tolist(),
    }
    made = Model(
        format=FORMAT,
        tool=this_version(),
        trained_at="2026-01-01T00:00:00+00:00",
        data_hash="0" * 64,
        records=12,
        builds=1,
        readings=3,
        builds_by_form={"plain-64/1": 1},
        builds_by_material={"hard maple": 1},
        habits=Habits(seen_in={"limb length": (24.0, 24.0)}),
        calibration=Calibration(builds=(BuildScore(build="K-1", form="plain-64/1", score=0.1 + 0.2),)),
        posterior=posterior,
    )
    return sealed(made)


def test_comes_back_equal(tmp_path: Path, model: Model) -> None:
    """A model that is kept and read again has every number equal to the last bit."""
    path = model_path(tmp_path / "shop.book")
    save_model(path, model)
    again = load_model(path)

    assert path.name == "shop.book.model.json"
    assert again == model
    assert again is not None
    assert np.array_equal(again.belief().means, model.belief().means)
    assert np.array_equal(again.belief().covariances, model.belief().covariances)


def test_no_file_is_no_model(tmp_path: Path) -> None:
    """Where nothing was trained there is no model, and that is no error."""
    assert load_model(tmp_path / "none") is None


def test_replaced_whole(tmp_path: Path, model: Model) -> None:
    """A model that cannot be written leaves the old one and no half file."""
    path = tmp_path / "m"
    save_model(path, model)
    (tmp_path / "here").mkdir()
    with pytest.raises(ModelError, match="wanted to write"):
        save_model(tmp_path / "here", model)

    assert load_model(path) == model
    assert sorted(file.name for file in tmp_path.iterdir()) == ["here", "m"]


@pytest.mark.parametrize(
    ("damage", "said"),
    [
        (lambda text: text[: len(text) // 2], "Invalid JSON"),
        (lambda _: b"\xff\xfe\x00".decode("latin-1"), "Invalid JSON"),
        (lambda _: "{}", "Field required"),
        (lambda text: text.replace('"tool"', '"tools"'), "tool: Field required"),
        (lambda text: _changed(text, format=FORMAT + 1), f"wanted a model of format {FORMAT}"),
        (lambda text: _changed(text, tool="0.0.1"), f"wanted a model of version {this_version()}, got 0.0.1"),
        (lambda text: _changed(text, data_hash="no hash"), "data_hash"),
        (lambda text: _with_posterior(text, means=[[0.0]]), "wanted a whole model"),
        (lambda text: _with_posterior(text, covariances=[[1e999] * 6]), "finite"),
        (lambda text: _with_posterior(text, groups=["a", "b", "c", "d", "e"]), "this version's effects"),
    ],
)
def test_others_are_refused(tmp_path: Path, model: Model, damage, said: str) -> None:  # type: ignore[no-untyped-def]  # lambdas of one kind
    """A damaged, foreign or differently versioned file is refused in one line that names it."""
    path = tmp_path / "m"
    path.write_text(damage(model.model_dump_json()), encoding="utf-8")
    with pytest.raises(ModelError) as refused:
        load_model(path)

    assert said in str(refused.value)
    assert str(path) in str(refused.value)
    assert "\n" not in str(refused.value)


@pytest.mark.parametrize(
    "damage",
    [
        lambda text: _with_posterior(text, means=_higher(text)),
        lambda text: _changed(text, builds=2),
        lambda text: _changed(text, own_hash="0" * 64),
        lambda text: _changed(text, own_hash=""),
        lambda text: _changed(text, calibration={"builds": []}),
    ],
)
def test_other_numbers_are_refused(tmp_path: Path, model: Model, damage) -> None:  # type: ignore[no-untyped-def]  # lambdas of one kind
    """A file whose numbers make a whole model, but not the one that was written, is refused in one line."""
    path = tmp_path / "m"
    path.write_text(damage(model.model_dump_json()), encoding="utf-8")
    with pytest.raises(ModelError, match="got one with other numbers; train again") as refused:
        load_model(path)

    assert "\n" not in str(refused.value)


def test_how_a_file_is_spaced_does_not_matter(tmp_path: Path, model: Model) -> None:
    """The same numbers and names, indented by another program, are the same model."""
    path = tmp_path / "m"
    path.write_text(json.dumps(json.loads(model.model_dump_json()), indent=2), encoding="utf-8")

    assert load_model(path) == model


def test_no_text_is_refused(tmp_path: Path) -> None:
    """A file that is no text, such as a pickle, is refused unread."""
    path = tmp_path / "m"
    path.write_bytes(b"\x80\x04\x95\xff\xfe")
    with pytest.raises(ModelError, match="a file that is no text"):
        load_model(path)


def _changed(text: str, **fields: object) -> str:
    return json.dumps(json.loads(text) | fields)


def _higher(text: str) -> list[list[float]]:
    """Return the means of a stored model, each 0.3 higher."""
    return [[mean + 0.3 for mean in means] for means in json.loads(text)["posterior"]["means"]]


def _with_posterior(text: str, **fields: object) -> str:
    return _changed(text, posterior=json.loads(text)["posterior"] | fields)


@pytest.mark.parametrize(
    ("records", "data_hash", "said"),
    [
        (12, "0" * 64, None),
        (15, "0" * 64, None),
        (13, "1" * 64, "1 record is newer than the model; train again: drawweight train"),
        (15, "1" * 64, "3 records are newer than the model; train again: drawweight train"),
        (9, "1" * 64, "the model was trained on another book; train again: drawweight train"),
    ],
)
def test_staleness(model: Model, records: int, data_hash: str, said: str | None) -> None:
    """A model says how many records it has not seen, and nothing when the records say what they said."""
    assert staleness(model, records, data_hash) == said
