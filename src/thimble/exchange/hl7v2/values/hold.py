"""Why a row is held for a person, and what a value says where it is not."""

from __future__ import annotations

from dataclasses import dataclass

from thimble.clinical.serology import Quantity, Word
from thimble.exchange.hl7v2.reading import (
    About,
)


class Hold(Exception):
    """A row that a person has to look at, and why."""

    def __init__(self, reason: str, about: About = About.VALUE) -> None:
        super().__init__(reason)
        self.reason, self.about = reason, about


@dataclass(frozen=True, slots=True)
class Found:
    """What a value says: a word, a number, or that there is no result."""

    outcome: Word | None = None
    quantity: Quantity | None = None
    no_result: str = ""


def shown(text: str) -> str:
    """The sender's text inside a sentence: short, on one line."""
    flat = " ".join(text.split())
    return f"“{flat[:60]}…”" if len(flat) > 60 else f"“{flat}”"
