"""The weight to aim at where a kit is cut once, with nothing to follow."""

from predictor.planning.stakes import Stakes, cheapest_aim, safe_aim


def best_aim(sd_lbf: float, stakes: Stakes) -> float:
    """Return the weight to aim at, less the target: the cheapest that keeps the chance of ending under."""
    return max(cheapest_aim(sd_lbf, stakes), safe_aim(sd_lbf, stakes))
