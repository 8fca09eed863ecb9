"""How well intervals and expected weights hold, and how they compare with rivals, over many invented shops.

    python -m tests.benchmarks.bench_learning                  # all of it: ten minutes on two cores
    python -m tests.benchmarks.bench_learning --shops 100 20   # fewer shops

Prints tables and writes learning.json and learning.md beside this file. Every shop has its own seed, from 500000 on by
default: seeds that nobody developed with. Standard errors are over shops.
"""

import argparse
import json
import os
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, dataclass, replace
from functools import partial
from itertools import islice
from pathlib import Path
from time import perf_counter
from typing import Any

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy: one thread for each of the processes

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from rich.progress import track

from datasets.contents import Contents
from datasets.materials import handbook
from datasets.schema import Stage
from predictor.belief.columns import STIFFNESS, Columns, Tolerance
from predictor.belief.mixture import NormalMixture, side_by_side
from predictor.belief.own_history import laid_with_cut, together
from predictor.belief.posterior import predict
from predictor.belief.scatter import LOTS_OF_GLASS, LOTS_OF_WOOD
from predictor.belief.seen import seen_by
from predictor.belief.weighings import Weighing
from tests.lots_seen import lots_seen
from training.checking.evaluate import LEVELS, Learned, Trial, learned, marks, only, trial_of
from training.checking.oracle import knowing_the_shops
from training.checking.questions import Question, cut_to_weight, first_on_record, only_asked
from training.checking.rivals import RIVALS
from training.checking.scores import Estimate, clustered_mean, clustered_ratio
from training.learning.evidence import evidence_side_by_side
from training.workshop.clerical import with_mistakes
from training.workshop.shop_designs import DESIGNS, WOODS
from training.workshop.shop_truth import Scatter, ShopTruth
from training.workshop.virtual_shop import VirtualShop, simulate_side_by_side

Array = NDArray[np.float64]

HERE = Path(__file__).parent
FIRST_SEED = 500_000
OURS = "ours"
CUT, FIRST = "cut to weight", "first draw"
SLIPS, STRIPS = "with slips of the pen", "after a strip of each lot"
SHIFTED_SD = 4.0
"""Predictive standard deviations by which a slip must shift a reading before it ought to be found."""


@dataclass(frozen=True)
class Plan:
    """A set of shops.

    Attributes:
        shops: how many.
        tests: builds asked for in each, half of lots at hand and half of new ones.
        counts: numbers of past builds to learn from.
        unseen: past builds to learn from where one wood, form or the thick stacks are held back; 0 for none.
        slips: whether to learn from records with slips too.
    """

    shops: int
    tests: int
    counts: tuple[int, ...]
    unseen: int = 0
    slips: bool = False


STRIP_SD = 0.02
"""Log standard deviation of a lot's modulus read from a strip."""

FEW = Plan(shops=400, tests=20, counts=(0, 5, 10))
MANY = Plan(shops=40, tests=200, counts=(20, 40, 80), unseen=40, slips=True)
PLANS = {"few builds": FEW, "many builds": MANY}
SHOPS_AT_ONCE = 10
"""Shops that a process runs side by side: the statics of a few hundred bows cost hardly more than those of thirty."""


@dataclass(frozen=True)
class Ran:
    """A shop that was run, with everything solved that takes the statics.

    Attributes:
        seed: its own.
        shop: its records and its truth.
        past: ids of the builds that may teach, in order of time.
        cut: the trial of bows cut to their weight.
        first: the trial of first draws.
        slips: kind of the slip that each build has in the records with slips.
        again: weighings of the past builds whose records have a slip.
    """

    seed: int
    shop: VirtualShop
    past: Sequence[str]
    cut: Trial
    first: Trial
    slips: Mapping[str, str]
    again: tuple[Weighing, ...]


