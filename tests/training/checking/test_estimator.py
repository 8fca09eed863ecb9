"""The estimator says what training and `predict` say, keeps scikit-learn's conventions, and tells when builds leak."""

import warnings
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
import pytest
from sklearn.base import clone
from sklearn.compose import TransformedTargetRegressor
from sklearn.exceptions import NotFittedError
from sklearn.metrics import r2_score
from sklearn.model_selection import GroupKFold, KFold, LeaveOneGroupOut, cross_val_predict, cross_val_score
from sklearn.utils import estimator_checks, get_tags

from datasets.contents import Contents
from datasets.history import events_until
from datasets.schema import Stage, WeighIn
from predictor.belief.calibration import Calibration
from predictor.belief.model import Model
from predictor.belief.posterior import Posterior
from predictor.prediction.predict import DrawPrediction, Prediction, predict
from training.checking.estimator import Array, Rows, SameBuildWarning, WeightRegressor, builds_of, readings_of
from training.checking.evaluate import learned, only
from training.learning.calibrate import main_readings
from training.learning.evidence import evidence
from training.learning.train import Trained, train
from training.workshop.virtual_shop import simulate

BUILDS = 14


@pytest.fixture(scope="module")
def contents() -> Contents:
    """Return the book of an invented shop, with one build that is to come."""
    return Contents.of(simulate(1001, BUILDS + 1).records)


@pytest.fixture(scope="module")
def trained(contents: Contents) -> Trained:
    """Return what training on its first builds gives."""
    return train(only(contents, list(contents.builds)[:BUILDS]), "0" * 64, 1)


@pytest.fixture(scope="module")
def table(contents: Contents, trained: Trained) -> tuple[Rows, Array]:
    """Return their readings."""
    return readings_of(contents, trained.evidence.weighings)


@pytest.fixture(scope="module")
def to_come(contents: Contents, trained: Trained) -> Rows:
    """Return the readings of the next build's first weighing, asked for before anybody cuts it by the scale."""
    found = evidence(only(contents, list(contents.builds)[BUILDS:]), trained.model.habits).weighings[0]
    planned = replace(found, moment=replace(found.moment, stage=Stage.FIRST_DRAW))
    return readings_of(contents, [planned])[0]


@pytest.fixture(scope="module")
def fitted(table: tuple[Rows, Array]) -> WeightRegressor:
    """Return the estimator fitted to all readings of the first builds, in an order of no meaning."""
    rows, read = table
    mixed = np.random.default_rng(1).permutation(len(rows))
    return WeightRegressor().fit(rows[mixed], read[mixed])


def _first_builds(table: tuple[Rows, Array], count: int) -> tuple[Rows, Array]:
    rows, read = table
    builds = builds_of(rows)
    some = np.isin(builds, list(dict.fromkeys(builds.tolist()))[:count])
    return rows[some], read[some]


def test_rows_are_readings_without_their_answers(trained: Trained, table: tuple[Rows, Array]) -> None:
    """There is one row a reading in the order of the weighings; what it read stands in y alone."""
    rows, read = table

    assert read.tolist() == [value for one in trained.evidence.weighings for value in one.log_weight]
    assert all(np.isnan(row.question.log_weight) for row in rows)
    assert tuple(dict.fromkeys(builds_of(rows).tolist())) == trained.evidence.builds


def test_learns_what_training_learns(trained: Trained, fitted: WeightRegressor) -> None:
    """Readings in any order teach what `train` learns from the book, to 1e-8 for rounding."""
    theirs = Posterior.from_json(trained.model.posterior)
    ours = fitted.learned_

    assert ours.belief.effects == theirs.effects
    for name in ("weights", "scales", "means", "covariances"):
        assert getattr(ours.belief, name) == pytest.approx(getattr(theirs, name), rel=1e-8, abs=1e-10)
    scores = {one.build: one.score for one in trained.model.calibration.builds}
    assert {one.build: one.score for one in ours.calibration.builds} == pytest.approx(scores, rel=1e-8)


def _said(contents: Contents, model: Model, asked: Rows) -> Sequence[DrawPrediction]:
    """Return what `drawweight predict` says of the same readings."""
    weigh_in = contents.event(asked[0].weigh_in)
    assert isinstance(weigh_in, WeighIn)
    build = contents.builds[asked[0].question.build]
    form = contents.form_of(build)
    assert form is not None
    said = predict(
        form,
        build,
        events_until(contents.events[build.id], weigh_in),
        [reading.draw for reading in weigh_in.readings],
        contents.materials,
        model,
        Stage.FIRST_DRAW,
        shots=weigh_in.shots,
        scale=weigh_in.scale,
        count_own=False,
    )
    assert isinstance(said, Prediction)
    return said.draws


