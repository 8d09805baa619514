"""Hepatitis B vaccine series: is it valid, is the person immune, what comes next."""

from .evidence import (
    Contraindicated,
    Declined,
    DoseGiven,
    Evidence,
    MarkerResult,
    PartialDate,
)

__all__ = [
    "Contraindicated",
    "Declined",
    "DoseGiven",
    "Evidence",
    "MarkerResult",
    "PartialDate",
]
