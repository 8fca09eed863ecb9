"""How long training takes and how much memory it needs, as the book grows.

    python -m tests.benchmarks.bench_training_time 300 1000 3000

An invented shop of 300 builds is solved by the statics and trained on. Larger books are made of copies of its solved
weighings, each copy with errors of its own. Lots grow with the builds: one delivery in 25 builds, of one material after
the other, or with `--each` one of each material in 25 builds, some six times as many. Times are of the
processor, so that other work on the machine counts little. statsmodels' mixed model and scikit-learn's Gaussian process
are timed on the main reading of each build.
"""

import argparse
import os
import resource
import warnings
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from time import process_time

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy: times of the processor are of one thread

import numpy as np
import statsmodels.api as sm  # type: ignore[import-untyped]  # ships no types
from rich.console import Console

from datasets.contents import Contents
from predictor.belief.own_history import Slips
from predictor.belief.scatter import LOTS_OF_GLASS, LOTS_OF_WOOD
from predictor.belief.weighings import Weighing
from training.checking.questions import cut_to_weight, questions
from training.checking.rivals import Table, dimensions_process, table
from training.engine.hierarchy import fit
from training.learning.cuts import usual_cut, with_cuts
from training.learning.evidence import evidence, readings
from training.workshop.virtual_shop import simulate

SEED, SOLVED, DELIVERY_EVERY = 7, 300, 25
MOST_FOR_A_PROCESS = 1000
"""Builds beyond which a Gaussian process is not tried: its time grows as their cube."""


def copies(weighings: Sequence[Weighing], builds: int, *, each: bool) -> list[Weighing]:
    """Return weighings of so many builds, those of one build together."""
    rng = np.random.default_rng(SEED)
    names = list(dict.fromkeys(weighing.build for weighing in weighings))
    by_build = {name: [w for w in weighings if w.build == name] for name in names}
    shelves = sorted({_material(level) for w in weighings for _, level in _lots(w)})
    made = []
    for number in range(builds):
        name, delivery, error = names[number % len(names)], number // DELIVERY_EVERY, rng.normal(0, 0.02)
        lots = {
            material: delivery if each else (delivery - place) // len(shelves)
            for place, material in enumerate(shelves)
        }
        made += [_copy(weighing, number // len(names), lots, error) for weighing in by_build[name]]
    return made


def _lots(weighing: Weighing) -> list[tuple[str, str]]:
    groups = (LOTS_OF_WOOD, LOTS_OF_GLASS)
    return [(group, level) for group in groups for level in weighing.columns.groups[group]]


def _material(level: str) -> str:
    return level.split(", ")[0]


def _copy(weighing: Weighing, copy: int, lots: Mapping[str, int], error: float) -> Weighing:
    groups = {group: dict(levels) for group, levels in weighing.columns.groups.items()}
    for group, level in _lots(weighing):
        material = _material(level)
        groups[group][f"{material}, lot {lots[material]}"] = groups[group].pop(level)
    return replace(
        weighing,
        build=f"{weighing.build}, copy {copy}",
        columns=replace(weighing.columns, groups=groups),
        log_weight=weighing.log_weight + error,
    )


def timed(work: Callable[..., object], *given: object) -> float:
    """Return the processor's seconds that some work takes."""
    start = process_time()
    work(*given)
    return process_time() - start


def train_on(weighings: Sequence[Weighing], each: bool, builds: int) -> str:
    """Return a line of the table: training on so many builds, their statics solved."""
    mine = copies(weighings, builds, each=each)
    laid_out = readings(with_cuts(mine, usual_cut(mine)))
    before = _peak_mib()
    seconds = timed(fit, laid_out, Slips())
    lots = sum(len(group.levels) for group in laid_out.groups)
    return (
        f"{builds} builds, {laid_out.weighed} readings, {lots} levels: fit {seconds:.1f} s, "
        f"peak {_peak_mib():.0f} MiB (before the fit {before:.0f})"
    )


def _peak_mib() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def mixed_model(known: Table) -> None:
    """Fit a mixed model of the log ratio to the statics, with forms and woods as random effects."""
    ratio = 100 * (known.log_weight - known.log_physics)
    with warnings.catch_warnings():
        warnings.simplefilter(
            "ignore"
        )  # its boundary warning says nothing here; the time is what is asked for
        model = sm.MixedLM(ratio, np.ones((len(ratio), 1)), groups=np.char.add(known.forms, known.woods))
        model.fit()


def main() -> None:
    """Print the times."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("builds", type=int, nargs="+")
    parser.add_argument("--each", action="store_true", help="a new lot of each material in 25 builds")
    given = parser.parse_args()
    console = Console(highlight=False)
    contents = Contents.of(simulate(SEED, SOLVED).records)
    start = process_time()
    weighings = evidence(contents).weighings
    count = sum(len(weighing.log_weight) for weighing in weighings)
    console.print(f"statics of {SOLVED} builds, {count} readings: {process_time() - start:.1f} s")
    for builds in given.builds:
        with ProcessPoolExecutor(1) as alone:
            console.print(alone.submit(train_on, weighings, given.each, builds).result())
    mains = table(questions(contents, weighings, cut_to_weight))
    for builds in given.builds:
        known = mains.rows(np.arange(builds) % len(mains))
        console.print(f"statsmodels MixedLM, {builds} builds: {timed(mixed_model, known):.1f} s")
        if builds <= MOST_FOR_A_PROCESS:
            took = timed(dimensions_process, known, known.rows(np.arange(5)))
            console.print(f"scikit-learn Gaussian process, {builds} builds: {took:.1f} s")


if __name__ == "__main__":
    main()
