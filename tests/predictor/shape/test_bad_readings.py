"""Wrong readings of a smooth curve: against the same explanations weighed one by one, and laws."""

import itertools

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.stats import multivariate_normal

from predictor.shape.bad_readings import (
    NOISE,
    NOISE_SHARES,
    SHIFT,
    TURN_SHARE,
    WRONG_OF_ALL,
    Curves,
    suspect,
)

Array = NDArray[np.float64]

AT = np.array([0.0, 2.0, 5.0, 7.0, 10.0, 12.0, 15.0, 16.5])
TOLERANCE = 0.03


def _curves(turns: bool = True) -> Curves:
    """Parabolas with a little random bend of two kinds beside, and perhaps a sharp turn at one of two places."""
    apart = AT[:, None] - AT
    return Curves(
        free=np.stack([np.ones_like(AT), AT, AT**2], axis=-1),
        covariances=np.array([0.01 * np.exp(-((apart / 5) ** 2)), 0.2 * np.exp(-((apart / 9) ** 2))]),
        shares=np.array([0.4, 0.6]),
        turns=0.3 * np.maximum(AT[:, None, None] - [[3.0, 5.0], [7.0, 11.0]], 0.0)
        if turns
        else np.zeros((8, 0, 2)),
    )


def _one_by_one(readings: Array, curves: Curves) -> tuple[float, Array]:
    """Probability of all being sound and of each being wrong, by one normal density of contrasts an explanation."""
    count, turns = len(readings), curves.turns.shape[1]
    contrasts = np.linalg.qr(curves.free, mode="complete")[0][:, curves.free.shape[1] :].T
    sets = [wrong for size in range(4) for wrong in itertools.combinations(range(count), size)]
    total, sound, bad = 0.0, 0.0, np.zeros(count)
    for wrong, turn in itertools.product(sets, range(-1, turns)):
        if turn >= 0 and len(wrong) > 1:
            continue
        odds = (WRONG_OF_ALL / (count - WRONG_OF_ALL)) ** len(wrong) * (
            TURN_SHARE / turns if turn >= 0 else 1.0
        )
        shifted = np.zeros(count)
        shifted[list(wrong)] = (SHIFT * TOLERANCE) ** 2
        swung = curves.turns[:, turn] @ curves.turns[:, turn].T if turn >= 0 else 0.0
        for bent, share in zip(curves.covariances, curves.shares, strict=True):
            for noise, often in zip(NOISE, NOISE_SHARES, strict=True):
                spread = bent + swung + np.diag(shifted + (noise * TOLERANCE) ** 2)
                density = multivariate_normal(cov=contrasts @ spread @ contrasts.T).pdf(contrasts @ readings)
                weight = odds * share * often * density
                total += weight
                bad[list(wrong)] += weight
                sound += weight if not wrong and noise < 2 else 0.0
    return sound / total, bad / total


@pytest.mark.parametrize("turns", [True, False])
@pytest.mark.parametrize("wrong", [(), (3,), (1, 6)])
def test_explanations_are_weighed_as_one_by_one(wrong: tuple[int, ...], turns: bool) -> None:
    """Conditioning step by step gives what the density of every explanation gives by itself, computed here."""
    rng = np.random.default_rng(len(wrong))
    readings = 0.01 * AT**2 + rng.normal(0.0, TOLERANCE, len(AT))
    readings[list(wrong)] += 0.2

    found = suspect(readings, _curves(turns), TOLERANCE)
    sound, bad = _one_by_one(readings, _curves(turns))

    assert found.sound == pytest.approx(sound, rel=1e-6)
    np.testing.assert_allclose(found.wrong, bad, rtol=1e-6)


def test_the_free_part_does_not_matter() -> None:
    """A curve of the free shapes, added to the readings, changes nothing of what is thought of them."""
    readings = np.random.default_rng(3).normal(0.0, 2 * TOLERANCE, len(AT))
    curves = _curves()

    plain, added = (
        suspect(readings + curves.free @ by, curves, TOLERANCE) for by in ([0, 0, 0], [3, -1, 0.2])
    )

    assert added.sound == pytest.approx(plain.sound, abs=1e-6)
    np.testing.assert_allclose(added.wrong, plain.wrong, atol=1e-6)


def test_a_wrong_reading_is_the_surer_the_further_it_is_off() -> None:
    """From nought to an inch the probability that it is wrong grows, and that all are sound falls."""
    shift = np.zeros(len(AT))
    shift[3] = 1.0
    found = [suspect(by * shift, _curves(turns=False), TOLERANCE) for by in (0.0, 0.1, 0.2, 0.4, 1.0)]

    assert np.all(np.diff([one.wrong[3] for one in found]) > 0)
    assert np.all(np.diff([one.sound for one in found]) < 0)
    assert found[0].named.size == 0
    assert found[-1].named.tolist() == [3]


def test_more_scatter_is_found_as_more_noise() -> None:
    """Readings four times as far from a parabola have a greater noise, and are called noisy."""
    scatter = np.random.default_rng(8).normal(0.0, TOLERANCE, len(AT))
    sound, noisy = (suspect(by * scatter, _curves(), TOLERANCE) for by in (1.0, 6.0))

    assert not sound.doubted
    assert noisy.noise > 2 * sound.noise
    assert noisy.noisy


@pytest.mark.parametrize("count", [1, 2, 3])
def test_readings_with_none_to_spare_are_not_suspected(count: int) -> None:
    """Up to three readings lie on some parabola, wherever they are."""
    whole = _curves()
    few = Curves(whole.free[:count], whole.covariances[:, :count, :count], whole.shares, whole.turns[:count])

    assert suspect(np.arange(count) ** 3.0, few, TOLERANCE).sound == 1.0


def test_the_unit_of_length_does_not_matter() -> None:
    """Readings, curves and tolerance a thousand times as large are thought of alike."""
    readings = np.random.default_rng(5).normal(0.0, 3 * TOLERANCE, len(AT))
    curves = _curves(turns=False)
    large = Curves(curves.free, 1e6 * curves.covariances, curves.shares, curves.turns)

    plain, scaled = suspect(readings, curves, TOLERANCE), suspect(1e3 * readings, large, 1e3 * TOLERANCE)

    assert scaled.sound == pytest.approx(plain.sound, rel=1e-9)


def test_more_wrong_readings_than_thought_of_are_still_answered() -> None:
    """Readings inches off all over are noise beyond all expectation, in finite numbers."""
    found = suspect(5.0 * (-1.0) ** np.arange(len(AT)), _curves(), TOLERANCE)

    assert found.doubted
    assert np.isfinite(found.noise)
    assert np.all(np.isfinite(found.wrong))
