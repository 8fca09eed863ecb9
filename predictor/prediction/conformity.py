"""Whether a bow keeps a tolerance, judged on a scale that is itself uncertain.

Sources: JCGM 106:2012, Evaluation of measurement data: the role of measurement uncertainty in conformity assessment,
sections 7.4 and 8.3, and ILAC-G8:09/2019 (both by way of notes on them). Errors of the scale are normal, and nothing is
known of the bow but its reading.
"""

from scipy.special import ndtr, ndtri


def conformance(read: float, sd: float, low: float, high: float) -> float:
    """Return the probability that a true value lies within limits, given a reading of it.

    Args:
        read: the reading, in any unit.
        sd: standard uncertainty of the reading, positive, in the same unit.
        low: lower limit; minus infinity for none.
        high: upper limit; infinity for none.
    """
    return float(ndtr((high - read) / sd) - ndtr((low - read) / sd))


def guard_band(sd: float, risk: float) -> float:
    """Return how far inside its limit a reading must lie for no more than a risk that the true value is beyond.

    Args:
        sd: standard uncertainty of the reading.
        risk: at one limit, above 0 and up to a half; 0.05 gives 1.645 standard uncertainties.

    Raises:
        ValueError: the risk is no such share.
    """
    if not 0 < risk <= 0.5:
        raise ValueError(f"wanted a risk above 0 and up to 0.5, got {risk:g}")
    return float(-ndtri(risk)) * sd
