"""A lot that nobody noted is the build's own: not one lot that all such builds share, and never one that is known."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.sparse import csr_array, hstack

from datasets.contents import Contents
from datasets.record import DrawLength, ZeroPoint
from datasets.schema import Stage
from predictor.belief.foresight import Situation
from predictor.belief.scatter import LOTS_OF_GLASS, LOTS_OF_WOOD
from predictor.prediction.gains import Budget, budget
from predictor.prediction.predict import Prediction, predict
from tests.lots_seen import lots_seen
from tests.struck import without_lots
from training.engine.readings import Group, Readings, prepare
from training.engine.restricted_likelihood import evaluate, gradient
from training.engine.suspicion import no_doubts
from training.learning.evidence import readings
from training.learning.train import Trained, train
from training.workshop.virtual_shop import simulate

DRAW = DrawLength(inch=28, zero=ZeroPoint.STANDARD)


@pytest.fixture(scope="module")
def contents() -> Contents:
    """Return the book of a small invented shop that notes no lots."""
    return without_lots(Contents.of(simulate(614100, 8).records))


@pytest.fixture(scope="module")
def trained(contents: Contents) -> Trained:
    """Return what it teaches."""
    return train(contents, "0" * 64, 1)


def planned(contents: Contents, trained: Trained) -> Prediction:
    """Return the prediction of a bow like the last one, which is planned without a lot."""
    last = list(contents.builds.values())[-1]
    form = contents.form_of(last)
    assert form is not None
    plan = last.model_copy(update={"id": "ZZZ-001", "planned": True})
    found = predict(form, plan, (), (DRAW,), contents.materials, trained.model, Stage.FIRST_DRAW)
    assert isinstance(found, Prediction), found
    return found


def test_a_plan_without_a_lot_has_the_doubt_of_one(contents: Contents, trained: Trained) -> None:
    """After eight builds without lots the budget of a ninth still holds the scatter of lots, and says why."""
    found = planned(contents, trained)
    by_source = {share.source: share.sd_lbf for share in found.shares}
    assert by_source["lot of wood"] > 0.1
    assert by_source["lot of glass"] > 0.1
    assert [note for note in found.notes if "no lot is noted of" in note]
    assert not [note for note in found.notes if "no build had these lots yet" in note]
    assert {lots_seen(trained.fit.posterior, one.columns) for one in trained.evidence.weighings} == {"new"}


def test_a_strip_is_offered_with_the_lot_to_be_noted(contents: Contents, trained: Trained) -> None:
    """Measuring a lot that has no name is offered on the condition that it gets one, and is worth something."""
    last = list(contents.builds.values())[-1]
    form = contents.form_of(last)
    assert form is not None
    plan = last.model_copy(update={"id": "ZZZ-001", "planned": True})
    read = Situation((), (DRAW,), Stage.FIRST_DRAW)
    found = budget(form, plan, (), read, contents.materials, trained.model)
    assert isinstance(found, Budget), found
    strips = [gain for gain in found.gains if gain.measure.startswith("strip test")]
    assert len(strips) == len({layer.material for layer in plan.layers})
    assert all(gain.measure.endswith("once the lot is noted") for gain in strips)
    assert min(gain.half_width_lbf for gain in strips) < 0.98 * found.half_width_lbf


def test_every_score_is_as_of_new_lots(trained: Trained) -> None:
    """A build without a noted lot is left out with all builds of its lots when it is left out alone."""
    scores = trained.model.calibration.builds
    assert scores
    assert [score.as_new_lots for score in scores] == [score.score for score in scores]


def test_a_bows_own_weighings_tell_of_its_lots(contents: Contents, trained: Trained) -> None:
    """The lots of a bow that was weighed are those that were weighed: of their doubt less than half is left."""
    last = list(contents.builds.values())[-1]
    form = contents.form_of(last)
    assert form is not None
    events = contents.events[last.id]
    found = predict(form, last, events, (DRAW,), contents.materials, trained.model, Stage.FINISHED)
    assert isinstance(found, Prediction), found
    weighed = {share.source: share.sd_lbf for share in found.shares}
    before = {share.source: share.sd_lbf for share in planned(contents, trained).shares}
    assert weighed["lot of glass"] < before["lot of glass"] / 2


def as_levels(laid: Readings) -> Readings:
    """Return readings with each build's own columns of a group as levels that no other build has."""
    return replace(laid, groups=tuple(_as_levels(laid, group) for group in laid.groups))


def _as_levels(laid: Readings, group: Group) -> Group:
    if group.alone is None:
        return group
    count, most = group.alone.shape
    wide = np.zeros((count, laid.builds * most))
    for place in range(most):
        wide[np.arange(count), laid.build * most + place] = group.alone[:, place]
    levels = tuple(f"{build}, {place}" for build in range(laid.builds) for place in range(most))
    columns = csr_array(hstack([group.columns, csr_array(wide)]))
    return Group(group.name, (*group.levels, *levels), columns, group.prior)


def test_they_count_as_levels_that_one_build_has(trained: Trained) -> None:
    """Integrated out with the build, they give likelihood, gradient and common effects of levels of their own."""
    laid = readings(trained.evidence.weighings)
    assert {group.name for group in laid.groups if group.alone is not None} == {LOTS_OF_WOOD, LOTS_OF_GLASS}
    folded, spread = prepare(laid), prepare(as_levels(laid))
    scales = trained.fit.state.scales
    one, other = (evaluate(problem, scales, no_doubts(problem)) for problem in (folded, spread))
    common = len(folded.triangle)
    assert one.value == pytest.approx(other.value, abs=1e-7)
    assert gradient(folded, one) == pytest.approx(gradient(spread, other), abs=1e-6)
    assert one.mean[:common] == pytest.approx(other.mean[:common], abs=1e-8)


def test_effects_do_not_grow_with_builds(trained: Trained) -> None:
    """Builds without lots add no effect to the one dense system, so the work grows with their number only."""
    weighings = trained.evidence.weighings
    some = frozenset(trained.evidence.builds[:4])
    few = readings([one for one in weighings if one.build in some])
    assert [len(group.levels) for group in few.groups[:2]] == [0, 0]
    assert [len(group.levels) for group in readings(weighings).groups[:2]] == [0, 0]
    assert not [
        name for name in trained.model.belief().effects if name.startswith((LOTS_OF_WOOD, LOTS_OF_GLASS))
    ]


def test_a_mixed_book_learns_of_the_noted_lots_only(contents: Contents) -> None:
    """Where half the builds note their lots, these are known, and a plan without one is of another lot than theirs."""
    noted = Contents.of(simulate(614100, 8).records)
    half = list(noted.builds)[::2]
    mixed = replace(contents, builds=contents.builds | {name: noted.builds[name] for name in half})
    taught = train(mixed, "0" * 64, 1)
    seen = {one.build: lots_seen(taught.fit.posterior, one.columns) for one in taught.evidence.weighings}
    assert seen == {name: "seen" if name in half else "new" for name in seen}
    by_source = {share.source: share.sd_lbf for share in planned(contents, taught).shares}
    assert by_source["lot of glass"] > 0.1
