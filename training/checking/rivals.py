"""Other ways to foretell a weight: what a bowyer does by hand, and what a statistician tries first.

Each learns from one reading a build, the same that is asked of the builds to come, so no build counts twice. Each
gives a mean and a standard deviation of the logarithm of the weight; where it has none of its own, the deviation is
that of its errors on past builds, each foretold from the others.
"""

import warnings
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from sklearn import exceptions, gaussian_process, linear_model, preprocessing  # type: ignore[import-untyped]  # ships none

from datasets.schema import Part
from predictor.belief.columns import FINISHED
from predictor.belief.mixture import NormalMixture
from training.checking.questions import Question

Array = NDArray[np.float64]

STACK_POWER = 2.6
"""Weight goes as total stack to this power at fixed glass: slope of the stiffness of a glass-faced wood beam."""

LENGTH_POWER = -2.2
"""Weight goes as limb length to this power: an inch on the bow, half an inch on a limb of 24 in, costs some 2 lb of 50.
Common practice, no source."""

SHARE_PER_INCH = 0.055
"""Share of the weight at 28 in that an inch of draw adds. Common practice, no source."""

FIRST_GUESS_SD = 0.15
"""Log sd that a rival states while it has no past error to go by."""


@dataclass(frozen=True)
class Table:
    """Builds as rows of numbers that anyone can measure.

    Attributes:
        dimensions: stack at mid-limb, glass, width at mid-limb, limb length, brace and draw, in inches, shape (n, 6).
        forms: name of each build's form, shape (n,).
        woods: name of the wood that makes most of each stack, shape (n,).
        finished: 1 where the bow was finished, shape (n,).
        log_physics: logarithm of the weight by the statics at handbook moduli, shape (n,).
        log_weight: logarithm of the reading, shape (n,).
    """

    dimensions: Array
    forms: NDArray[np.str_]
    woods: NDArray[np.str_]
    finished: Array
    log_physics: Array
    log_weight: Array

    def __len__(self) -> int:
        return len(self.log_weight)

    def rows(self, chosen: NDArray[np.bool_] | NDArray[np.intp]) -> "Table":
        """Return some of the rows."""
        return Table(
            self.dimensions[chosen],
            self.forms[chosen],
            self.woods[chosen],
            self.finished[chosen],
            self.log_physics[chosen],
            self.log_weight[chosen],
        )


Rival = Callable[[Table, Table], NormalMixture]
"""From past builds, two at least, and the builds asked for to the logarithms of the weights asked for, at which a rival
does not look."""


def table(asked: Sequence[Question]) -> Table:
    """Return builds as rivals see them."""
    return Table(
        dimensions=np.array([_dimensions(question) for question in asked]),
        forms=np.array([question.moment.form for question in asked]),
        woods=np.array([_main_wood(question) for question in asked]),
        finished=np.array([float(question.moment.stage in FINISHED) for question in asked]),
        log_physics=np.array([question.columns.offset[0] for question in asked]),
        log_weight=np.array([question.log_weight for question in asked]),
    )


def _dimensions(question: Question) -> tuple[float, ...]:
    bow, limb = question.bow, question.bow.upper
    middle = limb.length / 2
    glass = sum(lam.thickness[0] for lam in limb.lams if lam.part is Part.GLASS)
    width = float(np.mean([np.interp(middle, *side.width_belly) for side in (bow.upper, bow.lower)]))
    return limb.stack_at(middle), glass, width, limb.length, bow.brace, question.moment.draws_in[0]


def _main_wood(question: Question) -> str:
    cores = [lam for lam in question.bow.upper.lams if lam.part is not Part.GLASS]
    return max(cores, key=lambda lam: lam.thickness[0]).material if cores else ""


def nearest_build(past: Table, asked: Table) -> NormalMixture:
    """Scale the nearest past build by rule of thumb: width, stack, limb length and draw.

    Nearest is of the same form before the same wood, then by dimensions; weight is proportional to width.
    """
    return _normal(
        _scaled(past, asked), np.array([_left_out_error(past, place) for place in range(len(past))])
    )


