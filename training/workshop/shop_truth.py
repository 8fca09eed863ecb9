"""What is true of an invented workshop, kept apart from what its records say.

Every effect on weight is a logarithm unless its name ends in a unit.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from datasets.history import BowAt
from datasets.materials import Kind, handbook
from datasets.schema import Method, Stage
from training.workshop.shop_designs import DESIGNS, GLASS, WOODS

Array = NDArray[np.float64]
Key = tuple[str, str | None]
"""A material and its lot."""


@dataclass(frozen=True)
class Scatter:
    """Sizes of all effects: standard deviations, of the logarithm unless the name says otherwise.

    The defaults are choices of this project at the size that bench notes and handbooks suggest; none is
    measured.

    Attributes:
        wood: a species' mean about the handbook.
        wood_lot: a lot about its species.
        wood_bow: one bow's wood about its lot.
        glass: the glass about the handbook.
        glass_lot: a delivery about the glass's mean.
        glass_bow: one bow's glass about its delivery.
        glass_in: noted thickness of glass.
        lam_in: noted thickness of a lam.
        planned_lam_in: thickness of a lam that was noted as planned.
        waviness: unevenness of a lam, as a share of its thickness.
        glue_line_in: one glue line, alike within a bow.
        limbs: half the difference between the two limbs' cores and widths, as a share.
        radius_in: the corners as the cutter leaves them, never noted.
        trap_in: width of the back about that of the belly, never noted.
        brace_in: noted brace height.
        nock_offset_in: where the string sits in its nock.
        string: a string's stiffness, as a share.
        theory: what beam statics leave out, the same for all bows.
        form: weight of all bows of a form, by its true shape.
        bow: weight of one bow, by its own shape.
        climate: weight at one weighing, by moisture and temperature.
        draw_in: reading of the draw length.
        scale_lbf: reading of the scale.
        scale: a scale's bias.
        carried_out: share by which a removal misses its plan.
        method_gain: share by which a way of removing takes more or less weight than the statics say.
        finish_mean: mean share of weight that finish sanding takes.
        finish: its scatter from bow to bow.
        settling_mean: mean share of weight lost in the first 500 shots, over shops.
        settling_shop: scatter of a shop's mean loss, as a share of it.
        settling: scatter of a bow's loss about its shop's mean, as a share of it.
        lot_every: builds between two deliveries of a material, on average.
        only_finished: share of builds of which only the finished weighing was kept.
        planned_lams: share of builds whose lams are noted as planned.
        aim_high: share by which the shop presses bows too heavy on purpose.
    """

    wood: float = 0.10
    wood_lot: float = 0.06
    wood_bow: float = 0.02
    glass: float = 0.05
    glass_lot: float = 0.03
    glass_bow: float = 0.01
    glass_in: float = 0.0005
    lam_in: float = 0.0015
    planned_lam_in: float = 0.003
    waviness: float = 0.004
    glue_line_in: float = 0.001
    limbs: float = 0.005
    radius_in: float = 0.015
    trap_in: float = 0.03
    brace_in: float = 0.12
    nock_offset_in: float = 0.03
    string: float = 0.20
    theory: float = 0.02
    form: float = 0.015
    bow: float = 0.01
    climate: float = 0.01
    draw_in: float = 0.06
    scale_lbf: float = 0.15
    scale: float = 0.006
    carried_out: float = 0.12
    method_gain: float = 0.10
    finish_mean: float = 0.025
    finish: float = 0.008
    settling_mean: float = 0.012
    settling_shop: float = 0.5
    settling: float = 0.4
    lot_every: float = 25.0
    only_finished: float = 0.35
    planned_lams: float = 0.10
    aim_high: float = 0.11


@dataclass(frozen=True)
class Weighed:
    """One bow at one weighing.

    Attributes:
        weigh_in: id of its record; None if the shop kept none.
        stage: how far the bow had come.
        shots: arrows shot by then.
        bow: its true geometry.
        lbf_at_28: what a perfect scale would read at 28 in (standard), in usual air.
        climate: effect of the air on this day.
        draw_errors_in: true draw less the noted one, for each reading of the record.
    """

    weigh_in: str | None
    stage: Stage
    shots: int
    bow: BowAt
    lbf_at_28: float
    climate: float
    draw_errors_in: tuple[float, ...]


@dataclass(frozen=True)
class BowTruth:
    """One bow.

    Attributes:
        target_lbf: weight ordered at 28 in.
        moduli: psi by material and lot, of this bow's own lams.
        shape: effect of its own shape at 28 in, besides its form's.
        carried_out: of each removal, what was done over what was planned.
        finish_loss: effect of finish sanding, below zero.
        settling_at_500: share of weight lost in 500 shots.
        spoilt: effect of the fault for which it may not teach; 0 for a sound bow.
        weighed: in order of time.
    """

    target_lbf: float
    moduli: Mapping[Key, float]
    shape: float
    carried_out: tuple[float, ...]
    finish_loss: float
    settling_at_500: float
    spoilt: float
    weighed: tuple[Weighed, ...]


@dataclass(frozen=True)
class Mistake:
    """One slip of the pen: in which record, of what kind, and what the record would have said."""

    record: str
    kind: str
    right: object
    written: object


@dataclass(frozen=True)
class ShopTruth:
    """The workshop.

    Attributes:
        theory: what beam statics leave out.
        materials: each material's mean about the handbook.
        lots: psi of each lot.
        forms: effect of each form at 28 in, see `shape_effect`.
        scales: each scale's bias.
        method_gain: loss of weight over what the statics say, by method.
        settling_at_500: mean share of weight lost in 500 shots.
        settling_power: loss goes as shots to this power; 0 stands for the logarithm of 1 + shots / 20.
        bows: by id of the build.
        mistakes: slips in the records.
    """

    theory: float
    materials: Mapping[str, float]
    lots: Mapping[Key, float]
    forms: Mapping[str, float]
    scales: Mapping[str, float]
    method_gain: Mapping[Method, float]
    settling_at_500: float
    settling_power: float
    bows: Mapping[str, BowTruth] = field(default_factory=dict)
    mistakes: tuple[Mistake, ...] = ()

    def settled(self, shots: int) -> float:
        """Return the share of the loss at 500 shots that has come about after some shots."""
        if self.settling_power:
            return float((shots / 500) ** self.settling_power)
        return float(np.log1p(shots / 20) / np.log1p(500 / 20))


SCALES = {"hanging-digital": 0.25, "spring-brass": 0.5, "hanging-old": 0.5}
"""Scales of the invented shop and the smallest step of each, in pounds."""


def shape_effect(effect_at_28: float, draw_in: Array) -> Array:
    """Return what a shape's effect on weight at 28 in comes to at another draw.

    A shape that is off moves the force-draw curve along the draw, so it counts for more near brace.
    """
    return effect_at_28 * 21.0 / (draw_in - 7.0)


def positive(rng: np.random.Generator, mean: float, sd: float) -> float:
    """Draw from the gamma distribution of this mean and standard deviation: a loss that is never a gain."""
    return rng.gamma((mean / sd) ** 2, sd**2 / mean)


def draw_shop(rng: np.random.Generator, scatter: Scatter) -> ShopTruth:
    """Draw a workshop: its materials, forms, scales and habits, without any bow."""
    spreads = dict.fromkeys(WOODS, scatter.wood) | {GLASS: scatter.glass}
    return ShopTruth(
        theory=rng.normal(0, scatter.theory),
        materials={name: rng.normal(0, spread) for name, spread in spreads.items()},
        lots={},
        forms={design.name: rng.normal(0, scatter.form) for design in DESIGNS},
        scales={name: rng.normal(0, scatter.scale) for name in SCALES},
        method_gain={method: 1 + rng.normal(0, scatter.method_gain) for method in Method},
        settling_at_500=positive(rng, scatter.settling_mean, scatter.settling_mean * scatter.settling_shop),
        settling_power=float(rng.choice([0.0, 0.35])),
    )


def lot_modulus(rng: np.random.Generator, scatter: Scatter, shop: ShopTruth, material: str) -> float:
    """Draw the modulus of a new lot of a material, in psi."""
    known = handbook()[material]
    spread = scatter.glass_lot if known.kind is Kind.GLASS else scatter.wood_lot
    return known.modulus_psi * float(np.exp(shop.materials[material] + rng.normal(0, spread)))
