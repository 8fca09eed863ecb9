"""Whole bows, from the geometry that the records give to what the statics say of them."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from math import cos, sin

import numpy as np
from numpy.typing import NDArray

from datasets.history import UNNOTED_EDGES, UNNOTED_TRAP, BowAt, LimbAt
from datasets.materials import Material, handbook
from datasets.record import Record
from datasets.removals import gain_of
from datasets.schema import Method, StringMaterial
from predictor.mechanics import unlike
from predictor.mechanics.elastica import LimbGrid
from predictor.mechanics.limb import Layer, Limb, limb_grid
from predictor.mechanics.statics import Braced, Drawn, Status, brace, draw
from predictor.mechanics.unlike import TwoLimbs
from predictor.shape.profile import Profile, fit_profile, with_follow

Array = NDArray[np.float64]
Moduli = Mapping[tuple[str, str | None], float]
"""Young's modulus in psi of each material and lot of a bow."""

STRAND_STIFFNESS_LBF = {StringMaterial.POLYESTER: 430.0, StringMaterial.LOW_STRETCH: 1700.0}
"""Force per unit of strain of one strand. Common practice, no source: under 100 lb a polyester string of 14 strands and
some 60 in grows by an inch, a low-stretch one by a quarter."""


class Refusal(Record):
    """Why there is no weight: what cannot be, and where."""

    reason: str
    where: str


def handbook_moduli(bow: BowAt, materials: Mapping[str, Material]) -> Moduli:
    """Return the moduli of a bow's lams as the handbooks or the shop's own materials have them, whatever the lot."""
    lams = (*bow.upper.lams, *bow.lower.lams)
    return {(lam.material, lam.lot): materials[lam.material].modulus_psi for lam in lams}


def limb_of(bow: BowAt, limb: LimbAt, moduli: Moduli, profile: Profile | None = None) -> Limb:
    """Return one limb of a bow as the statics take it, with the unstrung shape that it has or is given."""
    return Limb(
        length=limb.length,
        layers=tuple(
            Layer((lam.stations, lam.thickness), moduli[lam.material, lam.lot]) for lam in limb.lams
        ),
        width_back=limb.width_back,
        width_belly=limb.width_belly,
        edge_radius=limb.edge_radius,
        profile=profile or unstrung(bow, limb),
        glue_thickness=bow.glue_line,
        glue_modulus=handbook()["epoxy"].modulus_psi,
        nock_offset=limb.stack_at(limb.length) / 2 + bow.nock_offset_shift,
    )


def unstrung(
    bow: BowAt, limb: LimbAt, shaped_like: LimbAt | None = None, *, forgiving: bool = True
) -> Profile:
    """Return a limb's unstrung shape, fitted to the readings that the bow or its form has.

    Args:
        bow: the bow.
        limb: one of its limbs.
        shaped_like: another limb whose fit to share: two that are compared must not differ by how each is fitted.
        forgiving: whether readings that the others contradict are doubted; if not, all are followed.
    """
    fitted = shaped_like or limb
    depth = (fitted.stack_at(0.0) / 2, fitted.stack_at(fitted.length) / 2)
    near = tuple(round(value / _DEPTH_STEP_IN) * _DEPTH_STEP_IN for value in depth)
    profile = _fitted(fitted.profile, bow.riser_half, round(fitted.length), near, fitted.kinks, forgiving)
    deeper = depth[0] - near[0]
    profile = replace(
        profile,
        length=limb.length,
        root_distance=profile.root_distance - deeper * sin(profile.root_angle),
        root_depth=profile.root_depth + deeper * cos(profile.root_angle),
    )
    return with_follow(profile, limb.follow) if limb.follow else profile


_DEPTH_STEP_IN = 0.02
"""Bows whose neutral axes lie this near share one fit of their form's curvature; their roots keep their own depth."""


