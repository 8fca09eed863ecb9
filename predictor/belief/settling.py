"""How a bow's loss by shooting in comes about with the arrows shot.

The loss of one bow after s shots is b g(s): b its loss at 500 shots, g a law that all bows of a shop share, one at 500.
Wood's creep goes with a power of time in the mean of many trials (Tong, Brown, Corr and Cusatis, Holzforschung (2020),
abstract), and with the logarithm of time where a load is kept up; of shots at a bow no measured source was found.
"""

from enum import StrEnum
from math import log1p

from pydantic import Field

from datasets.record import Record
from datasets.schema import Stage

FULL_SETTLING_SHOTS = 500
"""Shots after which the loss by shooting in is counted as one."""

FOLLOWED_SHOTS = 1000
"""Shots to which bows are followed, where no bow of the shop tells: common practice, no source."""


class LawKind(StrEnum):
    """Shape of the loss against shots."""

    LOG = "log"
    POWER = "power"


class LawBasis(StrEnum):
    """Where a law comes from."""

    DEFAULT = "default"
    HELD_OUT = "held-out builds"


class SettlingLaw(Record):
    """A law of settling: log(1 + shots / parameter), or shots to the power of the parameter."""

    kind: LawKind = LawKind.LOG
    parameter: float = Field(10.0, gt=0, description="shots at which the logarithm turns, or the exponent")
    basis: LawBasis = LawBasis.DEFAULT
    histories: int = Field(0, ge=0, description="builds weighed again after shooting that were asked")
    longest_shots: int = Field(0, ge=0, description="most arrows after which one of them was weighed")

    def share(self, shots: float) -> float:
        """Return the share of the loss at 500 shots that has come about; above 1 beyond them."""
        if self.kind is LawKind.POWER:
            return float((shots / FULL_SETTLING_SHOTS) ** self.parameter)
        return log1p(shots / self.parameter) / log1p(FULL_SETTLING_SHOTS / self.parameter)

    def in_words(self) -> str:
        """Return one sentence: the law, and where it comes from."""
        law = (
            f"log(1 + shots / {self.parameter:g})"
            if self.kind is LawKind.LOG
            else f"shots to the power of {self.parameter:g}"
        )
        count = f"{self.histories} bow{'' if self.histories == 1 else 's'} weighed again after shooting"
        if self.basis is LawBasis.HELD_OUT:
            return f"settling goes as {law}, which fits {count} best"
        if not self.histories:
            return f"settling goes as {law} by default, for no bow was weighed again after shooting yet"
        do = "does" if self.histories == 1 else "do"
        return f"settling goes as {law} by default; {count} {do} not tell laws apart"

    def beyond(self, shots: int) -> str | None:
        """Return that so many shots lie beyond what bows are followed over, if they do."""
        if shots <= (self.longest_shots or FOLLOWED_SHOTS):
            return None
        if self.longest_shots:
            return (
                f"no bow of the shop was weighed again after more than {self.longest_shots} shots: "
                f"what {shots} take is extrapolated"
            )
        return f"few bows are weighed again beyond {FOLLOWED_SHOTS} shots: what {shots} take is extrapolated"


DEFAULT_LAW = SettlingLaw()


def settling(shots: int | None, stage: Stage, law: SettlingLaw = DEFAULT_LAW) -> float:
    """Return how much of the first 500 shots' loss has happened; 1 at 500.

    A settled bow whose shots nobody counted is taken as fully shot in, any other as not shot.

    Args:
        shots: arrows shot; nothing where nobody counted.
        stage: how far the bow has come.
        law: of the shop.
    """
    if shots is None:
        return 1.0 if stage is Stage.SETTLED else 0.0
    return law.share(shots)
