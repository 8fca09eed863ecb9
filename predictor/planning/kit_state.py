"""What a kit would weigh for its promise if nothing more were taken off, and which doubts of it a weighing can settle.

Three things are foretold together, given the kit's own weighings: A, what the promise is judged by as the bow stands,
without errors of reading and air; S, the same after finish sanding and shooting in; and R, the readings of one more
weighing. A thought-of removal tells how far its loss is in doubt. With the logarithms' covariance and in pounds at the
target, a weighing can still tell of Var(A), and cannot tell of Var(S - A). Conditioning A on R leaves V, so that one
weighing acts as if it read A with the variance V Var(A) / (Var(A) - V).

The mixture over scales of doubt and slips is replaced by its mean and covariance, which its rare wide parts widen.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import sqrt

import numpy as np
from numpy.typing import NDArray

from datasets.history import bow_at
from datasets.record import DrawLength, Side
from datasets.schema import Build, Event, Form, Method, Removal, Stage, WeighIn
from datasets.thought_of import thought_of
from predictor.belief.columns import FINISHED, Columns, edges_to_come
from predictor.belief.foresight import Situation, foretell, laid_out
from predictor.belief.own_history import exactly_read
from predictor.bows.bow import Refusal
from predictor.planning.knowledge import Knowledge
from predictor.planning.passes import Finishing, Noise
from predictor.planning.promise import Promise
from predictor.prediction.ranged import Ranged, ranged

Array = NDArray[np.float64]

TRIED_SHARE = 0.05
"""Share of the width that the thought-of removal takes."""

FIRST_SHOTS = 100
"""Arrows shot before the last passes, so that most of the settling is seen before them (common practice, no source)."""

NEAR_SHARE = 0.05
"""Share of the target that can be taken off by hand from a finished bow (common practice, no source)."""


@dataclass(frozen=True)
class Kit:
    """A bow on its way to its weight.

    Attributes:
        form: the form revision that the build points at.
        build: as pressed and first cut.
        events: its history so far, in order.
    """

    form: Form
    build: Build
    events: tuple[Event, ...]

    def last_weighing(self) -> WeighIn | None:
        """Return the last weigh-in, if there is one."""
        return next((event for event in reversed(self.events) if isinstance(event, WeighIn)), None)

    def stands_at(self) -> tuple[Stage, int]:
        """Return the stage that its next weighing is made at, and the arrows shot by then."""
        last = self.last_weighing()
        stage = Stage.TILLERED if last is None or last.stage is Stage.BLANK else last.stage
        return stage, 0 if last is None else last.shots or 0


@dataclass(frozen=True)
class KitState:
    """A kit's weight in pounds, judged as the promise is.

    Attributes:
        now: as the bow stands.
        finished_lbf: median after finish sanding, if no stock is taken off.
        shot_in_lbf: median when finished and after the first arrows.
        settled: after shooting in too.
        can_tell_lbf: standard deviation that a weighing can still tell, of a bow at the target.
        gain: loss expected of a removal, as a share of the one by the statics, both as logarithms.
        noise: of passes, of a weighing, and of what comes after, of a bow at the target.
        reading: one more, at the promise's draw.
        reading_sd_lbf: of that reading about the bow's own weight, of a bow at the target.
        scale: that would be read.
        edges_to_come: share of a usual rounding of the edges that finishing is still to take.
    """

    now: Ranged
    finished_lbf: float
    shot_in_lbf: float
    settled: Ranged
    can_tell_lbf: float
    gain: float
    noise: Noise
    reading: Ranged
    reading_sd_lbf: float
    scale: str | None
    edges_to_come: float

    @property
    def now_lbf(self) -> float:
        """Median as the bow stands."""
        return self.now.lbf

    @property
    def settled_lbf(self) -> float:
        """Median after finishing and shooting in."""
        return self.settled.lbf

    @property
    def reading_lbf(self) -> float:
        """Median of one more reading at the promise's draw."""
        return self.reading.lbf


def kit_state(kit: Kit, promise: Promise, knowledge: Knowledge) -> KitState | Refusal:
    """Return a kit's state, or why the statics refuse it.

    Args:
        kit: with its own weighings.
        promise: weight, tolerance, draw, shots and scale.
        knowledge: of the shop.
    """
    wanted = _wanted(kit, promise)
    found = laid_out(
        kit.form, kit.build, kit.events, wanted, knowledge.materials, knowledge.model, knowledge.strips
    )
    if isinstance(found, Refusal):
        return found
    stand, (reading, *moments), (_, now, *_) = found
    told = [reading, *((as_judged(columns, promise.judged.scale), False) for columns, _ in moments)]
    joint = foretell(stand, told).joint
    reads = len(told[0][0].offset)
    by_statics = float(told[1][0].offset[0] - told[-1][0].offset[0])
    logs = joint.marginal()
    middle = logs.quantile(0.5)
    gain = float(middle[reads] - middle[-1]) / by_statics
    state = _state(
        promise.weight_lbf, ranged(logs), joint.covariance, reads, wanted[0].scale, edges_to_come(now)
    )
    noise = state.noise.finished() if _is_shot_in(kit, promise) else state.noise
    return replace(state, gain=gain, noise=noise)


