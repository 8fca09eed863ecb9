"""What is on the invented shop's bench: kits, orders, stock, and bows that many hands weighed."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import timedelta
from itertools import product
from typing import Any

import numpy as np

from datasets.exercise import ENOUGH_DRAWS
from datasets.notation import thousandths
from datasets.schema import Part, Stage
from training.workshop.link_chain import chain_weights
from training.workshop.shop_designs import GLASS, GLASSES_IN, LONG
from training.workshop.shop_press import BUILDERS, DRAWS_IN, Job, Typed, glass_shelf, press
from training.workshop.shop_scale import weigh
from training.workshop.shop_truth import Key, Scatter, ShopTruth

PLANNED_KIT, HEAVY_KIT, LIGHT_KIT = "K-049", "K-050", "K-051"
TWINS = ("K-052", "K-053")
"""Two bows of one stack, weighed by every hand on two scales."""

MISWRITTEN = "K-054"
"""A bow with two digits of one core's thickness swapped in its record."""

SEEDS = {HEAVY_KIT: 1560, LIGHT_KIT: 1403, TWINS[0]: 2796, TWINS[1]: 5051, MISWRITTEN: 5776}
"""Any would do with which a kit of maple comes off the straight form as its name says, and the twins have one order."""

LIGHT_AIM = -0.04
"""Share by which the light kit was pressed over its order: its lams were ground for another."""

STUDY_SCALES = ("hanging-digital", "spring-brass")
TRIALS = 2
DELIVERED = ("K-044", "K-047")
"""Bows of the book whose orders have been delivered."""
STOCK_WOODS = ("hard maple", "white ash")
TAPERS = tuple(core.taper_per_in for core in LONG.cores)


@dataclass(frozen=True)
class Bench:
    """What is on the bench.

    Attributes:
        typed: records as typed, each after those that it refers to.
        jobs: the bows as they truly are, by id of the build.
    """

    typed: tuple[Typed, ...]
    jobs: dict[str, Job]


def bench(truth: ShopTruth, kit_target_lbf: float) -> Bench:
    """Press and weigh what is on the bench.

    Args:
        truth: of the shop, with its lots.
        kit_target_lbf: weight ordered of the planned kit, at 28 in.
    """
    jobs = {kit: _pressed(truth, kit, LIGHT_AIM if kit == LIGHT_KIT else None) for kit in SEEDS}
    for kit in (HEAVY_KIT, LIGHT_KIT):
        _drawn_and_pulled_in(truth, jobs[kit])
    for twin in TWINS:
        _weighed_by_all(truth, jobs[twin])
    _finished(truth, jobs[MISWRITTEN])
    _swap_digits(jobs[MISWRITTEN])
    built = [typed for job in jobs.values() for typed in (Typed("build", job.noted), *job.events)]
    return Bench((*_stock(truth), *built, *_orders(truth, jobs, kit_target_lbf)), jobs)


def _pressed(truth: ShopTruth, build: str, aim_high: float | None = None) -> Job:
    """Press a bow of the lots that came in last, and see what it would weigh by the link chain."""
    scatter = Scatter() if aim_high is None else replace(Scatter(), aim_high=aim_high)
    number = int(build.removeprefix("K-"))
    job = press(np.random.default_rng(SEEDS[build]), scatter, truth, latest_lots(truth), number)
    job.physics_lbf = chain_weights([job.bow], [job.moduli], np.array([job.draws_in]))[0]
    return job


def latest_lots(truth: ShopTruth) -> dict[str, Key]:
    """Return the lot that came onto each shelf last."""
    return {str(lot).rsplit(" ", 1)[0]: (material, lot) for material, lot in truth.lots}


def _drawn_and_pulled_in(truth: ShopTruth, job: Job) -> None:
    """Weigh a kit at its first draw and, after thirty full draws, as tillered."""
    rng = np.random.default_rng([SEEDS[job.build], 1])
    for stage in (Stage.FIRST_DRAW, Stage.TILLERED):
        weigh(rng, Scatter(), truth, job, stage, 0)
        job.events[-1].data["scale"] = job.scale
    job.events[-1].data["pulls"] = ENOUGH_DRAWS


def _finished(truth: ShopTruth, job: Job) -> np.random.Generator:
    """Weigh a bow at its first draw and finished; return the source of chance for what comes after."""
    rng = np.random.default_rng([SEEDS[job.build], 1])
    weigh(rng, Scatter(), truth, job, Stage.FIRST_DRAW, 0)
    job.effects += job.finish_loss
    weigh(rng, Scatter(), truth, job, Stage.FINISHED, 0)
    return rng


def _swap_digits(job: Job) -> None:
    """Write the thickness of the core nearest the belly with its last two digits swapped."""
    core = next(layer for layer in reversed(job.noted["layers"]) if layer["part"] == Part.CORE)
    *before, tens, units = core["butt_in"]
    core["butt_in"] = "".join([*before, units, tens])


def _weighed_by_all(truth: ShopTruth, job: Job) -> None:
    """Finish a bow and have every hand weigh it on every scale of the study in one day."""
    rng = _finished(truth, job)
    day = job.day + timedelta(days=1)
    job.reads = (DRAWS_IN.index(28.0),)
    for _, hand, job.scale in product(range(TRIALS), BUILDERS, STUDY_SCALES):
        weigh(rng, replace(Scatter(), climate=0.0), truth, job, Stage.FINISHED, 0)
        noted = job.events[-1].data
        noted |= {"scale": job.scale, "by": hand.name, "on": day.isoformat()}
        for air in ("temperature_f", "humidity_pct"):
            noted.pop(air, None)


def _stock(truth: ShopTruth) -> Iterator[Typed]:
    """Yield lams of the lots at hand: cores of either taper that can be ground, a power lam, and both glasses."""
    lots = latest_lots(truth)
    shelf: list[dict[str, Any]] = []
    for wood in STOCK_WOODS:
        of_wood = {"material": wood, "lot": lots[wood][1]}
        for taper in TAPERS:
            grinds = {"thickness_in": ".200", "ground_to_in": ".080", "taper_per_in": taper}
            shelf.append({"part": Part.CORE.value, **of_wood, **grinds, "pieces": 6})
    for glass_in in GLASSES_IN:
        lot = lots[glass_shelf(glass_in)][1]
        shelf.append(
            {"part": Part.GLASS.value, "material": GLASS, "lot": lot, "thickness_in": thousandths(glass_in)}
            | {"pieces": 12}
        )
    for number, data in enumerate(shelf, 1):
        yield Typed("stock", {"id": f"STOCK-{number:03d}", **data})


def _orders(truth: ShopTruth, jobs: dict[str, Job], kit_target_lbf: float) -> list[Typed]:
    """Return the orders: those delivered, those of the kits, and one for which nothing is pressed yet."""
    orders: list[dict[str, Any]] = []
    for build in DELIVERED:
        bow = truth.bows[build]
        last = next(weighed.weigh_in for weighed in bow.weighed if weighed.stage is Stage.FINISHED)
        orders.append({**_promise(bow.target_lbf), "build": build, "delivered": last})
    orders += [{**_promise(jobs[kit].target_lbf), "build": kit} for kit in (HEAVY_KIT, LIGHT_KIT)]
    orders.append({**_promise(kit_target_lbf), "note": f"the planned kit, {PLANNED_KIT}"})
    return [Typed("order", {"id": f"ORDER-{number:03d}", **data}) for number, data in enumerate(orders, 1)]


def _promise(target_lbf: float) -> dict[str, Any]:
    return {"weight": f"{target_lbf:g}", "draw": "28", "shots": 500}
