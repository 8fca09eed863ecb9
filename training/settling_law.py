"""Which law of settling the shop's own bows speak for: each bow's loss told from the other bows'.

Only weighings from finished on count, and each bow's own level is left free: what is asked is how its weighings differ
from one another, whatever the bow weighs. The statics take brace and string into account, so a change of these is no
settling.
"""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from datasets.schema import Stage
from predictor.columns import COMMON_PRIORS, Columns
from predictor.scatter import BOW, SCALE_LOG_SD, SCALE_MEDIANS, SHOOTING_IN
from predictor.settling import DEFAULT_LAW, LawBasis, LawKind, SettlingLaw, settling
from predictor.weighings import Weighing
from training.evidence import readings
from training.hierarchy import fit
from training.leave_out import log_densities
from training.readings import BuildColumn, Readings
from training.scale_priors import LogNormal
from training.suspicion import GrossErrors

Array = NDArray[np.float64]

FEWEST_HISTORIES = 8
"""Bows weighed again after shooting, below which the default law stands."""

ANY_LEVEL_SD = 0.2
"""A bow's own level is left free to this log standard deviation, far wider than any bow strays."""

TIED = 1.0
"""A law replaces the default only where it made the held-out bows' weighings e times as likely, or more."""

MISTAKEN = 0.5
"""Probability of a mistake from which a history is left aside."""

LAWS = (
    DEFAULT_LAW,
    *(SettlingLaw(parameter=shots) for shots in (3.0, 30.0, 100.0)),
    *(SettlingLaw(kind=LawKind.POWER, parameter=power) for power in (0.25, 0.5, 0.75, 1.0)),
)
"""The laws that are tried, the default first."""


@dataclass(frozen=True)
class Tried:
    """A law with the log predictive density of each held-out bow's weighings, up to a constant, shape (bows,)."""

    law: SettlingLaw
    log_density: Array


def choose_law(weighings: Sequence[Weighing]) -> SettlingLaw:
    """Return the law under which held-out bows' weighings were the likeliest.

    The default stands where too few bows came back, and where none is clearly better.

    Args:
        weighings: those of one build next to one another.
    """
    histories = sound_histories(settling_histories(weighings))
    count = len({weighing.build for weighing in histories})
    if count < FEWEST_HISTORIES:
        return DEFAULT_LAW.model_copy(update={"histories": count})
    default, *others = trials(histories)
    best = max(others, key=_evidence)
    if _evidence(best) < _evidence(default) + TIED:
        return DEFAULT_LAW.model_copy(update={"histories": count})
    return best.law.model_copy(update={"basis": LawBasis.HELD_OUT, "histories": count})


def _evidence(tried: Tried) -> float:
    return float(tried.log_density.sum())


def settling_histories(weighings: Sequence[Weighing]) -> tuple[Weighing, ...]:
    """Return the finished bows' weighings with known shots, of bows weighed after different numbers of them."""
    by_build: dict[str, dict[int, list[Weighing]]] = defaultdict(lambda: defaultdict(list))
    for weighing in weighings:
        shots = shots_at(weighing)
        if shots is not None:
            by_build[weighing.build][shots].append(weighing)
    return tuple(w for mine in by_build.values() if len(mine) > 1 for same in mine.values() for w in same)


def shots_at(weighing: Weighing) -> int | None:
    """Return the arrows shot before a weighing; nothing before a bow is finished, or if nobody counted."""
    moment = weighing.moment
    if moment.stage is Stage.FINISHED:
        return moment.shots or 0
    return moment.shots if moment.stage is Stage.SETTLED else None


def under_law(weighings: Sequence[Weighing], law: SettlingLaw) -> tuple[Weighing, ...]:
    """Return weighings with the loss by shooting in counted by a law."""
    return tuple(replace(one, columns=_under(one, law)) for one in weighings)


def trials(histories: Sequence[Weighing]) -> Iterator[Tried]:
    """Yield each law with how likely it made each bow's weighings before they were known."""
    for law in LAWS:
        found = fit(_of_settling(under_law(histories, law)))
        yield Tried(law, log_densities(found.problem, found.state))


def sound_histories(histories: Sequence[Weighing]) -> tuple[Weighing, ...]:
    """Return the histories without those that look like a mistake of the pencil under the default law."""
    if not histories:
        return ()
    suspicion = fit(_of_settling(under_law(histories, DEFAULT_LAW)), GrossErrors()).suspicion
    doubt = suspicion.any if suspicion else np.zeros(0)
    builds = dict.fromkeys(one.build for one in histories)
    sound = {build for build, chance in zip(builds, doubt.tolist(), strict=True) if chance < MISTAKEN}
    return tuple(one for one in histories if one.build in sound)


def _under(weighing: Weighing, law: SettlingLaw) -> Columns:
    told, moment = weighing.columns, weighing.moment
    lost = {SHOOTING_IN: np.full_like(told.offset, settling(moment.shots, moment.stage, law))}
    return replace(told, common={**told.common, **lost}, build={**told.build, **lost})


def _of_settling(histories: Sequence[Weighing]) -> Readings:
    """Return the readings with no columns but each bow's level and the loss, and the tolerances of its dimensions."""
    every = readings(histories)
    lost = np.concatenate([one.columns.common[SHOOTING_IN] for one in histories])
    prior = COMMON_PRIORS[SHOOTING_IN]
    return replace(
        every,
        common=lost[:, None],
        common_names=(SHOOTING_IN,),
        common_mean=np.array([prior.mean]),
        common_sd=np.array([prior.sd]),
        groups=(),
        build_columns=(
            BuildColumn(BOW, np.ones_like(lost), LogNormal(ANY_LEVEL_SD, SCALE_LOG_SD, free=False)),
            BuildColumn(SHOOTING_IN, lost, LogNormal(SCALE_MEDIANS[SHOOTING_IN], SCALE_LOG_SD)),
        ),
    )
