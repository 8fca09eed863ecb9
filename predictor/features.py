"""What a bow's weights depend on: their derivatives with respect to every modulus and every recorded dimension.

Derivatives of the logarithm of the weight are central differences of solved bows, all bows of all cases in one batch.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from math import exp

import numpy as np
from numpy.typing import NDArray

from datasets.history import BowAt, Input, LimbAt, bow_at
from datasets.materials import Material
from datasets.schema import Build, Event, Form
from predictor.bow import Moduli, Refusal, handbook_moduli, notes_on, shape_depth, weights

Array = NDArray[np.float64]

LOG_MODULUS_STEP = 0.02
"""Step of the central differences in the logarithm of a modulus."""


CASES_AT_ONCE = 64
"""Cases solved in one batch: enough to keep the arrays busy, few enough for the memory."""


@dataclass(frozen=True)
class Case:
    """A build at a moment of its history, and the draws asked for, in inches from the back of the riser."""

    form: Form
    build: Build
    events: tuple[Event, ...]
    draws_in: tuple[float, ...]


@dataclass(frozen=True)
class ModulusEffect:
    """d log weight / d log modulus of one lot of one material, at each draw."""

    material: str
    lot: str | None
    log_effect: tuple[float, ...]


@dataclass(frozen=True)
class InputEffect:
    """d log weight / d input, per unit of the input, at each draw."""

    input: Input
    log_effect: tuple[float, ...]


@dataclass(frozen=True)
class Features:
    """Weights of one bow at its draws by the statics at handbook moduli, and what they depend on.

    Attributes:
        weight_lbf: at each draw.
        per_inch_lbf: slope of the weight with draw, at each draw.
        moduli: effects of the materials' moduli.
        inputs: effects of the recorded dimensions.
        stack_in: thickness of the lams at mid-limb.
        limb_in: length of a limb.
        width_in: of the belly at mid-limb.
        notes: what a reader should know of the geometry.
    """

    weight_lbf: tuple[float, ...]
    per_inch_lbf: tuple[float, ...]
    moduli: tuple[ModulusEffect, ...]
    inputs: tuple[InputEffect, ...]
    stack_in: float
    limb_in: float
    width_in: float
    notes: tuple[str, ...]


@dataclass(frozen=True)
class _Variant:
    """One bow to be solved."""

    bow: BowAt
    moduli: Moduli
    draws_in: tuple[float, ...]


def features(cases: Sequence[Case], materials: Mapping[str, Material]) -> list[Features | Refusal]:
    """Solve each case and take its derivatives.

    Args:
        cases: builds at moments of their histories.
        materials: every material that their layers name.

    Returns:
        For each case its features, or why it has none.
    """
    return [found for some in _in_batches(cases) for found in _batch_features(some, materials)]


def _in_batches(cases: Sequence[Case]) -> Iterator[Sequence[Case]]:
    for start in range(0, len(cases), CASES_AT_ONCE):
        yield cases[start : start + CASES_AT_ONCE]


def _batch_features(cases: Sequence[Case], materials: Mapping[str, Material]) -> list[Features | Refusal]:
    """Solve some cases together; where the records of one add up to no bow, each by itself."""
    try:
        return _solved_together(cases, materials)
    except ValueError as error:
        if len(cases) == 1:
            return [Refusal(reason=str(error), where=f"in the records of {cases[0].build.id}")]
    return [found for case in cases for found in _batch_features([case], materials)]


def _solved_together(cases: Sequence[Case], materials: Mapping[str, Material]) -> list[Features | Refusal]:
    groups = [_variants(case, materials) for case in cases]
    flat = [variant for group in groups for variant in group]
    most = max(len(case.draws_in) for case in cases)
    padded = [(*draws, *draws[-1:] * (most - len(draws))) for draws in (variant.draws_in for variant in flat)]
    solved = weights(
        [variant.bow for variant in flat], [variant.moduli for variant in flat], np.array(padded)
    )
    found: list[Features | Refusal] = []
    start = 0
    for case, group in zip(cases, groups, strict=True):
        rows, draws = slice(start, start + len(group)), slice(len(case.draws_in))
        start += len(group)
        refused = solved.refused[rows][0]
        found.append(refused or _features(group[0], solved.lbf[rows, draws], solved.lbf_per_in[rows, draws]))
    return found


def _variants(case: Case, materials: Mapping[str, Material]) -> list[_Variant]:
    """Return a case as recorded, then for each modulus and each input the case with it less and more by a step."""
    bow = bow_at(case.form, case.build, case.events)
    moduli = handbook_moduli(bow, materials)
    variants = [_Variant(bow, moduli, case.draws_in)]
    for key in moduli:
        for sign in (-1, 1):
            changed = {**moduli, key: moduli[key] * exp(sign * LOG_MODULUS_STEP)}
            variants.append(_Variant(bow, changed, case.draws_in))
    for given in bow.inputs:
        for sign in (-1, 1):
            shifted = bow_at(case.form, case.build, case.events, {given.name: sign * given.sd})
            variants.append(_Variant(_shaped_like(bow, shifted), moduli, case.draws_in))
    return variants


def _shaped_like(bow: BowAt, shifted: BowAt) -> BowAt:
    """Return a shifted bow whose limbs share the fitted shape of the bow as recorded."""
    upper = replace(shifted.upper, shape_depth=shape_depth(bow.upper))
    lower = replace(shifted.lower, shape_depth=shape_depth(bow.lower))
    return replace(shifted, upper=upper, lower=lower)


def _features(base: _Variant, lbf: Array, lbf_per_in: Array) -> Features:
    """Return a case's features from the weights of its variants, shape (variants, draws)."""
    steps = [LOG_MODULUS_STEP] * len(base.moduli) + [given.sd for given in base.bow.inputs]
    slopes = _slopes(np.log(lbf), np.array(steps))
    moduli = [ModulusEffect(*key, effect) for key, effect in zip(base.moduli, slopes, strict=False)]
    inputs = [InputEffect(*pair) for pair in zip(base.bow.inputs, slopes[len(moduli) :], strict=True)]
    return Features(
        weight_lbf=tuple(lbf[0].tolist()),
        per_inch_lbf=tuple(lbf_per_in[0].tolist()),
        moduli=tuple(moduli),
        inputs=tuple(inputs),
        stack_in=base.bow.upper.stack_at(base.bow.upper.length / 2),
        limb_in=base.bow.upper.length,
        width_in=_width_at_middle(base.bow.upper),
        notes=notes_on(base.bow),
    )


def _width_at_middle(limb: LimbAt) -> float:
    return float(np.interp(limb.length / 2, *limb.width_belly))


def _slopes(logs: Array, steps: Array) -> list[tuple[float, ...]]:
    """Return central differences of the logarithms of weight; from one side where the statics refused the other."""
    sides = np.stack([logs[1::2], logs[2::2]])
    solved = ~np.isnan(sides)
    less, more = np.where(solved, sides, logs[0])
    apart = steps[:, None] * solved.sum(axis=0)
    slopes = np.divide(more - less, apart, out=np.zeros_like(apart), where=apart > 0)
    return [tuple(row) for row in slopes.tolist()]
