"""How far a bow lies from the builds that taught: nearer with each that is like it, and said in words."""

from dataclasses import replace

import numpy as np
import pytest

from datasets.contents import Contents
from datasets.materials import handbook
from datasets.schema import Stage
from predictor.belief.calibration import Calibration
from predictor.belief.columns import STIFFNESS, Columns, Moment, columns
from predictor.belief.familiarity import distance, has_new_lots, notes_on_unfamiliar
from predictor.belief.habits import Habits
from predictor.belief.model import FORMAT, Model, prior_belief
from predictor.belief.posterior import Posterior
from predictor.belief.scatter import BUILD_COLUMNS, GROUPS, PRIOR_SCATTER, SCATTER_SDS
from predictor.bows.features import Case, Features, features
from tests.predictor.example_bows import STRAIGHT, build
from training.learning.evidence import evidence
from training.learning.train import train
from training.workshop.virtual_shop import simulate


@pytest.fixture(scope="module")
def told() -> Columns:
    """Return the columns of a straight bow at 28 in."""
    (found,) = features([Case(STRAIGHT, build(), (), (28.5,))], handbook())
    assert isinstance(found, Features)
    return columns(found, Moment("straight/1", (28.0,), Stage.TILLERED), handbook(), PRIOR_SCATTER)


def knowing(told: Columns, share: float) -> Posterior:
    """Return a belief that knows a bow's common effects, each to a share of its prior sd."""
    names = tuple(told.common)
    scales = [SCATTER_SDS[name] for name in (*GROUPS, *BUILD_COLUMNS)]
    sds = np.array([share * told.priors[name].sd for name in names])
    return Posterior(
        names,
        GROUPS,
        BUILD_COLUMNS,
        np.ones(1),
        np.array([[*scales, 1.0]]),
        np.zeros((1, len(names))),
        np.diag(sds**2)[None],
    )


def model_of(belief: Posterior, told: Columns) -> Model:
    """Return a model that saw bows of this very size."""
    return Model(
        format=FORMAT,
        tool="0",
        trained_at="2026-01-01",
        data_hash="0" * 64,
        records=1,
        builds=1,
        readings=1,
        builds_by_form={},
        builds_by_material={},
        habits=Habits(seen_in={name: (size, size) for name, size in told.sizes_in.items()}),
        calibration=Calibration(),
        posterior=belief.to_json(),
    )


def test_distance_without_builds_is_one(told: Columns) -> None:
    """Nothing learned is a distance of one at every draw."""
    assert distance(prior_belief(), told) == pytest.approx(1)


def test_distance_falls_with_knowledge(told: Columns) -> None:
    """Knowing the common effects better brings a bow nearer, down to what new lots, form and scale leave."""
    shares = (1.0, 0.7, 0.4, 0.1, 0.0)
    found = [float(distance(knowing(told, share), told)[0]) for share in shares]
    of_groups = sum(
        SCATTER_SDS[group] ** 2 * float(column[0]) ** 2
        for group, levels in told.groups.items()
        for column in levels.values()
    )
    of_common = sum((told.priors[name].sd * float(column[0])) ** 2 for name, column in told.common.items())

    assert found[0] == pytest.approx(1)
    assert found == sorted(found, reverse=True)
    assert found[-1] == pytest.approx(np.sqrt(of_groups / (of_groups + of_common)))


def test_new_things_are_named(told: Columns) -> None:
    """A wood, a form, lots and a size that no build had are each named, and only those."""
    belief = knowing(told, 0.3)
    others = [name for name in belief.effects if name != f"{STIFFNESS}hard maple"]
    kept = np.array([belief.effects.index(name) for name in others])
    without = replace(
        belief,
        effects=tuple(others),
        means=belief.means[:, kept],
        covariances=belief.covariances[:, kept][:, :, kept],
    )
    thick = replace(told, sizes_in=told.sizes_in | {"stack at mid-limb": 0.9})
    notes = notes_on_unfamiliar(model_of(without, told), without, thick)

    assert [note.split(":")[0] for note in notes] == [
        "no build had hard maple yet",
        "no build was pressed on straight/1 yet",
        "no build had these lots yet",
        next(note for note in notes if note.startswith("stack at mid-limb of .900 in")).split(":")[0],
    ]
    assert has_new_lots(without, told)


def test_a_built_bow_is_familiar() -> None:
    """A bow that taught the model is told as new in nothing, and lies nearer than one of another wood and lots."""
    contents = Contents.of(simulate(1002, 8).records)
    trained = train(contents, "0" * 64, 1)
    belief = trained.model.belief()
    seen = evidence(contents).weighings[-1].columns
    renamed = replace(
        seen,
        groups={
            group: {f"{level} anew": column for level, column in levels.items()}
            for group, levels in seen.groups.items()
        },
    )

    assert notes_on_unfamiliar(trained.model, belief, seen) == ()
    assert not has_new_lots(belief, seen)
    assert np.all(distance(belief, seen) < distance(belief, renamed))
    assert np.all(distance(belief, renamed) < 1)
