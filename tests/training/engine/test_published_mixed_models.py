"""Without a penalty the engine gives the published estimates of well-known mixed models.

Published values are those of R's lme4 (Bates, Maechler, Bolker and Walker, Journal of Statistical Software 67 (2015)),
of nlme (Pinheiro and Bates 2000) and of the test suite of MixedModels.jl, as printed in public repositories, unless a
line says that they are closed forms or those of statsmodels.
"""

from typing import Any

import numpy as np
import pandas as pd
import pytest
import statsmodels.formula.api as smf
from numpy.typing import NDArray
from scipy.optimize import minimize_scalar

from tests.published import columns_of, group, numbers, readings
from training.engine.hierarchy import Fit, fit
from training.engine.scale_priors import Flat

Array = NDArray[np.float64]
RTOL = 1e-3


def _one_way(name: str, value: str, label: str, start: float, *, restricted: bool = True) -> Fit:
    data = columns_of(name)
    y = numbers(data[value])
    own = {label: (np.ones(len(y)), Flat(start))}
    return fit(readings(y, np.ones((len(y), 1)), builds=data[label], own=own), restricted=restricted)


def _closed_form(name: str, value: str, label: str) -> tuple[float, float, float]:
    """Return sd between, sd within and standard error of the mean of a balanced one-way layout."""
    data = columns_of(name)
    y = numbers(data[value]).reshape(len(set(data[label])), -1)
    k, n = y.shape
    between = n * y.mean(axis=1).var(ddof=1)
    within = float(((y - y.mean(axis=1, keepdims=True)) ** 2).sum() / (k * (n - 1)))
    return float(np.sqrt((between - within) / n)), float(np.sqrt(within)), float(np.sqrt(between / (k * n)))


def test_dyestuff_restricted() -> None:
    """Dyestuff: restricted criterion, mean and its standard error, both variances."""
    found = _one_way("dyestuff.csv", "yield_g", "batch", 30)
    between, within = found.posterior.scales[0]
    assert found.criterion == pytest.approx(319.654276842257, abs=1e-8)
    assert found.posterior.means[0] == pytest.approx([1527.5])
    assert between**2 == pytest.approx(1764.05, rel=RTOL)
    assert within**2 == pytest.approx(2451.25, rel=RTOL)


def test_dyestuff_full() -> None:
    """Dyestuff by full likelihood: criterion, variance between batches, standard error."""
    found = _one_way("dyestuff.csv", "yield_g", "batch", 30, restricted=False)
    assert found.criterion == pytest.approx(327.3270598811, abs=1e-8)
    assert found.posterior.scale("batch")[0] ** 2 == pytest.approx(1388.33334, rel=RTOL)
    assert found.posterior.covariances[0, 0, 0] ** 0.5 == pytest.approx(17.694552, rel=RTOL)


def test_dyestuff_conditional_means() -> None:
    """Dyestuff with batches as effects of a group: the published conditional means of the six batches."""
    data = columns_of("dyestuff.csv")
    found = fit(
        readings(
            numbers(data["yield_g"]), np.ones((30, 1)), groups=(group("batch", data["batch"], Flat(30)),)
        )
    )
    means = found.posterior.means[0][0] + found.posterior.means[0][1:]
    published = [1509.8931, 1527.8913, 1556.0622, 1504.4155, 1584.2332, 1482.5047]
    assert means == pytest.approx(published, rel=1e-5)


@pytest.mark.parametrize(
    ("name", "value", "label", "start"),
    [("dyestuff.csv", "yield_g", "batch", 30), ("rail.csv", "travel_ns", "rail", 20)],
)
def test_balanced_one_way(name: str, value: str, label: str, start: float) -> None:
    """A balanced one-way layout gives the closed forms of its mean squares."""
    found = _one_way(name, value, label, start).posterior
    figures = [*found.scales[0], found.covariances[0, 0, 0] ** 0.5]
    assert figures == pytest.approx(_closed_form(name, value, label), rel=1e-6)


def test_rail() -> None:
    """Rail: mean, its standard error, both sds and the restricted log likelihood."""
    found = _one_way("rail.csv", "travel_ns", "rail", 20)
    assert found.posterior.means[0] == pytest.approx([66.5])
    assert found.posterior.covariances[0, 0, 0] ** 0.5 == pytest.approx(10.17104, rel=1e-6)
    assert found.posterior.scales[0] == pytest.approx([24.80547, 4.020779], rel=1e-6)
    assert -found.criterion / 2 == pytest.approx(-61.0885, abs=1e-4)


