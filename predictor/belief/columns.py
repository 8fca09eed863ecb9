"""The columns of the regression: how the log ratio of a reading to the statics follows from what may be behind it.

    log(read) = log(statics at handbook moduli) + sum over columns (column x effect) + reading error

A modulus enters with the statics' own sensitivity, so a wood that is stiffer than its handbook value moves a bow with
much of it more than one with little. Fitting and predicting use these columns alike.
"""

from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from math import log, tanh

import numpy as np
from numpy.typing import NDArray

from datasets.materials import Kind, Material
from datasets.removals import GAIN_OF, amount_of, gain_of
from datasets.schema import Method, Stage
from predictor.belief.beyond import LENGTH, STACK, WIDTH, Ranges, beyond
from predictor.belief.carrying_out import CarryingOut
from predictor.belief.habits import USUAL, Habits
from predictor.belief.scatter import (
    BOW,
    CUT_TO_ORDER,
    FINISH_SANDING,
    FORMS,
    LOTS_OF_GLASS,
    LOTS_OF_WOOD,
    SCALES,
    SHOOTING_IN,
    SMOOTH,
    UNNOTED_SCALE,
    Scatter,
)
from predictor.belief.settling import settling
from predictor.bows.features import Features, InputEffect

Array = NDArray[np.float64]
Named = Mapping[str, Array]
"""Columns by name, each of shape (draws,)."""

_CLIMATE = "moisture and temperature"

FINISHED = frozenset({Stage.FINISHED, Stage.SETTLED})


@dataclass(frozen=True)
class Moment:
    """What a weighing depends on besides the bow's geometry.

    Attributes:
        form: form and revision.
        draws_in: draws, counted as the standard does.
        stage: how far the bow has come.
        shots: arrows shot; nothing where nobody counted.
        scale: the scale's name; nothing where nobody noted it.
        builder: the build's, who is taken to have carried out its removals; nothing where nobody noted one.
    """

    form: str
    draws_in: tuple[float, ...]
    stage: Stage
    shots: int | None = None
    scale: str | None = None
    builder: str | None = None


@dataclass(frozen=True)
class Prior:
    """Mean and standard deviation of a common effect before anything is learned."""

    mean: float
    sd: float


@dataclass(frozen=True)
class Tolerance:
    """What one standard deviation of one independent input does to the readings, shape (draws,).

    Attributes:
        name: the same in all weighings of a build that share the input.
        source: the kind of doubt it belongs to.
        column: the effect.
        of: what it belongs to where that is not the row's own weighing: the weighing that called for a cut, or the
            day whose air all weighings of a bow on it share; empty for the row's own.
    """

    name: str
    source: str
    column: Array
    of: str = ""

    def name_beside(self, weighing: str) -> str:
        """Return its name beside other weighings, as one weighing's own."""
        return f"{self.name} of {self.of or weighing}"


@dataclass(frozen=True)
class Columns:
    """The columns of one weighing's readings.

    Attributes:
        offset: logarithm of the weights by the statics.
        sizes_in: the bow's main dimensions by name, in inches.
        common: columns of effects that all builds share.
        priors: of the common effects.
        groups: columns of the levels of each group, such as the lots of wood.
        build: columns of effects that each build has of its own.
        tolerances: of inputs that the build's weighings share.
        weighing: of what is this weighing's own or its day's, common to its readings.
        sd: of each reading by itself.
        unnoted: columns of lots that nobody noted, by group and material. Each is the bow's own, of the size of the
            group's levels: no other bow is known to have it.
    """

    offset: Array
    sizes_in: Mapping[str, float]
    common: Named
    priors: Mapping[str, Prior]
    groups: Mapping[str, Named]
    build: Named
    tolerances: tuple[Tolerance, ...]
    weighing: tuple[Tolerance, ...]
    sd: Array
    unnoted: Mapping[str, Named] = field(default_factory=dict)


