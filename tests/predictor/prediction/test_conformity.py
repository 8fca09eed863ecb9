"""Tolerances judged on an uncertain scale: published numbers, and laws."""

from math import inf

import pytest
from hypothesis import given
from hypothesis import strategies as st

from predictor.prediction.conformity import conformance, guard_band


def test_example_of_two_limits() -> None:
    """A reading of 13.6 with u = 1.8 between 12.5 and 16.3 conforms with probability 0.66 (JCGM 106:2012, 7.4).

    The further digits, Phi(1.5) - Phi(-0.6111), are computed: math.erf gives 0.6626297865.
    """
    assert conformance(13.6, 1.8, 12.5, 16.3) == pytest.approx(0.66, abs=0.005)
    assert conformance(13.6, 1.8, 12.5, 16.3) == pytest.approx(0.6626297865, abs=1e-9)


def test_published_guard_bands() -> None:
    """A guard band of the expanded uncertainty, k = 2, leaves a risk below 2.5 %; 1.65 u leaves 5 % (ILAC-G8)."""
    assert conformance(-2.0, 1.0, 0, inf) == pytest.approx(0.02275, abs=5e-6)
    assert conformance(-1.65, 1.0, 0, inf) < 0.05
    assert guard_band(1.0, 0.05) == pytest.approx(1.645, abs=5e-4)


def test_simple_acceptance_risks_a_half() -> None:
    """Without a guard band a reading on the limit is beyond it as likely as not (ILAC-G8, simple acceptance)."""
    assert guard_band(0.4, 0.5) == 0
    assert conformance(0, 0.4, 0, inf) == 0.5
    assert conformance(52, 0.4, -inf, 52) == 0.5


@given(st.floats(0.01, 5), st.floats(1e-6, 0.5))
def test_guard_band_and_risk_are_inverse(sd: float, risk: float) -> None:
    """The risk that is left by the guard band for a risk is that risk."""
    assert conformance(-guard_band(sd, risk), sd, 0, inf) == pytest.approx(risk, rel=1e-9)


@given(st.floats(40, 60), st.floats(0.05, 3), st.floats(45, 50), st.floats(50.5, 55))
def test_inside_and_beyond_make_one(read: float, sd: float, low: float, high: float) -> None:
    """A value lies below, within or above two limits; wider limits hold it no less often."""
    below, above = conformance(read, sd, -inf, low), conformance(read, sd, high, inf)

    assert conformance(read, sd, low, high) + below + above == pytest.approx(1)
    assert conformance(read, sd, low - 1, high) >= conformance(read, sd, low, high)


@pytest.mark.parametrize("risk", [0, -0.1, 0.6, 1])
def test_no_such_risk(risk: float) -> None:
    """A risk of nothing, or of more than a half, has no guard band."""
    with pytest.raises(ValueError, match="wanted a risk above 0"):
        guard_band(1.0, risk)
