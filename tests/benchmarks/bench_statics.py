"""Times the statics: bows per second, contact against none, and the ratio to scipy's boundary-value solver.

Seconds are of processor time, so that other work on the machine counts less.
Run `python -m tests.benchmarks.bench_statics`.
"""

import time
from functools import partial

import numpy as np
from scipy.integrate import solve_bvp

from predictor.mechanics.elastica import LimbGrid
from predictor.mechanics.statics import Braced, Drawn, brace, draw

LENGTH, HEIGHT, STRING, OFFSET, LEAN = 21.0, 8.0, 4000.0, 0.12, 0.25
DRAWS = np.array([20.0, 24.0, 26.0, 28.0, 30.0])


def limbs(count: int, recurve: float, scatter: float = 0.05, steps: int = 48) -> LimbGrid:
    """Limbs whose stiffness and bend scatter by so much; recurve is the unstrung curvature at the nock."""
    chance = np.random.default_rng(1)
    ends = np.linspace(0.0, LENGTH, steps + 1)
    nodes = np.stack([ends[:-1], (ends[:-1] + ends[1:]) / 2, ends[1:]], axis=-1)
    factor = 1 + scatter * chance.standard_normal((2, count, 1, 1))
    return LimbGrid(
        step=np.full((count, steps), LENGTH / steps),
        flexibility=factor[0] / (1500 + 4500 * nodes / LENGTH),
        unstrung_curvature=factor[1] * recurve / (1 + np.exp(nodes - 6)),
        nock_offset=np.full(count, OFFSET),
        root_distance=np.full(count, 10.0),
        root_depth=np.full(count, 0.3),
        root_angle=np.full(count, LEAN),
    )


def timed(count: int, recurve: float) -> tuple[float, Braced, Drawn]:
    """Seconds to brace and draw a batch, and what came of it."""
    batch = limbs(count, recurve)
    start = time.process_time()
    braced = brace(batch, HEIGHT, STRING)
    drawn = draw(batch, braced, DRAWS)
    return time.process_time() - start, braced, drawn


def by_boundary_values(recurve: float, tolerance: float) -> tuple[float, np.ndarray]:
    """Seconds and draw weights of the unscattered bow by `solve_bvp`, each draw from the one before it."""
    s = np.linspace(0.0, LENGTH, 24)

    def slopes(s: np.ndarray, state: np.ndarray, unknown: np.ndarray) -> np.ndarray:
        angle, distance, _ = state
        bend = recurve / (1 + np.exp(s - 6)) + unknown[0] * distance / (1500 + 4500 * s / LENGTH)
        return np.vstack([-bend, np.sin(angle), np.cos(angle)])

    def at_nock(nock: np.ndarray) -> list[float]:
        return [nock[1] - OFFSET * np.cos(nock[0]), nock[2] + OFFSET * np.sin(nock[0])]

    def braced(nock: np.ndarray, root: np.ndarray, _unknown: np.ndarray) -> np.ndarray:
        return np.array([*at_nock(nock), root[0] - LEAN, root[1] + 0.3 - HEIGHT])

    def drawn(target: float, nock: np.ndarray, root: np.ndarray, unknown: np.ndarray) -> np.ndarray:
        turn, left = root[0] - LEAN, slack * (1 + unknown[0] / STRING) - root[2]
        x = 0.3 + left * np.sin(turn) + root[1] * np.cos(turn) - target
        y = 10.0 - left * np.cos(turn) + root[1] * np.sin(turn)
        return np.array([*at_nock(nock), x, y])

    start = time.process_time()
    guess = np.vstack([np.linspace(0.5, LEAN, len(s)), 7.7 * s / LENGTH, s])
    last = solve_bvp(slopes, braced, s, guess, p=[15.0], tol=tolerance, max_nodes=100_000)
    slack = (10.0 + last.y[2, -1]) / (1 + last.p[0] / STRING)
    weights = []
    for target in DRAWS:
        last = solve_bvp(
            slopes, partial(drawn, target), last.x, last.y, p=last.p, tol=tolerance, max_nodes=100_000
        )
        weights.append(2 * last.p[0] * np.sin(last.y[0, -1] - LEAN))
    return time.process_time() - start, np.array(weights)


def main() -> None:
    """Print the table."""
    count, plain = 10_000, -0.03
    seconds, _, drawn = timed(count, plain)
    good = np.mean(drawn.status == 0)
    print(f"no contact: {count / seconds:.0f} bows/s at {len(DRAWS)} draws, {good:.1%} solved")  # noqa: T201 - a command's output
    recurved, braced, drawn = timed(count, -0.2)
    lying = np.mean(braced.hold.lift_off > 0)
    good = np.mean(drawn.status == 0)
    print(f"contact: {count / recurved:.0f} bows/s, {good:.1%} solved, {lying:.0%} with contact at brace")  # noqa: T201 - a command's output
    print(f"contact costs {recurved / seconds:.2f} times no contact")  # noqa: T201 - a command's output
    exact = by_boundary_values(plain, 1e-10)[1]
    even = limbs(1, plain, scatter=0.0)
    ours = draw(even, brace(even, HEIGHT, STRING), DRAWS).force[0]
    print(f"error on {even.step.shape[1]} steps: {np.abs(ours / exact - 1).max():.1e}")  # noqa: T201 - a command's output
    for tolerance in (1e-3, 1e-4, 1e-5, 1e-6):
        slow, weights = by_boundary_values(plain, tolerance)
        error = np.abs(weights / exact - 1).max()
        times = slow * count / seconds
        print(  # noqa: T201 - a command's output
            f"solve_bvp to {tolerance:.0e}: {slow * 1e3:.1f} ms a bow, error {error:.1e}, {times:.0f} times ours"
        )


if __name__ == "__main__":
    main()