THEORY = "what beam statics leave out"
STIFFNESS = "stiffness of "
"""What the name of a material's common effect starts with."""
DRAW_SHAPE = "shape of the draw curve"
EDGES_NOT_NOTED = "edges rounded and not noted"
COMMON_PRIORS = {
    THEORY: Prior(-0.02, 0.05),
    FINISH_SANDING: Prior(-0.008, 0.012),
    EDGES_NOT_NOTED: Prior(-0.017, 0.009),
    SHOOTING_IN: Prior(-0.012, 0.008),
    DRAW_SHAPE: Prior(0.0, 0.003),
}
"""Defaults: common practice, no source. That beam statics rather say too much than too little is reported by Tuijn and
Kooi, European Journal of Physics 13 (1992), section 4, who lowered the computed limb stiffness to meet a measured
weight; how much is a guess. Shooting in takes 0 to 3 %. Counted from a weighing after the edges are done, about a pound
of fifty goes through final sanding and the first 500 shots, and so much is the mean of these two; a bow on which no
rounding of edges is recorded, which the statics would count, loses 2.5 % by edges and sanding, give or take 1.5 %.
Finishers differ: the 2.5 % after the edges that the invented shop takes lie within the 90 % of sanding's prior."""


def columns(
    found: Features,
    moment: Moment,
    materials: Mapping[str, Material],
    scatter: Scatter,
    habits: Habits = USUAL,
) -> Columns:
    """Return the columns of one weighing.

    Args:
        found: features of the bow as it stood, at the draws of the weighing.
        moment: the rest of what the weighing depends on.
        materials: of the bow's layers.
        scatter: sizes of what no dimension explains.
        habits: the shop's law of settling, how it carries out what it plans, and the sizes of its bows.
    """
    weight, slope = np.array(found.weight_lbf), np.array(found.per_inch_lbf)
    ones = np.ones_like(weight)
    of_material, of_lot, unnoted = _moduli(found, materials)
    wood = sum(float(column[-1]) for name, column in of_material.items() if materials[name].kind is Kind.WOOD)
    finished = ones * (moment.stage in FINISHED)
    settled = ones * settling(moment.shots, moment.stage, habits.settling)
    common = {
        THEORY: ones,
        DRAW_SHAPE: np.array(moment.draws_in) - 28.0,
        FINISH_SANDING: finished,
        EDGES_NOT_NOTED: finished * edges_to_come(found),
        SHOOTING_IN: settled,
        **{f"{STIFFNESS}{name}": column for name, column in of_material.items()},
    }
    priors = COMMON_PRIORS | {
        f"{STIFFNESS}{name}": Prior(0.0, materials[name].species_sd) for name in of_material
    }
    for name, prior, column in _of_removals(found, moment.builder, habits.carrying_out):
        common[name] = common.get(name, 0.0) + column
        priors[name] = prior
    told = Columns(
        offset=np.log(weight),
        sizes_in={
            STACK: found.stack_in,
            LENGTH: found.limb_in,
            WIDTH: found.width_in,
        },
        common=common,
        priors=priors,
        groups={
            **of_lot,
            FORMS: {moment.form: ones},
            SCALES: {} if moment.scale is None else {moment.scale: ones},
            SMOOTH: {name: ones * value for name, value in _smooth(found, wood).items()},
        },
        build={
            BOW: ones,
            FINISH_SANDING: finished,
            SHOOTING_IN: settled,
            UNNOTED_SCALE: ones * (moment.scale is None),
            CUT_TO_ORDER: np.zeros_like(ones),
        },
        tolerances=tuple(_tolerances(found, materials, moment.builder, habits.carrying_out)),
        weighing=(Tolerance(_CLIMATE, _CLIMATE, ones * scatter.climate),),
        sd=np.hypot(scatter.scale_reading_lbf, scatter.draw_reading_in * slope) / weight,
        unnoted=unnoted,
    )
    return extrapolated(told, habits.seen_in)


def extrapolated(told: Columns, seen_in: Ranges) -> Columns:
    """Return columns with the doubt about the statics beyond the sizes that builds have had, if the bow lies there.

    What the statics are off by there is the shop's, so it is a common effect: no bow that taught has shown it, and the
    bow's own weighings do.

    Args:
        told: of one weighing.
        seen_in: smallest and largest of each dimension that taught.
    """
    ones = np.ones_like(told.offset)
    outside = tuple(beyond(told.sizes_in, seen_in))
    return replace(
        told,
        common={**told.common, **{one.name: ones * one.log_ratio for one in outside}},
        priors={**told.priors, **{one.name: Prior(0.0, one.exponent_sd) for one in outside}},
    )


