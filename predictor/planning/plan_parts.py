"""What a removal plan is made of: passes with their cuts and weighings, and how it is likely to end."""

from dataclasses import dataclass

from pydantic import Field

from datasets.record import Record, Side
from datasets.schema import Method, Removal
from predictor.planning.awaited import Awaited
from predictor.planning.passes import Step


class PlannedCut(Record):
    """A size at one place, before and after a pass: width, back's width, corner radius or thickness of the glass."""

    limb: Side
    from_fade_in: float
    size_in: float
    new_size_in: float


class Pass(Record):
    """One pass with the weighing after it."""

    method: Method = Field(description="how: by the sides, the edges, the trap or the belly's glass")
    by_hand: bool = Field(
        description="whether it is the last or follows the finishing, and is sanded or scraped by hand to the line"
    )
    once_finished: bool = Field(
        description="whether the bow is finish-sanded, shot in a little and weighed before it"
    )
    loss_lbf: float = Field(description="of the settled weight, expected of the cuts as rounded")
    cuts: tuple[PlannedCut, ...]
    removals: tuple[Removal, ...] = Field(description="as they are to be noted")
    reading_lbf: float = Field(description="expected after it at the promised draw, were it drawn so far")
    weighing: Awaited | None = Field(
        description="after it, at the draw to weigh at; nothing where even the shortest is expected past the target"
    )


@dataclass(frozen=True)
class Ending:
    """How a plan is likely to end.

    Attributes:
        cost_lbf: expected, in pounds given away.
        under: chance of ending under the tolerance.
        over: chance of ending over it.
        passes: expected number.
    """

    cost_lbf: float
    under: float
    over: float
    passes: float


@dataclass(frozen=True)
class Followed:
    """What a plan comes to.

    Attributes:
        step: next.
        passes: to be expected.
        ending: how it is likely to end.
        first_shot_in: the weighing after the first arrows; nothing where the plan has none ahead.
    """

    step: Step
    passes: tuple[Pass, ...]
    ending: Ending
    first_shot_in: Awaited | None = None