@pytest.mark.parametrize(("stretched", "within"), [(False, 1e-8), (True, 1e-3)])
def test_says_what_predict_says(
    contents: Contents,
    trained: Trained,
    fitted: WeightRegressor,
    to_come: Rows,
    stretched: bool,
    within: float,
) -> None:
    """Of a bow to come it gives the pounds, the standard deviation and the interval of `drawweight predict`.

    To rounding as the fit has them. Stretched by builds left out they are a little apart, for `predict` stretches all
    doubts but those of reading about the mean, and scoring stretches the whole mixture about its median.
    Before the bow is cut by the scale, that is: later rows are told what it was cut by, as when builds are scored.
    """
    calibration = trained.model.calibration if stretched else Calibration()
    said = _said(contents, trained.model.model_copy(update={"calibration": calibration}), to_come)
    ours = clone(fitted)
    ours.learned_ = replace(fitted.learned_, calibration=calibration)
    median, sd = ours.predict(to_come, return_std=True)
    low, high = np.exp(ours.predict_interval(to_come)).T

    assert np.exp(median) == pytest.approx([draw.weight_lbf for draw in said], rel=within)
    assert sd == pytest.approx([draw.log_sd for draw in said], rel=within)
    theirs = [draw.intervals[-1] for draw in said]
    assert {interval.level for interval in theirs} == {ours.level}
    assert low == pytest.approx([interval.low_lbf for interval in theirs], rel=within)
    assert high == pytest.approx([interval.high_lbf for interval in theirs], rel=within)


def test_intervals_leave_equal_tails(fitted: WeightRegressor, to_come: Rows) -> None:
    """Of an 80 % interval each end has a tenth of the probability beyond it."""
    other = clone(fitted).set_params(level=0.8)
    other.learned_ = fitted.learned_
    low, high = other.predict_interval(to_come).T
    foretold = fitted.foretold(to_come)

    assert foretold.cdf(low) == pytest.approx(np.full(len(to_come), 0.1))
    assert foretold.cdf(high) == pytest.approx(np.full(len(to_come), 0.9))


def test_without_readings_the_prior_answers(table: tuple[Rows, Array], to_come: Rows) -> None:
    """Fitted to nothing it says what is believed before any build."""
    rows, read = table
    asked = [row.question for row in to_come]

    said = WeightRegressor().fit(rows[:0], read[:0]).predict(to_come)

    assert said == pytest.approx(learned((), ()).answers(asked).quantile(0.5))


def test_settings_reach_the_fit(table: tuple[Rows, Array]) -> None:
    """Without slips no mistake is looked for; the full likelihood finds other scales than the restricted one."""
    some = _first_builds(table, 4)
    plain = WeightRegressor(slips=False).fit(*some).learned_.fit
    full = WeightRegressor(slips=False, restricted=False).fit(*some).learned_.fit

    assert plain is not None
    assert full is not None
    assert plain.suspicion is None
    assert not np.allclose(plain.state.scales, full.state.scales, rtol=1e-4)


def test_cross_validation_by_builds(table: tuple[Rows, Array]) -> None:
    """`cross_val_score` splits by builds without a warning; its scores are of logarithms of builds held out."""
    rows, read = _first_builds(table, 4)
    split = GroupKFold(2)
    scores = cross_val_score(WeightRegressor(), rows, read, groups=builds_of(rows), cv=split)
    past, held = next(split.split(rows, groups=builds_of(rows)))
    first = WeightRegressor().fit(rows[past], read[past])

    assert scores[0] == pytest.approx(r2_score(read[held], first.predict(rows[held])))
    assert not set(builds_of(rows[past])) & set(builds_of(rows[held]))


def test_pounds_by_a_transformed_target(table: tuple[Rows, Array], to_come: Rows) -> None:
    """Wrapped with logarithm and exponential it takes pounds, and its medians are those of the logarithms."""
    rows, read = _first_builds(table, 3)
    wrapped = TransformedTargetRegressor(WeightRegressor(), func=np.log, inverse_func=np.exp)
    wrapped.fit(rows, np.exp(read))
    alone = WeightRegressor().fit(rows, read)

    assert wrapped.predict(to_come) == pytest.approx(np.exp(alone.predict(to_come)))


