"""What is learned of a shop's ways apart from the regression, and what the regression's columns rest on."""

from pydantic import Field

from datasets.record import Record
from predictor.carrying_out import CarryingOut
from predictor.settling import SettlingLaw


class Habits(Record):
    """The shop's law of settling, and how it carries out what it plans."""

    settling: SettlingLaw = SettlingLaw()
    carrying_out: CarryingOut = CarryingOut()
    weighed_removals: dict[str, int] = Field(
        default_factory=dict, description="removals weighed before and after, by the name of their gain"
    )


USUAL = Habits()
"""Before anything is learned."""