def run_shops(plan: Plan, seeds: Sequence[int]) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Return a row for every answer to every question of some shops, and one for every build with or without a slip."""
    ran = _run_side_by_side(plan, seeds)
    asked = [(one.shop.truth, tried.asked) for one in ran for tried in (one.cut, one.first)]
    floors = iter(zip(asked, knowing_the_shops(asked, Scatter()), strict=True))
    rows: list[dict[str, Any]] = []
    found: list[dict[str, Any]] = []
    for one in ran:
        floor_lbf = {CUT: _floor_lbf(*next(floors)), FIRST: _floor_lbf(*next(floors))}
        answered, also = _answered(plan, one)
        rows += [
            row | {"floor_lbf": floor_lbf.get(row["study"], floor_lbf[CUT])[row["build"]], "seed": one.seed}
            for row in answered
        ]
        found += [row | {"seed": one.seed} for row in also]
    return rows, found


def _run_side_by_side(plan: Plan, seeds: Sequence[int]) -> list[Ran]:
    """Run shops, and solve all that is to be learned from or asked for in one go."""
    most, half = max(plan.counts), plan.tests // 2
    shops = simulate_side_by_side(seeds, most + 2 * half, held_lots=half, fresh_lots=half)
    contents = [Contents.of(shop.records) for shop in shops]
    names = [list(each.builds) for each in contents]
    wrong = [_slipped(plan, *each) for each in zip(seeds, shops, strict=True)]
    books = [
        book
        for each, builds, (with_slips, _) in zip(contents, names, wrong, strict=True)
        for book in (
            only(each, builds[:most]),
            only_asked(each, builds[most:], cut_to_weight),
            only_asked(each, builds[most:], first_on_record),
            with_slips,
        )
    ]
    found = iter([each.weighings for each in evidence_side_by_side(books)])
    ran = []
    for seed, shop, each, builds, (_, slips) in zip(seeds, shops, contents, names, wrong, strict=True):
        past, asked_cut, asked_first, again = islice(found, 4)
        cut = trial_of(each, past, asked_cut, cut_to_weight)
        first = trial_of(each, past, asked_first, first_on_record)
        first = replace(first, asked=tuple(q for q in first.asked if q.moment.stage is Stage.FIRST_DRAW))
        ran.append(Ran(seed, shop, builds[:most], cut, first, slips, again))
    return ran


def _slipped(plan: Plan, seed: int, shop: VirtualShop) -> tuple[Contents, dict[str, str]]:
    """Return the past builds with a slip, if the plan has slips, and the kind of the slip that each build has."""
    if not plan.slips:
        return Contents(), {}
    typed, slips = with_mistakes(np.random.default_rng(seed), shop.typed)
    contents = Contents.of(replace(shop, typed=tuple(typed)).records)
    kinds_of = {slip.record.split("/")[0]: slip.kind for slip in slips}
    past = list(contents.builds)[: max(plan.counts)]
    return only(contents, [name for name in past if name in kinds_of]), kinds_of


def _floor_lbf(known: tuple[ShopTruth, Sequence[Question]], expected: Array) -> dict[str, float]:
    """Return for each build the error in pounds of who knows the shop's truth."""
    return {
        question.build: np.exp(question.log_weight) - np.exp(log_weight)
        for question, log_weight in zip(known[1], expected, strict=True)
    }


