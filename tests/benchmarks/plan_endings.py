"""How the kits of a closed loop ended, as figures and as a table; errors are clustered by shop."""

import json
from collections.abc import Iterator, Mapping, Sequence
from math import sqrt
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from datasets.schema import Shop as Settings
from predictor.planning.stakes import Stakes

STAKES = Stakes.of(Settings(), tolerance_lbf=1.0)
MOST_WEIGHINGS = 12

KNOWS = "one who knows"
PLANS = ("plan", KNOWS)
"""Ways that state chances."""


class Ended(NamedTuple):
    """How a kit ended: settled weight less target, in true force and on the scale, passes, and chances first stated."""

    true_lbf: float
    on_scale_lbf: float
    passes: int
    under: float
    within: float


class Shop(NamedTuple):
    """How each kit of a shop ended by each way, with the builds of history and the processor seconds taken.

    Kits that the statics refuse on some way have not ended; the reasons are kept.
    """

    seed: int
    builds: int
    seconds: float
    kits: Sequence[Mapping[str, Ended]]
    refused: Sequence[str]

    def to_json(self) -> str:
        """Return it in one line."""
        return json.dumps(self._asdict())

    @classmethod
    def from_json(cls, line: str) -> "Shop":
        """Return a shop from its line."""
        found = json.loads(line)
        kits = [{way: Ended(*ended) for way, ended in kit.items()} for kit in found["kits"]]
        return cls(found["seed"], found["builds"], found["seconds"], kits, found["refused"])


Shops = Sequence[Shop]

HEADS = (
    "way",
    "within 1 lb",
    "true force",
    "1 lb under",
    "mean lb",
    "sd lb",
    "passes: median",
    "mean",
    "cost",
)


def clustered(values: Sequence[NDArray[np.float64]]) -> tuple[float, float]:
    """Return the mean over all kits and its standard error, clustered over shops; not a number for one shop.

    Source: the ratio estimator, Cochran, Sampling Techniques (1977), section 9A.1 (from memory).
    """
    mean = float(np.concatenate(values).mean())
    sums = np.array([np.sum(one - mean) for one in values])
    count = len(values)
    error = sqrt(count / (count - 1) * np.sum(sums**2)) / sum(map(len, values)) if count > 1 else np.nan
    return mean, float(error)


def within(kits: Sequence[Mapping[str, Ended]], way: str) -> NDArray[np.float64]:
    """Return one for each kit that ended within a pound on the scale by a way, zero for the others."""
    return np.array([abs(kit[way].on_scale_lbf) <= 1 for kit in kits], dtype=float)


def figures(shops: Shops, way: str) -> dict[str, float | list[float]]:
    """Return figures of one way, with their standard errors where they are means."""
    ended = [np.array([kit[way] for kit in shop.kits], dtype=float) for shop in shops]
    off = [one[:, 1] for one in ended]
    whole = np.concatenate(ended)
    means = {
        "within": [within(shop.kits, way) for shop in shops],
        "within_true": [(abs(one[:, 0]) <= 1).astype(float) for one in ended],
        "under": [(one < -1).astype(float) for one in off],
        "mean_lbf": off,
        "passes": [one[:, 2] for one in ended],
        "cost_lbf": [_cost(one) for one in ended],
    }
    found: dict[str, float | list[float]] = {name: list(clustered(values)) for name, values in means.items()}
    return found | {"sd_lbf": float(whole[:, 1].std()), "median_passes": float(np.median(whole[:, 2]))}


def _cost(ended: NDArray[np.float64]) -> NDArray[np.float64]:
    over, under = np.maximum(ended[:, 1] - 1, 0), np.maximum(-1 - ended[:, 1], 0)
    cost: NDArray[np.float64] = over + STAKES.under_to_over * under + STAKES.pass_cost_lbf * ended[:, 2]
    return cost


def totals(shops: Shops) -> dict[str, object]:
    """Return what was run and the figures of all ways."""
    return {
        "seeds": [shop.seed for shop in shops],
        "builds": shops[0].builds,
        "kits": sum(len(shop.kits) for shop in shops),
        "refused": [reason for shop in shops for reason in shop.refused],
        "processor_seconds": sum(shop.seconds for shop in shops),
        "ways": {way: figures(shops, way) for way in shops[0].kits[0]},
    }


def told(shops: Shops) -> Iterator[str]:
    """Yield the lines of the report."""
    count, seconds = sum(len(shop.kits) for shop in shops), sum(shop.seconds for shop in shops)
    yield (
        f"# {count} kits of {len(shops)} shops, {shops[0].builds} builds of history, seeds from {shops[0].seed} to "
        f"{shops[-1].seed}; {seconds:.0f} processor seconds"
    )
    yield from (
        f"Kits left out, as the statics refused them: {reason}" for one in shops for reason in one.refused
    )
    yield from ("", *table(shops))
    ways = shops[0].kits[0]
    if {"plan", KNOWS} <= set(ways):
        ours, best = (clustered([within(shop.kits, way) for shop in shops])[0] for way in ("plan", KNOWS))
        yield from ("", f"Within 1 lb: the plan's share over that of the one who knows is {ours / best:.3f}.")
    for way in (way for way in PLANS if way in ways):
        yield from ("", f"## Chances stated first: {way}", "")
        yield from deciles([kit[way] for shop in shops for kit in shop.kits])


def table(shops: Shops) -> Iterator[str]:
    """Yield the lines of a table of all ways, with standard errors after each mean."""
    yield "| " + " | ".join(HEADS) + " |"
    yield "|---" * len(HEADS) + "|"
    for way in shops[0].kits[0]:
        found = figures(shops, way)
        cells = [_told(found[one]) for one in ("within", "within_true", "under", "mean_lbf", "sd_lbf")]
        cells += [_told(found[one]) for one in ("median_passes", "passes", "cost_lbf")]
        yield f"| {way} | " + " | ".join(cells) + " |"


def _told(value: float | list[float]) -> str:
    return "{:.3f} ({:.3f})".format(*value) if isinstance(value, list) else f"{value:.2f}"


def deciles(ended: Sequence[Ended]) -> Iterator[str]:
    """Yield the lines of a table of chances stated and what happened, by decile of the chance of ending within."""
    yield "| stated within | was | stated under | was | kits |"
    yield "|---|---|---|---|---|"
    stated = np.array([one.within for one in ended])
    for part in np.array_split(np.argsort(stated), min(10, len(ended))):
        inside = np.mean([abs(ended[one].on_scale_lbf) <= 1 for one in part])
        under = np.mean([ended[one].on_scale_lbf < -1 for one in part])
        said = np.mean([ended[one].under for one in part])
        yield f"| {stated[part].mean():.3f} | {inside:.3f} | {said:.3f} | {under:.3f} | {len(part)} |"
