"""Hepatitis B vaccine series: is it valid, is the person immune, what comes next."""

from .clearing import Cleared, DoseSaid, clear
from .documented import Person
from .evidence import (
    Contraindicated,
    Declined,
    DoseGiven,
    Evidence,
    MarkerResult,
    PartialDate,
)

__all__ = [
    "Cleared",
    "Contraindicated",
    "Declined",
    "DoseGiven",
    "DoseSaid",
    "Evidence",
    "MarkerResult",
    "PartialDate",
    "Person",
    "clear",
]
