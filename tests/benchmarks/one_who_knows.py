"""The ceiling of the closed loop: one who knows moduli, gain, the scale's bias and the mean of finishing and settling.

The bow's own shape and settling, and what carrying out and reading err by, stay unknown to it.
"""

from dataclasses import dataclass
from math import dist, hypot, log, sqrt

import numpy as np

from datasets.history import bow_at
from datasets.schema import Method
from predictor.bows.bow import weights
from predictor.planning.kit_state import FIRST_SHOTS, NEAR_SHARE
from predictor.planning.passes import Finishing, Noise, Outlook, Step, outlook
from tests.benchmarks.kit_bench import SHOTS, Bench
from tests.benchmarks.plan_endings import MOST_WEIGHINGS, STAKES, Ended
from training.workshop.shop_truth import SCALES, Scatter

BY_RECORDS = 0.04
"""Standard deviation of weight by recorded dimensions and true moduli: wide, as the first weighing settles it."""


@dataclass
class Belief:
    """Logarithm of a kit's reading without errors, as one who knows the shop believes it: one normal number.

    Attributes:
        bench: the kit.
        mean: as it stands.
        sd: of it.
        reading: standard deviation of a weighing about it.
    """

    bench: Bench
    mean: float
    sd: float
    reading: float

    @classmethod
    def by_records(cls, bench: Bench) -> "Belief":
        """Return what is believed before the first weighing."""
        scatter, shop, job = Scatter(), bench.shop, bench.job
        slope = (job.physics_lbf[-1] - job.physics_lbf[1]) / (job.draws_in[-1] - job.draws_in[1])
        by_hand = (
            dist((0, 0, 0), (scatter.scale_lbf, SCALES[job.scale] / sqrt(12), scatter.draw_in * slope))
            / job.physics_lbf[0]
        )
        mean = shop.theory + shop.forms[job.design.name] + shop.scales[job.scale]
        reading = hypot(scatter.climate, by_hand / sqrt(len(job.reads)))
        return cls(bench, log(_by_true_moduli(bench)) + mean, BY_RECORDS, reading)

    def weigh(self) -> None:
        """Weigh, and believe what the reading tells."""
        follow = self.sd**2 / (self.sd**2 + self.reading**2)
        self.mean += follow * (log(self.bench.weigh()) - self.mean)
        self.sd *= sqrt(1 - follow)

    def settles(self, shots: int) -> float:
        """Return the loss expected by shooting up to a number of shots."""
        shop = self.bench.shop
        return shop.settling_at_500 * (shop.settled(shots) - shop.settled(self.bench.shots))

    def settled_lbf(self) -> float:
        """Return the settled weight expected."""
        left = 0.0 if self.bench.finished else Scatter().finish_mean
        return float(np.exp(self.mean - left - self.settles(SHOTS)))

    def noise(self) -> Noise:
        """Return what keeps the kit from its target."""
        scatter, target = Scatter(), self.bench.target_lbf
        finish = 0.0 if self.bench.finished else scatter.finish
        first, whole = (scatter.settling * self.settles(shots) for shots in (FIRST_SHOTS, SHOTS))
        ahead = Finishing(hypot(finish, first) * target, (whole - first) * target, NEAR_SHARE * target)
        noise = Noise(scatter.carried_out, self.reading * target, hypot(finish, whole) * target, ahead)
        return noise.finished() if self.bench.shots else noise

    def ahead(self) -> Outlook:
        """Return the best next step."""
        target = self.bench.target_lbf
        return outlook(self.settled_lbf() - target, self.sd * target, STAKES, self.noise())

    def cut(self, take_lbf: float) -> bool:
        """Take off what is meant to cost so much of the settled weight; whether that is anything."""
        gain = self.bench.shop.method_gain[Method.SIDES]
        before = _by_true_moduli(self.bench)
        cut = self.bench.take(1 - (1 - take_lbf / self.settled_lbf()) ** (1 / gain))
        loss = gain * log(before / _by_true_moduli(self.bench))
        self.mean, self.sd = self.mean - loss, hypot(self.sd, Scatter().carried_out * loss)
        return cut

    def finish(self) -> None:
        """Finish-sand and shoot the first arrows."""
        lost = Scatter().finish_mean + self.settles(FIRST_SHOTS)
        sd = hypot(Scatter().finish, Scatter().settling * self.settles(FIRST_SHOTS))
        self.mean, self.sd = self.mean - lost, hypot(self.sd, sd)
        self.bench.finish()
        self.bench.shoot_in()


def _by_true_moduli(bench: Bench) -> float:
    """Return the weight by the statics, of recorded dimensions and plans but true moduli."""
    kit, job = bench.kit, bench.job
    statics = bow_at(kit.form, kit.build, kit.events)
    return float(weights([statics], [job.moduli], job.draws_in[None, :1]).lbf[0, 0])


def by_one_who_knows(bench: Bench) -> Ended:
    """Take the same steps as the plan would, knowing moduli, gain, bias and mean losses."""
    belief = Belief.by_records(bench)
    first: Outlook | None = None
    for _ in range(MOST_WEIGHINGS):
        belief.weigh()
        ahead = belief.ahead()
        first = first or ahead
        cut = ahead.step is Step.TAKE_OFF and belief.cut(ahead.take_lbf)
        if cut or ahead.step is Step.WEIGH:
            continue
        if bench.shots:
            break
        belief.finish()
    assert first is not None
    return bench.end(first.under, 1 - first.under - first.over)
