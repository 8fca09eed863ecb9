"""How the shop's bows settled: each bow's weight as a share of what it was finished at, against shots, and the law."""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import date
from itertools import groupby
from operator import itemgetter

import numpy as np
from pydantic import Field

from datasets.contents import Contents
from datasets.record import Record
from datasets.schema import Stage
from predictor.belief.columns import COMMON_PRIORS
from predictor.belief.habits import USUAL
from predictor.belief.mixture import NormalMixture
from predictor.belief.model import Model, prior_belief
from predictor.belief.own_history import together
from predictor.belief.posterior import Posterior
from predictor.belief.scatter import SCALES, SCATTER_SDS, SHOOTING_IN, UNNOTED_SCALE
from predictor.belief.settling import SettlingLaw
from predictor.belief.weighings import Weighing, weighed
from predictor.bows.bow import Refusal
from predictor.bows.features import features

BAND_LEVEL = 0.9
BAND_SHOTS = (0, 10, 30, 60, 100, 200, 300, 500, 750, 1000)
"""Shots at which the law's band is told."""

Sitting = tuple[Weighing, ...]
"""Weighings of one bow at one count of shots, on one scale and one day: they share its air."""

_Key = tuple[int, str | None, date | None]
"""Shots, scale and day of a sitting."""


class ShotReading(Record):
    """A bow weighed after shooting, once or several times on one day and one scale."""

    build: str
    shots: int = Field(ge=0)
    weighings: int = Field(ge=1, description="on that day, of which the mean is told")
    first_weighings: int = Field(ge=1, description="when it was first weighed once finished, likewise")
    share: float = Field(
        description="of the weight when it was first weighed once finished, at like brace and string"
    )
    log_sd: float = Field(description="standard deviation of the share's logarithm, by air, scale and draw")


class Left(Record):
    """What is left of a finished weight after some shots, for a bow that nobody weighed again."""

    shots: int = Field(ge=0)
    low: float
    middle: float
    high: float


class SettlingCurve(Record):
    """The shop's settling: every bow that was weighed again, and the law with its band."""

    law: SettlingLaw
    level: float = Field(description="of the band")
    bows: int = Field(ge=0, description="bows weighed again after shooting")
    readings: tuple[ShotReading, ...] = Field(description="bow by bow, by shots")
    band: tuple[Left, ...]


def settling_curve(contents: Contents, model: Model | None = None) -> SettlingCurve:
    """Return how the bows of a book settled, and what the model makes of it.

    Args:
        contents: of the book; builds that may not teach are left out.
        model: what the shop's builds have taught; the prior's belief if there is none.
    """
    belief = prior_belief() if model is None else model.belief()
    law = (USUAL if model is None else model.habits).settling
    readings = tuple(shot_readings(sittings(_finished(contents))))
    return SettlingCurve(
        law=law,
        level=BAND_LEVEL,
        bows=len({reading.build for reading in readings}),
        readings=readings,
        band=tuple(left_after(belief, law, shots) for shots in BAND_SHOTS),
    )


def _finished(contents: Contents) -> list[Weighing]:
    """Return the finished bows' weighings that may teach and that the statics can solve."""
    known = [(build, contents.form_of(build)) for build in contents.builds.values() if build.teaches]
    wanted = [
        one
        for build, form in known
        if form is not None
        for one in weighed(form, build, contents.events.get(build.id, ()))
        if shots_of(one.moment.stage, one.moment.shots) is not None
    ]
    solved = features([one.case for one in wanted], contents.materials)
    return [
        one.explained(found, contents.materials)
        for one, found in zip(wanted, solved, strict=True)
        if not isinstance(found, Refusal)
    ]


def sittings(weighings: Sequence[Weighing]) -> tuple[Sitting, ...]:
    """Return the finished bows' weighings with known shots, of bows weighed after different numbers of them.

    Bow by bow, by shots.
    """
    by_build: dict[str, dict[_Key, list[Weighing]]] = defaultdict(lambda: defaultdict(list))
    for weighing in weighings:
        shots = shots_of(weighing.moment.stage, weighing.moment.shots)
        if shots is not None:
            by_build[weighing.build][shots, weighing.moment.scale, weighing.on].append(weighing)
    came_back = (mine for mine in by_build.values() if len({shots for shots, _, _ in mine}) > 1)
    return tuple(tuple(mine[key]) for mine in came_back for key in sorted(mine, key=itemgetter(0)))


