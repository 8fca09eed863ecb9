"""What records of removals say: how exactly plans are carried out, and how many were weighed before and after."""

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import sqrt

import numpy as np

from datasets.contents import Contents
from datasets.ledger import Ledger
from datasets.removals import KIND_OF_AMOUNT, AmountKind, cuts_of, gain_of
from datasets.schema import Event, Method, Removal
from predictor.belief.carrying_out import WORTH_REMOVALS, Carried, CarryingOut

ENOUGH_REMOVALS = 5
"""From so many removals on a builder is told apart from anybody."""

ROUNDS = 200
"""Of the search for the scatter apart from misreadings, which settles to a thousandth in some tens."""


@dataclass(frozen=True)
class Share:
    """What one removal came out at.

    Attributes:
        beyond: done over planned, less one; -1 where nothing came off.
        misread: standard deviation by the error of measuring afterwards.
    """

    beyond: float
    misread: float


def carrying_out(contents: Contents) -> CarryingOut:
    """Return how the builders of a shop carry out what they plan.

    A builder with enough removals of their own is believed to be like the others, these counting as ten removals. Each
    kind of amount is learned by itself, the error of measuring afterwards taken off the scatter. A plan that came to
    nothing counts.

    Args:
        contents: of the book; builds that may not teach are left out.
    """
    of_kind: dict[AmountKind, dict[str, list[Share]]] = defaultdict(lambda: defaultdict(list))
    for build in contents.builds.values():
        if build.teaches:
            for method, share in _shares(contents.events.get(build.id, ())):
                of_kind[KIND_OF_AMOUNT[method]][build.builder or ""].append(share)
    by_builder = of_kind.pop(AmountKind.WIDTH, {})
    enough = [name for name, shares in by_builder.items() if name and len(shares) >= ENOUGH_REMOVALS]
    return CarryingOut(
        anybody=updated(Carried(), _of_all(by_builder)),
        builders={name: updated(_others(by_builder, name), by_builder[name]) for name in enough},
        others={kind: updated(Carried(), _of_all(shares)) for kind, shares in of_kind.items()},
    )


def _shares(events: Sequence[Event]) -> Iterator[tuple[Method, Share]]:
    """Yield what each removal of a build came out at that was measured at places for which it was planned."""
    for event in events:
        if isinstance(event, Removal):
            share = share_of(event)
            if share is not None:
                yield event.method, share


def share_of(removal: Removal) -> Share | None:
    """Return done over planned at the places noted both ways; nothing if there are none.

    A loss of weight goes with the share itself. The mean of its logarithm is lower by half its variance, which the
    gains of removals that were not measured afterwards would have to make up for. A corner's share is that of its
    radius, which is what a geometry of planned cuts takes. All places of one removal are taken as misread alike, as
    its geometry takes them.
    """
    done = {cut.at: cut.amount_in.inch for cut in removal.done}
    both = [(cut.amount_in.inch, done[cut.at]) for cut in removal.planned if cut.at in done]
    planned, came_off = np.array(both).reshape(-1, 2).T
    whole = float(np.sum(planned))
    if whole <= 0:
        return None
    ledger = Ledger(planned=False)
    cuts_of(removal, "done", 1.0, ledger)
    return Share(
        beyond=float(np.sum(came_off)) / whole - 1, misread=ledger.inputs["done"].sd * len(both) / whole
    )


def updated(before: Carried, shares: Sequence[Share]) -> Carried:
    """Return a belief after more removals, the one before counting as much as ten.

    Args:
        before: the belief.
        shares: of the removals.

    Source: the normal model with unknown mean and variance and their conjugate prior (Gelman et al., Bayesian Data
    Analysis, section 3.3, from memory); `sd` and `mean_sd` are at the updated scale. What was truly done is filled in
    from what was read, by expectation and maximisation (Dempster, Laird and Rubin 1977, from memory).
    """
    if not shares:
        return before
    read, misread = np.array([(share.beyond, share.misread) for share in shares]).T
    worth = WORTH_REMOVALS + len(read)
    mean, sd = before.mean, before.sd
    for _ in range(ROUNDS):
        trust = sd**2 / (sd**2 + misread**2)
        true, open_variance = mean + trust * (read - mean), trust * misread**2
        middle = float(np.mean(true))
        squares = WORTH_REMOVALS * before.sd**2 + float(np.sum((true - middle) ** 2 + open_variance))
        squares += WORTH_REMOVALS * len(read) / worth * (middle - before.mean) ** 2
        mean = (WORTH_REMOVALS * before.mean + len(read) * middle) / worth
        sd = sqrt(squares / worth)
    told = WORTH_REMOVALS / sd**2 + float(np.sum(1 / (sd**2 + misread**2)))
    return Carried(mean=mean, mean_sd=1 / sqrt(told), sd=sd, removals=len(read))


def _of_all(by_builder: Mapping[str, Sequence[Share]]) -> list[Share]:
    return [share for shares in by_builder.values() for share in shares]


def _others(by_builder: Mapping[str, Sequence[Share]], name: str) -> Carried:
    others = {other: shares for other, shares in by_builder.items() if other != name}
    return updated(Carried(), _of_all(others))


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
