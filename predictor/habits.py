"""What is learned of a shop's ways apart from the regression, and what the regression's columns rest on."""

from datasets.record import Record
from predictor.carrying_out import CarryingOut
from predictor.settling import SettlingLaw


class Habits(Record):
    """The shop's law of settling, and how it carries out what it plans."""

    settling: SettlingLaw = SettlingLaw()
    carrying_out: CarryingOut = CarryingOut()


USUAL = Habits()
"""Before anything is learned."""
