"""Sections and large bending: pure functions on numbers and arrays, which know nothing of records."""
