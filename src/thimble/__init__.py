"""Thimble: care for hospital staff exposed to a patient's blood, from the first minute to the all-clear."""

__version__ = "0.1.0"
