"""Whether people of the register are ready on their first day, and what exactly is missing."""

from .asked import Asked
from .judging import JUDGES, Judge, readiness

__all__ = ["JUDGES", "Asked", "Judge", "readiness"]
