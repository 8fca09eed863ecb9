"""How well the settled weight, the loss by shooting in and the gains of removals are foretold, over invented shops.

    python -m tests.benchmarks.bench_settling                # all of it
    python -m tests.benchmarks.bench_settling --shops 8      # fewer shops

Each shop learns from the same builds with the settled weighings of none, five or thirty of them. Of its next bows it
foretells what they weigh after 500 shots, by a perfect scale in the usual air, from none, one or two of their own
weighings before they are finished. Prints tables and writes settling.json and settling.md beside this file. Every shop
has its own seed, from 545100 on by default: seeds that nobody developed with. Standard errors are over shops.
"""

import argparse
import json
import os
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, dataclass, replace
from functools import partial
from pathlib import Path
from time import perf_counter
from typing import Any

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy: one thread for each of the processes

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from rich.progress import track

from datasets.contents import Contents
from datasets.history import bow_at
from datasets.record import DrawLength, ZeroPoint
from datasets.removals import gain_of
from datasets.schema import Event, Stage, WeighIn
from predictor.belief.columns import Columns, Moment, columns
from predictor.belief.foresight import foretell, standing
from predictor.belief.model import Model
from predictor.belief.scatter import PRIOR_SCATTER
from predictor.belief.settling import FULL_SETTLING_SHOTS, LawBasis, LawKind
from predictor.belief.shot_in import left_after
from predictor.belief.weighings import Weighed, Weighing, draws_from_back, moment_at, weighed
from predictor.bows.bow import Refusal
from predictor.bows.features import Features, features
from training.checking.evaluate import only
from training.checking.oracle import knowing_the_shop
from training.checking.questions import Question, at_draw
from training.checking.scores import Estimate, clustered_mean, clustered_ratio
from training.learning.train import train
from training.workshop.shop_truth import Scatter, ShopTruth
from training.workshop.virtual_shop import simulate

Array = NDArray[np.float64]

HERE = Path(__file__).parent
FIRST_SEED = 545_100
LEVEL = 0.9
DRAW = DrawLength(inch=28.0, zero=ZeroPoint.STANDARD)


@dataclass(frozen=True)
class Plan:
    """A shop's size.

    Attributes:
        past: builds to learn from, enough for the most histories.
        tests: bows asked for.
        histories: numbers of bows whose settled weighings are in the book.
        own: numbers of a bow's own weighings.
    """

    past: int = 100
    tests: int = 24
    histories: tuple[int, ...] = (0, 5, 30)
    own: tuple[int, ...] = (0, 1, 2)


@dataclass(frozen=True)
class Asked:
    """A bow that is asked for.

    Attributes:
        build: id.
        mine: its weighings before it was finished, each with its features.
        wanted: features of the finished bow at the draw asked for.
        moment: after 500 shots.
        question: the same as the oracle takes it.
        weighed: its last weighing before it was finished, as the oracle takes it.
        log_truth: logarithm of its true weight after 500 shots.
        loss: share of its weight that it loses by 500 shots.
    """

    build: str
    mine: tuple[tuple[Weighed, Features], ...]
    wanted: Features
    moment: Moment
    question: Question
    weighed: Question
    log_truth: float
    loss: float


def run_shop(plan: Plan, seed: int) -> dict[str, list[dict[str, Any]]]:
    """Return rows of one shop: settled weights, losses by shooting in, gains, and the law chosen."""
    shop = simulate(seed, plan.past + plan.tests)
    contents = Contents.of(shop.records)
    past = only(contents, list(contents.builds)[: plan.past])
    asked = list(_asked(contents, shop.truth, list(contents.builds)[plan.past :]))
    oracle = _oracle(shop.truth, asked) if asked else np.zeros(0)
    rows: dict[str, list[dict[str, Any]]] = {"settled": [], "loss": [], "gain": [], "law": []}
    for count in plan.histories:
        book, kept = _with_histories(past, count)
        model = train(book, "0" * 64, 0).model
        told = {"seed": seed, "histories": kept, "wanted": count}
        rows["settled"] += [told | row for row in _settled(model, contents, asked, oracle, plan.own)]
        rows["loss"] += [told | row for row in _losses(model, asked)]
        rows["gain"] += [told | row for row in _gains(model, shop.truth)]
        power = model.habits.settling.kind is LawKind.POWER
        rows["law"].append(
            told
            | {
                "right": float(power == bool(shop.truth.settling_power)),
                "chosen": float(model.habits.settling.basis is LawBasis.HELD_OUT),
            }
        )
    return rows


