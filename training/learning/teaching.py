"""What each build taught a fit, as a model keeps it so that the build can be taken out again."""

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from datasets.contents import Contents
from datasets.history import events_until
from datasets.schema import WeighIn
from predictor.belief.model import Taught
from predictor.belief.weighings import fingerprint
from training.engine.hierarchy import Fit
from training.learning.evidence import Evidence

Array = NDArray[np.float64]


def taught(contents: Contents, found: Evidence, fitted: Fit) -> tuple[Taught, ...]:
    """Return the part of each build in a fit, in the order of the fit's builds."""
    weigh_ins: dict[str, list[str]] = {build: [] for build in found.builds}
    for weighing in found.weighings:
        weigh_ins[weighing.build].append(weighing.weigh_in)
    added = dict(_doubts(fitted))
    return tuple(
        Taught(
            build=build,
            fingerprint=_fingerprint(contents, build, ids[-1]),
            weigh_ins=tuple(ids),
            doubts=tuple(added[number].tolist()),
        )
        for number, (build, ids) in enumerate(weigh_ins.items())
    )


def _fingerprint(contents: Contents, name: str, last: str) -> str:
    build, weigh_in = contents.builds[name], contents.event(last)
    form = contents.form_of(build)
    if form is None or not isinstance(weigh_in, WeighIn):
        raise ValueError(
            f"wanted the form and the weigh-ins of {name} in the book, got none; train on its book"
        )
    return fingerprint(form, build, events_until(contents.events[name], weigh_in), contents.materials)


def _doubts(fitted: Fit) -> Iterator[tuple[int, Array]]:
    """Yield each build's number with the lower triangle of what mistakes added to its covariance."""
    for block, added in zip(fitted.problem.blocks, fitted.doubts, strict=True):
        rows, columns = np.tril_indices(added.shape[1])
        for number, mine in zip(block.builds.tolist(), added, strict=True):
            yield number, mine[rows, columns]
