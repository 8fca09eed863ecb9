"""The model as a scikit-learn estimator, so that its tools may judge it: cross-validation, scoring, cloning, searches.

A row of X is one reading of the scale with all that is recorded of it but the answer, and y is the logarithm of that
reading in pounds. A reading is the least that can be foretold and scored by itself, and y must be one number a row;
builds are weighed unlike often and at unlike draws, so neither a build nor a weighing has one. The logarithm is what
the model is about: errors are shares of the weight. For pounds wrap the estimator in
`TransformedTargetRegressor(regressor, func=np.log, inverse_func=np.exp)`; a prediction is a median, which that keeps.
X is an object array of shape (readings,), as scikit-learn's text tools take documents: a row's columns, such as those
of its own lots, have no places in common with those of other rows before a fit lays them out.

Readings of one build are alike by more than any column says, so groups are builds everywhere: split by `builds_of`
with `GroupKFold` or `LeaveOneGroupOut`. Split by rows, a build is on both sides and errors look smaller than those of
a bow to come; a prediction of a build that has taught says so by a `SameBuildWarning`.
"""

import warnings
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import groupby, pairwise
from typing import Self

import numpy as np
from numpy.typing import ArrayLike, NDArray
from sklearn.base import BaseEstimator, RegressorMixin  # type: ignore[import-untyped]  # ships none
from sklearn.utils import Tags  # type: ignore[import-untyped]  # ships none
from sklearn.utils.validation import check_is_fitted  # type: ignore[import-untyped]  # ships none
from threadpoolctl import threadpool_limits

from datasets.contents import Contents
from predictor.belief.mixture import NormalMixture
from predictor.belief.own_history import USUAL_SLIPS, together
from predictor.belief.weighings import Weighing
from training.checking.evaluate import Learned, learned
from training.checking.questions import Question, at_draw, questions

Array = NDArray[np.float64]
Rows = NDArray[np.object_]
"""Of `OneReading`, shape (readings,)."""


class SameBuildWarning(UserWarning):
    """A build is foretold that has taught: the error will look smaller than that of a bow to come."""


@dataclass(frozen=True)
class OneReading:
    """A row of X.

    Attributes:
        number: of the reading in its book; a fit puts its rows in this order, which is that of time in each build.
        weigh_in: id of the weigh-in that it belongs to.
        question: what is recorded of it; its answer is not a number.
    """

    number: int
    weigh_in: str
    question: Question


def readings_of(contents: Contents, weighings: Sequence[Weighing]) -> tuple[Rows, Array]:
    """Return every reading of some weighings as X and y.

    Args:
        contents: of the book.
        weighings: solved by the statics, such as those of `train(...).evidence`; those of one build next to one
            another and in order of time. How the shop carries out its plans is told by all builds of the book.

    Returns:
        The rows and the logarithms of the readings in pounds, shape (readings,) each, in the order of the weighings.
    """
    asked = [question for found in weighings for question in _each_reading(contents, found)]
    weigh_ins = [found.weigh_in for found in weighings for _ in found.log_weight]
    rows = np.empty(len(asked), dtype=object)
    for number, (weigh_in, question) in enumerate(zip(weigh_ins, asked, strict=True)):
        rows[number] = OneReading(number, weigh_in, replace(question, log_weight=np.nan))
    return rows, np.array([question.log_weight for question in asked])


def _each_reading(contents: Contents, found: Weighing) -> Sequence[Question]:
    (main,) = questions(contents, [found], lambda some: next(w for w in some if w.id == found.weigh_in))
    return [
        replace(
            main,
            moment=replace(found.moment, draws_in=(draw_in,)),
            columns=at_draw(found.columns, place),
            log_weight=float(found.log_weight[place]),
        )
        for place, draw_in in enumerate(found.moment.draws_in)
    ]


def builds_of(rows: Rows) -> NDArray[np.str_]:
    """Return the id of each row's build: the groups of every split, shape (readings,)."""
    return np.array([row.question.build for row in rows], dtype=np.str_)


