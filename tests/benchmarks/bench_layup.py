"""Stacks chosen for a promise, pressed in invented shops: how often are they heavy enough, and how much too heavy?

    python -m tests.benchmarks.bench_layup [--shops 10] [--builds 30] [--first 548000]

Each shop keeps a book of so many builds and learns from it. Then, form by form, a stack is chosen from glass and woods
of the lots at hand, and pressed as the shop truly presses. Its settled weight is the true force at 28 in, with the
finish sanding and shooting in of that bow and nothing else taken off. Seeds from 548000 on: nobody developed with them.
"""

import argparse
from collections.abc import Iterator
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np

from datasets.contents import Contents
from datasets.record import DrawLength, ZeroPoint
from datasets.schema import Form, Layer, Part, Stock
from datasets.zero_points import from_back
from predictor.bows.bow import weights
from predictor.planning.promise import Judged, Promise
from predictor.prediction.ranged import HELD
from predictor.pressing.layup import Choice
from predictor.pressing.swaps import Change
from reports.layup import Asked, for_form
from training.learning.train import train
from training.workshop.shop_designs import DESIGNS, GLASS, WOODS, Design
from training.workshop.shop_press import pressed_bow
from training.workshop.shop_truth import Scatter, ShopTruth, positive
from training.workshop.virtual_shop import VirtualShop, simulate

FIRST_SEED = 548_000
SHOTS = 500
TOLERANCE_LBF = 1.0
DRAW = DrawLength(inch=28, zero=ZeroPoint.STANDARD, typed=None)
HASH = "0" * 64


@dataclass(frozen=True)
class Pressed:
    """A stack as it was chosen, and what its bow truly weighed when settled."""

    choice: Choice
    target_lbf: float
    settled_lbf: float


def stock_of(shop: VirtualShop) -> list[Stock]:
    """Return plenty of glass and boards of the lots that came in last."""
    layers = [
        layer
        for build in Contents.of(shop.records).builds.values()
        for layer in build.layers
        if layer.part in (Part.GLASS, Part.CORE)
    ]
    last = {
        (layer.part, layer.material, layer.lot and layer.lot.rsplit(" ", 1)[0]): layer for layer in layers
    }
    return [_stock(number, layer) for number, layer in enumerate(last.values())]


def _stock(number: int, layer: Layer) -> Stock:
    glass = layer.part is Part.GLASS
    return Stock.model_validate(
        {
            "id": f"STOCK-{number:03d}",
            "part": layer.part,
            "material": layer.material,
            "lot": layer.lot,
            "thickness_in": round(layer.butt_in.inch, 2) if glass else 0.25,
            "ground_to_in": None if glass else 0.03,
            "pieces": 100,
        }
    )


def pressed(rng: np.random.Generator, shop: ShopTruth, design: Design, choice: Choice) -> float:
    """Press a stack as the shop does, and return what its bow truly weighs when settled, in pounds."""
    scatter = Scatter()
    layers = [_typed(layer) for layer in choice.layers]
    bow, _ = pressed_bow(rng, scatter, design, layers, planned=False)
    own = {GLASS: scatter.glass_bow} | dict.fromkeys(WOODS, scatter.wood_bow)
    used = {(layer.material, layer.lot or "") for layer in choice.layers}
    moduli: dict[tuple[str, str | None], float] = {
        key: shop.lots[key] * float(np.exp(rng.normal(0, own[key[0]]))) for key in sorted(used)
    }
    draws_in = np.array([[from_back(DRAW.inch, DRAW.zero, bow.pivot_depth)]])
    ((lbf,),) = weights([bow], [moduli], draws_in).lbf
    loss = positive(rng, shop.settling_at_500, scatter.settling * shop.settling_at_500) * shop.settled(SHOTS)
    effects = shop.theory + shop.forms[design.name] + rng.normal(0, scatter.bow)
    effects -= positive(rng, scatter.finish_mean, scatter.finish)
    return float(lbf * np.exp(effects) * (1 - loss))


def _typed(layer: Layer) -> dict[str, object]:
    return {
        "part": layer.part.value,
        "material": layer.material,
        "lot": layer.lot or "",
        "butt_in": layer.butt_in.inch,
        "taper_per_in": layer.taper_per_in or 0.0,
    }


def trials(seed: int, builds: int) -> Iterator[Pressed]:
    """Yield what became of the best stack of each form of one shop."""
    shop = simulate(seed, builds)
    contents = Contents.of(shop.records)
    model = train(contents, HASH, len(contents.builds)).model
    for one in stock_of(shop):
        contents = contents.plus(one)
    rng = np.random.default_rng([seed, 1])
    for design in DESIGNS:
        target = float(np.round(rng.uniform(*design.targets_lbf)))
        judged = Judged(DRAW, SHOTS)
        form: Form = contents.forms[design.name, 1]
        told = for_form(
            Asked(contents, model, judged, Change()), form, Promise(target, TOLERANCE_LBF, judged), count=1
        )
        for choice in told.layup.choices:
            yield Pressed(choice, target, pressed(rng, shop.truth, design, choice))


def score(one: Pressed) -> float:
    """Return by how many standard deviations a bow missed the expected weight, the logarithm taken as normal."""
    told = one.choice.settled
    sd = np.log(told.high_lbf / told.low_lbf) / 2 / NormalDist().inv_cdf((1 + HELD) / 2)
    return float(np.log(one.settled_lbf / told.lbf) / sd)


def main() -> None:
    """Run the shops and print how the chances held."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--shops", type=int, default=10)
    parser.add_argument("--builds", type=int, default=30)
    parser.add_argument("--first", type=int, default=FIRST_SEED)
    asked = parser.parse_args()
    made = [list(trials(asked.first + number, asked.builds)) for number in range(asked.shops)]
    every = [one for of_shop in made for one in of_shop]
    heavy = np.array(
        [
            np.mean([one.settled_lbf >= one.target_lbf - TOLERANCE_LBF for one in of_shop])
            for of_shop in made
            if of_shop
        ]
    )
    excess = np.array([one.settled_lbf - one.target_lbf for one in every])
    stated = np.array([one.choice.reach for one in every])
    inside = [one.choice.settled.low_lbf <= one.settled_lbf <= one.choice.settled.high_lbf for one in every]
    scores = [score(one) for one in every]
    error = heavy.std(ddof=1) / np.sqrt(len(heavy))
    print(  # noqa: T201 - a command's output
        f"{len(every)} bows of {len(heavy)} shops with {asked.builds} builds\n"
        f"heavy enough {heavy.mean():.3f} ± {error:.3f}, stated {stated.mean():.3f}\n"
        f"inside the 90 % range {np.mean(inside):.3f}\n"
        f"missed the expected weight by {np.std(scores):.2f} standard deviations, mean {np.mean(scores):.2f}\n"
        f"over the target by {excess.mean():.2f} lb (sd {excess.std():.2f})"
    )


if __name__ == "__main__":
    main()