def _answered(plan: Plan, one: Ran) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Return the answers to every question of one shop, and what was found of its slips."""
    usual = {count: learned(one.cut.weighings, one.past[len(one.past) - count :]) for count in plan.counts}
    rows: list[dict[str, Any]] = []
    for study, tried in ((CUT, one.cut), (FIRST, one.first)):
        if tried.asked:
            rows += _usual(study, tried, usual)
    for count in plan.counts:
        rows += _after_strips(one.cut, count, usual[count], one.shop, one.seed)
    if plan.unseen:
        rows += _unseen(one.cut, plan.unseen, one.seed)
    if not plan.slips:
        return rows, []
    with_slips, found = _with_slips(one, usual)
    return rows + with_slips, found


def _usual(study: str, tried: Trial, usual: dict[int, Learned]) -> Iterator[dict[str, Any]]:
    """Yield the answers of every method that has learned from the latest builds."""
    for count, taught in usual.items():
        yield from _rows(study, count, OURS, tried.asked, taught, taught.answers(tried.asked))
        if count:
            past = tried.known(tried.latest(count))
            for name, rival in RIVALS.items():
                yield from _rows(study, count, name, tried.asked, taught, rival(past, tried.wanted))


def _rows(
    study: str, count: int, method: str, asked: Sequence[Question], taught: Learned, predicted: Any
) -> Iterator[dict[str, Any]]:
    log_weight = np.array([question.log_weight for question in asked])
    marked = marks(predicted, log_weight)
    for place, question in enumerate(asked):
        yield {
            "study": study,
            "n": count,
            "method": method,
            "build": question.build,
            "lots": lots_seen(taught.belief, question.columns),
            "off_lbf": marked.off_lbf[place],
            "crps": marked.crps_percent[place],
            **{f"inside {level:.0%}": float(marked.inside[level][place]) for level in LEVELS},
            **{f"width {level:.0%}": marked.width_lbf[level][place] for level in LEVELS},
        }


def _after_strips(
    tried: Trial, count: int, taught: Learned, shop: VirtualShop, seed: int
) -> Iterator[dict[str, Any]]:
    """Yield answers on bows of new lots after a strip of each of their lots has been bent on the bench."""
    rng = np.random.default_rng(seed)
    asked = [question for question in tried.asked if lots_seen(taught.belief, question.columns) == "new"]
    if asked:
        predicted = side_by_side([_with_strips(taught, question, shop, rng) for question in asked])
        yield from _rows(STRIPS, count, OURS, asked, taught, predicted)


def _with_strips(
    taught: Learned, question: Question, shop: VirtualShop, rng: np.random.Generator
) -> NormalMixture:
    """Return one bow's answer, given a strip test of each lot that it is made of."""
    levels = [(g, level) for g in (LOTS_OF_WOOD, LOTS_OF_GLASS) for level in question.columns.groups[g]]
    told = taught.told(question)
    laid, values = laid_with_cut((), told.cut)
    laid += [(f"strip of {level}", _strip(told.columns, group, level)) for group, level in levels]
    seen = seen_by(taught.belief, together([*laid, ("asked", told.columns)]))
    handbook_psi = {f"{name}, {lot}": handbook()[name].modulus_psi for name, lot in shop.truth.lots}
    true_psi = {f"{name}, {lot}": psi for (name, lot), psi in shop.truth.lots.items()}
    read = [np.log(true_psi[level] / handbook_psi[level]) + rng.normal(0, STRIP_SD) for _, level in levels]
    values = np.concatenate([values, read])
    own, wanted = seen.rows.part(slice(len(values))), seen.rows.part(slice(len(values), None))
    found = predict(taught.belief, wanted, own, values - seen.offset[: len(values)]).marginal()
    found = replace(found, means=found.means + seen.offset[len(values) :])
    return found.stretched(taught.calibration.wider())


def _strip(bow: Columns, group: str, level: str) -> Columns:
    """Return the columns of a strip's reading: the logarithm of its lot's modulus alone, over the handbook's."""
    stiffness = f"{STIFFNESS}{level.split(', ')[0]}"
    return Columns(
        offset=np.zeros(1),
        sizes_in=bow.sizes_in,
        common={stiffness: np.ones(1)},
        priors={stiffness: bow.priors[stiffness]},
        groups={group: {level: np.ones(1)}},
        build={name: np.zeros(1) for name in bow.build},
        tolerances=(),
        weighing=(Tolerance("strip", "strip", np.full(1, STRIP_SD)),),
        sd=np.zeros(1),
    )


def _unseen(tried: Trial, count: int, seed: int) -> Iterator[dict[str, Any]]:
    """Yield answers on builds of a wood, on a form, or of stacks that no build has had that taught."""
    wood, form = WOODS[seed % len(WOODS)], DESIGNS[seed % len(DESIGNS)].name
    stacks = [_stack_in(question) for question in tried.past.values()]
    thick = float(np.quantile(stacks, 0.6))
    kinds: dict[str, Callable[[Question], bool]] = {
        "wood never seen": lambda question: _has_wood(question, wood),
        "form never seen": lambda question: question.moment.form.startswith(f"{form}/"),
        "stack never seen": lambda question: _stack_in(question) > thick,
    }
    for study, held_back in kinds.items():
        builds = [name for name, question in tried.past.items() if not held_back(question)][-count:]
        asked = [question for question in tried.asked if held_back(question)]
        if asked:
            taught = learned(tried.weighings, builds)
            yield from _rows(study, len(builds), OURS, asked, taught, taught.answers(asked))