def test_zero_variance_is_reported() -> None:
    """Dyestuff2 by full likelihood: no scatter between batches, said to be on the boundary."""
    found = _one_way("dyestuff2.csv", "yield", "batch", 2, restricted=False)
    assert found.boundary == ("batch",)
    assert found.posterior.scale("batch")[0] == 0
    assert found.posterior.scale("noise")[0] == pytest.approx(3.653231351, rel=1e-6)
    assert found.criterion == pytest.approx(162.873036654, abs=1e-7)
    assert found.posterior.covariances[0, 0, 0] ** 0.5 == pytest.approx(0.66698574, rel=1e-6)


def test_zero_variance_pools() -> None:
    """Dyestuff2 by restricted likelihood: the noise is the plain sd of all values, a closed form on the boundary."""
    found = _one_way("dyestuff2.csv", "yield", "batch", 2)
    values = numbers(columns_of("dyestuff2.csv")["yield"])
    assert found.boundary == ("batch",)
    assert found.posterior.scale("noise")[0] == pytest.approx(values.std(ddof=1), rel=1e-6)


def _penicillin(*, restricted: bool) -> Fit:
    data = columns_of("penicillin.csv")
    groups = (group("plate", data["plate"], Flat(1)), group("sample", data["sample"], Flat(1)))
    return fit(
        readings(numbers(data["diameter_mm"]), np.ones((144, 1)), groups=groups), restricted=restricted
    )


def test_penicillin() -> None:
    """Penicillin, crossed effects by full likelihood: criterion, mean, its standard error, three sds."""
    found = _penicillin(restricted=False)
    assert found.criterion == pytest.approx(332.18834867, abs=1e-6)
    assert found.posterior.means[0][0] == pytest.approx(22.9722222, rel=1e-7)
    assert found.posterior.scales[0] == pytest.approx([0.8455646, 1.7706478, 0.3024264**0.5], rel=RTOL)
    assert found.posterior.covariances[0, 0, 0] ** 0.5 == pytest.approx(0.744596, rel=RTOL)


def _pastes(*, restricted: bool) -> Fit:
    data = columns_of("pastes.csv")
    casks = (group("cask", data["cask"], Flat(2)),)
    own = {"batch": (np.ones(60), Flat(1))}
    values = numbers(data["strength"])
    return fit(
        readings(values, np.ones((60, 1)), builds=data["batch"], groups=casks, own=own), restricted=restricted
    )


def test_pastes() -> None:
    """Pastes, nested effects by full likelihood: criterion, mean, its standard error, three sds."""
    found = _pastes(restricted=False)
    assert found.criterion == pytest.approx(247.99446586, abs=1e-6)
    assert found.posterior.means[0][0] == pytest.approx(60.0533333, rel=1e-7)
    assert found.posterior.scales[0] == pytest.approx([2.904069, 1.095070, 0.8234088], rel=RTOL)
    assert found.posterior.covariances[0, 0, 0] ** 0.5 == pytest.approx(0.642136, rel=RTOL)


def _with_slope(
    name: str, value: str, label: str, x: str, starts: tuple[float, float], *, restricted: bool
) -> Fit:
    """Fit correlated intercepts and slopes: independent ones, counted from the place where the likelihood is best."""
    data = columns_of(name)
    y, when = numbers(data[value]), numbers(data[x])
    common = np.column_stack([np.ones(len(y)), when])

    def counted_from(place: float) -> Fit:
        own = {"level": (np.ones(len(y)), Flat(starts[0])), "slope": (when - place, Flat(starts[1]))}
        return fit(readings(y, common, builds=data[label], own=own), restricted=restricted)

    best = minimize_scalar(
        lambda place: counted_from(place).criterion,
        bounds=(-20, 30),
        method="bounded",
        options={"xatol": 1e-5},
    )
    return counted_from(float(best.x))


def _at_zero(found: Fit) -> tuple[float, float, float]:
    """Return sd of the intercept at zero, sd of the slope, and their correlation."""
    level, slope = found.posterior.scale("level")[0], found.posterior.scale("slope")[0]
    column = found.readings.build_columns[1].column - found.readings.common[:, 1]
    place = -float(column[0])
    intercept = float(np.hypot(level, place * slope))
    return intercept, float(slope), float(-place * slope / intercept)


