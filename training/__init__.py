"""How belief is formed: the virtual shop, fitting, calibration, evaluation."""
