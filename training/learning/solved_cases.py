"""The features of many cases, solved by as many processes as there are processors."""

import os
from collections.abc import Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from multiprocessing import get_context, parent_process

from datasets.materials import Material
from predictor.bows.bow import Refusal
from predictor.bows.features import CASES_AT_ONCE, Case, Features, batches, features

WORTH_A_PROCESS = CASES_AT_ONCE
"""Cases from which a process of their own saves more time than its start takes."""


def solved_cases(cases: Sequence[Case], materials: Mapping[str, Material]) -> list[Features | Refusal]:
    """Return the features of each case, as `features` does; many cases are shared out to processes.

    A process that was itself started to share work solves its cases alone: its fellows keep the processors busy.
    """
    processors = 1 if parent_process() else os.cpu_count() or 1
    workers = min(processors, len(cases) // WORTH_A_PROCESS)
    if workers < 2:
        return features(cases, materials)
    parts = list(batches(cases))
    # Started afresh, not forked: a fork would copy the threads' locks of whatever the caller has loaded.
    with ProcessPoolExecutor(workers, mp_context=get_context("spawn")) as processes:
        work = ([cases[place] for place in places] for places in parts)
        solved = processes.map(partial(features, materials=dict(materials)), work)
        found = {
            place: one for part in zip(parts, solved, strict=True) for place, one in zip(*part, strict=True)
        }
    return [found[place] for place in range(len(cases))]