@pytest.mark.slow
def test_leaving_builds_out_is_near_the_closed_form(trained: Trained, table: tuple[Rows, Array]) -> None:
    """Main readings by `LeaveOneGroupOut` lie near the closed form at the scales of all builds.

    Most lie within 0.1 predictive sd, the bound of `test_calibrate`; law of settling, usual cut and doubts are learned
    anew besides. All lie within 0.5, as in `test_left_out_builds`: a row is told the bow's cut by its own record alone,
    while the closed form also knows from earlier weighings that nothing went off without one.
    """
    rows, read = table
    anew = cross_val_predict(WeightRegressor(), rows, read, groups=builds_of(rows), cv=LeaveOneGroupOut())
    mains = [main.row for main in main_readings(trained.evidence)]
    closed = trained.fit.leave_builds_out().some(mains)
    offsets = np.array([rows[main].question.columns.offset[0] for main in mains])

    apart = np.abs(anew[mains] - offsets - closed.quantile(0.5)) / closed.sd
    assert np.mean(apart < 0.1) > 0.5
    assert np.max(apart) < 0.5


@pytest.mark.slow
def test_split_by_rows_errors_look_smaller(table: tuple[Rows, Array]) -> None:
    """With rows of a build on both sides errors look smaller than those of bows never met: groups must be builds."""
    rows, read = table
    with pytest.warns(SameBuildWarning):
        by_rows = cross_val_predict(WeightRegressor(), rows, read, cv=KFold(5, shuffle=True, random_state=1))
    by_builds = cross_val_predict(WeightRegressor(), rows, read, groups=builds_of(rows), cv=GroupKFold(5))

    assert np.sqrt(np.mean((by_rows - read) ** 2)) < np.sqrt(np.mean((by_builds - read) ** 2))


def test_says_that_a_build_has_taught(
    table: tuple[Rows, Array], fitted: WeightRegressor, to_come: Rows
) -> None:
    """Foretelling a build that has taught names it; one that is to come goes without a word."""
    rows, _ = table
    with pytest.warns(SameBuildWarning, match=rf"got 1 that have \({rows[0].question.build}\)"):
        fitted.predict(rows[:1])
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        fitted.predict(to_come)


@pytest.mark.parametrize("ask", [WeightRegressor.predict, WeightRegressor.predict_interval])
def test_unfitted_is_refused(ask: Callable[[WeightRegressor, Rows], object], to_come: Rows) -> None:
    """Nothing is foretold before anything is fitted."""
    with pytest.raises(NotFittedError):
        ask(WeightRegressor(), to_come)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (lambda rows, read: (rows, read[1:]), r"wanted \d+ finite logarithms"),
        (lambda rows, read: (rows[:2], read[:2] * [1, np.nan]), r"shape \(2,\) with 1 finite"),
        (lambda rows, read: (rows[[0, 0]], read[[0, 0]]), "wanted each reading once"),
    ],
)
def test_what_does_not_fit_together_is_refused(
    table: tuple[Rows, Array], change: Callable[[Rows, Array], tuple[Rows, Array]], message: str
) -> None:
    """Too few answers, one that is no number, and a reading that stands twice are refused in one line."""
    with pytest.raises(ValueError, match=message) as refused:
        WeightRegressor().fit(*change(*table))

    assert "\n" not in str(refused.value)


def test_numbers_are_no_readings() -> None:
    """A table of plain numbers is refused by name of what lays readings out."""
    with pytest.raises(TypeError, match="readings_of"):
        WeightRegressor().fit(np.ones((3, 2)), np.ones(3))


def test_a_level_is_between_none_and_all(table: tuple[Rows, Array]) -> None:
    """A level that is none is refused by the fit, not by the constructor, as scikit-learn has it."""
    with pytest.raises(ValueError, match="wanted a level between 0 and 1, got 90"):
        WeightRegressor(level=90).fit(*table)


@pytest.mark.parametrize(
    "check",
    [
        estimator_checks.check_estimator_cloneable,
        estimator_checks.check_estimator_repr,
        estimator_checks.check_estimator_tags_renamed,
        estimator_checks.check_valid_tag_types,
        estimator_checks.check_no_attributes_set_in_init,
        estimator_checks.check_parameters_default_constructible,
        estimator_checks.check_do_not_raise_errors_in_init_or_set_params,
        estimator_checks.check_get_params_invariance,
        estimator_checks.check_set_params,
        estimator_checks.check_mixin_order,
        estimator_checks.check_estimators_unfitted,
    ],
)
def test_keeps_the_conventions(check: Callable[[str, WeightRegressor], None]) -> None:
    """scikit-learn's own checks of parameters, cloning, tags and unfitted use hold.

    Its other checks fit tables of plain numbers, which no row of ours is; by the tags scikit-learn skips them itself.
    """
    check("WeightRegressor", WeightRegressor())


def test_tags_tell_what_rows_are() -> None:
    """It is a regressor that takes one object a row, not a table of numbers."""
    tags = get_tags(WeightRegressor())

    assert tags.estimator_type == "regressor"
    assert (tags.input_tags.one_d_array, tags.input_tags.two_d_array) == (True, False)
