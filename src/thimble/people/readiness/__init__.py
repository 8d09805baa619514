"""Whether people of the register are ready on their first day, and what exactly is missing."""

from .judging import JUDGES, Asked, Judge, readiness

__all__ = ["JUDGES", "Asked", "Judge", "readiness"]
