"""What a little stock is worth in pounds: taken off the sides, the back's corners, the edges or the glass, anywhere.

The weight's dependence on stiffness along the limb, times what the stock adds to the stiffness there. Only stiffness
counts: thinner glass also brings the string nearer to the neutral axis, by half of what is taken off at the nock, which
gives back about a hundredth of what is lost.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from types import MappingProxyType
from typing import Self

import numpy as np
from numpy.typing import NDArray

from datasets.history import BowAt
from datasets.removals import Polyline
from datasets.schema import Method
from predictor.bows.bow import Moduli, Refusal, limb_of, refusal, string_stiffness
from predictor.bows.influence import influence
from predictor.mechanics.limb import Limb, LimbSections, limb_sections
from predictor.mechanics.statics import brace, draw

Array = NDArray[np.float64]

UNIT_IN: Mapping[Method, float] = MappingProxyType(
    {
        Method.SIDES: 1 / 64,
        Method.TRAP: 1 / 64,
        Method.EDGES: 1 / 32,
        Method.BACK_GLASS: 0.001,
        Method.BELLY_GLASS: 0.001,
    }
)
"""What the worth is told for, in inches: off the width, off the back's width, onto the edges' radius, off the glass."""


@dataclass(frozen=True, eq=False)
class LimbWorth:
    """What stock on one limb is worth; m steps of three nodes each.

    Attributes:
        station: nodes, inches from the fade, nock first, shape (m, 3).
        length: of limb that each node stands for, inches, (m, 3).
        stiffness: d log weight / d log EI per inch of this limb, shape (m, 3).
        lost: pounds that a unit (`UNIT_IN`) taken off costs, per inch of limb, by method, each (m, 3).
    """

    station: Array
    length: Array
    stiffness: Array
    lost: Mapping[Method, Array]

    def lost_between(self, method: Method, inner_in: float, outer_in: float) -> float:
        """Return what a unit off a stretch of limb costs, in pounds; the stretch is rounded to whole steps."""
        middle = self.station[:, 1:2]
        there = (inner_in <= middle) & (middle < outer_in)
        return float((there * self.length * self.lost[method]).sum())


@dataclass(frozen=True)
class Worth:
    """What stock on a bow's limbs is worth at one draw; what both limbs lose adds up.

    Attributes:
        unlike: whether the limbs differ, so that the weight is the mean of two symmetric bows'.
        got: share of the statics' loss that is got, by method; nothing where the statics stand alone.
    """

    weight_lbf: float
    unlike: bool
    upper: LimbWorth
    lower: LimbWorth
    got: Mapping[Method, float] = field(default_factory=dict)

    def of_weight(self, lbf: float) -> Self:
        """Return the same shares of another weight, such as the predicted one.

        It holds where limbs are stiffer or softer all along: a limb of another modulus has nearly the same dependence
        of the logarithm of its weight on stiffness.
        """
        factor = lbf / self.weight_lbf
        return replace(self._scaled(dict.fromkeys(UNIT_IN, factor)), weight_lbf=lbf)

    def times(self, got: Mapping[Method, float]) -> Self:
        """Return what is really lost, of which the statics tell `got` times as much, by method."""
        return replace(self._scaled(got), got=got)

    def _scaled(self, factors: Mapping[Method, float]) -> Self:
        upper, lower = (
            replace(limb, lost={method: factors[method] * lost for method, lost in limb.lost.items()})
            for limb in (self.upper, self.lower)
        )
        return replace(self, upper=upper, lower=lower)


def worth(bow: BowAt, moduli: Moduli, draw_in: float) -> Worth | Refusal:
    """Return what stock is worth on a bow at an unchanged brace height.

    Args:
        bow: geometry at its moment.
        moduli: of its materials and lots.
        draw_in: inches from the back of the riser.

    Returns:
        The worth, or why the bow cannot be braced or drawn so far.
    """
    limbs = [limb_of(bow, limb, moduli) for limb in (bow.upper, bow.lower)]
    sections = limb_sections(limbs)
    braced = brace(sections.grid, bow.brace, string_stiffness(bow))
    drawn = draw(sections.grid, braced, [draw_in])
    refused = refusal(braced, drawn, 0) or refusal(braced, drawn, 1)
    if refused is not None:
        return refused
    # Each limb makes half the weight of the symmetric bow that two like it would be.
    force = drawn.force[:, 0] / 2
    density = influence(sections.grid, braced, [draw_in]).density[:, 0]
    upper, lower = (
        _of_limb(limb, row, sections, force[row] * density[row], force.sum())
        for row, limb in enumerate(limbs)
    )
    return Worth(float(force.sum()), bow.upper != bow.lower, upper, lower)


def _of_limb(limb: Limb, row: int, sections: LimbSections, lbf: Array, weight: float) -> LimbWorth:
    """Return the worth of one limb from d weight / d log EI per inch at its nodes."""
    thinned = limb_sections([_less(limb, method) for method in UNIT_IN], steps=len(lbf))
    stiffness_lost = np.log(sections.stiffness[row] / thinned.stiffness)
    return LimbWorth(
        station=sections.station[row],
        length=sections.grid.step[row][:, None] / 6 * np.array([1.0, 4.0, 1.0]),
        stiffness=lbf / weight,
        lost=dict(zip(UNIT_IN, lbf * stiffness_lost, strict=True)),
    )


def _less(limb: Limb, method: Method) -> Limb:
    """Return a limb with one unit taken off by a method."""
    return _LESS[method](limb, UNIT_IN[method])


def _narrowed(limb: Limb, unit: float) -> Limb:
    return replace(
        limb, width_back=_shifted(limb.width_back, -unit), width_belly=_shifted(limb.width_belly, -unit)
    )


def _thinned(limb: Limb, place: int, unit: float) -> Limb:
    layers = list(limb.layers)
    layers[place] = replace(layers[place], thickness=_shifted(layers[place].thickness, -unit))
    return replace(limb, layers=tuple(layers))


_LESS: Mapping[Method, Callable[[Limb, float], Limb]] = {
    Method.SIDES: _narrowed,
    Method.TRAP: lambda limb, unit: replace(limb, width_back=_shifted(limb.width_back, -unit)),
    Method.EDGES: lambda limb, unit: replace(limb, edge_radius=_shifted(limb.edge_radius, unit)),
    Method.BACK_GLASS: lambda limb, unit: _thinned(limb, 0, unit),
    Method.BELLY_GLASS: lambda limb, unit: _thinned(limb, -1, unit),
}


def _shifted(curve: Polyline, by: float) -> Polyline:
    stations, values = curve
    return stations, tuple(value + by for value in values)
