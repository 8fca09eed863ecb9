"""How wide the bows of a shop first are, and how heavy against their orders."""

from pydantic import Field

from datasets.record import Record


class UsualCut(Record):
    """What is usual in a shop; nothing is known before its bows have taught it."""

    first_width_in: dict[str, float] = Field(
        default_factory=dict, description="mean width at mid-limb at a build's first weighing, by form"
    )
    first_width_sd: float = Field(
        0.0, ge=0, description="scatter of the logarithm of these widths about their form's mean"
    )
    called_for: float = Field(
        0.05,
        description="mean of the logarithm of a bow's weight before any cut over its order "
        "(default: common practice, no source)",
    )
    called_for_sd: float = Field(
        0.09, gt=0, description="its scatter over the shop's bows (default: common practice, no source)"
    )
