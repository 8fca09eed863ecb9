"""Which stack to press."""
