"""What an observation was read as: a `Reading`, or `Held` for a person with the reason."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from thimble.clinical.serology import Against, Quantity, Word
from thimble.exchange.hl7v2.loinc import Test


class Standing(StrEnum):
    """How far a row may be relied on (OBX-11, table 0085)."""

    FINAL = "final"  # F, V, B: usable
    CORRECTED = "corrected"  # C, A: usable; decisions taken on the old value open again
    PROVISIONAL = "provisional"  # P, R, S: shown; nothing final is done on it
    PROMOTED = "promoted"  # U: the preliminary value stored before is now final
    RETRACTED = "retracted"  # D: the row is taken back
    WRONG = "wrong"  # W: the original was posted wrongly; check whose result it was
    NOT_OBTAINABLE = "not_obtainable"  # X: there will be no result; draw again
    AWAITED = "awaited"  # I, O: no result yet
    NOT_ASKED = "not_asked"  # N

    @property
    def has_value(self) -> bool:
        """Whether the row's value counts for anything."""
        return self in {Standing.FINAL, Standing.CORRECTED, Standing.PROVISIONAL}


@dataclass(frozen=True, slots=True)
class Reading:
    """One row, understood.

    Attributes:
        test: the code it was reported under; `test.part` where it is about a part of the analyte.
        standing: how far it may be relied on.
        outcome: in words, where the sender said one.
        quantity: the number, where the sender said one; in a unit of `test.units`.
        no_result: why there is neither, in a sentence; else empty.
        flagged: what the flags say in words; they corroborate and are never a result.
        words: the sender's own, to be shown beside the reading, always.
        against_range: how the number stands to the laboratory's own range, where it says so.
    """

    test: Test
    standing: Standing
    outcome: Word | None = None
    quantity: Quantity | None = None
    no_result: str = ""
    flagged: Word | None = None
    words: str = ""
    against_range: Against | None = None

    @property
    def analyte(self) -> str:
        return self.test.analyte


class About(StrEnum):
    """What a row is held for."""

    TEST = "test"  # it is not known which test this is
    STATUS = "status"
    VALUE = "value"
    UNIT = "unit"
    CONTRADICTION = "contradiction"


@dataclass(frozen=True, slots=True)
class Held:
    """One row that no rule may act on: why, in a sentence, and the sender's own words."""

    reason: str
    about: About
    test: Test | None = None
    words: str = ""

    @property
    def analyte(self) -> str | None:
        """Where it is known."""
        return self.test.analyte if self.test else None
