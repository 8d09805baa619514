"""A protocol proved: complete, unambiguous, true to its severity orders, and right on its own cases."""
