"""Kits of invented shops brought down to a promised weight by the plan, and by others on the very same kits.

    python -m tests.benchmarks.bench_plan [--shops 20] [--kits 25] [--builds 30] [--first 560000] [--write PATH]

Each kit is first strung 5 to 12 lb over its target, weighed, cut as planned with the true error of carrying out and the
shop's true gain, weighed again, and so on. When the plan says so it is finish-sanded, shot in with the first arrows,
weighed and asked about again, until the plan is to stop. Finish sanding and 500 shots are the truth's. The promise is
judged on the shop's own scale. The one who knows takes the same steps. With `--builds 0` there is no history. Each shop
is written where asked as soon as its kits have ended, and a run that was broken off goes on from there. Seeds from
560900 to 560999 and from 562000 on were used in development.
"""

import argparse
import json
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from functools import partial
from pathlib import Path
from time import process_time

import numpy as np

from datasets.contents import Contents
from predictor.bows.bow import Refusal
from predictor.bows.tiller import SPLIT_FINGER_IN
from predictor.planning.kit_state import kit_state
from predictor.planning.knowledge import Knowledge
from predictor.planning.passes import Step
from predictor.planning.plan import Plan, plan
from predictor.planning.ways import Limits
from tests.benchmarks.kit_bench import Bench
from tests.benchmarks.one_who_knows import by_one_who_knows
from tests.benchmarks.plan_endings import MOST_WEIGHINGS, STAKES, Ended, Shop, told, totals
from training.learning.train import train
from training.workshop.virtual_shop import simulate

FIRST_SEED = 560_000
NEAR_ENOUGH_LBF = 0.5


def by_plan(bench: Bench) -> Ended:
    """Do what the plan says after each weighing."""
    first: Plan | None = None
    for _ in range(MOST_WEIGHINGS):
        bench.weigh()
        told = planned(bench)
        first = first or told
        if told.next_step is Step.STOP:
            break
        if told.next_step is Step.TAKE_OFF:
            bench.cut(told.passes[0].removals)
        if told.next_step is Step.FINISH:
            bench.finish()
            bench.shoot_in()
    assert first is not None
    return bench.end(first.under, first.within)


def planned(bench: Bench) -> Plan:
    """Return the plan of a kit."""
    limits = Limits(bench.least_in(), None, SPLIT_FINGER_IN)
    told = plan(bench.kit, bench.promise, STAKES, limits, _knowledge(bench))
    if isinstance(told, Refusal):
        raise ArithmeticError(f"{told.reason} ({told.where})")  # noqa: TRY004 - a bow, not a type, is wrong
    return told


def _knowledge(bench: Bench) -> Knowledge:
    return Knowledge(bench.contents.materials, bench.model)


def by_halves(bench: Bench) -> Ended:
    """Take half the excess over the target by proportion, until under half a pound is left."""
    for _ in range(MOST_WEIGHINGS):
        read = bench.weigh()
        if read - bench.target_lbf < NEAR_ENOUGH_LBF or not bench.take((read - bench.target_lbf) / read / 2):
            break
    return bench.end(np.nan, np.nan)


def by_one_cut(bench: Bench) -> Ended:
    """Take all of what is expected over the target in one cut."""
    bench.weigh()
    state = kit_state(bench.kit, bench.promise, _knowledge(bench))
    if isinstance(state, Refusal):
        raise ArithmeticError(f"{state.reason} ({state.where})")  # noqa: TRY004 - a bow, not a type, is wrong
    bench.take(1 - bench.target_lbf / state.settled_lbf)
    return bench.end(np.nan, np.nan)


WAYS: dict[str, Callable[[Bench], Ended]] = {
    "plan": by_plan,
    "one who knows": by_one_who_knows,
    "halves": by_halves,
    "one cut": by_one_cut,
}


def shop_by(seed: int, builds: int, count: int, ways: Sequence[str]) -> Shop:
    """Return how the kits of one shop ended by each way."""
    began = process_time()
    shop = simulate(seed, max(builds, 1))
    contents = Contents.of(shop.records)
    model = train(contents, "0" * 64, len(contents.builds)).model if builds else None
    kits, refused = [], []
    for number in range(count):
        try:
            kit = Bench.heavy(shop.truth, contents, model, (seed, number))
            kits.append({way: WAYS[way](kit.anew()) for way in ways})
        except ArithmeticError as error:
            refused.append(f"kit {number} of shop {seed}, {error}")
    return Shop(seed, builds, process_time() - began, kits, refused)


def main() -> None:
    """Run the shops, print how the kits ended, and write it where asked."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--shops", type=int, default=20)
    parser.add_argument("--kits", type=int, default=25)
    parser.add_argument("--builds", type=int, default=30)
    parser.add_argument("--first", type=int, default=FIRST_SEED)
    parser.add_argument("--ways", nargs="+", default=list(WAYS), choices=list(WAYS))
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--write", type=Path, help="path without suffix; .md, .json and .jsonl are written")
    asked = parser.parse_args()
    seeds = range(asked.first, asked.first + asked.shops)
    done = _done(asked.write, asked.builds, asked.kits, asked.ways)
    shops = [done[seed] for seed in seeds if seed in done]
    if shops:
        _tell(shops, asked.write)
    run = partial(shop_by, builds=asked.builds, count=asked.kits, ways=asked.ways)
    for shop in _ended(run, [seed for seed in seeds if seed not in done], asked.processes):
        shops = sorted([*shops, shop])
        if asked.write:
            with asked.write.with_suffix(".jsonl").open("a") as file:
                file.write(shop.to_json() + "\n")
        _tell(shops, asked.write)
    if len(shops) < len(seeds):
        parser.error(f"wanted {len(seeds)} shops, got {len(shops)}; mend what broke off, and run again")


def _ended(run: Callable[[int], Shop], seeds: Sequence[int], processes: int) -> Iterator[Shop]:
    """Yield shops as their kits have ended; what broke one off is printed."""
    with ProcessPoolExecutor(processes) as pool:
        for ended in as_completed([pool.submit(run, seed) for seed in seeds]):
            if ended.exception():
                _print(f"a shop broke off: {ended.exception()!r}")
            else:
                yield ended.result()


def _done(path: Path | None, builds: int, count: int, ways: Sequence[str]) -> dict[int, Shop]:
    """Return the shops that an earlier run with the same settings has finished, by seed."""
    if path is None or not path.with_suffix(".jsonl").exists():
        return {}
    shops = map(Shop.from_json, path.with_suffix(".jsonl").read_text().splitlines())
    return {
        shop.seed: shop
        for shop in shops
        if shop.builds == builds
        and len(shop.kits) + len(shop.refused) == count
        and list(shop.kits[0]) == list(ways)
    }


def _tell(shops: Sequence[Shop], path: Path | None) -> None:
    lines = list(told(shops))
    _print(*lines)
    if path:
        path.with_suffix(".md").write_text("\n".join(lines) + "\n")
        path.with_suffix(".json").write_text(json.dumps(totals(shops), indent=1) + "\n")


def _print(*lines: str) -> None:
    print("\n".join(lines), flush=True)  # noqa: T201 - a command's output


if __name__ == "__main__":
    main()
