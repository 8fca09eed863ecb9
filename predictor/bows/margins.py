"""Where the lams of a bow are strained most, and how far that is from what their materials stand.

The limits are of small clear samples without knots, fatigue or age, so a margin is no promise. That of a wood is its
modulus of rupture over its stiffness, a nominal strain: the modulus of rupture is a low estimate of how much clear
wood stands in tension (Wood Handbook, chapter 5, from memory), and cores of sound glass bows come near it.
"""

from collections.abc import Iterator, Mapping, Sequence
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from pydantic import Field

from datasets.materials import Kind, Material
from datasets.record import DrawLength, Record, Side
from predictor.bows.bent import BentBow, BentLimb
from predictor.bows.bow import Refusal

Array = NDArray[np.float64]

LEAST_MARGIN = 1.5
LEAST_NOMINAL_MARGIN = 0.75
"""Margins below which a bow is noted, the second one for wood. House defaults; common practice, no source."""

OVER_BELOW = 1.0
OVER_BELOW_NOMINAL = 0.5
"""Margins below which a lam is over its limit, the second one for wood. House defaults; common practice, no source.

Wood is over its limit only in tension. For its compression along a bent limb no limit is published: it is crushed and
takes a set before it breaks, and the nominal limit is that of its stretched side.
"""

NO_LIMIT_OF_CRUSHED_WOOD = "no limit of wood in compression is published, so a bow is never refused for it"


class Strained(Record):
    """The place where a lam, or the lams of one material, come nearest to what the material stands."""

    material: str
    kind: Kind
    limb: Side
    lam: int = Field(ge=1, description="counted from the back")
    face: Literal["back", "belly"] = Field(description="the side of the lam")
    from_fade_in: float = Field(ge=0)
    draw: DrawLength
    strain: float = Field(description="along the limb, tension positive")
    limit: float | None = Field(gt=0, description="strain at failure of this sign, if it is known")
    source: str = Field(description="where the material's values come from")

    @property
    def margin(self) -> float | None:
        """Limit over strain."""
        return None if self.limit is None else self.limit / abs(self.strain)

    @property
    def is_over(self) -> bool:
        """Whether the material's limit is passed, so that a bow must not be drawn so far."""
        if self.margin is None or (self.kind is Kind.WOOD and self.strain < 0):
            return False
        return self.margin < _over_below(self.kind)

    def __str__(self) -> str:
        """Return strain, limit and place in words, in inches."""
        return self.in_words(f"{self.from_fade_in:.1f} in", f"{self.draw.inch:g} in")

    def in_words(self, from_fade: str, drawn: str) -> str:
        """Return strain, limit and place in words, given the lengths as they are to be written."""
        sense = "tension" if self.strain > 0 else "compression"
        limit = "no limit known" if self.limit is None else f"{_limit_words(self.kind)} {self.limit:.2%}"
        return (
            f"{self.material} strained to {abs(self.strain):.2%} in {sense} ({limit}) "
            f"at {from_fade} from the fade, drawn to {drawn}"
        )


def _limit_words(kind: Kind) -> str:
    """Name a limit: a wood's is its strength over its stiffness, which the cores of sound bows come near or pass."""
    return "nominal limit, which cores of sound bows may pass," if kind is Kind.WOOD else "limit"


def _over_below(kind: Kind) -> float:
    return OVER_BELOW_NOMINAL if kind is Kind.WOOD else OVER_BELOW


def _noted_below(place: Strained) -> float:
    """Return the margin below which a place is noted, by the kind of its material."""
    return LEAST_NOMINAL_MARGIN if place.kind is Kind.WOOD else LEAST_MARGIN


