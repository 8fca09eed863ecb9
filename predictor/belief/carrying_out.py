"""How exactly a builder carries out a planned removal: what is done, as a share of what was planned."""

from math import sqrt

from pydantic import Field

from datasets import tolerances
from datasets.record import Record
from datasets.removals import AmountKind

WORTH_REMOVALS = 10
"""The default counts as much as so many removals (a choice of this project)."""

PLANS_OF = "plans of "
"""What the name of a common effect that holds a mean share starts with."""


class Carried(Record):
    """Belief about done over planned, less one: normal from removal to removal."""

    mean: float = Field(0.0, description="mean of done over planned, less one")
    mean_sd: float = Field(
        tolerances.CARRIED_OUT / sqrt(WORTH_REMOVALS), ge=0, description="how well that mean is known"
    )
    sd: float = Field(tolerances.CARRIED_OUT, gt=0, description="from removal to removal")
    removals: int = Field(0, ge=0, description="removals noted both as planned and as done")


class CarryingOut(Record):
    """Beliefs of a shop: of widths for builders who noted enough and anybody else, of other amounts anybody's."""

    anybody: Carried = Carried()
    builders: dict[str, Carried] = Field(default_factory=dict)
    others: dict[AmountKind, Carried] = Field(
        default_factory=dict,
        description="anybody's, of amounts other than widths; corners by their radius",
    )

    def by(self, builder: str | None, amount: AmountKind) -> Carried:
        """Return what is believed of a builder and a kind of amount."""
        if amount is not AmountKind.WIDTH:
            return self.others.get(amount, Carried())
        return self.builders.get(builder or "", self.anybody)

    def name(self, builder: str | None, amount: AmountKind) -> str:
        """Return the name of the common effect that holds the mean of these."""
        apart = amount is AmountKind.WIDTH and builder in self.builders
        return f"{PLANS_OF}{amount} carried out by {builder if apart else 'anybody'}"
