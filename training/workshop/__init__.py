"""An invented workshop whose truth is known, kept apart from what its records say."""
