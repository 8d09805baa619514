"""Screening for blood-borne viruses before exposure-prone procedures."""

from .judging import INFECTIONS, Result, Screened, Screening, screen

__all__ = ["INFECTIONS", "Result", "Screened", "Screening", "screen"]
