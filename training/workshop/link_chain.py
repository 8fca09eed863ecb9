"""A bow as a chain of rigid links with springs at its joints: a second way to its weight, for trials only.

Each limb is a chain whose joints carry the stiffness and the unstrung bend of the stretch about them. The
chain takes the shape of least energy that its string allows; the string is a taut path from the nocking point
to the nock that may lie on the limb's belly. Nothing but a limb's stiffness and unstrung curvature along its
length is shared with `predictor.mechanics.elastica`, which integrates the limb's equation instead: an error of one does
not hide in the other. Inch and pound-force, or any consistent units.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from datasets.history import BowAt
from predictor.bows.bow import Moduli, limb_of, string_stiffness
from predictor.mechanics.elastica import LimbGrid
from predictor.mechanics.limb import limb_grid

Array = NDArray[np.float64]
Places = NDArray[np.intp]

LINKS = 64
"""Links of a limb: the error falls with their square, and at this number is below 0.02 % of weight, or below 0.03 %
where the string lies on the limb."""

_SEARCH, _SETTLE = 25, 40
"""Newton steps in which the place where the string leaves the limb may move, and in all."""

_LARGEST_TURN = 0.2
"""Most that a Newton step turns any link, in radians."""

_TOLERANCE = 1e-9
"""Newton stops when no link turns by more, in radians."""


@dataclass(frozen=True)
class _Chain:
    """Limbs as n chains of m links from the fade outward; positions are (along the bow, toward the string).

    Attributes:
        link: length of each link, shape (n, m).
        spring: moment per radian at each link's inner joint, shape (n, m).
        rest: turn at each link's inner joint when nothing pulls, shape (n, m).
        root: position of the first joint, shape (n, 2).
        root_angle: direction of what is before the first joint, shape (n,).
        offset: string's distance from the links on the belly side, shape (n,).
        reach: share of each link that lies before each point of the limb, shape (m + 1, m): points are the
            links' middles, and the nock.
    """

    link: Array
    spring: Array
    rest: Array
    root: Array
    root_angle: Array
    offset: Array
    reach: Array


@dataclass(frozen=True)
class _Path:
    """Half of the string in one shape of its limb, with its derivatives by the links' directions.

    Attributes:
        length: of the path from the nocking point to the nock, shape (n,).
        slope: its gradient, shape (n, m).
        bend: its second derivatives, shape (n, m, m).
        depth: how far toward the string the point lies where the string meets the limb, shape (n,).
        depth_slope: its gradient, shape (n, m).
        sine: of the string's angle to the bow's long axis, shape (n,).
    """

    length: Array
    slope: Array
    bend: Array
    depth: Array
    depth_slope: Array
    sine: Array


@dataclass(frozen=True)
class _Touch:
    """Where a string from the nocking point meets each limb first.

    Attributes:
        point: of the chain's points, the nearest to it, shape (n,).
        rise: how far the limb, which is round, stands out above that point there, shape (n,).
    """

    point: Places
    rise: Array


def chain_weights(bows: Sequence[BowAt], moduli: Sequence[Moduli], draws_in: Array) -> Array:
    """Return the weights of bows, in pounds, shape (n, D).

    The two limbs are solved as if each had a twin, and the weights averaged: what that neglects is of second
    order in the limbs' difference.

    Args:
        bows: geometries to solve.
        moduli: psi by material and lot, for each bow.
        draws_in: draws from the back of the riser, shape (n, D).
    """
    limbs = [
        limb_of(bow, limb, known)
        for bow, known in zip(bows, moduli, strict=True)
        for limb in (bow.upper, bow.lower)
    ]
    brace = np.repeat([bow.brace for bow in bows], 2)
    stretch = np.repeat([string_stiffness(bow) for bow in bows], 2)
    order = np.argsort(draws_in, axis=1)
    draws = np.repeat(np.take_along_axis(draws_in, order, axis=1), 2, axis=0)
    force = (
        solve_chains(limb_grid(limbs, LINKS), brace, stretch, draws).reshape(len(bows), 2, -1).mean(axis=1)
    )
    return np.take_along_axis(force, np.argsort(order, axis=1), axis=1)


def solve_chains(limbs: LimbGrid, brace: Array, string_stiffness: Array, draws: Array) -> Array:
    """Return the draw weights of symmetric bows, shape (n, D).

    Args:
        limbs: one limb of each bow; each step becomes one joint, each pair of half steps one link.
        brace: string from the back of the riser, shape (n,) [length].
        string_stiffness: force per unit of strain, shape (n,) [force].
        draws: nocking point from the back of the riser, shape (n, D), each row in ascending order [length].

    Raises:
        ArithmeticError: a chain finds no shape.
    """
    chain = _chain(limbs)
    angle, tension, length = _braced(chain, brace)
    slack = length / (1 + tension / string_stiffness)
    forces = []
    drawn = brace
    for column in draws.T:
        stages = max(1, int(np.ceil(np.max(column - drawn) / 2.0)))
        for stage in range(1, stages + 1):
            draw = drawn + (column - drawn) * stage / stages
            angle, tension, sine = _drawn(chain, draw, slack, string_stiffness, angle, tension)
        forces.append(2 * tension * sine)
        drawn = column
    return np.stack(forces, axis=-1)


def _chain(limbs: LimbGrid) -> _Chain:
    """Put a joint in the middle of each step; it takes the whole step's bend."""
    simpson = np.array([1.0, 4.0, 1.0]) / 6
    step = limbs.step[:, ::-1]
    flexibility = (limbs.flexibility @ simpson)[:, ::-1]
    rest = (limbs.unstrung_curvature @ simpson)[:, ::-1] * step
    outer_half = np.concatenate([step[:, 1:], np.zeros_like(step[:, :1])], axis=1) / 2
    count = step.shape[1]
    first = step[:, 0] / 2
    root = np.stack(
        [
            limbs.root_distance + first * np.cos(limbs.root_angle),
            limbs.root_depth + first * np.sin(limbs.root_angle),
        ],
        axis=-1,
    )
    return _Chain(
        link=step / 2 + outer_half,
        spring=1 / (flexibility * step),
        rest=rest,
        root=root,
        root_angle=limbs.root_angle,
        offset=limbs.nock_offset,
        reach=np.concatenate([np.tri(count, k=-1) + np.eye(count) / 2, np.ones((1, count))]),
    )