def test_sleepstudy_restricted() -> None:
    """Sleepstudy: restricted criterion, fixed effects and standard errors, sds and correlation."""
    found = _with_slope("sleepstudy.csv", "reaction_ms", "subject", "day", (25, 6), restricted=True)
    intercept, slope, correlation = _at_zero(found)
    assert found.criterion == pytest.approx(1743.628271959952, abs=1e-6)
    assert found.posterior.means[0] == pytest.approx([251.405104848486, 10.467285959596], rel=1e-9)
    assert np.sqrt(np.diag(found.posterior.covariances[0])) == pytest.approx([6.825, 1.546], rel=RTOL)
    assert [intercept, slope, found.posterior.scale("noise")[0]] == pytest.approx(
        [24.7407, 5.92214, 25.5918], rel=RTOL
    )
    assert correlation == pytest.approx(0.07, abs=0.005)


def test_sleepstudy_full() -> None:
    """Sleepstudy by full likelihood: criterion, sds and standard errors."""
    found = _with_slope("sleepstudy.csv", "reaction_ms", "subject", "day", (25, 6), restricted=False)
    intercept, slope, _ = _at_zero(found)
    assert found.criterion == pytest.approx(1751.939344464, abs=1e-6)
    assert [intercept, slope] == pytest.approx([23.7805, 5.7168], rel=RTOL)
    assert np.sqrt(np.diag(found.posterior.covariances[0])) == pytest.approx([6.63226, 1.50224], rel=RTOL)


def test_orthodont() -> None:
    """Orthodont: fixed effects, sds, correlation and restricted log likelihood."""
    found = _with_slope("orthodont.csv", "distance_mm", "subject", "age", (2, 0.2), restricted=True)
    intercept, slope, correlation = _at_zero(found)
    assert found.posterior.means[0] == pytest.approx([16.7611111, 0.6601852], rel=1e-6)
    figures = [intercept, slope, found.posterior.scale("noise")[0]]
    assert figures == pytest.approx([2.3270341, 0.2264278, 1.310040], rel=RTOL)
    assert correlation == pytest.approx(-0.609, rel=RTOL)
    assert -found.criterion / 2 == pytest.approx(-221.3183, abs=1e-4)


def _statsmodels(formula: str, frame: pd.DataFrame, *, restricted: bool = True, **how: Any) -> Any:
    return smf.mixedlm(formula, frame, **how).fit(reml=restricted)


BESIDE_CRITERION = 1e-6
"""So near to the best criterion the default search of statsmodels' MixedLM comes, where it converges."""

BESIDE = 5e-4
"""How far its sds may then lie from the best, as a share: at an excess e of the criterion, sqrt(2 e / curvature). The
curvature over the logarithm of an sd between k groups of n is 4 (k - 1) (n variance / MSB)^2 in a balanced one-way
layout: 12 for Dyestuff, 20 for Rail; by differences of the gradient it is 37 for Sleepstudy and 20 for Orthodont."""

BESIDE_ON_BOUNDARY = 1.5e-3
"""The same as an sd where the best is nought: there the criterion rises by slope * variance. For Dyestuff2, restricted,
the slope is n (k - 1) / s^2 - n (k - 1) MSB / s^4 = 0.72 with s^2 the variance of all values, so sqrt(1e-6 / 0.72)."""


@pytest.mark.parametrize("restricted", [True, False])
@pytest.mark.parametrize(
    ("name", "value", "label", "start"),
    [("dyestuff.csv", "yield_g", "batch", 30), ("rail.csv", "travel_ns", "rail", 20)],
)
def test_one_way_beside_statsmodels(
    name: str, value: str, label: str, start: float, *, restricted: bool
) -> None:
    """Dyestuff and Rail by either likelihood: criterion, mean, its standard error and both sds are statsmodels'."""
    data = columns_of(name)
    frame = pd.DataFrame({"y": numbers(data[value]), "group": data[label]})
    theirs = _statsmodels("y~1", frame, restricted=restricted, groups="group")
    ours = _one_way(name, value, label, start, restricted=restricted)

    assert ours.criterion == pytest.approx(-2 * theirs.llf, abs=BESIDE_CRITERION)
    assert ours.posterior.means[0] == pytest.approx(theirs.fe_params.to_numpy(), rel=1e-9)
    assert ours.posterior.covariances[0, 0, 0] ** 0.5 == pytest.approx(theirs.bse_fe.iloc[0], rel=BESIDE)
    sds = np.sqrt([theirs.cov_re.iloc[0, 0], theirs.scale])
    assert ours.posterior.scales[0] == pytest.approx(sds, rel=BESIDE)


