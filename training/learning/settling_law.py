"""Which law of settling the shop's own bows speak for: each bow's loss told from the other bows'.

Only weighings from finished on count, and each bow's own level is left free: what is asked is how its weighings differ
from one another, whatever the bow weighs. Weighings of a bow at one count of shots, on one scale and one day, count as
one, with all its readings; those of one day on several scales share its air, and a scale has its own bias.
The statics take brace and string into account, so a change of these is no settling.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from predictor.belief.columns import COMMON_PRIORS, Columns
from predictor.belief.own_history import Slips
from predictor.belief.scatter import BOW, SCALES, SCATTER_LOG_SDS, SCATTER_SDS, SHOOTING_IN, UNNOTED_SCALE
from predictor.belief.settling import DEFAULT_LAW, LawBasis, LawKind, SettlingLaw, settling
from predictor.belief.shot_in import as_one, sittings
from predictor.belief.weighings import Weighing
from training.engine.hierarchy import fit
from training.engine.leave_out import log_densities
from training.engine.readings import BuildColumn, Readings
from training.engine.scale_priors import LogNormal
from training.learning.evidence import readings

Array = NDArray[np.float64]

FEWEST_HISTORIES = 8
"""Bows weighed again after shooting, below which the default law stands."""

MOST_HISTORIES = 300
"""So many bows are asked, the last of the book: enough to tell laws apart, and quick in a book of thousands."""

ANY_LEVEL_SD = 0.2
"""A bow's own level is left free to this log standard deviation, far wider than any bow strays."""

TIED = 2.0
"""A law replaces the default only where it made the held-out bows' weighings e squared times as likely, or more."""

MISTAKEN = 0.5
"""Probability of a mistake under every law from which a bow is left aside."""

LAWS = (
    DEFAULT_LAW,
    *(SettlingLaw(parameter=shots) for shots in (3.0, 30.0, 100.0)),
    *(SettlingLaw(kind=LawKind.POWER, parameter=power) for power in (0.25, 0.5)),
)
"""The laws that are tried, the default first. All slow down: a steady loss would go on beyond the last weighing."""


@dataclass(frozen=True)
class Tried:
    """A law as the bows see it, bow by bow.

    Attributes:
        law: the law.
        log_density: how likely it made each bow's weighings before they were known, up to a constant, shape (bows,).
        sound: whether a bow's weighings look sound under it, shape (bows,).
    """

    law: SettlingLaw
    log_density: Array
    sound: NDArray[np.bool_]


def choose_law(weighings: Sequence[Weighing]) -> SettlingLaw:
    """Return the law under which held-out bows' weighings were the likeliest.

    The default stands where too few bows came back, and where none is clearly better.

    Args:
        weighings: those of one build next to one another.
    """
    histories = _last([as_one(sitting) for sitting in sittings(weighings)])
    sound = np.zeros(len({one.build for one in histories}), dtype=np.bool_)
    tried = []
    for one in trials(histories) if histories else ():
        tried.append(one)
        sound |= one.sound
        if len(sound) < FEWEST_HISTORIES and sound.all():
            break  # the default stands whatever other laws say, and a bow that is sound under one is sound
    told = {"histories": int(np.sum(sound)), "longest_shots": _longest(histories, sound)}
    default = DEFAULT_LAW.model_copy(update=told)
    if default.histories < FEWEST_HISTORIES:
        return default
    usual, *better = (float(one.log_density[sound].sum()) for one in tried)
    if max(better) < usual + TIED:
        return default
    best = tried[1 + int(np.argmax(better))].law
    return best.model_copy(update={"basis": LawBasis.HELD_OUT, **told})


def _longest(histories: Sequence[Weighing], sound: NDArray[np.bool_]) -> int:
    """Return the most arrows after which a sound bow was weighed; none where there is no such bow.

    Args:
        histories: of the bows.
        sound: whether each bow's weighings look sound, in the order of its first one, shape (bows,).
    """
    bows = dict.fromkeys(one.build for one in histories)
    kept = {bow for bow, is_sound in zip(bows, sound, strict=True) if is_sound}
    return max((one.moment.shots or 0 for one in histories if one.build in kept), default=0)


def _last(histories: Sequence[Weighing]) -> Sequence[Weighing]:
    """Return the histories of the last bows, so many as are asked."""
    asked = set(list(dict.fromkeys(one.build for one in histories))[-MOST_HISTORIES:])
    return [one for one in histories if one.build in asked]


def under_law(weighings: Sequence[Weighing], law: SettlingLaw) -> tuple[Weighing, ...]:
    """Return weighings with the loss by shooting in counted by a law."""
    return tuple(replace(one, columns=_under(one, law)) for one in weighings)


def trials(histories: Sequence[Weighing]) -> Iterator[Tried]:
    """Yield each law as the bows see it.

    Mistakes of the pencil are judged under each law anew, for a wrong law makes sound bows look odd.
    """
    for law in LAWS:
        found = fit(_of_settling(under_law(histories, law)), Slips())
        log_density = log_densities(found.problem, found.state)
        sound = np.ones(len(log_density)) if found.suspicion is None else found.suspicion.any < MISTAKEN
        yield Tried(law, log_density, np.asarray(sound, dtype=np.bool_))


def _under(weighing: Weighing, law: SettlingLaw) -> Columns:
    told, moment = weighing.columns, weighing.moment
    lost = {SHOOTING_IN: np.full_like(told.offset, settling(moment.shots, moment.stage, law))}
    return replace(told, common={**told.common, **lost}, build={**told.build, **lost})


def _of_settling(histories: Sequence[Weighing]) -> Readings:
    """Return the readings with each bow's level, the loss, the scales and the tolerances of dimensions only.

    Scales are left out where each bow has one of its own, for its level has them.
    """
    every = readings(histories)
    bows_on = {(one.build, one.moment.scale) for one in histories}
    several = len(bows_on) > len({build for build, _ in bows_on})
    scales = tuple(group for group in every.groups if group.name == SCALES and group.levels)
    unnoted = tuple(one for one in every.build_columns if one.name == UNNOTED_SCALE and one.column.any())
    lost = np.concatenate([one.columns.common[SHOOTING_IN] for one in histories])
    prior = COMMON_PRIORS[SHOOTING_IN]
    own = LogNormal.of_mean_square(SCATTER_SDS[SHOOTING_IN], SCATTER_LOG_SDS[SHOOTING_IN])
    return replace(
        every,
        common=lost[:, None],
        common_names=(SHOOTING_IN,),
        common_mean=np.array([prior.mean]),
        common_sd=np.array([prior.sd]),
        groups=scales if several else (),
        build_columns=(
            BuildColumn(BOW, np.ones_like(lost), LogNormal(ANY_LEVEL_SD, SCATTER_LOG_SDS[BOW], free=False)),
            BuildColumn(SHOOTING_IN, lost, own),
            *(unnoted if several else ()),
        ),
    )
