"""What strips bent on the bench say of their lots' moduli, and of a belief that knew nothing of them.

A strip is an observation of its lot: log(strip / handbook) = material + lot + this lam's own scatter + error. A belief
that is normal at each set of scales takes it in closed form. Strips are taken from the book when something is
predicted, never when a model is trained, so none counts twice and a corrected one counts at once.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from datasets.materials import Kind, Material
from datasets.schema import StripTest
from datasets.tolerances import (
    DEFLECTION_SD_IN,
    GLASS_SD_IN,
    HUNG_LOAD_SD,
    SEATING_SD_IN,
    SPAN_SD_IN,
    THICKNESS_SD_IN,
    WIDTH_SD_IN,
)
from predictor.columns import STIFFNESS, group_of_lots, lot_level
from predictor.mixture import NormalMixture
from predictor.model import level_name
from predictor.posterior import Array, Posterior, observed, with_effects
from predictor.strip import Bent, Found, Tolerances, modulus

MODULUS_OVER_SHEAR = 16.0
"""E/G of wood along the grain, the middle of the Wood Handbook's Table 5-1 (FPL-GTR-282, 2021; from memory); that of
glass is smaller."""


@dataclass(frozen=True)
class Lot:
    """A delivery of a material; without a name one that nobody noted."""

    material: str
    lot: str | None

    @property
    def level(self) -> str:
        """Its name among the lots of a belief."""
        return lot_level(self.material, self.lot)


@dataclass(frozen=True)
class StripReading:
    """A strip as an observation of its lot.

    Attributes:
        strip: id of the record.
        lot: that the strip was cut from.
        found: its modulus in psi, with what it is known to.
        log_ratio: logarithm of the modulus over the handbook's.
        log_sd: of `log_ratio` about that of the lot: measuring, and the strip's own scatter.
    """

    strip: str
    lot: Lot
    found: Found
    log_ratio: float
    log_sd: float


def read_strip(test: StripTest, materials: Mapping[str, Material]) -> StripReading:
    """Read a strip test of a known material.

    Raises:
        ValueError: the strip is bent too far, or deflections do not grow with the load.
    """
    material = materials[test.material]
    found = modulus(_bent(test), _tolerances(test, material))
    return StripReading(
        strip=test.id,
        lot=Lot(test.material, test.lot),
        found=found,
        log_ratio=float(np.log(found.modulus / material.modulus_psi)),
        log_sd=float(np.hypot(found.log_sd, material.bow_sd)),
    )


def _bent(test: StripTest) -> Bent:
    return Bent(
        support=test.support,
        span=test.span_in.inch,
        width=test.width_in.inch,
        thickness=test.thickness_in.inch,
        loads=np.array([reading.load.lbf for reading in test.loads]),
        deflections=np.array([reading.deflection_in.inch for reading in test.loads]),
    )


def _tolerances(test: StripTest, material: Material) -> Tolerances:
    by_caliper = GLASS_SD_IN if material.kind is Kind.GLASS else THICKNESS_SD_IN
    return Tolerances(
        span=SPAN_SD_IN[test.span_in.taken],
        width=WIDTH_SD_IN[test.width_in.taken],
        thickness=test.thickness_sd_in or by_caliper[test.thickness_in.taken],
        load=HUNG_LOAD_SD,
        deflection=max(DEFLECTION_SD_IN[reading.deflection_in.taken] for reading in test.loads),
        seating=SEATING_SD_IN,
        modulus_over_shear=MODULUS_OVER_SHEAR,
    )


def with_strips(
    belief: Posterior, strips: Iterable[StripTest], materials: Mapping[str, Material]
) -> Posterior:
    """Return a belief that has also seen strips; their materials and lots are among its effects.

    At each set of scales this is what a fit to builds and strips together would give; sets that expected the strips
    better gain weight.

    Args:
        belief: that has seen none of them.
        strips: of known materials.
        materials: by name, with the strips'.

    Raises:
        ValueError: a strip is bent too far, or its deflections do not grow with the load.
    """
    readings = [read_strip(test, materials) for test in strips]
    if not readings:
        return belief
    known = _knowing(belief, [reading.lot for reading in readings], materials)
    design = np.array([_row(known, reading.lot, materials) for reading in readings])
    values = np.array([reading.log_ratio for reading in readings])
    return observed(known, design, values, np.array([reading.log_sd for reading in readings]) ** 2)


def lot_belief(belief: Posterior, lot: Lot, materials: Mapping[str, Material]) -> NormalMixture:
    """Return what is believed of the logarithm of a lot's modulus over the handbook's, one number."""
    known = _knowing(belief, [lot], materials)
    row = _row(known, lot, materials)
    variances = np.einsum("i,kij,j->k", row, known.covariances, row)
    return NormalMixture(known.weights[:, None], (known.means @ row)[:, None], np.sqrt(variances)[:, None])


def _row(belief: Posterior, lot: Lot, materials: Mapping[str, Material]) -> Array:
    """Return the column of a lot's modulus over the effects of a belief that knows it."""
    row = np.zeros(len(belief.effects))
    for name in _names(lot, materials):
        row[belief.effects.index(name)] = 1.0
    return row


def _names(lot: Lot, materials: Mapping[str, Material]) -> tuple[str, str]:
    """Return the effects that a lot's modulus is the sum of."""
    group = group_of_lots(materials[lot.material])
    return f"{STIFFNESS}{lot.material}", level_name(group, lot.level)


def _knowing(belief: Posterior, lots: Sequence[Lot], materials: Mapping[str, Material]) -> Posterior:
    """Return a belief with the materials and lots that are new to it added with their priors."""
    added: dict[str, Array] = {}
    for lot in lots:
        of_material, of_lot = _names(lot, materials)
        material = materials[lot.material]
        added[of_material] = np.full(len(belief.weights), material.species_sd**2)
        added[of_lot] = belief.scale(group_of_lots(material)) ** 2
    return with_effects(belief, added)
