"""A bow that was not cut called for little or less; a cut that is seen badly may be either."""

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import norm

from predictor.belief.called_for import WORTH_THE_WHILE, called_for, log_likelihood
from predictor.belief.usual_cut import UsualCut

USUAL = UsualCut(called_for=0.06, called_for_sd=0.09)


def by_integration(cut: float, cut_sd: float) -> tuple[float, float, float]:
    """Return density of a cut seen, and mean and sd of what its bow called for, by scipy's adaptive quadrature."""

    def moment(power: int) -> float:
        prior = norm(USUAL.called_for, USUAL.called_for_sd)
        uncut = quad(lambda at: at**power * prior.pdf(at), -1.0, WORTH_THE_WHILE, epsabs=1e-13)[0]
        was_cut = quad(
            lambda at: at**power * prior.pdf(at) * norm.pdf(cut, at, cut_sd),
            WORTH_THE_WHILE,
            1.0,
            epsabs=1e-13,
            points=[max(cut, 0.02)],
        )[0]
        return uncut * norm.pdf(cut, 0, cut_sd) + was_cut

    whole, first, second = (moment(power) for power in range(3))
    mean = first / whole
    return whole, mean, np.sqrt(second / whole - mean**2)


@pytest.mark.parametrize("cut_sd", [0.01, 0.03, 0.05])
@pytest.mark.parametrize("cut", [-0.03, 0.0, 0.02, 0.05, 0.12, 0.2])
def test_beside_the_usual_it_gives_the_true_mean_and_spread(cut: float, cut_sd: float) -> None:
    """Laid beside what is usual, the reading leaves the mean and sd that integration over all ways gives."""
    density, mean, sd = by_integration(cut, cut_sd)
    told = called_for(cut, cut_sd, USUAL)
    assert told is not None
    precision = 1 / USUAL.called_for_sd**2 + 1 / told.sd**2
    both = USUAL.called_for / USUAL.called_for_sd**2 + told.log_share / told.sd**2

    assert both / precision == pytest.approx(mean, abs=1e-7)
    assert precision**-0.5 == pytest.approx(sd, rel=1e-5)
    likelihood = log_likelihood(np.array([cut]), np.array([cut_sd]), USUAL.called_for, USUAL.called_for_sd)
    assert likelihood == pytest.approx(np.log(density), abs=1e-6)


def test_a_great_cut_is_what_was_called_for() -> None:
    """Far from nothing the reading is the cut as it is seen, with its own error."""
    told = called_for(0.25, 0.01, USUAL)
    assert told is not None

    assert told.log_share == pytest.approx(0.25, abs=1e-6)
    assert told.sd == pytest.approx(0.01, rel=1e-6)


def test_no_cut_tells_less_than_a_cut() -> None:
    """A bow left as it was may have called for any negative amount: the reading is low and wide."""
    uncut, little = called_for(0.0, 0.01, USUAL), called_for(0.06, 0.01, USUAL)
    assert uncut is not None
    assert little is not None

    assert uncut.log_share < 0
    assert uncut.sd > 4 * little.sd


def test_what_tells_nothing_is_no_reading() -> None:
    """Seen so badly that it may have been a great cut or none, the spread is wider than usual: nothing is told."""
    assert called_for(0.3, 0.2, UsualCut(called_for=0.05, called_for_sd=0.1)) is None
