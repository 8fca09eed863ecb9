"""What is learned of a shop's ways apart from the regression, and what the regression's columns rest on."""

from pydantic import Field

from datasets.record import Record
from predictor.carrying_out import CarryingOut
from predictor.settling import SettlingLaw
from predictor.usual_cut import UsualCut


class Habits(Record):
    """The shop's law of settling, how it carries out what it plans, and how much it cuts its bows."""

    settling: SettlingLaw = SettlingLaw()
    carrying_out: CarryingOut = CarryingOut()
    weighed_removals: dict[str, int] = Field(
        default_factory=dict, description="removals weighed before and after, by the name of their gain"
    )
    usual_cut: UsualCut = UsualCut()


USUAL = Habits()
"""Before anything is learned."""