def _with_histories(contents: Contents, count: int) -> tuple[Contents, int]:
    """Return a book with the settled weighings of its last bows alone, and how many bows these are."""
    came_back = [name for name, events in contents.events.items() if any(map(_is_settled, events))]
    kept = came_back[len(came_back) - count :] if count else []
    events = {
        name: tuple(event for event in history if name in kept or not _is_settled(event))
        for name, history in contents.events.items()
    }
    return replace(contents, events=events), len(kept)


def _is_settled(event: Event) -> bool:
    return isinstance(event, WeighIn) and event.stage is Stage.SETTLED


def _asked(contents: Contents, truth: ShopTruth, names: Sequence[str]) -> Iterator[Asked]:
    """Yield the bows that were weighed twice or more before they were finished."""
    for name in names:
        build, events = contents.builds[name], contents.events[name]
        form = contents.forms[build.form, build.form_revision]
        every = list(weighed(form, build, events))
        finished = next((one for one in every if one.moment.stage is Stage.FINISHED), None)
        mine = [one for one in every if one.moment.stage in (Stage.FIRST_DRAW, Stage.TILLERED)]
        if finished is None or len(mine) < 2:
            continue
        case = replace(finished.case, draws_in=draws_from_back(form, [DRAW]))
        found = features([*(one.case for one in mine), case], contents.materials)
        solved = [one for one in found if not isinstance(one, Refusal)]
        if len(solved) == len(found):
            yield _as_asked(contents, truth, finished, list(zip(mine, solved, strict=False)), solved[-1])


def _as_asked(
    contents: Contents,
    truth: ShopTruth,
    finished: Weighed,
    mine: list[tuple[Weighed, Features]],
    wanted: Features,
) -> Asked:
    build, bow = finished.build, truth.bows[finished.build.id]
    moment = moment_at(finished.form, build, [DRAW], Stage.SETTLED, FULL_SETTLING_SHOTS)
    told = columns(wanted, moment, contents.materials, PRIOR_SCATTER)
    last, seen = mine[-1]
    true = next(one for one in bow.weighed if one.stage is Stage.FINISHED)
    lost = bow.settling_at_500 * (1 - truth.settled(true.shots))
    return Asked(
        build=build.id,
        mine=tuple(mine),
        wanted=wanted,
        moment=moment,
        question=Question(build.id, moment, bow_at(finished.form, build, finished.case.events), told, 0.0),
        weighed=_as_question(last.explained(seen, contents.materials), last),
        log_truth=float(np.log(true.lbf_at_28)) - lost,
        loss=float(-np.expm1(-bow.settling_at_500)),
    )


def _as_question(weighing: Weighing, one: Weighed) -> Question:
    """Return a weighing's reading nearest to 28 in as a question."""
    place = int(np.argmin(np.abs(np.array(one.moment.draws_in) - 28.0)))
    moment = replace(one.moment, draws_in=one.moment.draws_in[place : place + 1])
    bow = bow_at(one.form, one.build, one.case.events)
    return Question(
        weighing.build, moment, bow, at_draw(weighing.columns, place), float(weighing.log_weight[place])
    )


