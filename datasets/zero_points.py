"""Draw lengths and brace heights counted from one zero point, told from another.

Sources: AMO Field Publication FP-3 (rev. 2000), draw length standard, and ASTM F1880-09 sections 3.2.1 and 3.2.2:
the standard draw length is counted from the pivot point of the grip, plus 1 3/4 in.
"""

from datasets.record import ZeroPoint

STANDARD_BEYOND_PIVOT_IN = 1.75


def from_back(inch: float, zero: ZeroPoint, handle_depth_in: float) -> float:
    """Return a draw length or brace height counted from the back of the riser, in inches.

    Args:
        inch: the length as it was read.
        zero: the point it was counted from.
        handle_depth_in: from the back of the riser to the pivot.
    """
    return inch + handle_depth_in - _beyond_pivot(zero, handle_depth_in)


def from_zero(inch_from_back: float, zero: ZeroPoint, handle_depth_in: float) -> float:
    """Return a length counted from the back of the riser as counted from `zero`; the inverse of `from_back`."""
    return inch_from_back - handle_depth_in + _beyond_pivot(zero, handle_depth_in)


def _beyond_pivot(zero: ZeroPoint, handle_depth_in: float) -> float:
    """Return how far before the pivot, toward the back, a zero point lies."""
    return {
        ZeroPoint.PIVOT: 0.0,
        ZeroPoint.STANDARD: STANDARD_BEYOND_PIVOT_IN,
        ZeroPoint.BACK: handle_depth_in,
    }[zero]