def test_zero_variance_beside_statsmodels() -> None:
    """Dyestuff2, restricted: the same criterion, mean, error and noise, and both say that the other sd is nought.

    statsmodels warns of the boundary. Here that is right, as the mean squares say; of logarithms of force it warns
    nearly always, for it looks at the variance's size alone.
    """
    data = columns_of("dyestuff2.csv")
    frame = pd.DataFrame({"y": numbers(data["yield"]), "batch": data["batch"]})
    with (
        pytest.warns(UserWarning, match="boundary of the parameter space"),
        pytest.warns(UserWarning, match="covariance is singular"),
    ):
        theirs = _statsmodels("y~1", frame, groups="batch")
    ours = _one_way("dyestuff2.csv", "yield", "batch", 2)

    assert ours.boundary == ("batch",)
    assert ours.posterior.scale("batch")[0] == 0
    assert theirs.cov_re.iloc[0, 0] ** 0.5 < BESIDE_ON_BOUNDARY
    assert ours.criterion == pytest.approx(-2 * theirs.llf, abs=BESIDE_CRITERION)
    assert ours.posterior.means[0] == pytest.approx(theirs.fe_params.to_numpy(), rel=1e-9)
    assert ours.posterior.covariances[0, 0, 0] ** 0.5 == pytest.approx(theirs.bse_fe.iloc[0], rel=BESIDE)
    assert ours.posterior.scale("noise")[0] == pytest.approx(theirs.scale**0.5, rel=BESIDE)


@pytest.mark.parametrize("restricted", [True, False])
@pytest.mark.parametrize(
    ("name", "value", "label", "x", "starts"),
    [
        ("sleepstudy.csv", "reaction_ms", "subject", "day", (25.0, 6.0)),
        ("orthodont.csv", "distance_mm", "subject", "age", (2.0, 0.2)),
    ],
)
def test_slopes_beside_statsmodels(
    name: str, value: str, label: str, x: str, starts: tuple[float, float], *, restricted: bool
) -> None:
    """Sleepstudy and Orthodont by either likelihood: criterion, effects, errors, sds, correlation as in statsmodels."""
    data = columns_of(name)
    frame = pd.DataFrame({"y": numbers(data[value]), "x": numbers(data[x]), "group": data[label]})
    theirs = _statsmodels("y~x", frame, restricted=restricted, groups="group", re_formula="~x")
    ours = _with_slope(name, value, label, x, starts, restricted=restricted)
    intercept, slope, correlation = _at_zero(ours)

    own = theirs.cov_re.to_numpy()
    sds = np.sqrt([own[0, 0], own[1, 1], theirs.scale])
    assert ours.criterion == pytest.approx(-2 * theirs.llf, abs=BESIDE_CRITERION)
    assert ours.posterior.means[0] == pytest.approx(theirs.fe_params.to_numpy(), rel=1e-7)
    errors = np.sqrt(np.diag(ours.posterior.covariances[0]))
    assert errors == pytest.approx(theirs.bse_fe.to_numpy(), rel=BESIDE)
    assert [intercept, slope, ours.posterior.scale("noise")[0]] == pytest.approx(sds, rel=BESIDE)
    assert correlation == pytest.approx(own[0, 1] / (sds[0] * sds[1]), abs=BESIDE)


def test_restricted_crossed_and_nested_beside_statsmodels() -> None:
    """Penicillin and Pastes by restricted likelihood agree with statsmodels' MixedLM."""
    data = columns_of("penicillin.csv")
    frame = pd.DataFrame(
        {"y": numbers(data["diameter_mm"]), "plate": data["plate"], "sample": data["sample"], "all": 1}
    )
    parts = {"plate": "0+C(plate)", "sample": "0+C(sample)"}
    crossed = _statsmodels("y~1", frame, groups="all", re_formula="0", vc_formula=parts)
    ours = _penicillin(restricted=True)
    assert ours.criterion == pytest.approx(-2 * crossed.llf, abs=1e-4)
    assert ours.posterior.scales[0] ** 2 == pytest.approx([*crossed.vcomp, crossed.scale], rel=RTOL)

    data = columns_of("pastes.csv")
    frame = pd.DataFrame({"y": numbers(data["strength"]), "batch": data["batch"], "cask": data["cask"]})
    nested = _statsmodels("y~1", frame, groups="batch", re_formula="1", vc_formula={"cask": "0+C(cask)"})
    ours = _pastes(restricted=True)
    variances = [nested.vcomp[0], float(nested.cov_re.iloc[0, 0]), nested.scale]
    assert ours.criterion == pytest.approx(-2 * nested.llf, abs=1e-4)
    assert ours.posterior.scales[0] ** 2 == pytest.approx(variances, rel=RTOL)
