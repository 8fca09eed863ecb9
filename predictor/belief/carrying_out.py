"""How exactly a builder carries out a planned removal: what is done, as a share of what was planned."""

from enum import StrEnum
from math import sqrt

from pydantic import Field

from datasets import tolerances
from datasets.record import Record

WORTH_REMOVALS = 10
"""The default counts as much as so many removals (a choice of this project)."""


class Amount(StrEnum):
    """What is taken off by one kind of work: hands differ from one to the other."""

    WIDTH = "width"
    CORNERS = "corners"
    GLASS = "glass"
    LENGTH = "length"


class Carried(Record):
    """Belief about done over planned, less one: normal from removal to removal."""

    mean: float = Field(0.0, description="mean of done over planned, less one")
    mean_sd: float = Field(
        tolerances.CARRIED_OUT / sqrt(WORTH_REMOVALS), ge=0, description="how well that mean is known"
    )
    sd: float = Field(tolerances.CARRIED_OUT, gt=0, description="from removal to removal")
    removals: int = Field(0, ge=0, description="removals noted both as planned and as done")


class CarryingOut(Record):
    """Beliefs of a shop, for each builder who noted enough and for anybody else, of widths; of other amounts apart.

    A plan of any kind is believed to be carried out as widths are, for the dimensions that a weighing rests on do not
    say which kind of removal they are of. What is learned of the others is kept for who reads the model.
    """

    anybody: Carried = Carried()
    builders: dict[str, Carried] = Field(default_factory=dict)
    others: dict[Amount, Carried] = Field(
        default_factory=dict,
        description="anybody's, of amounts other than widths; corners by the loss of weight",
    )

    def by(self, builder: str | None) -> Carried:
        """Return what is believed of a builder."""
        return self.builders.get(builder or "", self.anybody)

    def name(self, builder: str | None) -> str:
        """Return the name of the common effect that holds a builder's mean."""
        return f"removals carried out by {builder if builder in self.builders else 'anybody'}"