class WeightRegressor(RegressorMixin, BaseEstimator):  # type: ignore[misc]  # scikit-learn ships no types
    """What some readings teach and foretell, by the same path as `training.learning.train`.

    A row of a bow past its first draw is told what it was cut by until then, as when builds are scored.

    `score` is scikit-learn's coefficient of determination, of logarithms.

    Args:
        slips: whether mistakes of the pencil are looked for and weighed down.
        restricted: whether scales are found by restricted likelihood; otherwise by the full one.
        level: of the intervals.

    Attributes:
        learned_: what the readings have taught.
    """

    def __init__(self, *, slips: bool = True, restricted: bool = True, level: float = 0.9) -> None:
        self.slips = slips
        self.restricted = restricted
        self.level = level

    def __sklearn_tags__(self) -> Tags:
        """Return scikit-learn's tags: X has one dimension, of objects."""
        tags = super().__sklearn_tags__()
        tags.input_tags.one_d_array, tags.input_tags.two_d_array = True, False
        return tags

    def fit(self, X: Rows, y: ArrayLike) -> Self:
        """Learn from some readings, in any order.

        Args:
            X: rows as `readings_of` lays them out, shape (readings,); without any the prior's belief answers.
            y: logarithms of the readings in pounds, shape (readings,).

        Raises:
            TypeError: X has other rows.
            ValueError: X and y do not fit together, a reading stands twice, or the level is none.
        """
        self._tails()
        weighings = _weighings(_checked(X), np.asarray(y, dtype=np.float64))
        with threadpool_limits(limits=1, user_api="blas"):
            self.learned_: Learned = learned(
                weighings,
                sorted({one.build for one in weighings}),
                slips=USUAL_SLIPS if self.slips else None,
                restricted=self.restricted,
            )
        return self

    def foretold(self, X: Rows) -> NormalMixture:
        """Return what is to be expected of the logarithms of readings.

        Raises:
            sklearn.exceptions.NotFittedError: nothing was fitted.
            TypeError: X has other rows than those of `readings_of`.
        """
        check_is_fitted(self)
        asked = [row.question for row in _checked(X)]
        both = sorted(self.learned_.builds & {question.build for question in asked})
        if both:
            named = f"{', '.join(both[:3])}{', ...' if len(both) > 3 else ''}"
            warnings.warn(
                f"wanted builds that have not taught, got {len(both)} that have ({named}): their errors look too "
                "small; split by builds, such as GroupKFold with groups=builds_of(X)",
                SameBuildWarning,
                stacklevel=3,
            )
        return self.learned_.answers(asked)

    def predict(self, X: Rows, return_std: bool = False) -> Array | tuple[Array, Array]:
        """Return the median of the logarithm of each reading and, if wanted, its standard deviation."""
        foretold = self.foretold(X)
        median = foretold.quantile(0.5)
        return (median, foretold.sd) if return_std else median

    def predict_interval(self, X: Rows) -> Array:
        """Return the ends of the central interval of the level for each logarithm, shape (readings, 2)."""
        low, high = self._tails()
        foretold = self.foretold(X)
        return np.stack([foretold.quantile(low), foretold.quantile(high)], axis=1)

    def _tails(self) -> tuple[float, float]:
        """Return the probabilities of lying below each end of an interval."""
        if not 0 < self.level < 1:
            raise ValueError(f"wanted a level between 0 and 1, got {self.level}; give one such as 0.9")
        return (1 - self.level) / 2, (1 + self.level) / 2


def _checked(rows: Rows) -> Sequence[OneReading]:
    strange = next((row for row in rows if not isinstance(row, OneReading)), None)
    if strange is not None:
        raise TypeError(
            f"wanted rows that are readings, got {type(strange).__name__}; lay them out by readings_of"
        )
    return list(rows)


def _weighings(rows: Sequence[OneReading], log_weight: Array) -> tuple[Weighing, ...]:
    """Return the weighings that some readings are of, with no other readings than these."""
    if log_weight.shape != (len(rows),) or not np.isfinite(log_weight).all():
        raise ValueError(
            f"wanted {len(rows)} finite logarithms of pounds, got an array of shape {log_weight.shape}"
            f" with {np.isfinite(log_weight).sum()} finite; give one for each row of X"
        )
    in_order = sorted(zip(rows, log_weight.tolist(), strict=True), key=lambda pair: pair[0].number)
    twice = next((row for (row, _), (other, _) in pairwise(in_order) if row.number == other.number), None)
    if twice is not None:
        raise ValueError(
            f"wanted each reading once, got one of {twice.weigh_in} twice; split without putting back"
        )
    return tuple(_as_weighed(list(same)) for _, same in groupby(in_order, key=lambda pair: pair[0].weigh_in))


def _as_weighed(mine: Sequence[tuple[OneReading, float]]) -> Weighing:
    asked = [row.question for row, _ in mine]
    weigh_in = mine[0][0].weigh_in
    return Weighing(
        build=asked[0].build,
        weigh_in=weigh_in,
        moment=replace(asked[0].moment, draws_in=tuple(one.moment.draws_in[0] for one in asked)),
        columns=together([(weigh_in, one.columns) for one in asked]),
        log_weight=np.array([read for _, read in mine]),
    )