def _left_out_error(past: Table, place: int) -> float:
    """Return the error on one past build, foretold from the others."""
    one = np.arange(len(past)) == place
    return float(past.log_weight[place] - _scaled(past.rows(~one), past.rows(one))[0])


def _scaled(past: Table, asked: Table) -> Array:
    logs, wanted = np.log(past.dimensions), np.log(asked.dimensions)
    apart = np.abs(wanted[:, None, :] - logs).sum(axis=2)
    apart += 10.0 * (asked.forms[:, None] != past.forms) + 5.0 * (asked.woods[:, None] != past.woods)
    nearest = apart.argmin(axis=1)
    stack, _, width, limb, _, _ = (wanted - logs[nearest]).T
    draw = SHARE_PER_INCH * (asked.dimensions[:, 5] - past.dimensions[nearest, 5])
    scaled: Array = past.log_weight[nearest] + width + STACK_POWER * stack + LENGTH_POWER * limb + draw
    return scaled


def one_factor(past: Table, asked: Table) -> NormalMixture:
    """Take the statics at handbook moduli, times one factor that fits the past builds best."""
    ratio = past.log_weight - past.log_physics
    others = (ratio.sum() - ratio) / (len(past) - 1)
    return _normal(asked.log_physics + ratio.mean(), ratio - others)


def ridge(past: Table, asked: Table) -> NormalMixture:
    """Regress on log dimensions, form and wood, with a penalty chosen by leaving each build out."""
    model = linear_model.RidgeCV(alphas=np.logspace(-3, 3, 25), store_cv_results=True)
    known, wanted = _standardised(past, asked, np.log)
    model.fit(known, past.log_weight)
    squared = model.cv_results_[:, np.argmin(model.cv_results_.mean(axis=0))]
    return _normal(model.predict(wanted), np.sqrt(squared))


def dimensions_process(past: Table, asked: Table) -> NormalMixture:
    """Fit a Gaussian process to plain dimensions, form and wood; its scales by maximum likelihood."""
    parts = gaussian_process.kernels
    kernel = parts.ConstantKernel(1.0) * parts.RBF(3.0, (0.3, 100.0)) + parts.WhiteKernel(0.1, (1e-4, 10.0))
    model = gaussian_process.GaussianProcessRegressor(
        kernel, normalize_y=True, n_restarts_optimizer=2, random_state=0
    )
    known, wanted = _standardised(past, asked, lambda dimensions: dimensions)
    with warnings.catch_warnings():
        # With few builds the likelihood has no inner maximum; the bounds of the kernel stand for a prior.
        warnings.simplefilter("ignore", exceptions.ConvergenceWarning)
        model.fit(known, past.log_weight)
    mean, sd = model.predict(wanted, return_std=True)
    return _mixture(mean, np.maximum(sd, 1e-6))


RIVALS: dict[str, Rival] = {
    "nearest build, by rule of thumb": nearest_build,
    "ridge on log dimensions": ridge,
    "Gaussian process on dimensions": dimensions_process,
    "statics with one factor": one_factor,
}


def _standardised(past: Table, asked: Table, change: Callable[[Array], Array]) -> tuple[Array, Array]:
    """Return both tables' columns, centred and scaled by the past builds; a form or wood never met is all zeros."""
    forms, woods = np.unique(past.forms), np.unique(past.woods)

    def plain(some: Table) -> Array:
        marks = [some.forms[:, None] == forms, some.woods[:, None] == woods, some.finished[:, None]]
        return np.hstack([change(some.dimensions), *marks])

    scaler = preprocessing.StandardScaler().fit(plain(past))
    return scaler.transform(plain(past)), scaler.transform(plain(asked))


def _normal(mean: Array, errors: Array) -> NormalMixture:
    """Return predictions whose sd is that of past errors; the first guess counts as one of them."""
    variance = (np.sum(errors**2) + FIRST_GUESS_SD**2) / (len(errors) + 1)
    return _mixture(mean, np.full(len(mean), np.sqrt(variance)))


def _mixture(mean: Array, sd: Array) -> NormalMixture:
    return NormalMixture(np.ones((1, len(mean))), mean[None], sd[None])
