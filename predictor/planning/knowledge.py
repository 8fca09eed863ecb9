"""What a shop knows apart from a bow's weighings: its materials, what builds have taught, strips bent on the bench."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

from datasets.materials import Material
from datasets.schema import StripTest
from predictor.belief import posterior
from predictor.belief.calibration import Calibration
from predictor.belief.columns import Columns
from predictor.belief.familiarity import has_new_lots, notes_on_unfamiliar
from predictor.belief.lots import with_strips
from predictor.belief.mixture import NormalMixture
from predictor.belief.model import Model, prior_belief
from predictor.belief.posterior import Posterior
from predictor.belief.seen import seen_by


@dataclass(frozen=True)
class Knowledge:
    """What a shop knows apart from one bow's own weighings.

    Attributes:
        materials: by name.
        model: what its builds have taught; nothing before training.
        strips: bent on the bench.
    """

    materials: Mapping[str, Material]
    model: Model | None = None
    strips: Sequence[StripTest] = ()

    @cached_property
    def by_builds(self) -> Posterior:
        """What builds have taught."""
        return prior_belief() if self.model is None else self.model.belief()

    @cached_property
    def belief(self) -> Posterior:
        """What builds and strips have taught."""
        return with_strips(self.by_builds, self.strips, self.materials)

    def unfamiliar(self, told: Columns) -> tuple[str, ...]:
        """Return in words what about a planned bow no build has shown yet; nothing before training."""
        return () if self.model is None else notes_on_unfamiliar(self.model, self.by_builds, told)

    def wider(self, told: Columns) -> float:
        """Return the factor on the standard deviation that left-out builds ask for of a planned bow."""
        calibration = Calibration() if self.model is None else self.model.calibration
        return calibration.wider(new_lots=has_new_lots(self.belief, told))

    def log_weight(self, told: Columns) -> NormalMixture:
        """Return what is believed of the logarithm of what columns explain, one number a row."""
        seen = seen_by(self.belief, told)
        expected = posterior.predict(self.belief, seen.rows).marginal().stretched(self.wider(told))
        return NormalMixture(expected.weights, expected.means + seen.offset, expected.sds)
