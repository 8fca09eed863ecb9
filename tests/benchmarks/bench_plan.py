"""Kits of invented shops brought down to a promised weight by the plan, and by others on the very same kits.

    python -m tests.benchmarks.bench_plan [--shops 20] [--kits 25] [--builds 30] [--first 560000] [--write PATH]

Each kit is first strung 5 to 12 lb over its target, weighed, cut as planned with the true error of carrying out and the
shop's true gain, weighed again, and so on until the plan is to stop. Finish sanding and 500 shots are the truth's. The
promise is judged on the shop's own scale. Where the plan stops, the kit is finish-sanded, weighed and
asked about once more. The one who knows does the same, but knows moduli, gain, the scale's bias and the mean of
finishing and settling; not the bow's own shape nor any noise. With `--builds 0` there is
no history. Seeds from
560900 to 560999 and from 562000 on were used in development.
"""

import argparse
import json
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field, replace
from functools import partial
from math import dist, hypot, log, sqrt
from pathlib import Path
from time import process_time

import numpy as np

from datasets.contents import Contents
from datasets.history import bow_at
from datasets.record import DrawLength, Side, ZeroPoint
from datasets.removals import combined, place_in
from datasets.schema import Build, Event, Form, Method, Removal, Stage, WeighIn
from predictor.blanks import widths_of
from predictor.bow import Refusal, weights
from predictor.cut_patterns import Patterns, patterns, removals
from predictor.kit_state import Kit
from predictor.model import Model
from predictor.passes import Noise, Outlook, outlook
from predictor.plan import Plan, plan
from predictor.prospects import Judged, Knowledge, Promise
from predictor.tiller import SPLIT_FINGER_IN
from predictor.ways import Limits
from tests.benchmarks.plan_endings import STAKES, Ended, Shops, clustered, deciles, figures, table, within
from training.shop_press import Job, press
from training.shop_scale import weigh
from training.shop_truth import SCALES, Key, Scatter, ShopTruth
from training.train import train
from training.virtual_shop import simulate

FIRST_SEED = 560_000
SHOTS = 500
HEAVY_LBF = (5.0, 12.0)
MOST_WEIGHINGS = 8
NEAR_ENOUGH_LBF = 0.5
DRAW = DrawLength(inch=28, zero=ZeroPoint.STANDARD, typed=None)
LEAST_SHARE = 0.5
"""Least widths are set wide open, so that every target is within reach."""


