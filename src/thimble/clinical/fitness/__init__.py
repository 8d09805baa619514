"""Fitness for work: what the rule sets say of exposure-prone procedures, and of work after an exposure."""

from .monitoring import Due, Schedule, schedule
from .proposing import Proposal, propose
from .tables import put, tables
from .vocabulary import vocabulary

__all__ = ["Due", "Proposal", "Schedule", "propose", "put", "schedule", "tables", "vocabulary"]
