"""The regression on rows of numbers: scales, effects, suspicion, builds left out. It knows nothing of bows."""
