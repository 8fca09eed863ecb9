"""Two unlike limbs as chains of rigid links: an independent way to the statics, by least energy.

Each limb is cut in equal rigid links joined by springs of stiffness EI / (distance of the links' middles). The
string is two linear springs from the nocking point to arms of the nock offset that stand square on the limbs' ends.
Nothing here comes from the package under test: no shooting, no differential equation. Its error falls with the
square of the number of links. All in the riser's frame: `x` toward the string, `y` toward the upper limb.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq

Array = NDArray[np.float64]
Profile = Callable[[Array], Array]


@dataclass(frozen=True)
class ChainLimb:
    """A limb by its length, root, nock offset, and stiffness and unstrung curvature by distance from the root."""

    length: float
    stiffness: Profile
    curvature: Profile
    offset: float
    root_distance: float
    root_depth: float
    root_angle: float


@dataclass(frozen=True)
class ChainBow:
    """Two limbs on a riser, the hand's pivot, where the nocking point is, the string's stiffness, links a limb."""

    upper: ChainLimb
    lower: ChainLimb
    pivot: tuple[float, float]
    nocking_height: float
    string_stiffness: float
    links: int

    @cached_property
    def limbs(self) -> tuple["_Links", "_Links"]:
        """Both limbs cut in links."""
        return _Links(self.upper, 1.0, self.links), _Links(self.lower, -1.0, self.links)

    def gradient(self, state: Array, nocking_point: Array, slack: Array) -> tuple[Array, Array]:
        """Derivatives of the energy of limbs and string by the links' angles, and by the nocking point's place.

        The state is the links' angles of both limbs, upper first, in its last axis.
        """
        by_angle, by_point = [], np.zeros_like(nocking_point)
        for limb, angles, rest in zip(self.limbs, np.split(state, 2, axis=-1), slack, strict=True):
            reach = limb.string_end(angles) - nocking_point
            length = _norm(reach)
            pull = (self.string_stiffness * (length / rest - 1) / length)[..., None] * reach
            by_angle.append(limb.bending_gradient(angles) + limb.turned(angles, pull))
            by_point = by_point - pull
        return np.concatenate(by_angle, axis=-1), by_point

    def brace(self, height: float) -> tuple[Array, Array]:
        """Return the state at brace and the slack lengths, for a brace height counted from the riser's back."""
        reach = height - self.pivot[0]
        # Scaled to the order of one, as the steps of Newton's method are limited.
        scale = 10 * self.upper.stiffness(np.array(0.0)) / self.upper.length**2

        def balance(free: Array) -> Array:
            state, tension = free[..., :-1], scale * free[..., -1:]
            up, down = self._string_ends(state)
            along = (up - down) / _norm(up - down)[..., None]
            halves = np.split(state, 2, axis=-1)
            by_angle = [
                limb.bending_gradient(angles) + limb.turned(angles, side * tension * along)
                for limb, angles, side in zip(self.limbs, halves, (1, -1), strict=True)
            ]
            gap = _across(along, up - np.array(self.pivot)) - reach
            return np.concatenate([*by_angle, gap[..., None]], axis=-1)

        start = self._evenly_bent(reach)
        pull = balance(np.append(start, 1.0))[:-1] - balance(np.append(start, 0.0))[:-1]
        tension = -(pull @ balance(np.append(start, 0.0))[:-1]) / (pull @ pull)
        found = _newton(balance, np.append(start, tension))
        up, down = self._string_ends(found[:-1])
        along = (up - down) / _norm(up - down)
        halves = np.array([up @ along - self.nocking_height, self.nocking_height - down @ along])
        return found[:-1], halves / (1 + scale * found[-1] / self.string_stiffness)

    def _evenly_bent(self, reach: float) -> Array:
        """Unstrung limbs with one more curvature all along, such that the string is at its height."""
        unstrung = np.concatenate([limb.rest_angles for limb in self.limbs])
        bend = np.concatenate([np.linspace(0.0, 1.0, self.links + 1)] * 2)

        def misfit(amount: float) -> float:
            up, down = self._string_ends(unstrung + amount * bend)
            return float(_across((up - down) / _norm(up - down), up - np.array(self.pivot)) - reach)

        return unstrung + brentq(misfit, -1.0, 2.0) * bend

    def _string_ends(self, state: Array) -> list[Array]:
        halves = np.split(state, 2, axis=-1)
        return [limb.string_end(angles) for limb, angles in zip(self.limbs, halves, strict=True)]

    def draw(self, draws: Array, state: Array, slack: Array) -> Array:
        """Return draw weights at draws in ascending order, counted from the riser's back at the pivot.

        Each draw is reached from the one before in small moves, as the string is much stiffer than the limbs.
        """
        pivot = np.array(self.pivot)
        middle = sum(self._string_ends(state)) / 2
        start, turn, weights = np.hypot(*(middle - pivot)), 0.0, []
        for goal in draws - pivot[0]:
            for reach in np.linspace(start, goal, 2 + int(4 * abs(goal - start)))[1:]:

                def balance(free: Array, reach: float = reach) -> Array:
                    direction = np.stack([np.cos(free[..., -1]), np.sin(free[..., -1])], axis=-1)
                    by_angle, by_point = self.gradient(free[..., :-1], pivot + reach * direction, slack)
                    across = direction[..., 0] * by_point[..., 1] - direction[..., 1] * by_point[..., 0]
                    return np.concatenate([by_angle, reach * across[..., None]], axis=-1)

                found = _newton(balance, np.append(state, turn))
                state, turn = found[:-1], found[-1]
            direction = np.array([np.cos(turn), np.sin(turn)])
            weights.append(self.gradient(state, pivot + goal * direction, slack)[1] @ direction)
            start = goal
        return np.array(weights)


