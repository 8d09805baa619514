"""The end of a case: what is left of its plan, and why it is closed."""
