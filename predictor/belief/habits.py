"""What is learned of a shop's ways apart from the regression, and what the regression's columns rest on."""

from pydantic import Field

from datasets.record import Record
from predictor.belief.carrying_out import CarryingOut
from predictor.belief.settling import SettlingLaw
from predictor.belief.usual_cut import UsualCut


class Habits(Record):
    """The shop's law of settling, how it carries out what it plans, how much it cuts its bows, and their sizes."""

    settling: SettlingLaw = SettlingLaw()
    carrying_out: CarryingOut = CarryingOut()
    weighed_removals: dict[str, int] = Field(
        default_factory=dict, description="removals weighed before and after, by the name of their gain"
    )
    usual_cut: UsualCut = UsualCut()
    seen_in: dict[str, tuple[float, float]] = Field(
        default_factory=dict, description="smallest and largest of each main dimension that taught, in inches"
    )


USUAL = Habits()
"""Before anything is learned."""