def strained_places(
    bow: BentBow, draws: Sequence[DrawLength], materials: Mapping[str, Material]
) -> tuple[Strained, ...]:
    """Return where each face of each lam is stretched most, and where it is squeezed most.

    Args:
        bow: The bow, bent to brace and to the draws.
        draws: The draws, in the same order.
        materials: Every material that its lams name.
    """
    if bow.upper is bow.lower:
        return tuple(_of_limb(bow.upper, Side.BOTH, draws, materials))
    return (
        *_of_limb(bow.upper, Side.UPPER, draws, materials),
        *_of_limb(bow.lower, Side.LOWER, draws, materials),
    )


def _of_limb(
    bent: BentLimb, side: Side, draws: Sequence[DrawLength], materials: Mapping[str, Material]
) -> Iterator[Strained]:
    for face, strains in (("back", bent.back), ("belly", bent.belly)):
        for place, lam in enumerate(bent.limb.lams):
            material = materials[lam.material]
            of_lam = strains[1:, ..., place]
            for limit, sign in (
                (material.tension_limit_strain, 1),
                (material.compression_limit_strain, -1),
            ):
                size = np.where(np.isnan(of_lam), 0.0, sign * of_lam)
                state, step, node = map(int, np.unravel_index(np.argmax(size), size.shape))
                if size[state, step, node] > 0:
                    yield Strained(
                        material=lam.material,
                        kind=material.kind,
                        limb=side,
                        lam=place + 1,
                        face=face,
                        from_fade_in=max(bent.station[step, node], 0.0),
                        draw=draws[state],
                        strain=of_lam[state, step, node],
                        limit=limit,
                        source=material.source,
                    )


def worst(places: Sequence[Strained]) -> tuple[Strained, ...]:
    """Return the worst place of each material, those furthest below the margin wanted first, unknown limits last."""
    of_material: dict[str, Strained] = {}
    for place in sorted(places, key=_badness, reverse=True):
        of_material.setdefault(place.material, place)
    return tuple(of_material.values())


def _badness(place: Strained) -> tuple[float, float]:
    """Return how far a margin falls short of the one wanted of its kind of material."""
    return (0.0 if place.margin is None else _noted_below(place) / place.margin, abs(place.strain))


def over_limit(places: Sequence[Strained]) -> tuple[Strained, ...]:
    """Return the worst place of each material that is over its limit, stretched or squeezed, the worst first."""
    return worst([place for place in places if place.is_over])


def broken(places: Sequence[Strained]) -> Refusal | None:
    """Return why there is no bow: a lam would be stretched past what it can stand; nothing if none is."""
    return too_far([place for place in places if place.strain > 0])


def too_far(places: Sequence[Strained]) -> Refusal | None:
    """Return why a bow must not be drawn so far: a lam would be over its limit of either sign; nothing if none is."""
    for place in over_limit(places):
        what = "the back of the limb would break" if place.strain > 0 else "over the limit in compression"
        stands = abs(place.strain) * (place.margin or 0.0) / _over_below(place.kind)
        return Refusal(
            reason=f"{what}: strain {abs(place.strain):.2%} in its {place.material}, "
            f"which stands {stands:.2%} at best",
            where=f"{place.from_fade_in:.1f} in from the fade, drawn to {place.draw.inch:g} in",
        )
    return None


def notes_on_margins(places: Sequence[Strained]) -> tuple[str, ...]:
    """Return what a reader should know of thin margins and of limits that are not known or published.

    What is over its limit is left to `over_limit`.
    """
    return tuple(_notes(worst(places)))


def _notes(places: Sequence[Strained]) -> Iterator[str]:
    for place in places:
        least = _noted_below(place)
        if place.margin is None:
            yield f"{place.material}: no strain limit is known, so how near it is to breaking cannot be told"
        elif place.margin < least and not place.is_over:
            crushed = place.kind is Kind.WOOD and place.strain < 0
            unpublished = f"; {NO_LIMIT_OF_CRUSHED_WOOD}" if crushed else ""
            yield f"{place.material}: a strain margin of {place.margin:.2f}, where {least:g} is wanted{unpublished}"
