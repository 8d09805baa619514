"""Fitness for work on a case: what the rules say, what the physician decides."""