@dataclass
class Bench:
    """A kit in work.

    Attributes:
        rng: of what chance decides from here on.
        shop: its truth.
        job: the bow in truth.
        contents: the book, for materials and forms.
        target_lbf: on the scale, settled.
        model: what the history has taught.
        passes: taken so far.
        finished: whether it is finish-sanded.
        events: as noted.
    """

    rng: np.random.Generator
    shop: ShopTruth
    job: Job
    contents: Contents
    target_lbf: float
    model: Model | None
    passes: int = 0
    finished: bool = False
    events: list[Event] = field(default_factory=list)

    @property
    def kit(self) -> Kit:
        """The kit as the book knows it."""
        build = Build.model_validate(self.job.noted)
        form: Form = self.contents.forms[build.form, 1]
        return Kit(form, build, tuple(self.events))

    @property
    def promise(self) -> Promise:
        """The promise on the shop's scale."""
        return Promise(self.target_lbf, STAKES.tolerance_lbf, Judged(DRAW, SHOTS, self.job.scale))

    def true_lbf(self) -> float:
        """Return the force at 28 in in usual air."""
        shape = self.shop.forms[self.job.design.name] + self.job.shape
        return float(self.job.physics_lbf[0] * np.exp(self.job.effects + shape))

    def solve(self) -> None:
        """Let the statics find the weight of the true bow."""
        self.job.physics_lbf = weights([self.job.bow], [self.job.moduli], self.job.draws_in[None]).lbf[0]

    def finish(self) -> None:
        """Finish-sand, once."""
        if not self.finished:
            self.job.effects += self.job.finish_loss
            self.finished = True

    def weigh(self) -> float:
        """Weigh, note it, and return the reading, at 28 in by the draws' true ratios, the mean of those noted."""
        stage = Stage.TILLERED if self.passes else Stage.FIRST_DRAW
        stage = Stage.FINISHED if self.finished else stage
        weigh(self.rng, Scatter(), self.shop, self.job, stage, 0)
        noted = self.job.events[-1].data | {"scale": self.job.scale}
        weighed = WeighIn.model_validate(noted)
        self.events.append(weighed)
        read = np.array([one.weight.lbf for one in weighed.readings])
        ratios = self.job.physics_lbf[1:][list(self.job.reads)] / self.job.physics_lbf[0]
        return float(np.exp(np.mean(np.log(read / ratios))))

    def cut(self, planned: Sequence[Removal]) -> None:
        """Carry a pass out with its error, and note the plan or what was done."""
        before = self.true_lbf()
        carried = max(1 + self.rng.normal(0, Scatter().carried_out), 0.3)
        for removal in planned:
            self._narrow(removal, carried)
            self.job.write("removal", {})
            given = {"id": f"{self.job.build}/{len(self.job.events)}", "on": self.job.day}
            self.events.append(removal.model_copy(update=given))
        self.solve()
        lost = log(self.true_lbf() / before)
        self.job.effects += (self.shop.method_gain[Method.SIDES] - 1) * lost
        self.passes += 1

    def _narrow(self, removal: Removal, carried: float) -> None:
        for side in ("upper", "lower"):
            if removal.limb not in (Side.BOTH, side):
                continue
            limb = getattr(self.job.bow, side)
            off = (
                tuple(place_in(cut.at, limb.length) for cut in removal.planned),
                tuple(carried * cut.amount_in.inch for cut in removal.planned),
            )
            narrowed = replace(
                limb,
                width_belly=combined(limb.width_belly, off, np.subtract),
                width_back=combined(limb.width_back, off, np.subtract),
            )
            self.job.bow = replace(self.job.bow, **{side: narrowed})

    def end(self, under: float, within: float) -> Ended:
        """Finish and shoot in by the truth."""
        self.finish()
        self.job.effects -= self.job.settling_at_500 * self.shop.settled(SHOTS)
        true = self.true_lbf()
        on_scale = true * float(np.exp(self.shop.scales[self.job.scale]))
        return Ended(true - self.target_lbf, on_scale - self.target_lbf, self.passes, under, within)

    def possible(self, share: float) -> Patterns:
        """Return the removals possible by the records."""
        materials = self.contents.materials
        return patterns(self.kit, float(self.job.draws_in[0]), materials, self.least_in(), share)

    def least_in(self) -> tuple[float, float]:
        """Return the least widths."""
        fade, _, nock = widths_of(self.kit.form, self.kit.build)
        return LEAST_SHARE * fade, LEAST_SHARE * nock

    def take(self, loss_share: float) -> bool:
        """Take off what loses a share of the weight by the statics; whether that is anything."""
        if loss_share <= 0:
            return False
        found = self.possible(min(1.5 * loss_share + 0.02, 0.4))
        at = found.deepest_within(loss_share)
        if at:
            self.cut(removals(self.kit, found.stations_in, found.amounts_in[at]))
        return at > 0


def by_plan(bench: Bench, *, then_again: bool = False) -> Ended:
    """Follow the plan; if so wanted, finish-sand where it stops, weigh and ask once more."""
    first: Plan | None = None
    for _ in range(MOST_WEIGHINGS):
        bench.weigh()
        told = planned(bench)
        first = first or told
        if told.passes:
            bench.cut(told.passes[0].removals)
        elif then_again and not bench.finished:
            bench.finish()
        elif not told.weigh_again:
            break
    assert first is not None
    return bench.end(first.under, first.within)


def planned(bench: Bench) -> Plan:
    """Return the plan of a kit."""
    limits = Limits(bench.least_in(), None, SPLIT_FINGER_IN)
    knowledge = Knowledge(bench.contents.materials, bench.model)
    told = plan(bench.kit, bench.promise, STAKES, limits, knowledge)
    if isinstance(told, Refusal):
        raise ArithmeticError(f"{told.reason} ({told.where})")  # noqa: TRY004 - a bow, not a type, is wrong
    return told


