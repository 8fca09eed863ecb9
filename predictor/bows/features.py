"""What a bow's weights depend on: their derivatives with respect to every modulus and every recorded dimension.

Each bow is solved once. Its derivatives are those of `predictor.bows.tangents`, from bows that are changed by a small
step; what a modulus does to a section is the share of the stiffness that its lams have there.

A bow of unlike limbs weighs what both do on their riser, while derivatives of the logarithm are those of the mean of
its limbs, each by itself. Of what changes both limbs they are right to a thousandth; of what one limb has alone they
are off, for limbs that differ by a tenth, by a tenth at full draw and by more near brace.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from datasets.history import BowAt, LamAt, LimbAt, bow_at, shifted_bows
from datasets.ledger import Input
from datasets.materials import Material
from datasets.schema import Build, Event, Form
from predictor.bows.bow import (
    Moduli,
    Refusal,
    Solved,
    handbook_moduli,
    limb_of,
    limbs_of,
    notes_on,
    on_riser,
    solve,
    string_stiffness,
    unstrung,
)
from predictor.bows.stiffness_slopes import stiffness_changes
from predictor.bows.tangents import Neighbours, forces, half_strings
from predictor.mechanics.elastica import LimbGrid
from predictor.mechanics.limb import Limb, LimbSections, limb_grid, limb_sections
from predictor.shape.profile import Profile

Array = NDArray[np.float64]
Places = NDArray[np.intp]

LOG_MODULUS_STEP = 1e-5
"""Step in the logarithm of a modulus."""

INPUT_STEP = 1e-4
"""Step in an input, as a part of its standard deviation."""

CASES_AT_ONCE = 512
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
class _Stood:
    """A case's bow as recorded.

    Attributes:
        rows: of its limbs among those of all cases: one where both are the same.
        first: place of its first effect among those of all cases; moduli come first, then inputs.
    """

    case: Case
    bow: BowAt
    moduli: Moduli
    rows: tuple[int, ...]
    first: int

    @property
    def effects(self) -> int:
        """How many moduli and inputs there are."""
        return len(self.moduli) + len(self.bow.inputs)


@dataclass(frozen=True)
class _Step:
    """What a step in one input makes of one limb.

    Attributes:
        effect: place of the effect among those of all cases.
        row: of the limb as recorded.
        share: part that this limb has in its bow.
        step: change of the input.
        limb: the limb with the input changed.
        brace: height at which the bow is braced then.
        string: stiffness of its string then.
    """

    effect: int
    row: int
    share: float
    step: float
    limb: Limb
    brace: float
    string: float


def features(cases: Sequence[Case], materials: Mapping[str, Material]) -> list[Features | Refusal]:
    """Solve each case and take its derivatives.

    Args:
        cases: builds at moments of their histories.
        materials: every material that their layers name.

    Returns:
        For each case its features, or why it has none.
    """
    found = {
        place: one
        for places in batches(cases)
        for place, one in zip(places, _batch_features([cases[p] for p in places], materials), strict=True)
    }
    return [found[place] for place in range(len(cases))]


def batches(cases: Sequence[Case]) -> Iterator[list[int]]:
    """Yield places of cases to solve together, those of like many draws: a case that has fewer costs as much."""
    order = sorted(range(len(cases)), key=lambda place: len(cases[place].draws_in))
    for start in range(0, len(order), CASES_AT_ONCE):
        yield order[start : start + CASES_AT_ONCE]


def _batch_features(cases: Sequence[Case], materials: Mapping[str, Material]) -> list[Features | Refusal]:
    """Solve some cases together; where the records of one add up to no bow, in parts, down to that one."""
    try:
        return _solved_together(cases, materials)
    except ValueError as error:
        if len(cases) == 1:
            return [Refusal(reason=str(error), where=f"in the records of {cases[0].build.id}")]
    found = {
        place: one
        for places in _parts(cases)
        for place, one in zip(places, _batch_features([cases[p] for p in places], materials), strict=True)
    }
    return [found[place] for place in range(len(cases))]


def _parts(cases: Sequence[Case]) -> tuple[list[int], list[int]]:
    """Return places of cases to solve apart: those that stand as recorded and the others, or else either half."""
    places = list(range(len(cases)))
    stand = [place for place in places if _stands(cases[place])]
    if 0 < len(stand) < len(cases):
        return stand, sorted({*places} - {*stand})
    half = len(cases) // 2
    return places[:half], places[half:]


def _stands(case: Case) -> bool:
    try:
        bow_at(case.form, case.build, case.events)
    except ValueError:
        return False
    return True


def _solved_together(cases: Sequence[Case], materials: Mapping[str, Material]) -> list[Features | Refusal]:
    bows = [bow_at(case.form, case.build, case.events) for case in cases]
    moduli = [handbook_moduli(bow, materials) for bow in bows]
    owner, limbs = limbs_of(bows, moduli)
    stood = _stood(cases, bows, moduli, owner)
    steps = [step for one in stood for step in _input_steps(one, [limbs[row].profile for row in one.rows])]
    sections = limb_sections(limbs)
    solved = solve(bows, owner, sections.grid, _padded([case.draws_in for case in cases]))
    changes = (_other_moduli(stood, solved, sections), *_other_inputs(steps, limbs, solved, sections))
    slopes = _effects(changes, solved, stood[-1].first + stood[-1].effects)
    told, halves = on_riser(bows, solved), solved.mean(solved.drawn.force)
    return [
        refused
        or _features(
            one,
            told.lbf[place],
            told.lbf_per_in[place],
            slopes[one.first : one.first + one.effects] / halves[place],
        )
        for place, (one, refused) in enumerate(zip(stood, told.refused, strict=True))
    ]


def _stood(
    cases: Sequence[Case], bows: Sequence[BowAt], moduli: Sequence[Moduli], owner: Places
) -> list[_Stood]:
    counts = [len(own) + len(bow.inputs) for bow, own in zip(bows, moduli, strict=True)]
    firsts = np.cumsum([0, *counts[:-1]]).tolist()
    rows = [tuple(np.flatnonzero(owner == place).tolist()) for place in range(len(bows))]
    return [_Stood(*each) for each in zip(cases, bows, moduli, rows, firsts, strict=True)]


def _input_steps(stood: _Stood, profiles: Sequence[Profile]) -> Iterator[_Step]:
    """Yield the limbs of a bow with each of its inputs changed by a step, their fitted shapes as recorded."""
    case, bow = stood.case, stood.bow
    steps = [INPUT_STEP * given.sd for given in bow.inputs]
    shifts = ({given.name: step} for given, step in zip(bow.inputs, steps, strict=True))
    others = shifted_bows(case.form, case.build, case.events, shifts)
    first = stood.first + len(stood.moduli)
    for effect, (step, shifted) in enumerate(zip(steps, others, strict=True), first):
        alike = len(stood.rows) == 1 and shifted.upper == shifted.lower
        pair = (shifted.upper,) if alike else (shifted.upper, shifted.lower)
        recorded = ((stood.rows[0], bow.upper, profiles[0]), (stood.rows[-1], bow.lower, profiles[-1]))
        for limb, (row, before, profile) in zip(pair, recorded, strict=False):
            longer = limb.length != before.length
            shape = unstrung(shifted, limb, shaped_like=before) if longer else profile
            changed = limb_of(shifted, limb, stood.moduli, shape)
            string = string_stiffness(shifted)
            yield _Step(effect, row, 1 / len(pair), step, changed, shifted.brace, string)


def _padded(draws_in: Sequence[tuple[float, ...]]) -> Array:
    """Return draws as an array; a case that has fewer than others repeats its last."""
    most = max(len(draws) for draws in draws_in)
    return np.array([(*draws, *draws[-1:] * (most - len(draws))) for draws in draws_in])


@dataclass(frozen=True, eq=False)
class _Changed:
    """Limbs that are changed by a step in one modulus or input each, k of them.

    Attributes:
        effect: place of the effect among those of all cases, shape (k,).
        row: of the limb as recorded, shape (k,).
        per_unit: what a pound of this limb's change makes of its bow's change per unit of the effect, shape (k,).
        near: the bows that such limbs make.
    """

    effect: Places
    row: Places
    per_unit: Array
    near: Neighbours


def _effects(changes: Sequence[_Changed], solved: Solved, count: int) -> Array:
    """Return the change of weight at each draw per unit of each effect, shape (effects, draws)."""
    grid, braced = solved.grid, solved.braced
    unchanged = Neighbours(grid, braced.height, braced.string_stiffness)
    as_solved = _forces(unchanged, solved, np.arange(len(grid.step)))
    effects = np.zeros((count, as_solved.shape[1]))
    for changed in changes:
        more = _forces(changed.near, solved, changed.row) - as_solved[changed.row]
        np.add.at(effects, changed.effect, changed.per_unit[:, None] * more)
    return effects


def _other_moduli(stood: Sequence[_Stood], solved: Solved, sections: LimbSections) -> _Changed:
    """Return the limbs with each modulus changed by a step."""
    changes = [
        (effect, row, 1 / len(one.rows), _lams_of(key, lams, sections.layer_shares.shape[-1]))
        for one in stood
        for effect, key in enumerate(one.moduli, one.first)
        for row, lams in zip(one.rows, (one.bow.upper.lams, one.bow.lower.lams), strict=False)
    ]
    effect, row, share, lams = (np.array(column) for column in zip(*changes, strict=True))
    stiffer = np.einsum("kmnl,kl->kmn", sections.layer_shares[row], lams)
    limb = solved.grid.take(row)
    limb = replace(limb, flexibility=limb.flexibility * np.exp(-LOG_MODULUS_STEP * stiffer))
    braced = solved.braced
    near = Neighbours(limb, braced.height[row], braced.string_stiffness[row])
    return _Changed(effect, row, share / LOG_MODULUS_STEP, near)


def _lams_of(key: tuple[str, str | None], lams: Sequence[LamAt], most: int) -> list[float]:
    """Return ones for the lams of a material and lot, noughts for others and up to a length."""
    there = [float((lam.material, lam.lot) == key) for lam in lams]
    return there + [0.0] * (most - len(there))


def _other_inputs(
    steps: Sequence[_Step], limbs: Sequence[Limb], solved: Solved, sections: LimbSections
) -> Iterator[_Changed]:
    """Yield the limbs with each input changed by a step: first those of the same length, then those of another."""
    same = [step for step in steps if step.limb.length == limbs[step.row].length]
    other = [step for step in steps if step.limb.length != limbs[step.row].length]
    if same:
        yield _changed(same, _of_same_length(same, limbs, solved, sections))
    if other:
        yield _changed(other, limb_grid([step.limb for step in other], solved.grid.step.shape[1]))


def _of_same_length(
    steps: Sequence[_Step], limbs: Sequence[Limb], solved: Solved, sections: LimbSections
) -> LimbGrid:
    """Return changed limbs whose stations and unstrung shapes are the recorded ones', from the slopes of stiffness."""
    rows = [step.row for step in steps]
    stiffer = stiffness_changes(limbs, sections.station, rows, [step.limb for step in steps])
    recorded = solved.grid.take(np.array(rows))
    return replace(
        recorded,
        flexibility=recorded.flexibility * np.exp(-stiffer),
        nock_offset=np.array([step.limb.nock_offset for step in steps]),
    )