@lru_cache(maxsize=4096)
def _fitted(
    readings: tuple[tuple[float, float], ...],
    fade: float,
    length: float,
    neutral_depth: tuple[float, float],
    kinks: tuple[float, ...],
    forgiving: bool,
) -> Profile:
    return fit_profile(
        readings, fade, length, neutral_depth=neutral_depth, breakpoints=kinks, forgiving=forgiving
    )


def string_stiffness(bow: BowAt) -> float:
    """Return the bow string's stiffness EA in pounds per unit of strain."""
    return bow.string.strands * STRAND_STIFFNESS_LBF[bow.string.material] * bow.string_stiffness_factor


@dataclass(frozen=True, eq=False)
class Solved:
    """A batch of bows, each solved as the symmetric bows that its limbs would make: one, or two that differ.

    Attributes:
        grid: the limbs.
        owner: place of each limb's bow in the batch, shape (limbs,).
        braced: each limb at brace.
        drawn: each limb at the draws of its bow.
        refused: for each bow why it is not solved, or nothing.
    """

    grid: LimbGrid
    owner: NDArray[np.intp]
    braced: Braced
    drawn: Drawn
    refused: tuple[Refusal | None, ...]

    def mean(self, values: Array) -> Array:
        """Return the mean over each bow's limbs of values by limb, shape (limbs, ...) to (bows, ...)."""
        total = np.zeros((len(self.refused), *values.shape[1:]))
        np.add.at(total, self.owner, values)
        return total / np.bincount(self.owner).reshape(-1, *[1] * (values.ndim - 1))


@dataclass(frozen=True)
class Weights:
    """Draw weights of a batch of bows.

    Attributes:
        lbf: shape (bows, draws); not a number where refused.
        lbf_per_in: slope of the weight with draw, shape (bows, draws).
        refused: for each bow why it has no weights, or nothing.
    """

    lbf: Array
    lbf_per_in: Array
    refused: tuple[Refusal | None, ...]


def weights(bows: Sequence[BowAt], moduli: Sequence[Moduli], draws_in: Array) -> Weights:
    """Return what the statics say that bows weigh.

    Args:
        bows: geometries at their moments.
        moduli: of each bow's materials and lots.
        draws_in: from the back of the riser, shape (bows, draws).
    """
    return on_riser(bows, limb_by_limb(bows, moduli, draws_in))


def limb_by_limb(bows: Sequence[BowAt], moduli: Sequence[Moduli], draws_in: Array) -> Solved:
    """Return bows of which each limb is solved as if it were both; arguments as of `weights`."""
    owner, limbs = limbs_of(bows, moduli)
    return solve(bows, owner, limb_grid(limbs), draws_in)


def on_riser(bows: Sequence[BowAt], solved: Solved) -> Weights:
    """Return the weights of bows from their limbs as solved each by itself.

    A bow of like limbs that is held and drawn at its centre weighs what its limb says. All others are solved anew, both
    limbs together. The mean of the symmetric bows that the limbs would make is only right to first order in what they
    differ by: 0.2 % above the weight for limbs 10 % apart in width.
    """
    lbf, slope = solved.mean(solved.drawn.force), solved.mean(solved.drawn.slope)
    refused = list(solved.refused)
    places = [place for place, bow in enumerate(bows) if refused[place] is None and _lopsided(bow)]
    if not places:
        return Weights(lbf, slope, solved.refused)
    some = [bows[place] for place in places]
    upper, lower = (np.searchsorted(solved.owner, places, side) for side in ("left", "right"))
    two = two_limbs(some, solved.grid.take(upper), solved.grid.take(lower - 1))
    braced = unlike.brace(two, np.array([bow.brace for bow in some]))
    drawn = unlike.draw(two, braced, solved.drawn.draw[upper])
    lbf[places], slope[places] = drawn.force, drawn.slope
    for row, place in enumerate(places):
        refused[place] = refusal(braced, drawn, row)
    return Weights(lbf, slope, tuple(refused))


def _lopsided(bow: BowAt) -> bool:
    return bow.upper != bow.lower or bow.pivot_above != 0 or bow.nocking_above != 0