def as_one(sitting: Sitting) -> Weighing:
    """Return the weighings of one sitting as one weighing with all their readings: its air is counted once."""
    if len(sitting) == 1:
        return sitting[0]
    first = sitting[0]
    draws_in = tuple(draw for one in sitting for draw in one.moment.draws_in)
    return replace(
        first,
        moment=replace(first.moment, draws_in=draws_in),
        columns=together([(first.weigh_in, one.columns) for one in sitting]),
        log_weight=np.concatenate([one.log_weight for one in sitting]),
    )


def shots_of(stage: Stage, shots: int | None) -> int | None:
    """Return the arrows shot before a weighing; nothing before a bow is finished, or if nobody counted."""
    if stage is Stage.FINISHED:
        return shots or 0
    return shots if stage is Stage.SETTLED else None


def shot_readings(histories: Sequence[Sitting]) -> Iterator[ShotReading]:
    """Yield each later sitting of a bow against its first ones; what brace and string explain is taken off.

    First are those at its fewest shots, and of them those on the same scale if there are any.

    Args:
        histories: bow by bow, by shots.
    """
    for build, mine in groupby(histories, key=_bow_of):
        found = list(mine)
        first = [one for one in found if _shots_at(one) == _shots_at(found[0])]
        for now in found[len(first) :]:
            then = _on(_scale_of(now), first) or _on(_scale_of(first[0]), first)
            yield ShotReading(
                build=build,
                shots=_shots_at(now) or 0,
                weighings=len(now),
                first_weighings=sum(map(len, then)),
                share=float(np.exp(_off([now]) - _off(then))),
                log_sd=float(np.linalg.norm([_sd([now]), _sd(then), _scales_apart(now, then[0])])),
            )


def _on(scale: str | None, sittings: Sequence[Sitting]) -> list[Sitting]:
    return [one for one in sittings if _scale_of(one) == scale]


def _bow_of(sitting: Sitting) -> str:
    return sitting[0].build


def _shots_at(sitting: Sitting) -> int | None:
    return shots_of(sitting[0].moment.stage, sitting[0].moment.shots)


def _scale_of(sitting: Sitting) -> str | None:
    return sitting[0].moment.scale


def _off(sittings: Sequence[Sitting]) -> float:
    ones = [as_one(sitting) for sitting in sittings]
    return float(np.mean([np.mean(one.log_weight - one.columns.offset) for one in ones]))


def _sd(sittings: Sequence[Sitting]) -> float:
    """Return the standard deviation of the mean of sittings on one scale: their readings' own, and their air's."""
    sds = []
    for one in map(as_one, sittings):
        sds.append(np.sqrt(np.mean(one.columns.sd**2) / len(one.log_weight)))
        sds += [np.mean(given.column) for given in one.columns.weighing]
    return float(np.linalg.norm(sds)) / len(sittings)


def _scales_apart(one: Sitting, other: Sitting) -> float:
    """Return the standard deviation of the difference of two scales' biases; of none where it is one scale."""
    if _scale_of(one) == _scale_of(other):
        return 0.0
    groups = (UNNOTED_SCALE if _scale_of(sitting) is None else SCALES for sitting in (one, other))
    return float(np.linalg.norm([SCATTER_SDS[group] for group in groups]))


def left_after(belief: Posterior, law: SettlingLaw, shots: int, level: float = BAND_LEVEL) -> Left:
    """Return what is left of a finished weight after some shots, with a central interval.

    Args:
        belief: of the mean loss and its scatter from bow to bow.
        law: of the shop.
        shots: since the first arrow.
        level: of the interval.
    """
    prior = COMMON_PRIORS[SHOOTING_IN]
    mean = NormalMixture(*(np.full((1, 1), value) for value in (1.0, prior.mean, prior.sd)))
    if SHOOTING_IN in belief.effects:
        mean = belief.effect(SHOOTING_IN)
    own = belief.scale(SHOOTING_IN)[:, None]
    loss = NormalMixture(belief.weights[:, None], mean.means, np.hypot(mean.sds, own))
    ends = (loss.quantile(probability)[0] for probability in ((1 - level) / 2, 0.5, (1 + level) / 2))
    low, middle, high = (float(np.exp(law.share(shots) * end)) for end in ends)
    return Left(shots=shots, low=low, middle=middle, high=high)
