"""How limbs are bent, before a reading is seen: evenly changing, jumping from place to place, or sharply at one place.

A limb that is bent slowly along its length has a curvature that hardly differs between places near one another; one
with a recurve set against a straight limb has a curvature that changes suddenly. Both are met, so both are held
possible, each with how much it is bent left open over the range of limbs: a choice of this project.
"""

import numpy as np
from numpy.typing import NDArray

from predictor.shape.back import DEGREE, SMOOTHNESS, Back, Basis, Solution
from predictor.shape.bad_readings import Curves

Array = NDArray[np.float64]

SLOW_SHARE = 0.7
"""Limbs whose curvature changes slowly: the others' is a random walk."""

REACHES = (0.2, 0.4)
"""Distances over which a slow curvature changes, in lengths of the limb."""

BENT = tuple(10.0 ** np.arange(-3.5, -0.4, 0.5))
"""Standard deviations of a slow curvature [1/inch]: from a hardly bent limb to a hook of a few inches' radius."""

KINK_STEP = 0.3
"""Standard deviation of the jumps of curvature at places that were noted as bent sharply [1/inch]."""

SHARP_TURN = 0.4
"""Standard deviation of a sharp turn that was not noted [radian]."""

SHARP_REACH = 0.6
"""Distance from a reading within which a sharp turn counts as about it, not between readings [inch]."""


def likely_curves(back: Back, near: Solution) -> tuple[Array, Curves]:
    """Return readings, and what readings of limbs are like, both linear about a fit.

    Returns:
        Readings square to the fitted back and less what the fit owes to its root, shape (n,), and the curves that
        they may lie on: with the root's offset and angle and an even bend free.
    """
    rows = back.jacobian(near)
    bent = rows[:, 2:]
    walks, slow = _walks(back.basis), _slow(back.basis)
    shapes = np.array([*walks, *slow])
    shares = [
        *np.full(len(walks), (1 - SLOW_SHARE) / len(walks)),
        *np.full(len(slow), SLOW_SHARE / len(slow)),
    ]
    curves = Curves(
        free=np.column_stack([rows[:, :2], bent.sum(axis=1)]),
        covariances=bent @ shapes @ bent.T,
        shares=np.array(shares),
        turns=_turns(back, near),
    )
    return near.residuals + bent @ near.bend, curves


def _turns(back: Back, near: Solution) -> Array:
    """Readings of a sharp turn between readings, and of one about a reading, each as turns at the stretch's ends.

    A turn by γ at the part u of a stretch is γ (1 - u) at its start and γ u at its end, exactly so beyond the
    stretch. With u even from 0 to 1 these have second moments γ²/3, and γ²/6 together.
    """
    feet = np.sort(near.feet)
    between = np.stack([feet[:-1], feet[1:]], axis=-1)
    about = feet[1:-1, None] + np.array([-SHARP_REACH, SHARP_REACH])
    ends = np.searchsorted(back.basis.edges, np.vstack([between, about]))
    moved = back.turned_at(near, ends.ravel()).reshape(len(feet), -1, 2)
    return np.asarray(moved @ (SHARP_TURN * np.linalg.cholesky(np.array([[1 / 3, 1 / 6], [1 / 6, 1 / 3]]))))


def _walks(basis: Basis) -> list[Array]:
    """Covariances of the coefficients of a curvature whose change is white noise, beside an even curvature."""
    _, sizes, axes = np.linalg.svd(basis.roughness)
    rough = sizes > 1e-9 * sizes[0]
    one = (axes[rough].T / sizes[rough] ** 2) @ axes[rough]
    return [one / smoothness for smoothness in SMOOTHNESS[::2]]


def _slow(basis: Basis) -> list[Array]:
    """Covariances of the coefficients of a curvature that changes slowly, but for jumps at the breakpoints."""
    knots = basis.knots
    at = np.array([knots[first : first + DEGREE].mean() for first in range(1, basis.count + 1)])
    piece = np.searchsorted(basis.breakpoints, (knots[: basis.count] + knots[DEGREE + 1 :]) / 2)
    together = piece[:, None] == piece
    steps = KINK_STEP**2 * together if basis.breakpoints else 0.0
    apart = (at[:, None] - at) / knots[-1]
    return [
        bent**2 * np.exp(-((apart / reach) ** 2) / 2) * together + steps for reach in REACHES for bent in BENT
    ]