@dataclass
class Belief:
    """Logarithm of a kit's reading without errors, as one who knows the shop believes it: one normal number.

    Attributes:
        bench: the kit.
        mean: as it stands.
        sd: of it.
        reading: standard deviation of a weighing about it.
    """

    bench: Bench
    mean: float
    sd: float
    reading: float

    @classmethod
    def by_records(cls, bench: Bench) -> "Belief":
        """Return what is believed before the first weighing."""
        scatter, shop, job = Scatter(), bench.shop, bench.job
        slope = (job.physics_lbf[-1] - job.physics_lbf[1]) / (job.draws_in[-1] - job.draws_in[1])
        by_hand = (
            dist((0, 0, 0), (scatter.scale_lbf, SCALES[job.scale] / sqrt(12), scatter.draw_in * slope))
            / job.physics_lbf[0]
        )
        mean = shop.theory + shop.forms[job.design.name] + shop.scales[job.scale]
        reading = hypot(scatter.climate, by_hand / sqrt(len(job.reads)))
        return cls(bench, log(_by_true_moduli(bench)) + mean, BY_RECORDS, reading)

    def weigh(self) -> None:
        """Weigh, and believe what the reading tells."""
        follow = self.sd**2 / (self.sd**2 + self.reading**2)
        self.mean += follow * (log(self.bench.weigh()) - self.mean)
        self.sd *= sqrt(1 - follow)

    def settled(self) -> tuple[float, float]:
        """Return the settled weight expected, and the standard deviation of what no weighing can tell of it."""
        scatter, shop = Scatter(), self.bench.shop
        settling = shop.settling_at_500 * shop.settled(SHOTS)
        left, sd = (0.0, 0.0) if self.bench.finished else (scatter.finish_mean, scatter.finish)
        return float(np.exp(self.mean - left - settling)), hypot(sd, scatter.settling * settling)

    def ahead(self) -> Outlook:
        """Return the best next pass."""
        settled, after = self.settled()
        target = self.bench.target_lbf
        noise = Noise(Scatter().carried_out, self.reading * target, after * target)
        return outlook(settled - target, self.sd * target, STAKES, noise)

    def cut(self, take_lbf: float) -> bool:
        """Take off what is meant to cost so much of the settled weight; whether that is anything."""
        gain = self.bench.shop.method_gain[Method.SIDES]
        before = _by_true_moduli(self.bench)
        cut = self.bench.take(1 - (1 - take_lbf / self.settled()[0]) ** (1 / gain))
        loss = gain * log(before / _by_true_moduli(self.bench))
        self.mean, self.sd = self.mean - loss, hypot(self.sd, Scatter().carried_out * loss)
        return cut

    def finish(self) -> None:
        """Finish-sand."""
        self.bench.finish()
        self.mean, self.sd = self.mean - Scatter().finish_mean, hypot(self.sd, Scatter().finish)


def _by_true_moduli(bench: Bench) -> float:
    """Return the weight by the statics, of recorded dimensions and plans but true moduli."""
    kit, job = bench.kit, bench.job
    statics = bow_at(kit.form, kit.build, kit.events)
    return float(weights([statics], [job.moduli], job.draws_in[None, :1]).lbf[0, 0])


def by_one_who_knows(bench: Bench) -> Ended:
    """Pass, finish-sand, weigh and ask again as by the plan, knowing moduli, gain, bias and mean losses."""
    belief = Belief.by_records(bench)
    first: Outlook | None = None
    for _ in range(MOST_WEIGHINGS):
        belief.weigh()
        ahead = belief.ahead()
        first = first or ahead
        if belief.cut(ahead.take_lbf):
            continue
        if not bench.finished:
            belief.finish()
        elif belief.settled()[0] <= bench.target_lbf + STAKES.tolerance_lbf:
            break
    assert first is not None
    return bench.end(first.under, 1 - first.under - first.over)


BY_RECORDS = 0.04
"""Standard deviation of weight by recorded dimensions and true moduli: wide, as the first weighing settles it."""


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
    told = planned(bench)
    bench.take(1 - bench.target_lbf / told.settled_lbf)
    return bench.end(np.nan, np.nan)


WAYS: dict[str, Callable[[Bench], Ended]] = {
    "plan": partial(by_plan, then_again=True),
    "not asked again": by_plan,
    "one who knows": by_one_who_knows,
    "halves": by_halves,
    "one cut": by_one_cut,
}


