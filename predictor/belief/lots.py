"""What strips bent on the bench say of their lots' moduli, and of a belief that knew nothing of them.

A strip is an observation of its lot: log(strip / handbook) = material + lot + this lam's own scatter + error. A belief
that is normal at each set of scales takes it in closed form. Strips are taken from the book when something is
predicted, never when a model is trained, so none counts twice and a corrected one counts at once.

Strips read by one caliper, under one set of weights, over one setting of the edges share these errors, which do not
average out over them (input quantities that come from one instrument are correlated: JCGM 100:2008, the GUM, 5.2.4 and
F.1.2.3, from memory). Each such error is an effect of its own in the belief, the same in all strips that have it,
whatever their lot; a shop is taken to have one caliper, one micrometer and one set of weights. All else is a strip's
own: its readings and seating, the unevenness of its thickness, its scatter about the lot, and its width, for which a
caliper's error is no more than a thirtieth of that for the thickness. That the bows' lams may have been measured by the
same caliper is left out.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from math import sqrt
from types import MappingProxyType

import numpy as np

from datasets.materials import Kind, Material
from datasets.record import Taken
from datasets.schema import StripTest
from datasets.tolerances import (
    CALIPER_SD_IN,
    DEFLECTION_SD_IN,
    GLASS_SD_IN,
    HUNG_LOAD_SD,
    MICROMETER_SD_IN,
    SEATING_SD_IN,
    SPAN_SD_IN,
    THICKNESS_SD_IN,
    WIDTH_SD_IN,
)
from predictor.belief.columns import STIFFNESS, group_of_lots, lot_level
from predictor.belief.mixture import NormalMixture
from predictor.belief.posterior import Array, Posterior, observed, with_effects
from predictor.belief.seen import level_name
from predictor.belief.strip import Bent, Found, Tolerances, modulus

MODULUS_OVER_SHEAR = 16.0
"""E/G of wood along the grain, the middle of the Wood Handbook's Table 5-1 (FPL-GTR-282, 2021; from memory); that of
glass is smaller."""


@dataclass(frozen=True)
class Lot:
    """A delivery of a material; without a name one that nobody noted, known by a strip of it alone."""

    material: str
    lot: str | None
    strip: str = ""

    @property
    def level(self) -> str:
        """Its name among the lots of a belief."""
        return lot_level(self.material, self.lot or f"lot not noted ({self.strip})")


@dataclass(frozen=True)
class StripReading:
    """A strip as an observation of its lot.

    Attributes:
        strip: id of the record.
        lot: that the strip was cut from.
        found: its modulus in psi, with what it is known to.
        log_ratio: logarithm of the modulus over the handbook's.
        log_sd: of `log_ratio` about that of the lot: measuring, and the strip's own scatter.
        shared: what one standard deviation of each error that it has in common with other strips does to `log_ratio`,
            by the error's name.
    """

    strip: str
    lot: Lot
    found: Found
    log_ratio: float
    log_sd: float
    shared: Mapping[str, float]

    @property
    def shared_sd(self) -> float:
        """Standard deviation of `log_ratio` from what it shares with other strips."""
        return sqrt(sum(share**2 for share in self.shared.values()))

    @property
    def own_sd(self) -> float:
        """Standard deviation of `log_ratio` from all that is this strip's alone."""
        return sqrt(self.log_sd**2 - self.shared_sd**2)


def read_strip(test: StripTest, materials: Mapping[str, Material]) -> StripReading:
    """Read a strip test of a known material.

    Raises:
        ValueError: the strip is bent too far, or deflections do not grow with the load.
    """
    material = materials[test.material]
    found = modulus(_bent(test), _tolerances(test, material))
    return StripReading(
        strip=test.id,
        lot=Lot(test.material, test.lot, "" if test.lot else test.id),
        found=found,
        log_ratio=float(np.log(found.modulus / material.modulus_psi)),
        log_sd=float(np.hypot(found.log_sd, material.bow_sd)),
        shared=_shared(test, found),
    )


def _shared(test: StripTest, found: Found) -> Mapping[str, float]:
    """Return what strips have in common, by the error's name: caliper or micrometer, weights, span and shear."""
    sds = found.dimension_sds
    span = f"span of strips, {test.support}, {test.span_in.inch:.3f} in by {test.span_in.taken}"
    shared = {"weights hung on strips": sds["loads"], span: sds["span"], "shear of strips": -sds["shear"]}
    if test.thickness_sd_in is not None:
        sd = min(MICROMETER_SD_IN, test.thickness_sd_in)
        shared["micrometer of strips"] = -3 * sd / test.thickness_in.inch
    elif test.thickness_in.taken is Taken.CALIPER:
        shared["caliper of strips"] = -3 * CALIPER_SD_IN / test.thickness_in.inch
    return MappingProxyType(shared)


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
    known = _knowing_strips(belief, readings, materials)
    design = np.array([_row(known, reading.lot, materials, reading.shared) for reading in readings])
    values = np.array([reading.log_ratio for reading in readings])
    return observed(known, design, values, np.array([reading.own_sd for reading in readings]) ** 2)


def strip_belief(
    belief: Posterior, reading: StripReading, materials: Mapping[str, Material]
) -> NormalMixture:
    """Return what is expected of a strip's logarithm over the handbook's, one number, before it is counted."""
    known = _knowing_strips(belief, [reading], materials)
    return _sum_of_effects(known, _row(known, reading.lot, materials, reading.shared), reading.own_sd)


def lot_belief(belief: Posterior, lot: Lot, materials: Mapping[str, Material]) -> NormalMixture:
    """Return what is believed of the logarithm of a lot's modulus over the handbook's, one number."""
    known = _knowing(belief, [lot], materials)
    return _sum_of_effects(known, _row(known, lot, materials), 0.0)


def _sum_of_effects(belief: Posterior, row: Array, sd: float) -> NormalMixture:
    """Return what is believed of a sum of effects with an error of its own."""
    variances = np.einsum("i,kij,j->k", row, belief.covariances, row) + sd**2
    return NormalMixture(belief.weights[:, None], (belief.means @ row)[:, None], np.sqrt(variances)[:, None])


def _row(
    belief: Posterior,
    lot: Lot,
    materials: Mapping[str, Material],
    shared: Mapping[str, float] = MappingProxyType({}),
) -> Array:
    """Return the column of a lot's modulus, or of a strip of it, over the effects of a belief that knows them."""
    row = np.zeros(len(belief.effects))
    for name, factor in (*((name, 1.0) for name in _names(lot, materials)), *shared.items()):
        row[belief.effects.index(name)] = factor
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


def _knowing_strips(
    belief: Posterior, readings: Sequence[StripReading], materials: Mapping[str, Material]
) -> Posterior:
    """Return a belief with what strips are of, and the errors that they share, added with their priors."""
    known = _knowing(belief, [reading.lot for reading in readings], materials)
    certain = np.ones(len(belief.weights))
    return with_effects(known, {name: certain for reading in readings for name in reading.shared})
