"""How far a bow's weight strays from the statics for reasons that no dimension explains, before anything is learned.

Sizes are standard deviations of the logarithm of weight, unless the name says otherwise. All are defaults of the
project: common practice, no source, unless they say otherwise.
"""

from dataclasses import dataclass
from types import MappingProxyType


@dataclass(frozen=True)
class Scatter:
    """Scatter of one weighing.

    Attributes:
        climate: moisture and temperature at the weighing.
        draw_reading_in: reading the draw length, in inches.
        scale_reading_lbf: reading the scale, in pounds.
    """

    climate: float = 0.01
    draw_reading_in: float = 0.06
    scale_reading_lbf: float = 0.15


PRIOR_SCATTER = Scatter()

LOTS_OF_WOOD, LOTS_OF_GLASS, FORMS, SCALES, SMOOTH = (
    "lots of wood",
    "lots of glass",
    "forms",
    "scales",
    "smooth",
)
BOW, FINISH_SANDING, SHOOTING_IN = "bow", "finish sanding", "shooting in"
UNNOTED_SCALE = "scale not noted"
CUT_TO_ORDER = "cut to the order"

SCATTER_SDS = MappingProxyType(
    {
        LOTS_OF_WOOD: 0.06,
        LOTS_OF_GLASS: 0.03,
        FORMS: 0.015,
        SCALES: 0.006,
        SMOOTH: 0.004,
        BOW: 0.015,
        FINISH_SANDING: 0.008,
        SHOOTING_IN: 0.005,
        UNNOTED_SCALE: 0.006,
        CUT_TO_ORDER: 0.08,
    }
)
"""Scatter of each group's levels and of each effect that a build has of its own, as the root mean square over shops:
what is believed before training, which replaces it by what the shop's own builds show."""

SCATTER_LOG_SD = 0.5
"""How well they are known before training, as the standard deviation of the logarithm of a scatter."""

SCATTER_LOG_SDS = MappingProxyType(
    dict.fromkeys(SCATTER_SDS, SCATTER_LOG_SD) | {FINISH_SANDING: 0.35, SHOOTING_IN: 0.35}
)
"""The same by name. Losses of a few per cent scatter less widely, two times in three within 40 %; few bows are weighed
often enough to tell."""

NOISE_LOG_SD = 0.3
"""How well the reading errors of scale and draw are known, alike."""

GROUPS = (LOTS_OF_WOOD, LOTS_OF_GLASS, FORMS, SCALES, SMOOTH)
BUILD_COLUMNS = (BOW, FINISH_SANDING, SHOOTING_IN, UNNOTED_SCALE, CUT_TO_ORDER)
"""Effects that each build has of its own. A scale that nobody noted is one of them: a customer's scale is not the
shop's, but the weighings of one bow where it was not noted are taken to be on the same one."""
