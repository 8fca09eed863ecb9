"""Strain of a bent limb's lams.

Strain goes along the limb, tension positive. Plane sections stay plane, so it follows from the change of curvature and
the distance from the neutral axis alone; holds while the limb is thin against its radius of curvature.
"""

import numpy as np
from numpy.typing import NDArray

from predictor.mechanics.limb import LimbSections
from predictor.mechanics.section import strain

Array = NDArray[np.float64]


def lam_strains(sections: LimbSections, bend: Array) -> tuple[Array, Array]:
    """Return the strain at every lam's face toward the back and at its face toward the belly.

    Args:
        sections: n limbs, m steps of three nodes each, L lams.
        bend: Change of curvature from the unstrung limb, positive toward the string, shape (..., n, m, 3)
            [1 / length].

    Returns:
        Two arrays of shape (..., n, m, 3, L); not a number where a lam is absent.
    """
    there = sections.layer_belly > sections.layer_back
    axis = sections.neutral_axis[..., None]
    back, belly = (
        np.where(there, strain(bend[..., None], axis, depth), np.nan)
        for depth in (sections.layer_back, sections.layer_belly)
    )
    return back, belly
