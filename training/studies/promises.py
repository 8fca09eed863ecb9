"""What can be promised of a bow: how far from the mark readings have come, or will, and how orders fared."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import hypot

import numpy as np
from numpy.typing import NDArray

from datasets.contents import Contents
from datasets.record import ZeroPoint
from datasets.schema import Form, Order, WeighIn
from datasets.zero_points import from_zero
from predictor.belief.calibration import rank
from predictor.belief.mixture import NormalMixture
from predictor.belief.weighings import draws_from_back
from training.studies.reading_error import ReadingError

Array = NDArray[np.float64]

HALVINGS = 50
"""Of the bracket of a tolerance: to 1e-13 lb."""

WIDEST_LBF = 250.0

SAME_DRAW_IN = 0.01


def share_within(predicted: NormalMixture, tolerance_lbf: float) -> float:
    """Return the mean probability, over bows, of a reading within a tolerance of the median.

    Args:
        predicted: logarithms of pounds.
        tolerance_lbf: either way.
    """
    return _share(predicted, np.exp(predicted.quantile(0.5)), tolerance_lbf)


def _share(predicted: NormalMixture, median: Array, tolerance_lbf: float) -> float:
    below = predicted.cdf(np.log(np.maximum(median - tolerance_lbf, np.finfo(float).tiny)))
    return float(np.mean(predicted.cdf(np.log(median + tolerance_lbf)) - below))


def tolerance_for(predicted: NormalMixture, share: float) -> float:
    """Return the smallest tolerance, in pounds either way, that a share of bows meets by their predictions."""
    median = np.exp(predicted.quantile(0.5))
    low, high = 0.0, WIDEST_LBF
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        low, high = (low, middle) if _share(predicted, median, middle) >= share else (middle, high)
    return high


def tolerance_by_rank(off_lbf: Sequence[float], share: float) -> float | None:
    """Return the smallest tolerance that past errors bear out for a share of bows to come, or nothing if too few.

    The error of the rank that `predictor.belief.calibration.rank` gives: whatever the distribution, if bows to come
    are like these.
    """
    place = rank(len(off_lbf), share)
    return None if place is None else sorted(abs(off) for off in off_lbf)[place - 1]


@dataclass(frozen=True)
class Kept:
    """A delivered order and what its bow weighed.

    Attributes:
        order: the promise.
        weigh_in: with which it was delivered.
        read_lbf: at the order's draw; nothing where the bow was not weighed there.
        per_inch_lbf: slope with draw about it; nothing where one reading tells none.
        tolerance_lbf: promised, or the shop's usual.
    """

    order: Order
    weigh_in: WeighIn
    read_lbf: float | None
    per_inch_lbf: float | None
    tolerance_lbf: float

    @property
    def met(self) -> bool | None:
        """Whether the reading lay within the tolerance; nothing where there is none."""
        if self.read_lbf is None:
            return None
        return abs(self.read_lbf - self.order.weight.lbf) <= self.tolerance_lbf


def delivered(contents: Contents) -> tuple[Kept, ...]:
    """Return every order that was delivered, in the order of the weighings, as far as the book has them."""
    found = [
        _kept(order, weigh_in, contents)
        for order in contents.orders.values()
        if order.delivered and isinstance(weigh_in := contents.event(order.delivered), WeighIn)
    ]
    return tuple(sorted(found, key=lambda kept: (kept.weigh_in.on, kept.order.id)))


def _kept(order: Order, weigh_in: WeighIn, contents: Contents) -> Kept:
    build = contents.builds.get(weigh_in.build)
    form = contents.form_of(build) if build else None
    read, slope = (None, None) if form is None else _at_draw(order, weigh_in, form)
    return Kept(order, weigh_in, read, slope, order.tolerance_lbf or contents.shop.tolerance_lbf)


def _at_draw(order: Order, weigh_in: WeighIn, form: Form) -> tuple[float | None, float | None]:
    """Return the weight at the order's draw and its slope there, straight between readings and never beyond them."""
    draws = [reading.draw for reading in weigh_in.readings]
    inches = [_standard(inch, form) for inch in draws_from_back(form, draws)]
    (asked,) = (_standard(inch, form) for inch in draws_from_back(form, [order.draw]))
    weights = [reading.weight.lbf for reading in weigh_in.readings]
    in_order = np.argsort(inches)
    x, y = np.array(inches)[in_order], np.array(weights)[in_order]
    if not x[0] - SAME_DRAW_IN <= asked <= x[-1] + SAME_DRAW_IN:
        return None, None
    slope = None
    if len(x) > 1:
        place = min(max(int(np.searchsorted(x, asked)), 1), len(x) - 1)
        slope = float((y[place] - y[place - 1]) / (x[place] - x[place - 1]))
    return float(np.interp(asked, x, y)), slope


def _standard(from_back_in: float, form: Form) -> float:
    return from_zero(from_back_in, ZeroPoint.STANDARD, form.handle_depth_in.inch)


def judged_sd(kept: Kept, scale_sds: Mapping[str, float], unknown_sd: float, reading: ReadingError) -> float:
    """Return the standard uncertainty, in pounds, of a delivered bow's weight as its order judges it.

    Args:
        kept: with a reading.
        scale_sds: of the logarithm that each scale reads high, by name.
        unknown_sd: the same of a scale that nobody noted.
        reading: what one reading is off by.
    """
    scale = kept.weigh_in.scale
    of_scale = (
        0.0 if scale is not None and scale == kept.order.scale else scale_sds.get(scale or "", unknown_sd)
    )
    weight = kept.read_lbf or kept.order.weight.lbf
    return hypot(of_scale * weight, reading.sd_lbf(weight, kept.per_inch_lbf))
