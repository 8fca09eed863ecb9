"""Many roots at once are those of one at a time."""

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import brentq

from predictor.mechanics.secant import solved


def test_roots_are_those_of_a_bracketing_solver() -> None:
    """Roots of log(1 + a x^3) = w are those of `scipy.optimize.brentq`, one by one."""
    factors = np.array([1.0, 5.0, 40.0, 200.0])
    wanted = np.array([0.2, 1.0, 2.5, 4.0])

    found = solved(lambda x: np.log1p(factors * x**3), wanted, np.full(4, 0.1), np.full(4, 2.0))

    for place, (factor, value) in enumerate(zip(factors, wanted, strict=True)):
        root = brentq(lambda x, a=factor, w=value: np.log1p(a * x**3) - w, 0.1, 2.0, xtol=1e-13)
        assert found[place] == pytest.approx(root, abs=2e-6)


def test_what_lies_beyond_a_bound_gives_the_bound() -> None:
    """A value above or below all that the function takes gives the bound on its side; a pinned one its place."""
    found = solved(np.log, np.log([0.01, 9.0, 3.0]), np.array([1.0, 1.0, 2.0]), np.array([2.0, 2.0, 2.0]))

    assert found.tolist() == [1.0, 2.0, 2.0]


def test_a_function_without_values_gives_no_number() -> None:
    """Where a function has no value, neither has its root; the others are found."""
    found = solved(
        lambda x: np.where([True, False], np.nan, x), np.array([1.5, 1.5]), np.full(2, 1.0), np.full(2, 2.0)
    )

    assert np.isnan(found[0])
    assert found[1] == pytest.approx(1.5)


def test_a_function_is_only_asked_where_there_is_a_place() -> None:
    """A function without a value is not asked at a place that is no number, which callers cannot build anything of."""
    asked: list[float] = []

    def hollow(x: NDArray[np.float64]) -> NDArray[np.float64]:
        asked.extend(x.tolist())
        return np.full_like(x, np.nan)

    assert np.isnan(solved(hollow, np.array([1.5]), np.array([1.0]), np.array([2.0]))).all()
    assert np.isfinite(asked).all()