def _braced(chain: _Chain, brace: Array) -> tuple[Array, Array, Array]:
    """Return directions, tension and half string of chains braced at a height."""
    angle, tension = _first_guess(chain, brace)
    touch = _at_nock(chain)
    for round_ in range(_SETTLE):
        if round_ < _SEARCH:
            touch = _touching(chain, angle, brace)
        path = _path(chain, angle, touch, None)
        change = _newton(chain, angle, tension, path, path.depth - brace, path.depth_slope, 0.0)
        angle, tension = angle + change[:, :-1], tension + change[:, -1]
        if np.abs(change[:, :-1]).max() < _TOLERANCE and round_ >= _SEARCH:
            return angle, tension, path.length
    raise ArithmeticError(
        "wanted a braced shape of every chain, got none; look at brace heights and profiles"
    )


def _drawn(
    chain: _Chain, draw: Array, slack: Array, string_stiffness: Array, angle: Array, tension: Array
) -> tuple[Array, Array, Array]:
    """Return directions, tension and sine of the string's angle at a draw, from the shape at a lesser one."""
    touch = _at_nock(chain)
    for round_ in range(_SETTLE):
        if round_ < _SEARCH:
            touch = _touching(chain, angle, draw)
        path = _path(chain, angle, touch, draw)
        excess = path.length - slack * (1 + tension / string_stiffness)
        change = _newton(chain, angle, tension, path, excess, path.slope, -slack / string_stiffness)
        angle, tension = angle + change[:, :-1], tension + change[:, -1]
        if np.abs(change[:, :-1]).max() < _TOLERANCE:
            return angle, tension, path.sine
    raise ArithmeticError(f"wanted a shape of every chain at {draw.max():.1f} in, got none; draw less far")


def _first_guess(chain: _Chain, brace: Array) -> tuple[Array, Array]:
    """Return an even bend that brings the nock to the brace height, and a tension to hold it."""
    unstrung = chain.root_angle[:, None] + np.cumsum(chain.rest, axis=1)
    shape = np.cumsum(chain.link, axis=1)
    bend = np.zeros(len(brace))
    for _ in range(8):
        path = _path(chain, unstrung + bend[:, None] * shape, _at_nock(chain), None)
        bend += (brace - path.depth) / np.einsum("ni,ni->n", path.depth_slope, shape)
    stored = np.einsum("ni,ni,ni->n", chain.spring, chain.link, chain.link) * bend
    given = -np.einsum("ni,ni->n", path.slope, shape)
    return unstrung + bend[:, None] * shape, stored / given


def _at_nock(chain: _Chain) -> _Touch:
    rows, links = chain.link.shape
    return _Touch(np.full(rows, links), np.zeros(rows))


def _touching(chain: _Chain, angle: Array, draw: Array) -> _Touch:
    """Return where a string from the nocking point meets each limb first."""
    points = _points(chain, angle)
    nearest = np.argmax((points[..., 1] - draw[:, None]) / points[..., 0], axis=1)
    return _Touch(nearest, _rise(points, nearest, draw))