def edges_to_come(found: Features) -> float:
    """Return the share of the usual rounding without a note that a bow's record leaves to come, 0 to 1.

    What was rounded on record counts by its loss by the statics: a bow loses to its edges what is usual or, where it is
    more, what is on record, and a little that is noted never makes a finished bow heavier.
    """
    noted = [effect.log_effect for effect in found.inputs if effect.input.name == gain_of(Method.EDGES)]
    lost = -float(np.mean(np.sum(noted, axis=0))) if noted else 0.0
    return min(max(1 + lost / COMMON_PRIORS[EDGES_NOT_NOTED].mean, 0.0), 1.0)


def group_of_lots(material: Material) -> str:
    """Return the group that the lots of a material belong to."""
    return LOTS_OF_GLASS if material.kind is Kind.GLASS else LOTS_OF_WOOD


def lot_level(material: str, lot: str) -> str:
    """Return the name of a lot among the levels of its group."""
    return f"{material}, {lot}"


def of_another_bow(told: Columns) -> Columns:
    """Return columns that share no lot which nobody noted with those of any other bow that they are laid beside."""
    return replace(
        told,
        unnoted={
            group: {f"another bow's {name}": column for name, column in lots.items()}
            for group, lots in told.unnoted.items()
        },
    )


def _moduli(
    found: Features, materials: Mapping[str, Material]
) -> tuple[dict[str, Array], dict[str, Named], dict[str, Named]]:
    """Return the modulus columns of each material, of each lot by kind of material, and of lots that nobody noted."""
    of_material: dict[str, Array] = {}
    of_lot: dict[str, dict[str, Array]] = defaultdict(dict)
    unnoted: dict[str, dict[str, Array]] = defaultdict(dict)
    for effect in found.moduli:
        column = np.array(effect.log_effect)
        of_material[effect.material] = of_material.get(effect.material, 0.0) + column
        group = group_of_lots(materials[effect.material])
        if effect.lot is None:
            unnoted[group][effect.material] = unnoted[group].get(effect.material, 0.0) + column
        else:
            level = lot_level(effect.material, effect.lot)
            of_lot[group][level] = of_lot[group].get(level, 0.0) + column
    return of_material, dict(of_lot), dict(unnoted)


def _of_removals(
    found: Features, builder: str | None, carrying_out: CarryingOut
) -> Iterator[tuple[str, Prior, Array]]:
    """Yield common effects that removals have a part in, by name: each method's gain, and mean shares of plans.

    A gain is the share of the statics' loss that is got, less one.
    """
    for effect in found.inputs:
        column = np.array(effect.log_effect)
        if _is_gain(effect):
            yield effect.input.source, Prior(0.0, effect.input.sd), column
        elif (amount := amount_of(effect.input.source)) is not None:
            usual = carrying_out.by(builder, amount)
            yield carrying_out.name(builder, amount), Prior(usual.mean, usual.mean_sd), column


def _is_gain(effect: InputEffect) -> bool:
    return effect.input.source.startswith(GAIN_OF)


def _tolerances(
    found: Features, materials: Mapping[str, Material], builder: str | None, carrying_out: CarryingOut
) -> Iterator[Tolerance]:
    for effect in found.inputs:
        if not _is_gain(effect):
            amount = amount_of(effect.input.source)
            sd = effect.input.sd if amount is None else carrying_out.by(builder, amount).sd
            yield Tolerance(effect.input.name, effect.input.source, np.array(effect.log_effect) * sd)
    for modulus in found.moduli:
        source = f"{modulus.material} from bow to bow"
        spread = materials[modulus.material].bow_sd
        yield Tolerance(f"{source}, {modulus.lot}", source, np.array(modulus.log_effect) * spread)


def _smooth(found: Features, wood: float) -> dict[str, float]:
    """Return the few basis functions of the smooth discrepancy: straight and bent in stack, length and wood's share.

    Each is bounded, for a bow far from the usual is no reason to believe any correction. Width is left out on
    purpose: shops narrow the bows that come out heavy, so width tells of the bow, not of the statics.
    """
    scaled = {
        "stack": log(found.stack_in / 0.36) / 0.2,
        "length": log(found.limb_in / 25.0) / 0.08,
        "wood": (wood - 0.2) / 0.06,
    }
    bounded = {name: 2 * tanh(value / 2) for name, value in scaled.items()}
    bent = {f"{name} squared": (value**2 - 1) / 2 for name, value in bounded.items()}
    return bounded | bent
