"""Weights and changes of weight in words, with their intervals."""

from predictor.prediction.what_if import Expected, WhatIf
from reports.printing import Units


def weight_in_words(weight: Expected, units: Units) -> str:
    """Return a weight with its widest interval: `48.6 lb (47.5 to 49.7)`."""
    interval = weight.intervals[-1]
    ((middle, low, high),) = units.expected([(weight.lbf, interval.low_lbf, interval.high_lbf)])
    return f"{middle} {units.weight} ({low} to {high})"


def change_in_words(change: Expected, units: Units, place: int = -1) -> str:
    """Return a change with one of its intervals, the widest if not said: `-1.6 lb (-2.0 to -1.2)`."""
    interval = change.intervals[place]
    if interval.low_lbf == interval.high_lbf == 0:
        return "no change"
    ends = units.expected([(change.lbf, interval.low_lbf, interval.high_lbf)])[0]
    middle, low, high = (text if float(text) <= 0 else f"+{text}" for text in ends)
    return f"{middle} {units.weight} ({low} to {high})"


def by_statics_in_words(told: WhatIf, units: Units) -> str:
    """Return what the statics alone say of a change, where that is another number: `, by the statics alone -1.6 lb`."""
    expected, alone = (units.tenths_of_weight(lbf) for lbf in (told.difference.lbf, told.by_statics_lbf))
    sign = "+" if told.by_statics_lbf > 0 else ""
    return "" if expected == alone else f", by the statics alone {sign}{alone} {units.weight}"