def _oracle(truth: ShopTruth, asked: Sequence[Asked]) -> Array:
    """Return what who knows the shop expects after a bow's last weighing, logarithms, shape (asked,).

    It knows the lots' moduli, forms, gains, scales and mean losses, and of the bow its record and one reading; how
    far it follows that reading is the share of the bow's own scatter in what the reading is off by.
    """
    wanted, weighed_ = ([getattr(one, name) for one in asked] for name in ("question", "weighed"))
    expected, read = (
        knowing_the_shop(truth, Scatter(), questions) + [_gained(truth, q.columns) for q in questions]
        for questions in (wanted, weighed_)
    )
    own = np.array([_of_bow(q.columns) for q in weighed_])
    reading = np.array([float(q.columns.sd[0]) ** 2 + _of_day(q.columns) for q in weighed_])
    off = np.array([q.log_weight for q in weighed_]) - read
    return np.asarray(expected + own / (own + reading) * off)


def _gained(truth: ShopTruth, told: Columns) -> float:
    gains = {gain_of(method): share - 1 for method, share in truth.method_gain.items()}
    return sum(share * float(told.common[name][0]) for name, share in gains.items() if name in told.common)


def _of_bow(told: Columns) -> float:
    """Return the variance of what is a bow's own before it is weighed: its dimensions, its lams, its shape."""
    return Scatter().bow ** 2 + sum(float(one.column[0]) ** 2 for one in told.tolerances)


def _of_day(told: Columns) -> float:
    return sum(float(one.column[0]) ** 2 for one in told.weighing)


def _settled(
    model: Model, contents: Contents, asked: Sequence[Asked], oracle: Array, own: Sequence[int]
) -> Iterator[dict[str, Any]]:
    for one, knowing in zip(asked, oracle.tolist(), strict=True):
        mine = [weighing for weighing, _ in one.mine]
        stand = standing(mine, [found for _, found in one.mine], contents.materials, model)
        wanted = columns(one.wanted, one.moment, contents.materials, PRIOR_SCATTER, model.habits)
        for count in own:
            counted = [w.weigh_in for w in stand.weighings][len(stand.weighings) - count :] if count else []
            told = foretell(stand, [(wanted, True)], counted)
            low, middle, high = (float(told.weights_lbf(p)[0]) for p in (0.05, 0.5, 0.95))
            true = float(np.exp(one.log_truth))
            yield {
                "own": count,
                "inside": float(low <= true <= high),
                "width": high - low,
                "off": abs(middle - true),
                "oracle": abs(float(np.exp(knowing)) - true),
            }


def _losses(model: Model, asked: Sequence[Asked]) -> Iterator[dict[str, Any]]:
    """Yield how the loss by 500 shots of bows never weighed again compares with its interval."""
    left = left_after(model.belief(), model.habits.settling, FULL_SETTLING_SHOTS, LEVEL)
    for build in asked:
        kept = 1 - build.loss
        yield {
            "inside": float(left.low <= kept <= left.high),
            "width": 100 * (left.high - left.low),
            "off": 100 * abs(left.middle - kept),
        }


def _gains(model: Model, truth: ShopTruth) -> Iterator[dict[str, Any]]:
    """Yield how each method's true gain compares with its interval."""
    belief = model.belief()
    for method, share in truth.method_gain.items():
        name = gain_of(method)
        if name in belief.effects:
            effect = belief.effect(name)
            low, middle, high = (float(effect.quantile(p)[0]) for p in (0.05, 0.5, 0.95))
            yield {
                "method": method.value,
                "removals": model.habits.weighed_removals.get(name, 0),
                "inside": float(low <= share - 1 <= high),
                "width": high - low,
                "off": abs(middle - (share - 1)),
                "untold": abs(share - 1),
            }