def two_limbs(bows: Sequence[BowAt], upper: LimbGrid, lower: LimbGrid) -> TwoLimbs:
    """Return bows with both of their limbs for the statics, from grids of as many limbs."""
    return TwoLimbs(
        upper=upper,
        lower=lower,
        string_stiffness=np.array([string_stiffness(bow) for bow in bows]),
        pivot_distance=np.array([bow.pivot_above for bow in bows]),
        pivot_depth=np.array([bow.pivot_depth for bow in bows]),
        nocking_height=np.array([bow.pivot_above + bow.nocking_above for bow in bows]),
    )


def limbs_of(bows: Sequence[BowAt], moduli: Sequence[Moduli]) -> tuple[NDArray[np.intp], list[Limb]]:
    """Return the limbs of bows, one where both are the same, and the place of each one's bow among the bows."""
    pairs = [(bow.upper,) if bow.upper == bow.lower else (bow.upper, bow.lower) for bow in bows]
    owner = np.array([place for place, limbs in enumerate(pairs) for _ in limbs])
    return owner, [limb_of(bows[at], limb, moduli[at]) for at, limbs in enumerate(pairs) for limb in limbs]


def solve(bows: Sequence[BowAt], owner: NDArray[np.intp], grid: LimbGrid, draws_in: Array) -> Solved:
    """String and draw each limb of bows as if it were both of its bow's; arguments as of `weights` and `limbs_of`."""
    height = np.array([bows[at].brace for at in owner])
    braced = brace(grid, height, np.array([string_stiffness(bows[at]) for at in owner]))
    drawn = draw(grid, braced, draws_in[owner])
    refused: list[Refusal | None] = [None] * len(bows)
    for row in np.flatnonzero((braced.status != Status.OK) | np.any(drawn.status != Status.OK, axis=1)):
        refused[owner[row]] = refused[owner[row]] or refusal(braced, drawn, int(row))
    return Solved(grid, owner, braced, drawn, tuple(refused))


def refusal(braced: Braced | unlike.Braced, drawn: Drawn | unlike.Drawn, row: int) -> Refusal | None:
    """Return why one bow of a batch was not solved, and where; nothing if it was."""
    slack = unbraced(braced, row)
    unsolved = np.flatnonzero(drawn.status[row] != Status.OK)
    if slack is not None or not unsolved.size:
        return slack
    place = int(unsolved[0])
    return Refusal(
        reason=Status(drawn.status[row, place]).reason,
        where=f"asked for {drawn.draw[row, place]:.2f} in from the back, got to {drawn.reached[row, place]:.2f} in",
    )


def unbraced(braced: Braced | unlike.Braced, row: int) -> Refusal | None:
    """Return why one bow of a batch cannot be braced, and where; nothing if it can."""
    status = Status(braced.status[row])
    if status is Status.OK:
        return None
    return Refusal(reason=status.reason, where=f"at a brace of {braced.height[row]:.2f} in from the back")


def notes_on(bow: BowAt) -> tuple[str, ...]:
    """Return what a reader should know of the numbers that a geometry rests on: shapes not to be trusted, defaults."""
    doubts = {finding.message for limb in (bow.upper, bow.lower) for finding in unstrung(bow, limb).findings}
    given = {one.name: one.source for one in bow.inputs}
    unnoted = {source for source in given.values() if source.endswith("not noted")}
    told = (_unnoted_in_words(source, given) for source in sorted(unnoted))
    return (*sorted(doubts), *(f"{what}: a usual value is taken" for what in told))


def _unnoted_in_words(source: str, given: Collection[str]) -> str:
    """Return what was not noted, beside the names of inputs that were: a later removal or other places may be."""
    if source == UNNOTED_EDGES and gain_of(Method.EDGES) in given:
        return "edges' radius before their removal not noted"
    if source == UNNOTED_TRAP:
        if any(name.startswith("widths.") and name.endswith(".back") for name in given):
            return "trap not noted where only the belly's width is"
        if gain_of(Method.TRAP) in given:
            return "trap before its removal not noted"
    return source
