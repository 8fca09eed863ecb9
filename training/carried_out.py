"""What records of removals say: how exactly plans are carried out, and how many were weighed before and after."""

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Sequence
from math import sqrt

import numpy as np

from datasets.contents import Contents
from datasets.removals import gain_of
from datasets.schema import Method, Removal
from predictor.carrying_out import WORTH_REMOVALS, Carried, CarryingOut

ENOUGH_REMOVALS = 5
"""From so many removals on a builder is told apart from anybody."""


def carrying_out(contents: Contents) -> CarryingOut:
    """Return how the builders of a shop carry out what they plan.

    A builder with enough removals of their own is believed to be like the others, these counting as ten removals. The
    error of measuring afterwards is part of the scatter.

    Args:
        contents: of the book; builds that may not teach are left out.
    """
    by_builder: dict[str, list[float]] = defaultdict(list)
    for build in contents.builds.values():
        if build.teaches:
            events = contents.events.get(build.id, ())
            shares = [share_beyond(event) for event in events if isinstance(event, Removal)]
            by_builder[build.builder or ""] += [share for share in shares if share is not None]
    enough = [name for name, shares in by_builder.items() if name and len(shares) >= ENOUGH_REMOVALS]
    return CarryingOut(
        anybody=updated(Carried(), [share for shares in by_builder.values() for share in shares]),
        builders={name: updated(_others(by_builder, name), by_builder[name]) for name in enough},
    )


def share_beyond(removal: Removal) -> float | None:
    """Return done over planned, less one, of what came off at the places noted both ways; nothing if there are none.

    A loss of weight goes with the share itself. The mean of its logarithm is lower by half its variance, which the
    gains of removals that were not measured afterwards would have to make up for.
    """
    done = {cut.at: cut.amount_in.inch for cut in removal.done}
    both = [(cut.amount_in.inch, done[cut.at]) for cut in removal.planned if cut.at in done]
    planned_in, done_in = (sum(amounts) for amounts in zip(*both, strict=True)) if both else (0.0, 0.0)
    return done_in / planned_in - 1 if planned_in > 0 and done_in > 0 else None


def updated(before: Carried, shares: Sequence[float]) -> Carried:
    """Return a belief after more removals, the one before counting as much as ten.

    Args:
        before: the belief.
        shares: done over planned, less one.

    Source: the normal model with unknown mean and variance and their conjugate prior (Gelman et al., Bayesian Data
    Analysis, section 3.3, from memory); `sd` and `mean_sd` are at the updated scale.
    """
    n = len(shares)
    if n == 0:
        return before
    worth = WORTH_REMOVALS + n
    mean = float(np.mean(shares))
    squares = WORTH_REMOVALS * before.sd**2 + n * float(np.var(shares))
    squares += WORTH_REMOVALS * n / worth * (mean - before.mean) ** 2
    sd = sqrt(squares / worth)
    return Carried(
        mean=(WORTH_REMOVALS * before.mean + n * mean) / worth,
        mean_sd=sd / sqrt(worth),
        sd=sd,
        removals=n,
    )


def _others(by_builder: dict[str, list[float]], name: str) -> Carried:
    others = [share for other, shares in by_builder.items() if other != name for share in shares]
    return updated(Carried(), others)


def weighed_removals(contents: Contents, weigh_ins: Iterable[str]) -> dict[str, int]:
    """Return how many removals of each method have a weighing before and after them, by the name of the gain.

    Args:
        contents: of the book.
        weigh_ins: ids of those that teach.
    """
    return dict(Counter(gain_of(method) for method in _between(contents, frozenset(weigh_ins))))


def _between(contents: Contents, weigh_ins: frozenset[str]) -> Iterator[Method]:
    for events in contents.events.values():
        at = [place for place, event in enumerate(events) if event.id in weigh_ins]
        for place, event in enumerate(events):
            if (
                isinstance(event, Removal)
                and event.method is not Method.SHORTEN
                and at
                and at[0] < place < at[-1]
            ):
                yield event.method