def _changed(steps: Sequence[_Step], limb: LimbGrid) -> _Changed:
    near = Neighbours(
        limb=limb,
        height=np.array([step.brace for step in steps]),
        string_stiffness=np.array([step.string for step in steps]),
    )
    return _Changed(
        effect=np.array([step.effect for step in steps]),
        row=np.array([step.row for step in steps]),
        per_unit=np.array([step.share / step.step for step in steps]),
        near=near,
    )


def _forces(near: Neighbours, solved: Solved, rows: Places) -> Array:
    """Return the weights of bows near those solved with the limbs of some rows, shape (rows, draws)."""
    half = half_strings(near, solved.braced.hold.take(rows))
    drawn = solved.drawn
    columns = range(drawn.draw.shape[1])
    return np.stack(
        [forces(near, half, drawn.hold(c).take(rows), drawn.draw[rows, c]) for c in columns], axis=1
    )


def _features(one: _Stood, lbf: Array, lbf_per_in: Array, effects: Array) -> Features:
    """Return a case's features from its weights, (draws,), and the changes of their logarithms, (effects, draws)."""
    draws = slice(len(one.case.draws_in))
    bow, lbf = one.bow, lbf[draws]
    slopes = [tuple(row) for row in effects[:, draws].tolist()]
    moduli = [ModulusEffect(*key, effect) for key, effect in zip(one.moduli, slopes, strict=False)]
    inputs = [InputEffect(*pair) for pair in zip(bow.inputs, slopes[len(moduli) :], strict=True)]
    return Features(
        weight_lbf=tuple(lbf.tolist()),
        per_inch_lbf=tuple(lbf_per_in[draws].tolist()),
        moduli=tuple(moduli),
        inputs=tuple(inputs),
        stack_in=bow.upper.stack_at(bow.upper.length / 2),
        limb_in=bow.upper.length,
        width_in=_width_at_middle(bow.upper),
        notes=notes_on(bow),
    )


def _width_at_middle(limb: LimbAt) -> float:
    return float(np.interp(limb.length / 2, *limb.width_belly))
