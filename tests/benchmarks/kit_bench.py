"""A kit of an invented shop in work: what is truly done to it, and what is noted of it."""

from collections.abc import Sequence
from copy import deepcopy
from dataclasses import dataclass, field, replace
from math import log

import numpy as np

from datasets.contents import Contents
from datasets.record import DrawLength, Side, ZeroPoint
from datasets.removals import combined, place_in
from datasets.schema import Build, Event, Form, Method, Removal, Stage, WeighIn
from predictor.belief.model import Model
from predictor.bows.bow import weights
from predictor.planning.cut_patterns import Patterns, patterns
from predictor.planning.kit_state import FIRST_SHOTS, Kit
from predictor.planning.promise import Judged, Promise
from predictor.pressing.blanks import widths_of
from tests.benchmarks.plan_endings import STAKES, Ended
from training.workshop.shop_press import Job, press
from training.workshop.shop_scale import weigh
from training.workshop.shop_truth import Key, Scatter, ShopTruth

SHOTS = 500
HEAVY_LBF = (5.0, 12.0)
DRAW = DrawLength(inch=28, zero=ZeroPoint.STANDARD, typed=None)
LEAST_SHARE = 0.5
"""Least widths are set wide open, so that every target is within reach."""


@dataclass
class Bench:
    """A kit in work.

    Attributes:
        rng: of what chance decides from here on.
        shop: its truth.
        job: the bow in truth.
        contents: the book, for materials and forms.
        target_lbf: on the scale, settled.
        model: what the history has taught.
        passes: taken so far.
        shots: arrows shot so far.
        finished: whether it is finish-sanded.
        events: as noted.
    """

    rng: np.random.Generator
    shop: ShopTruth
    job: Job
    contents: Contents
    target_lbf: float
    model: Model | None
    passes: int = 0
    shots: int = 0
    finished: bool = False
    events: list[Event] = field(default_factory=list)

    @classmethod
    def heavy(
        cls, shop: ShopTruth, contents: Contents, model: Model | None, seeds: tuple[int, int]
    ) -> "Bench":
        """Return a kit as pressed, with a target below its first weight.

        Args:
            shop: its truth.
            contents: of its book.
            model: what the book has taught.
            seeds: of the shop, and of the kit in it.
        """
        rng = np.random.default_rng([*seeds, 7])
        job = press(rng, Scatter(), shop, _at_hand(shop), 500 + seeds[1])
        job.kept = True
        bench = cls(rng, shop, job, contents, 0.0, model)
        bench.solve()
        return replace(bench, target_lbf=bench.on_scale(bench.true_lbf()) - rng.uniform(*HEAVY_LBF))

    def anew(self) -> "Bench":
        """Return the same kit with the same chances ahead, to be worked on by itself."""
        return replace(self, rng=deepcopy(self.rng), job=deepcopy(self.job), events=list(self.events))

    @property
    def kit(self) -> Kit:
        """The kit as the book knows it."""
        build = Build.model_validate(self.job.noted)
        form: Form = self.contents.forms[build.form, 1]
        return Kit(form, build, tuple(self.events))

    @property
    def promise(self) -> Promise:
        """The promise on the shop's scale."""
        return Promise(self.target_lbf, STAKES.tolerance_lbf, Judged(DRAW, SHOTS, self.job.scale))

    def true_lbf(self) -> float:
        """Return the force at 28 in in usual air, as if no arrow had been shot."""
        shape = self.shop.forms[self.job.design.name] + self.job.shape
        return float(self.job.physics_lbf[0] * np.exp(self.job.effects + shape))

    def on_scale(self, lbf: float) -> float:
        """Return what the kit's scale makes of a force."""
        return lbf * float(np.exp(self.shop.scales[self.job.scale]))

    def solve(self) -> None:
        """Let the statics find the weight of the true bow.

        Raises:
            ArithmeticError: it cannot be braced or drawn.
        """
        solved = weights([self.job.bow], [self.job.moduli], self.job.draws_in[None])
        if solved.refused[0] is not None:
            raise ArithmeticError(f"{solved.refused[0].reason} ({solved.refused[0].where})")
        self.job.physics_lbf = solved.lbf[0]

    def finish(self) -> None:
        """Finish-sand, once."""
        if not self.finished:
            self.job.effects += self.job.finish_loss
            self.finished = True

    def shoot_in(self) -> None:
        """Shoot the first arrows."""
        self.shots = FIRST_SHOTS

    def weigh(self) -> float:
        """Weigh, note it, and return the reading, at 28 in by the draws' true ratios, the mean of those noted."""
        weigh(self.rng, Scatter(), self.shop, self.job, self._stage(), self.shots)
        noted = self.job.events[-1].data | {"scale": self.job.scale}
        weighed = WeighIn.model_validate(noted)
        self.events.append(weighed)
        read = np.array([one.weight.lbf for one in weighed.readings])
        ratios = self.job.physics_lbf[1:][list(self.job.reads)] / self.job.physics_lbf[0]
        return float(np.exp(np.mean(np.log(read / ratios))))

    def _stage(self) -> Stage:
        if self.finished:
            return Stage.SETTLED if self.shots else Stage.FINISHED
        return Stage.TILLERED if self.passes else Stage.FIRST_DRAW

    def cut(self, planned: Sequence[Removal]) -> None:
        """Carry a pass out with its error, and note the plan."""
        before = self.true_lbf()
        carried = max(1 + self.rng.normal(0, Scatter().carried_out), 0.3)
        for removal in planned:
            self._narrow(removal, carried)
            self.job.write("removal", {})
            given = {"id": f"{self.job.build}/{len(self.job.events)}", "on": self.job.day}
            self.events.append(removal.model_copy(update=given))
        self.solve()
        lost = log(self.true_lbf() / before)
        self.job.effects += (self.shop.method_gain[Method.SIDES] - 1) * lost
        self.passes += 1

    def _narrow(self, removal: Removal, carried: float) -> None:
        for side in ("upper", "lower"):
            if removal.limb not in (Side.BOTH, side):
                continue
            limb = getattr(self.job.bow, side)
            off = (
                tuple(place_in(cut.at, limb.length) for cut in removal.planned),
                tuple(carried * cut.amount_in.inch for cut in removal.planned),
            )
            narrowed = replace(
                limb,
                width_belly=combined(limb.width_belly, off, np.subtract),
                width_back=combined(limb.width_back, off, np.subtract),
            )
            self.job.bow = replace(self.job.bow, **{side: narrowed})

    def take(self, loss_share: float) -> bool:
        """Take off what loses a share of the weight by the statics; whether that is anything."""
        if loss_share <= 0:
            return False
        found = self._possible(min(1.5 * loss_share + 0.02, 0.4))
        at = found.deepest_within(loss_share)
        if at:
            self.cut(found.removals(self.kit, 0, at))
        return at > 0

    def _possible(self, share: float) -> Patterns:
        draw_in = float(self.job.draws_in[0])
        return patterns(self.kit, draw_in, self.contents.materials, self.least_in(), share)

    def least_in(self) -> tuple[float, float]:
        """Return the least widths."""
        fade, _, nock = widths_of(self.kit.form, self.kit.build)
        return LEAST_SHARE * fade, LEAST_SHARE * nock

    def end(self, under: float, within: float) -> Ended:
        """Finish and shoot in by the truth."""
        self.finish()
        true = self.true_lbf() * float(np.exp(-self.job.settling_at_500 * self.shop.settled(SHOTS)))
        off = true - self.target_lbf, self.on_scale(true) - self.target_lbf
        return Ended(*off, self.passes, under, within)


def _at_hand(shop: ShopTruth) -> dict[str, Key]:
    """Return the lot that came in last for each shelf."""
    found: dict[str, Key] = {}
    for key in sorted(shop.lots, key=lambda one: int(str(one[1]).rsplit(" ", 1)[1])):
        found[str(key[1]).rsplit(" ", 1)[0]] = key
    return found
