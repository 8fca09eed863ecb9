"""The invented shop strings a bow and weighs it: what a perfect scale would read, and what is written down."""

from dataclasses import replace
from datetime import timedelta
from typing import Any

import numpy as np

from datasets.exercise import ENOUGH_DRAWS
from datasets.notation import inches
from datasets.record import ZeroPoint
from datasets.schema import Stage
from datasets.zero_points import from_zero
from training.workshop.shop_press import DRAWS_IN, Array, Job
from training.workshop.shop_truth import SCALES, Scatter, ShopTruth, Weighed, shape_effect

FIRST_DRAWS = (3, 9)
DRAWS_BEFORE_READING = (ENOUGH_DRAWS, ENOUGH_DRAWS + 11)
"""Full draws before a reading, the least and one more than the most: the shop reads no bow too early."""


def rig_anew(rng: np.random.Generator, job: Job) -> None:
    """Give a bow another brace height, and write it down."""
    rise = float(rng.choice([-0.5, -0.25, 0.25, 0.5]))
    job.day += timedelta(days=1)
    job.bow = replace(job.bow, brace=job.bow.brace + rise)
    brace = inches(job.design.brace_in + rise, 16)
    if job.kept:
        job.write("rigging", {"brace": brace})
    else:
        job.noted["brace"] = brace


def weigh(
    rng: np.random.Generator, scatter: Scatter, shop: ShopTruth, job: Job, stage: Stage, shots: int
) -> None:
    """Weigh a bow at its draws and, if its weighings are kept, write it down."""
    job.day += timedelta(days=int(rng.integers(30, 90) if stage is Stage.SETTLED else rng.integers(1, 3)))
    effects = job.effects - job.settling_at_500 * shop.settled(shots)
    shape = shop.forms[job.design.name] + job.shape
    warm, damp, unseen = rng.standard_normal(3)
    climate = scatter.climate * (-0.5 * warm - 0.5 * damp + np.sqrt(0.5) * unseen)
    errors = rng.normal(0, scatter.draw_in, len(DRAWS_IN))
    pulled = _pulled(job, errors, shape) * np.exp(effects + climate + shop.scales[job.scale])
    step = SCALES[job.scale]
    read_lbf = np.round((pulled + rng.normal(0, scatter.scale_lbf, len(DRAWS_IN))) / step) * step
    job.seen_lbf = float(read_lbf[DRAWS_IN.index(28.0)])
    note = _note(rng, job, stage, shots, read_lbf, _air(warm, damp))
    kept = job.kept or stage is Stage.FINISHED
    job.weighed.append(
        Weighed(
            weigh_in=job.write("weigh_in", note) if kept else None,
            stage=stage,
            shots=shots,
            bow=job.bow,
            lbf_at_28=float(job.physics_lbf[0] * np.exp(effects + shape)),
            climate=float(climate),
            draw_errors_in=tuple(errors[list(job.reads)].tolist()),
        )
    )


def _pulled(job: Job, errors_in: Array, shape: float) -> Array:
    """Return the weights at draws that miss the noted ones a little, by the statics and the bow's true shape."""
    lbf, draws = job.physics_lbf[1:], job.draws_in[1:]
    standard = np.array([from_zero(draw, ZeroPoint.STANDARD, job.bow.pivot_depth) for draw in draws])
    return np.asarray((lbf + errors_in * np.gradient(lbf, draws)) * np.exp(shape_effect(shape, standard)))


def _air(warm: float, damp: float) -> dict[str, int]:
    """Return the air of a day as noted, from how much warmer and damper than usual it is."""
    return {"temperature_f": round(68 + 8 * warm), "humidity_pct": int(np.clip(45 + 10 * damp, 10, 90))}


def _note(
    rng: np.random.Generator, job: Job, stage: Stage, shots: int, read_lbf: Array, air: dict[str, int]
) -> dict[str, Any]:
    """Return a weighing as typed; not everyone notes scale and air each time."""
    zero = "" if job.builder.zero is ZeroPoint.STANDARD else f" {job.builder.zero}"
    note: dict[str, Any] = {
        "stage": stage.value,
        "readings": [{"draw": f"{DRAWS_IN[i]:g}{zero}", "weight": f"{read_lbf[i]:g}"} for i in job.reads],
        "pulls": int(rng.integers(*(FIRST_DRAWS if stage is Stage.FIRST_DRAW else DRAWS_BEFORE_READING))),
    }
    if shots:
        note["shots"] = shots
    if rng.random() < 0.9:
        note["scale"] = job.scale
    return note | air if rng.random() < 0.7 else note