KNOWS = "one who knows"
PLANS = ("plan", "not asked again", KNOWS)
"""Ways that state chances."""


def kits(seed: int, builds: int, count: int, ways: Sequence[str]) -> Iterator[dict[str, Ended]]:
    """Yield how each kit of one shop ended by each way."""
    shop = simulate(seed, max(builds, 1))
    contents = Contents.of(shop.records)
    model = train(contents, "0" * 64, len(contents.builds)).model if builds else None
    for number in range(count):
        yield {way: WAYS[way](_heavy(shop.truth, contents, model, (seed, number))) for way in ways}


def _heavy(shop: ShopTruth, contents: Contents, model: Model | None, seeds: tuple[int, int]) -> Bench:
    """Return a kit as pressed, with a target below its first weight."""
    rng = np.random.default_rng([*seeds, 7])
    job = press(rng, Scatter(), shop, _at_hand(shop), 500 + seeds[1])
    job.kept = True
    bench = Bench(rng, shop, job, contents, 0.0, model)
    bench.solve()
    on_scale = bench.true_lbf() * float(np.exp(shop.scales[job.scale]))
    return replace(bench, target_lbf=on_scale - rng.uniform(*HEAVY_LBF))


def _at_hand(shop: ShopTruth) -> dict[str, Key]:
    """Return the lot that came in last for each shelf."""
    found: dict[str, Key] = {}
    for key in sorted(shop.lots, key=lambda one: int(str(one[1]).rsplit(" ", 1)[1])):
        found[str(key[1]).rsplit(" ", 1)[0]] = key
    return found


def _shop(seed: int, builds: int, count: int, ways: Sequence[str]) -> tuple[list[dict[str, Ended]], float]:
    """Return how the kits of one shop ended, and the processor seconds taken."""
    began = process_time()
    return list(kits(seed, builds, count, ways)), process_time() - began


def told(shops: Shops, title: str) -> Iterator[str]:
    """Yield the lines of the report."""
    yield from (f"# {title}", "", *table(shops), "")
    ways = shops[0][0]
    if {"plan", KNOWS} <= set(ways):
        ours, best = (clustered([within(one, way) for one in shops])[0] for way in ("plan", KNOWS))
        yield from (f"Within 1 lb: the plan's share over that of the one who knows is {ours / best:.3f}.", "")
    for way in (way for way in PLANS if way in ways):
        yield from (
            f"## Chances stated first: {way}",
            "",
            *deciles([kit[way] for one in shops for kit in one]),
            "",
        )


def main() -> None:
    """Run the shops, print how the kits ended, and write it where asked."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--shops", type=int, default=20)
    parser.add_argument("--kits", type=int, default=25)
    parser.add_argument("--builds", type=int, default=30)
    parser.add_argument("--first", type=int, default=FIRST_SEED)
    parser.add_argument("--ways", nargs="+", default=list(WAYS), choices=list(WAYS))
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--write", type=Path, help="path without suffix; .md and .json are written")
    asked = parser.parse_args()
    run = partial(_shop, builds=asked.builds, count=asked.kits, ways=asked.ways)
    shops: list[list[dict[str, Ended]]] = []
    seconds = 0.0
    title = "{} kits of {} shops, {} builds of history, seeds from {}; {:.0f} processor seconds"
    with ProcessPoolExecutor(asked.processes) as pool:
        for ended, took in pool.map(run, range(asked.first, asked.first + asked.shops)):
            shops.append(ended)
            seconds += took
            count = len(shops) * asked.kits
            lines = list(told(shops, title.format(count, len(shops), asked.builds, asked.first, seconds)))
            _print(*lines[:-1])
            if asked.write:
                _write(asked.write, lines, shops, vars(asked))


def _write(path: Path, lines: Sequence[str], shops: Shops, asked: dict[str, object]) -> None:
    path.with_suffix(".md").write_text("\n".join(lines))
    asked = {name: value for name, value in asked.items() if name != "write"}
    found = {"asked": asked, "shops": len(shops), "ways": {way: figures(shops, way) for way in shops[0][0]}}
    path.with_suffix(".json").write_text(json.dumps(found, indent=1) + "\n")


def _print(*lines: str) -> None:
    print("\n".join(lines), flush=True)  # noqa: T201 - a command's output


if __name__ == "__main__":
    main()