class _Links:
    """One limb cut in equal links; angles are those of the links to the long axis, positive toward the string."""

    def __init__(self, limb: ChainLimb, side: float, links: int) -> None:
        self.side = side
        self.link = limb.length / links
        self.offset = limb.offset
        self.root = np.array([limb.root_depth, side * limb.root_distance])
        joint = np.linspace(0.0, limb.length, links + 1)
        # The first joint joins the riser to the first link, the last one the last link to the arm at the nock.
        span = np.full(links + 1, self.link)
        span[[0, -1]] /= 2
        self.spring = limb.stiffness(joint) / span
        self.bend = limb.curvature(joint) * span
        self.root_angle = limb.root_angle

    @property
    def rest_angles(self) -> Array:
        return self.root_angle + np.cumsum(self.bend)

    def _turns(self, angles: Array) -> Array:
        first = np.full_like(angles[..., :1], self.root_angle)
        return np.diff(angles, axis=-1, prepend=first) - self.bend

    def bending_gradient(self, angles: Array) -> Array:
        moment = self.spring * self._turns(angles)
        gradient = moment.copy()
        gradient[..., :-1] -= moment[..., 1:]
        return gradient

    def string_end(self, angles: Array) -> Array:
        links, arm = angles[..., :-1], angles[..., -1]
        x = self.root[0] + self.link * np.sin(links).sum(axis=-1) + self.offset * np.cos(arm)
        y = self.root[1] + self.side * (self.link * np.cos(links).sum(axis=-1) - self.offset * np.sin(arm))
        return np.stack([x, y], axis=-1)

    def turned(self, angles: Array, pull: Array) -> Array:
        """Derivative of pull · string_end by each angle."""
        links, arm = angles[..., :-1], angles[..., -1:]
        x, y = pull[..., 0:1], self.side * pull[..., 1:2]
        by_links = self.link * (x * np.cos(links) - y * np.sin(links))
        by_arm = -self.offset * (x * np.sin(arm) + y * np.cos(arm))
        return np.concatenate([by_links, by_arm], axis=-1)


def _norm(vector: Array) -> Array:
    # Not numpy's norm, which takes moduli: the complex step must pass through.
    return np.sqrt(np.sum(vector**2, axis=-1))


def _across(along: Array, vector: Array) -> Array:
    """How far a vector reaches square to a direction that points up, toward the string's side."""
    return along[..., 1] * vector[..., 0] - along[..., 0] * vector[..., 1]


def _newton(balance: Callable[[Array], Array], start: Array) -> Array:
    """Root of the energy's gradient, with its derivatives by the complex step (exact to rounding)."""
    step = 1e-30
    state = start.astype(np.float64)
    for _ in range(60):
        misfit = balance(state)
        by_row = balance(state + 1j * step * np.eye(len(state))).imag / step
        change = np.linalg.solve(by_row.T, -misfit)
        state = state + change * min(1.0, 0.3 / np.max(np.abs(change)))
        if np.max(np.abs(change)) < 1e-12:
            return state
    raise AssertionError(f"wanted a chain at rest, got a last change of {np.max(np.abs(change)):.2g}")