def _stack_in(question: Question) -> float:
    return question.columns.sizes_in["stack at mid-limb"]


def _has_wood(question: Question, wood: str) -> bool:
    return any(lam.material == wood for lam in question.bow.upper.lams)


def _with_slips(one: Ran, usual: dict[int, Learned]) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Return answers after learning from records with slips, and what was found of the slips."""
    tried = one.cut
    changed = set(one.slips) & set(tried.past)
    again = tuple(weighing for weighing in one.again if weighing.build in changed)
    weighings = _in_place_of(tried.weighings, again, changed)
    rows: list[dict[str, Any]] = []
    found: list[dict[str, Any]] = []
    for count, clean in usual.items():
        taught = learned(weighings, tried.latest(count))
        rows += _rows(SLIPS, count, OURS, tried.asked, taught, taught.answers(tried.asked))
        shift = _shifts_sd(tried.weighings, clean, again)
        found += [
            {
                "n": count,
                "slip": one.slips.get(name, ""),
                "shift_sd": shift.get(name, 0.0),
                "named": name in taught.doubtful,
            }
            for name in tried.latest(count)
        ]
    return rows, found


def _in_place_of(
    weighings: Sequence[Weighing], again: Sequence[Weighing], changed: set[str]
) -> tuple[Weighing, ...]:
    """Return the weighings with those of some builds changed, each build's at its place."""
    builds = dict.fromkeys(weighing.build for weighing in weighings)
    return tuple(
        weighing
        for name in builds
        for weighing in (again if name in changed else weighings)
        if weighing.build == name
    )


def _shifts_sd(weighings: Sequence[Weighing], clean: Learned, again: Sequence[Weighing]) -> dict[str, float]:
    """Return by how much slips shift each build's readings against the statics, the most of its readings.

    In predictive standard deviations, given the other builds of the records without slips.
    """
    if clean.fit is None:
        return {}
    sds = iter(clean.fit.leave_builds_out().sd)
    taught = [weighing for weighing in weighings if weighing.build in clean.builds]
    right = {w.weigh_in: (w, np.array([next(sds) for _ in w.log_weight])) for w in taught}
    shifts: dict[str, float] = {}
    for weighing in again:
        if weighing.weigh_in in right:
            before, sd = right[weighing.weigh_in]
            moved = (weighing.log_weight - weighing.columns.offset) - (
                before.log_weight - before.columns.offset
            )
            most = float(np.max(np.abs(moved) / sd))
            shifts[weighing.build] = max(most, shifts.get(weighing.build, 0.0))
    return shifts


def summary(rows: pd.DataFrame) -> pd.DataFrame:
    """Return one line for each study, number of builds, method and kind of lots that two shops or more have."""
    lines = []
    for lots, some in [("all", rows), *rows.groupby("lots")]:
        for (study, count, method), group in some.groupby(["study", "n", "method"]):
            if len(set(group.seed)) > 1:
                lines.append({"study": study, "n": count, "method": method, "lots": lots} | _line(group))
    return pd.DataFrame(lines)


def _line(group: pd.DataFrame) -> dict[str, Any]:
    seeds = group.seed.to_numpy()
    off, floor = group.off_lbf.abs().to_numpy(), group.floor_lbf.abs().to_numpy()

    def mean(name: str) -> Estimate:
        return clustered_mean(group[name].to_numpy(), seeds)

    return {
        "tests": len(group),
        "shops": len(set(seeds)),
        "error, lb": clustered_mean(off, seeds),
        "floor, lb": clustered_mean(floor, seeds),
        "over floor": clustered_ratio(off, floor, seeds),
        "CRPS, %": mean("crps"),
        **{
            f"{what} {level:.0%}": mean(f"{what} {level:.0%}")
            for what in ("inside", "width")
            for level in LEVELS
        },
    }


