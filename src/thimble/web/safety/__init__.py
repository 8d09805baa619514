"""Exposures without identities, for prevention."""
