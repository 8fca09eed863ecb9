"""An invented shop in few strokes: it takes stock off the bows that read heavy, and notes what it did.

The statics are left out: a bow is one number, and a removal takes what it takes off that. So whole shops cost a moment,
and what is learned of their removals can be held to the truth over many of them.
"""

from dataclasses import dataclass, field
from math import exp, log

import numpy as np
from numpy.typing import NDArray

from datasets.ledger import Input
from datasets.removals import AmountKind, carried_out, gain_of
from datasets.schema import Method, Stage
from datasets.tolerances import CARRIED_OUT, GAIN_SD
from predictor.belief.carrying_out import Carried, CarryingOut
from predictor.belief.columns import Moment, columns
from predictor.belief.habits import Habits
from predictor.belief.scatter import PRIOR_SCATTER
from predictor.belief.weighings import Weighing
from predictor.bows.features import Features, InputEffect
from training.learning.carried_out import Share, updated

Array = NDArray[np.float64]

WAYS = (Method.SIDES, Method.TRAP)
BY_TRAP = 0.3
PRESSED_FOR_LBF = 55.5
ORDER_LBF = 50.0
LEFT_OVER = (0.065, 0.04)
OWN_SD, OTHER_SD, AIR_SD, READING_SD = 0.04, 0.01, 0.01, 0.005
"""Logarithms: of a dimension that is not noted, of what no dimension explains, of a weighing, of a reading."""
ONLY_FINISHED = 0.35
"""Share of bows of which only the last weighing and the width by then are known."""


@dataclass
class _Bow:
    name: str
    kept: bool
    statics_lbf: float
    log_weight: float
    removals: list[InputEffect] = field(default_factory=list)
    lost: float = 0.0
    narrowed: float = 0.0
    weighed: list[tuple[Stage, Features, Array]] = field(default_factory=list)


def shop(rng: np.random.Generator, bows: int) -> tuple[dict[Method, float], list[Weighing]]:
    """Return a shop's true gains, less one, and the weighings of its bows."""
    gains = {method: float(rng.normal(0, GAIN_SD)) for method in WAYS}
    statics_lbf = PRESSED_FOR_LBF * exp(rng.normal(0.02, 0.05))  # the shop knows its usual bow
    shares: list[float] = []
    made = [_made(rng, f"K-{number:03d}", statics_lbf, gains, shares) for number in range(bows)]
    habits = Habits(
        carrying_out=CarryingOut(anybody=updated(Carried(), [Share(share, 0.0) for share in shares]))
    )
    return gains, [weighing for bow in made for weighing in _weighings(bow, habits)]


def _made(
    rng: np.random.Generator, name: str, statics_lbf: float, gains: dict[Method, float], shares: list[float]
) -> _Bow:
    """Return a bow from its first draw to its finish; what is measured of its removals goes to `shares`."""
    heavier = rng.normal(0, OWN_SD) + rng.normal(0, OTHER_SD)
    bow = _Bow(name, bool(rng.random() >= ONLY_FINISHED), statics_lbf, log(PRESSED_FOR_LBF) + float(heavier))
    seen = _read(rng, bow, Stage.FIRST_DRAW)
    for over in LEFT_OVER:
        excess = seen - log(ORDER_LBF * (1 + over))
        if excess > 0.02:
            _take_off(rng, bow, min(excess, 0.15), gains, shares)
            seen = _read(rng, bow, Stage.TILLERED)
    bow.log_weight -= float(rng.gamma(9.8, 0.00256))
    _read(rng, bow, Stage.FINISHED)
    return bow


def _take_off(
    rng: np.random.Generator, bow: _Bow, planned: float, gains: dict[Method, float], shares: list[float]
) -> None:
    method = WAYS[int(rng.random() < BY_TRAP)] if bow.kept else Method.SIDES
    share = max(1 + float(rng.normal(0, CARRIED_OUT)), 0.3)
    bow.log_weight -= (1 + gains[method]) * planned * share
    measured = bool(rng.random() < 0.5)
    noted = planned * share if measured or not bow.kept else planned
    bow.lost += noted
    bow.narrowed += noted if method is Method.SIDES else 0.0
    if not bow.kept:
        return
    bow.removals.append(_effect(gain_of(method), gain_of(method), GAIN_SD, -noted))
    if measured:
        shares.append(share - 1)
    else:
        source = carried_out(AmountKind.WIDTH)
        bow.removals.append(_effect(f"removals.{len(bow.removals)}", source, CARRIED_OUT, -noted))


def _effect(name: str, source: str, sd: float, effect: float) -> InputEffect:
    return InputEffect(Input(name, source, sd), (effect, effect))


def _read(rng: np.random.Generator, bow: _Bow, stage: Stage) -> float:
    """Weigh a bow, keep the weighing if the shop does, and return what the shop goes by."""
    read = bow.log_weight + rng.normal(0, AIR_SD) + rng.normal(0, READING_SD, 2)
    if bow.kept or stage is Stage.FINISHED:
        weight = bow.statics_lbf * exp(-bow.lost)
        found = Features(
            weight_lbf=(weight, weight),
            per_inch_lbf=(2.5, 2.5),
            moduli=(),
            inputs=(_effect("own", "own", 1.0, OWN_SD), *_summed(bow.removals)),
            stack_in=0.36,
            limb_in=25.0,
            width_in=1.3 * exp(-bow.narrowed),
            notes=(),
        )
        bow.weighed.append((stage, found, read))
    return float(read[0])


def _summed(effects: list[InputEffect]) -> list[InputEffect]:
    """Return effects with those of one input added up."""
    totals: dict[Input, float] = {}
    for effect in effects:
        totals[effect.input] = totals.get(effect.input, 0.0) + effect.log_effect[0]
    return [InputEffect(given, (total, total)) for given, total in totals.items()]


def _weighings(bow: _Bow, habits: Habits) -> list[Weighing]:
    found = []
    for number, (stage, features, read) in enumerate(bow.weighed):
        moment = Moment("plain/1", (28.0, 28.0), stage, 0, "hanging")
        told = columns(features, moment, {}, PRIOR_SCATTER, habits)
        found.append(Weighing(bow.name, f"{bow.name}/{number}", moment, told, read))
    return found
