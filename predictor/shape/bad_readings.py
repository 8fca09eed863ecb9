"""Which readings of a smooth curve are wrong, and how well the others were read: a comparison of explanations.

An explanation says how the curve may bend, how far sound readings scatter, which readings are shifted, and whether
the curve has one sharp turn that nobody noted. Each has a likelihood in closed form, since readings are normal given
it: Box and Tiao's shift mixture (Biometrika 55 (1968), 119-129) about a smooth curve as a random one (Wahba, Journal
of the Royal Statistical Society B 40 (1978), 364-372), the curve's free part taken out first (Patterson and Thompson,
Biometrika 58 (1971), 545-554); all three from memory.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

NOISE = (1.0, 1.6, 2.5, 4.0, 7.0)
"""Standard deviations of sound readings that are compared, in tolerances."""

NOISE_SHARES = (0.87, 0.03, 0.03, 0.04, 0.03)
"""How often each is met: a choice of this project."""

AS_STATED = 2
"""How many of `NOISE`, from the first, are as good as the tolerance: more noise is cause for doubt."""

WRONG_OF_ALL = 0.25
"""Wrong readings expected among all of one curve: a choice of this project."""

SHIFT = 12.0
"""Standard deviation of what a wrong reading is off by, in tolerances: 3/8 in with a rule that is good to 1/32 in."""

TURN_SHARE = 0.3
"""Curves that have a sharp turn which was not noted: a choice of this project."""

LEAST_SOUND = 0.65
"""Probability of all being sound below which readings are doubted: calibrated, see the test of false alarms."""

LEAST_WRONG = 0.5
"""Probability of being wrong from which a reading of doubted ones is named."""

MOST_BAD = 3
"""Readings that may be wrong together; a sharp turn may stand beside one of them."""


@dataclass(frozen=True, eq=False)
class Curves:
    """What a curve through n readings may be, as far as readings tell of it.

    Attributes:
        free: readings of each shape that the curve has freely, shape (n, f).
        covariances: of the readings of what it has beside, one for each way to bend, shape (k, n, n).
        shares: probability of each way to bend, shape (k,).
        turns: readings of a usual sharp turn at either end of each of some stretches, shape (n, t, 2): a turn within
            a stretch is two independent ones at its ends, of these sizes by standard deviation.
    """

    free: Array
    covariances: Array
    shares: Array
    turns: Array


@dataclass(frozen=True, eq=False)
class Suspicion:
    """What is thought of readings.

    Attributes:
        sound: probability that none is wrong and that they scatter as the tolerance says.
        wrong: of each reading, the probability that it is wrong, shape (n,).
        named: places of the readings that are likely wrong; none where the readings are not doubted.
        noise: standard deviation of the others, in tolerances: if just the named ones are wrong, geometric mean.
    """

    sound: float
    wrong: Array
    named: NDArray[np.intp]
    noise: float

    @property
    def doubted(self) -> bool:
        """Whether something is wrong with the readings."""
        return self.sound < LEAST_SOUND

    @property
    def noisy(self) -> bool:
        """Whether the readings are doubted and scatter by more than the tolerance."""
        return self.doubted and self.noise > NOISE[AS_STATED - 1]


UNSUSPECTED = Suspicion(1.0, np.zeros(0), np.zeros(0, dtype=np.intp), 1.0)
"""What is thought of readings that were not looked at."""


_Weighed = tuple[tuple[int, ...], Array]


@dataclass(frozen=True, eq=False)
class _Explanations:
    """Explanations that share which readings are wrong: one for each way to bend (slow) and noise (fast).

    Attributes:
        wrong: places of the readings taken as wrong.
        log_share: logarithm of prior times likelihood, shape (c,).
        information: Bᵀ P B of the readings and turns B, by the precision P of what the free part leaves, (c, b, b);
            turns stand in pairs.
        pull: Bᵀ P y, shape (c, b).
    """

    wrong: tuple[int, ...]
    log_share: Array
    information: Array
    pull: Array

    def wrong_beside(self, columns: slice, variance: float) -> Array:
        """Logarithm of prior times likelihood if one more reading is wrong, but for its odds, (c, columns)."""
        known = variance * np.diagonal(self.information, axis1=1, axis2=2)[:, columns]
        gain = variance * self.pull[:, columns] ** 2 / (1 + known) - np.log1p(known)
        return np.asarray(self.log_share[:, None] + gain / 2)

    def turned_beside(self, readings: int) -> Array:
        """Logarithm of prior times likelihood if there is a sharp turn in one of the stretches, shape (c, t)."""
        first = np.arange(readings, self.pull.shape[1], 2)
        pair = np.stack([first, first + 1], axis=-1)
        known = np.eye(2) + self.information[:, pair[:, :, None], pair[:, None, :]]
        pull = self.pull[:, pair]
        solved = np.linalg.solve(known, pull[..., None])[..., 0]
        gain = np.sum(pull * solved, axis=-1) - np.log(np.linalg.det(known))
        return np.asarray(self.log_share[:, None] + gain / 2 + np.log(TURN_SHARE / max(len(first), 1)))

    def given(self, column: int, log_share: Array, variance: float, kept: int) -> "_Explanations":
        """These, with a reading taken as wrong; of readings and turns the first `kept` are kept."""
        across = self.information[:, :kept, column]
        weight = across * (variance / (1 + variance * self.information[:, column, column]))[:, None]
        return _Explanations(
            (*self.wrong, column),
            log_share,
            self.information[:, :kept, :kept] - weight[:, :, None] * across[:, None, :],
            self.pull[:, :kept] - weight * self.pull[:, column, None],
        )


def suspect(readings: Array, curves: Curves, tolerance: float) -> Suspicion:
    """Judge readings of a smooth curve; too few to leave one to spare beside its free part are not suspected.

    Args:
        readings: shape (n,).
        curves: what the curve may be.
        tolerance: standard deviation of a sound reading, as stated.

    Does not hold for more than `MOST_BAD` wrong readings, which look like noise.
    """
    left, triangle, _ = np.linalg.svd(curves.free)
    spare = left[:, int(np.sum(triangle > 1e-12 * triangle[0])) :]
    if spare.shape[1] == 0:
        return UNSUSPECTED
    start = _start(readings, spare, curves, tolerance)
    most = min(MOST_BAD, spare.shape[1] - 1)
    found = list(_explanations(start, len(readings), most, (SHIFT * tolerance) ** 2))
    wrong = np.zeros((len(found), len(readings)), dtype=bool)
    for row, (places, _) in enumerate(found):
        wrong[row, list(places)] = True
    return _judged(wrong, np.array([share for _, share in found]))


def _judged(wrong: NDArray[np.bool_], log_shares: Array) -> Suspicion:
    """What follows from explanations: readings that each takes as wrong, (e, n), and logarithms of shares, (e, c)."""
    shares = _by_noise(log_shares)
    sound = float(shares[~wrong.any(axis=1), :AS_STATED].sum())
    by_reading = shares.sum(axis=1) @ wrong
    likeliest = wrong[shares.sum(axis=1).argmax()]
    named = likeliest & (by_reading > LEAST_WRONG) & (sound < LEAST_SOUND)
    left = _by_noise(log_shares[(wrong == named).all(axis=1)]).sum(axis=0)
    noise = float(np.exp(left @ np.log(NOISE)))
    return Suspicion(sound, by_reading, np.flatnonzero(named), noise)


def _by_noise(log_shares: Array) -> Array:
    """Probabilities that add to one, by explanation and noise, shape (e, noise)."""
    shares = np.exp(log_shares - log_shares.max()).reshape(len(log_shares), -1, len(NOISE)).sum(axis=1)
    return np.asarray(shares / shares.sum())


def _start(readings: Array, spare: Array, curves: Curves, tolerance: float) -> _Explanations:
    """Explanations without a wrong reading, from the readings without the curve's free part."""
    variances, axes = np.linalg.eigh(spare.T @ curves.covariances @ spare)
    total = np.maximum(variances, 0.0)[:, None, :] + (tolerance * np.array(NOISE))[:, None] ** 2
    rotated = np.swapaxes(axes, 1, 2) @ spare.T
    columns = rotated @ np.hstack([np.eye(len(readings)), curves.turns.reshape(len(readings), -1)])
    seen = rotated @ readings
    prior = np.log(curves.shares)[:, None] + np.log(NOISE_SHARES)
    log_share = prior - np.sum(np.log(total) + seen[:, None, :] ** 2 / total, axis=-1) / 2
    scaled = columns[:, None] / total[..., None]
    information = np.swapaxes(scaled, 2, 3) @ columns[:, None]
    pull = np.einsum("knmb,km->knb", scaled, seen)
    count = log_share.size
    return _Explanations(
        (), log_share.ravel(), information.reshape(count, *information.shape[2:]), pull.reshape(count, -1)
    )


def _explanations(one: _Explanations, readings: int, most: int, shift: float) -> Iterator[_Weighed]:
    """Places of the wrong readings and logarithms of the shares of explanations, and of all that take more as wrong."""
    yield one.wrong, one.log_share
    if one.pull.shape[1] > readings:
        yield from ((one.wrong, share) for share in one.turned_beside(readings).T)
    wrong = len(one.wrong)
    if wrong == most:
        return
    kept = (one.pull.shape[1], readings, 0)[min(wrong, 2)]
    first = one.wrong[-1] + 1 if one.wrong else 0
    odds = WRONG_OF_ALL / (readings - WRONG_OF_ALL)
    shares = one.wrong_beside(slice(first, readings), shift) + np.log(odds)
    for column, share in enumerate(shares.T, first):
        yield from _explanations(one.given(column, share, shift, kept), readings, most, shift)