def finding(found: pd.DataFrame) -> pd.DataFrame:
    """Return how many builds with a slip are named, for each number of builds."""
    lines = []
    for count, group in found.groupby("n"):
        named, shifted = group[group.named], group[group.shift_sd > SHIFTED_SD]
        lines.append(
            {
                "n": count,
                "builds": len(group),
                "with a slip": int((group.slip != "").sum()),
                "shifted by over 4 sd": len(shifted),
                "recall of these": clustered_mean(shifted.named.to_numpy(float), shifted.seed.to_numpy()),
                "named": len(named),
                "precision": clustered_mean(
                    np.asarray(named.slip != "", dtype=np.float64), named.seed.to_numpy()
                ),
            }
        )
    return pd.DataFrame(lines)


def kinds(found: pd.DataFrame) -> pd.DataFrame:
    """Return how many slips of each kind are named, of those that shift by more or by less."""
    lines = []
    for kind, group in found[found.slip != ""].groupby("slip"):
        far = group[group.shift_sd > SHIFTED_SD]
        lines.append(
            {
                "slip": kind,
                "builds": len(group),
                "named": int(group.named.sum()),
                "shifted by over 4 sd": len(far),
                "of these named": int(far.named.sum()),
            }
        )
    return pd.DataFrame(lines)


def _shown(frame: pd.DataFrame) -> str:
    """Return a table in Markdown; figures with their standard errors."""

    def text(value: object) -> str:
        return f"{value.value:.3f} ± {value.error:.3f}" if isinstance(value, Estimate) else str(value)

    lines = [
        list(frame.columns),
        ["---"] * len(frame.columns),
        *([text(v) for v in row] for row in frame.to_numpy()),
    ]
    return "\n".join("| " + " | ".join(line) + " |" for line in lines)


def _plain(frame: pd.DataFrame) -> list[dict[str, Any]]:
    records = frame.to_dict("records")
    return [
        {str(name): asdict(value) if isinstance(value, Estimate) else value for name, value in record.items()}
        for record in records
    ]


def main() -> None:
    """Run the campaign."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument(
        "--shops", type=int, nargs=2, default=(FEW.shops, MANY.shops), help="with few and with many builds"
    )
    parser.add_argument("--first-seed", type=int, default=FIRST_SEED, help="of the first shop")
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--to", type=Path, default=HERE / "learning", help="where results go, without suffix")
    given = parser.parse_args()
    start, seed, rows, found, seeds = perf_counter(), given.first_seed, [], [], {}
    with ProcessPoolExecutor(given.processes) as pool:
        for (name, plan), shops in zip(PLANS.items(), given.shops, strict=True):
            seeds[name] = [seed, seed + shops - 1]
            every = range(seed, seed + shops)
            groups = [every[start : start + SHOPS_AT_ONCE] for start in range(0, shops, SHOPS_AT_ONCE)]
            done = pool.map(partial(run_shops, plan), groups)
            for more, also in track(done, name, total=len(groups)):
                rows += more
                found += also
            seed += shops
    table, slips, of_kinds = (
        summary(pd.DataFrame(rows)),
        finding(pd.DataFrame(found)),
        kinds(pd.DataFrame(found)),
    )
    took = round(perf_counter() - start)
    told = f"Seeds, both ends counted: {seeds}; {took} s."
    text = f"{told}\n\n{_shown(table)}\n\n{_shown(slips)}\n\n{_shown(of_kinds)}\n"
    given.to.with_suffix(".md").write_text(text, encoding="utf-8")
    result = {"seeds": seeds, "seconds": took}
    result |= {"answers": _plain(table), "slips": _plain(slips), "kinds of slips": _plain(of_kinds)}
    given.to.with_suffix(".json").write_text(json.dumps(result, indent=1), encoding="utf-8")
    print(text)  # noqa: T201 - a command's output


if __name__ == "__main__":
    main()
