"""The invented shop takes stock off a bow that is heavy: what it plans, what it truly does, what it writes down."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta

import numpy as np

from datasets.history import BowAt, LimbAt
from datasets.notation import inches, thousandths
from datasets.record import Side
from datasets.removals import Polyline
from datasets.schema import Method
from training.workshop.shop_designs import PLACES
from training.workshop.shop_press import Job
from training.workshop.shop_truth import Scatter


def wants_less(job: Job, over: float) -> float:
    """Return the share of weight to take off to leave a bow over its target by a share; 0 if none."""
    excess = float(np.log(job.seen_lbf / (job.target_lbf * (1 + over))))
    return min(excess, 0.15) if excess > 0.02 else 0.0


def take_off(rng: np.random.Generator, scatter: Scatter, job: Job, share: float, *, last: bool) -> Method:
    """Take off what should cost a share of the weight, and write it down; return the method."""
    methods = list(_METHODS)
    chances = [0.3, 0.2, 0.3, 0.2] if last else [0.7, 0.3, 0.0, 0.0]
    method = methods[rng.choice(4, p=chances)] if job.kept else Method.SIDES
    # Where only the finished weighing is kept, one-sided or hidden work could never be told from the record.
    sides = [Side.BOTH, Side.UPPER, Side.LOWER]
    limb = sides[rng.choice(3, p=[0.8, 0.1, 0.1])] if last and job.kept else Side.BOTH
    plan = _planned(job, method, share)
    carried = max(1 + rng.normal(0, scatter.carried_out), 0.3)
    done = [amount * carried for amount in plan]
    for side in (Side.UPPER, Side.LOWER):
        if limb in (side, Side.BOTH):
            job.bow = _with_less(job.bow, side, method, done)
    job.carried_out.append(carried)
    job.day += timedelta(days=1)
    if job.kept:
        measured = bool(rng.random() < 0.5)
        data = {"method": method.value, "limb": limb.value, "planned": _typed_cuts(method, plan)}
        job.write("removal", {**data, "done": _typed_cuts(method, done)} if measured else data)
    return method


_METHODS = (Method.SIDES, Method.TRAP, Method.EDGES, Method.BELLY_GLASS)
_EDGE_LOSS_PER_SQUARE_INCH = 5.8
_LOSS_PER_INCH_OF_GLASS = 12.0
"""The shop reckons that a corner costs the square of its radius, a thousandth of a face 1.2 per cent."""


def _planned(job: Job, method: Method, share: float) -> list[float]:
    """Return amounts at fade, middle and nock, or one for the whole limb, in steps that can be marked."""
    if method is Method.EDGES:
        start = job.bow.upper.edge_radius[1][0]
        return [max(np.ceil(64 * np.hypot(start, np.sqrt(share / _EDGE_LOSS_PER_SQUARE_INCH))) / 64, 4 / 64)]
    if method is Method.BELLY_GLASS:
        return [float(np.clip(round(share / _LOSS_PER_INCH_OF_GLASS, 3), 0.001, 0.005))]
    part = 2 * share if method is Method.TRAP else share
    least = np.array([0.6, 0.5, 0.3])
    width = np.array(job.bow.upper.width_back[1])
    return [
        float(max(round(64 * amount) / 64, 1 / 64))
        for amount in np.minimum(width * part, np.maximum(width - least, 0))
    ]


def _with_less(bow: BowAt, side: Side, method: Method, done: Sequence[float]) -> BowAt:
    """Return a bow after a removal from one limb."""
    if side is Side.UPPER:
        return replace(bow, upper=_less(bow.upper, method, done))
    return replace(bow, lower=_less(bow.lower, method, done))


def _less(limb: LimbAt, method: Method, done: Sequence[float]) -> LimbAt:
    """Return a limb after a removal."""
    if method is Method.EDGES:
        return replace(limb, edge_radius=((0.0,), (max(done[0], limb.edge_radius[1][0]),)))
    if method is Method.BELLY_GLASS:
        face = limb.lams[-1]
        sanded = replace(face, thickness=tuple(value - done[0] for value in face.thickness))
        return replace(limb, lams=(*limb.lams[:-1], sanded))
    belly = limb.width_belly if method is Method.TRAP else _narrowed(limb.width_belly, done)
    return replace(limb, width_belly=belly, width_back=_narrowed(limb.width_back, done))


def _narrowed(width: Polyline, done: Sequence[float]) -> Polyline:
    return width[0], tuple(value - amount for value, amount in zip(width[1], done, strict=True))


def _typed_cuts(method: Method, amounts: Sequence[float]) -> list[dict[str, str]]:
    written = [thousandths(a) if method is Method.BELLY_GLASS else inches(a, 64) for a in amounts]
    if len(written) == 1:  # all along the limb
        return [{"amount_in": written[0]}]
    return [{"at": at, "amount_in": amount} for at, amount in zip(PLACES, written, strict=True)]
