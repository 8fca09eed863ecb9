"""The path from columns to coefficients keeps the digits of NIST's certified least-squares fits.

The path is the one of every fit: columns brought to orthonormal combinations by Householder QR, then the normal
equations of those. Certified values: NIST Statistical Reference Datasets, linear regression. Digits are -log10 of the
largest relative error of a coefficient.
"""

import numpy as np
import pytest
from numpy.typing import NDArray
from statsmodels.datasets import longley

from tests.published import columns_of, numbers, readings
from training.engine.hierarchy import fit
from training.engine.scale_priors import Flat

Array = NDArray[np.float64]


def _digits(found: Array, certified: Array) -> float:
    error = np.max(np.abs(found / certified - 1))
    return float(-np.log10(max(error, np.finfo(float).eps)))


def _powers(x: Array, degree: int) -> Array:
    return np.vander(x, degree + 1, increasing=True)


def test_norris() -> None:
    """Norris, a straight line: ten digits of the coefficients, and the residual sd."""
    data = columns_of("norris.csv")
    found = fit(readings(numbers(data["y"]), _powers(numbers(data["x"]), 1), noise=Flat(1.0)))
    assert _digits(found.posterior.means[0], np.array([-0.262323073774029, 1.00211681802045])) >= 10
    assert found.posterior.scale("noise")[0] == pytest.approx(0.884796396144373, rel=1e-5)


def test_longley() -> None:
    """Longley, six collinear series: eight digits, and the certified standard errors."""
    data = longley.load_pandas()
    design = np.column_stack([np.ones(16), data.exog.to_numpy(dtype=float)])
    found = fit(readings(data.endog.to_numpy(dtype=float), design)).posterior
    certified = np.array(
        [
            -3482258.63459582,
            15.0618722713733,
            -0.0358191792925910,
            -2.02022980381683,
            -1.03322686717359,
            -0.0511041056535807,
            1829.15146461355,
        ]
    )
    certified_se = np.array(
        [
            890420.383607373,
            84.9149257747669,
            0.0334910077722432,
            0.488399681651699,
            0.214274163161675,
            0.226073200069370,
            455.478499142212,
        ]
    )
    assert _digits(found.means[0], certified) >= 8
    assert np.sqrt(np.diag(found.covariances[0])) == pytest.approx(certified_se, rel=1e-5)


@pytest.mark.parametrize("base", [1.0, 0.1])
def test_wampler(base: float) -> None:
    """Wampler 1 and 2, polynomials of degree five without noise: eight digits."""
    x = np.arange(21.0)
    certified = base ** np.arange(6.0)
    found = fit(readings(_powers(x, 5) @ certified, _powers(x, 5)))
    assert _digits(found.posterior.means[0], certified) >= 8


def test_filip() -> None:
    """Filip, degree ten with a condition number near 1e15: seven digits."""
    data = columns_of("filip.csv")
    found = fit(readings(numbers(data["y"]), _powers(numbers(data["x"]), 10)))
    certified = np.array(
        [
            -1467.48961422980,
            -2772.17959193342,
            -2316.37108160893,
            -1127.97394098372,
            -354.478233703349,
            -75.1242017393757,
            -10.8753180355343,
            -1.06221498588947,
            -0.0670191154593408,
            -0.00246781078275479,
            -0.0000402962525080404,
        ]
    )
    assert _digits(found.posterior.means[0], certified) >= 7
    assert found.posterior.scale("noise")[0] == pytest.approx(0.00334801051324544, rel=1e-5)
