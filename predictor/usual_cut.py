"""How much a shop usually cuts a bow to bring it to its weight."""

from pydantic import Field

from datasets.record import Record


class UsualCut(Record):
    """What is usual in a shop; nothing is known before its bows have taught it."""

    first_width_in: dict[str, float] = Field(
        default_factory=dict, description="mean width at mid-limb at a build's first weighing, by form"
    )
    cut: float = Field(
        0.0, description="mean cut of finished bows: the logarithm of the weight before over the weight after"
    )