def _rise(points: Array, nearest: Places, draw: Array) -> Array:
    """Return how far the parabola through each nearest point and its neighbours stands out above that point."""
    rows, last = np.arange(len(nearest)), points.shape[1] - 1
    inside = np.clip(nearest, 1, last - 1)
    middle = points[rows, inside]
    string = middle - np.stack([np.zeros_like(draw), draw], axis=-1)
    string = string / np.hypot(string[:, 0], string[:, 1])[:, None]
    sides = np.stack([points[rows, inside + step] - middle for step in (-1, 1)], axis=1)
    along = np.einsum("nsk,nk->sn", sides, string)
    slope = np.einsum("nsk,nk->sn", sides, _across(string)) / along
    bend = (slope[1] - slope[0]) / (along[1] - along[0])
    rise = (slope[1] - bend * along[1]) ** 2 / (-4 * np.minimum(bend, -1e-12))
    return np.where((nearest == inside) & (bend < 0), rise, 0.0)


def _points(chain: _Chain, angle: Array) -> Array:
    """Return where a string could lie on each limb: at the offset from the links' middles, and the nock."""
    along = np.stack([np.cos(angle), np.sin(angle)], axis=-1)
    axis = np.einsum("pi,nik->npk", chain.reach, chain.link[..., None] * along)
    across = _across(along)
    belly = np.concatenate([across, across[:, -1:]], axis=1)
    return np.asarray(chain.root[:, None] + axis + chain.offset[:, None, None] * belly)


def _across(along: Array) -> Array:
    """Return directions turned by a right angle toward the string."""
    return np.stack([-along[..., 1], along[..., 0]], axis=-1)


def _path(chain: _Chain, angle: Array, touch: _Touch, draw: Array | None) -> _Path:
    """Return half of the string: straight to where it touches, then on the belly to the nock.

    Without a draw the string stands parallel to the bow's long axis.
    """
    rows, links = np.arange(len(touch.point)), np.arange(chain.link.shape[1])
    along = np.stack([np.cos(angle), np.sin(angle)], axis=-1)
    across = _across(along)
    last = np.minimum(touch.point, chain.link.shape[1] - 1)
    at = (links == last[:, None]) * (chain.offset + touch.rise)[:, None]
    before = chain.reach[touch.point] * chain.link
    by_link = before[..., None] * across - at[..., None] * along
    curving = -before[..., None] * along - at[..., None] * across
    point = _points(chain, angle)[rows, touch.point] + touch.rise[:, None] * across[rows, last]
    if draw is None:
        straight, toward = point[:, 0], np.tile([1.0, 0.0], (len(rows), 1))
        turning = np.zeros((len(rows), 2, 2))
    else:
        span = point - np.stack([np.zeros_like(draw), draw], axis=-1)
        straight = np.hypot(span[:, 0], span[:, 1])
        toward = span / straight[:, None]
        turning = (np.eye(2) - toward[:, :, None] * toward[:, None, :]) / straight[:, None, None]
    bend = by_link @ turning @ by_link.transpose(0, 2, 1)
    bend[:, links, links] += np.einsum("nik,nk->ni", curving, toward)
    slope = np.einsum("nik,nk->ni", by_link, toward)
    # On the belly a string is shorter than the links under it by the offset times their turn.
    slope[rows, last] += chain.offset
    slope[:, -1] -= chain.offset
    on_limb = ((1 - chain.reach[touch.point]) * chain.link).sum(axis=1) - chain.offset * (
        angle[:, -1] - angle[rows, last]
    )
    return _Path(
        length=straight + on_limb,
        slope=slope,
        bend=bend,
        depth=point[:, 1],
        depth_slope=by_link[..., 1],
        sine=-toward[:, 1],
    )


def _newton(
    chain: _Chain,
    angle: Array,
    tension: Array,
    path: _Path,
    excess: Array,
    excess_slope: Array,
    excess_by_tension: Array | float,
) -> Array:
    """Return the step, in directions and tension, toward equilibrium and no excess, shape (n, m + 1)."""
    count = angle.shape[1]
    links = np.arange(count)
    turn = np.diff(angle, axis=1, prepend=chain.root_angle[:, None]) - chain.rest
    moment = np.concatenate([chain.spring * turn, np.zeros((len(angle), 1))], axis=1)
    system = np.zeros((len(angle), count + 1, count + 1))
    system[:, :count, :count] = tension[:, None, None] * path.bend
    system[:, links, links] += chain.spring
    system[:, links[:-1], links[:-1]] += chain.spring[:, 1:]
    system[:, links[1:], links[:-1]] -= chain.spring[:, 1:]
    system[:, links[:-1], links[1:]] -= chain.spring[:, 1:]
    system[:, :count, count] = path.slope
    system[:, count, :count] = excess_slope
    system[:, count, count] = excess_by_tension
    wrong = np.concatenate(
        [moment[:, :-1] - moment[:, 1:] + tension[:, None] * path.slope, excess[:, None]], axis=1
    )
    change = -np.linalg.solve(system, wrong[..., None])[..., 0]
    largest = np.abs(change[:, :-1]).max(axis=1)
    return np.asarray(change * np.minimum(1.0, _LARGEST_TURN / np.maximum(largest, 1e-300))[:, None])