def tables(rows: dict[str, pd.DataFrame]) -> dict[str, pd.DataFrame]:
    """Return the figures of each part: means over all rows with standard errors over shops."""
    return {
        "weight after 500 shots": pd.DataFrame(
            [
                {"histories": wanted, "own weighings": own, "bows": len(some)}
                | _means(some, ("inside", "width", "off", "oracle"))
                | {"off / oracle": clustered_ratio(*_pair(some, "off", "oracle"))}
                for (wanted, own), some in rows["settled"].groupby(["wanted", "own"])
            ]
        ),
        "width over that without own weighings": pd.DataFrame(_width_ratios(rows["settled"])),
        "loss by 500 shots, per cent": pd.DataFrame(
            [
                {"histories": wanted, "bows": len(some)} | _means(some, ("inside", "width", "off"))
                for wanted, some in rows["loss"].groupby("wanted")
            ]
        ),
        "gain of a method": pd.DataFrame(
            [
                {"removals": removals, "gains": len(some)}
                | _means(some, ("inside", "width", "off", "untold"))
                for removals, some in _with_most_histories(rows["gain"]).groupby("removals", observed=True)
            ]
        ),
        "law": pd.DataFrame(
            [
                {"histories": wanted, "shops": len(some)} | _means(some, ("right", "chosen"))
                for wanted, some in rows["law"].groupby("wanted")
            ]
        ),
    }


def _with_most_histories(gains: pd.DataFrame) -> pd.DataFrame:
    """Return the gains learned from the fullest books, by how many removals were weighed before and after."""
    fullest = gains[gains.wanted == gains.wanted.max()]
    bins = pd.cut(fullest.removals, [-1, 4, 14, np.inf], labels=["0 to 4", "5 to 14", "15 or more"])
    return fullest.assign(removals=bins)


def _pair(some: pd.DataFrame, above: str, below: str) -> tuple[Array, Array, NDArray[np.generic]]:
    return some[above].to_numpy(), some[below].to_numpy(), some.seed.to_numpy()


def _means(some: pd.DataFrame, names: Sequence[str]) -> dict[str, Any]:
    return {name: clustered_mean(some[name].to_numpy(), some.seed.to_numpy()) for name in names}


def _width_ratios(settled: pd.DataFrame) -> Iterator[dict[str, Any]]:
    for wanted, some in settled.groupby("wanted"):
        none = some[some.own == 0]
        for own in sorted(set(some.own) - {0}):
            with_own = some[some.own == own].assign(none=none.width.to_numpy())
            yield {
                "histories": wanted,
                "own weighings": own,
                "ratio": clustered_ratio(*_pair(with_own, "width", "none")),
            }


def _shown(frame: pd.DataFrame) -> str:
    """Return a table in Markdown; figures with their standard errors."""
    rows = [list(frame.columns), ["---"] * len(frame.columns), *frame.map(_text).to_numpy().tolist()]
    return "\n".join("| " + " | ".join(row) + " |" for row in rows)


def _text(value: object) -> str:
    return f"{value.value:.3f} ± {value.error:.3f}" if isinstance(value, Estimate) else str(value)


def main() -> None:
    """Run the campaign."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--shops", type=int, default=40)
    parser.add_argument("--first-seed", type=int, default=FIRST_SEED, help="of the first shop")
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--to", type=Path, default=HERE / "settling", help="where results go, without suffix")
    given = parser.parse_args()
    start, seeds = perf_counter(), range(given.first_seed, given.first_seed + given.shops)
    rows: dict[str, list[dict[str, Any]]] = {}
    with ProcessPoolExecutor(given.processes) as pool:
        for found in track(pool.map(partial(run_shop, Plan()), seeds), "shops", total=given.shops):
            for name, more in found.items():
                rows.setdefault(name, []).extend(more)
    told = tables({name: pd.DataFrame(some) for name, some in rows.items()})
    took = round(perf_counter() - start)
    head = f"Seeds {seeds[0]} to {seeds[-1]}; {asdict(Plan())}; {took} s."
    text = "\n\n".join([head, *(f"**{name}**\n\n{_shown(frame)}" for name, frame in told.items())]) + "\n"
    given.to.with_suffix(".md").write_text(text, encoding="utf-8")
    plain = {"seeds": [seeds[0], seeds[-1]], "seconds": took}
    plain |= {name: json.loads(frame.to_json(orient="records")) for name, frame in told.items()}
    given.to.with_suffix(".json").write_text(json.dumps(plain, indent=1), encoding="utf-8")
    print(text)  # noqa: T201 - a command's output


if __name__ == "__main__":
    main()