def _is_shot_in(kit: Kit, promise: Promise) -> bool:
    """Return whether a bow was last weighed finished, after the first arrows."""
    last = kit.last_weighing()
    return last is not None and last.stage in FINISHED and (last.shots or 0) >= first_shots(promise)


def first_shots(promise: Promise) -> int:
    """Return the arrows to be shot before the last passes."""
    return min(FIRST_SHOTS, promise.judged.shots)


def as_judged(told: Columns, scale: str | None) -> Columns:
    """Return what a bow's weight depends on without errors of reading and air: on a scale, or else in true force."""
    return exactly_read(told) if scale is None else replace(told, weighing=(), sd=np.zeros_like(told.sd))


def _wanted(kit: Kit, promise: Promise) -> list[Situation]:
    """Return readings of one more weighing, then the bow now, finished, shot in a little, settled, and with less."""
    judged, last = promise.judged, kit.last_weighing()
    stage, shots = kit.stands_at()
    finished = Stage.SETTLED if stage in FINISHED else Stage.FINISHED
    read_on = judged.scale if last is None or last.scale is None else last.scale
    now = Situation(kit.events, (judged.draw,), stage, shots, judged.scale)
    return [
        replace(now, draws=_draws_read(last, judged.draw), scale=read_on),
        now,
        replace(now, stage=finished),
        replace(now, stage=Stage.SETTLED, shots=max(first_shots(promise), shots)),
        replace(now, stage=Stage.SETTLED, shots=max(judged.shots, shots)),
        replace(now, events=(*kit.events, *_narrowed(kit))),
    ]


def _draws_read(last: WeighIn | None, draw: DrawLength) -> tuple[DrawLength, ...]:
    """Return the draws of one more weighing: the promise's first, and the others of the last weighing."""
    others = [] if last is None else [reading.draw for reading in last.readings]
    return (draw, *(one for one in others if (one.inch, one.zero) != (draw.inch, draw.zero)))


def _narrowed(kit: Kit) -> tuple[Removal, ...]:
    """Return a removal of a share of the width, of which only the plan is noted."""
    limb = bow_at(kit.form, kit.build, kit.events).upper
    cuts = [(at, TRIED_SHARE * width) for at, width in zip(*limb.width_belly, strict=True)]
    return thought_of(kit.build, kit.events, Method.SIDES, {Side.BOTH: cuts})


def _state(
    target_lbf: float,
    expected: Sequence[Ranged],
    covariance: Array,
    reads: int,
    scale: str | None,
    edges: float,
) -> KitState:
    """Return the state from what was foretold: readings, then the bow in the order in which it was wanted."""
    now, finished, shot_in, settled, less = range(reads, reads + 5)
    variance = float(covariance[now, now])
    with_now = covariance[:reads, now]
    left = variance - float(with_now @ np.linalg.solve(covariance[:reads, :reads], with_now))
    loss = float(np.log(expected[now].lbf / expected[less].lbf))
    return KitState(
        now=expected[now],
        finished_lbf=expected[finished].lbf,
        shot_in_lbf=expected[shot_in].lbf,
        settled=expected[settled],
        can_tell_lbf=target_lbf * sqrt(variance),
        gain=1.0,
        noise=Noise(
            share=_apart(covariance, now, less) / loss,
            weighing_lbf=target_lbf * sqrt(left * variance / (variance - left)),
            after_lbf=target_lbf * _apart(covariance, settled, now),
            finishing=Finishing(
                shown_lbf=target_lbf * _apart(covariance, shot_in, now),
                after_lbf=target_lbf * _apart(covariance, settled, shot_in),
                near_lbf=NEAR_SHARE * target_lbf,
            ),
        ),
        reading=expected[0],
        reading_sd_lbf=target_lbf * _apart(covariance, 0, now),
        scale=scale,
        edges_to_come=edges,
    )


def _apart(covariance: Array, one: int, other: int) -> float:
    """Return the standard deviation of a difference of two foretold numbers."""
    return sqrt(max(covariance[one, one] + covariance[other, other] - 2 * covariance[one, other], 0.0))
