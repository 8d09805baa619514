"""One row of results as a reading, or held with the reason."""

from __future__ import annotations

from typing import Final

from thimble.clinical.laboratory import Local
from thimble.clinical.serology import Quantity, Word
from thimble.exchange.hl7v2.loinc import Kind, Test
from thimble.exchange.hl7v2.model import Coded, Observation
from thimble.exchange.hl7v2.reading import (
    About,
    Held,
    Reading,
    Standing,
)
from thimble.exchange.hl7v2.values.flags import against_range, agree, flagged_as
from thimble.exchange.hl7v2.values.hold import Hold, shown
from thimble.exchange.hl7v2.values.which import named_test
from thimble.exchange.hl7v2.values.written import fitting, said_in_text, value_of

STANDINGS: Final = {
    "F": Standing.FINAL,
    "V": Standing.FINAL,
    "B": Standing.FINAL,
    "C": Standing.CORRECTED,
    "A": Standing.CORRECTED,
    "P": Standing.PROVISIONAL,
    "R": Standing.PROVISIONAL,
    "S": Standing.PROVISIONAL,
    "U": Standing.PROMOTED,
    "D": Standing.RETRACTED,
    "W": Standing.WRONG,
    "X": Standing.NOT_OBTAINABLE,
    "I": Standing.AWAITED,
    "O": Standing.AWAITED,
    "N": Standing.NOT_ASKED,
}
"""Table 0085 as it is sent in OBX-11."""
WHY_NONE: Final = {
    Standing.PROMOTED: "The preliminary value becomes final without being sent again.",
    Standing.RETRACTED: "The laboratory takes this row back.",
    Standing.WRONG: "The laboratory says that the original was posted wrongly.",
    Standing.NOT_OBTAINABLE: "The laboratory cannot obtain this result.",
    Standing.AWAITED: "The laboratory has no result yet.",
    Standing.NOT_ASKED: "The laboratory was not asked for this.",
}
NOTHING_DECLARED: Final = Local()


def read_value(row: Observation, local: Local = NOTHING_DECLARED) -> Reading | Held:
    """This row as a reading, or held with the reason. Never raises.

    The caller has checked that the message is for production and whose result it is.
    """
    test: Test | None = None
    try:
        standing = _standing(row)
        test = named_test(row.test, local)
        if not standing.has_value:
            return Reading(test, standing, no_result=WHY_NONE[standing], words=row.words)
        found = value_of(row, test, local)
        flagged = flagged_as(row.flags)
        agree(found, flagged, row.flags, test)
        against = against_range(found.quantity, row, test)
    except Hold as hold:
        return Held(hold.reason, hold.about, test, row.words)
    return Reading(
        test,
        standing,
        found.outcome,
        found.quantity,
        found.no_result,
        flagged,
        row.words,
        against,
    )


def read_typed(
    text: str, unit: str, test: Test, local: Local = NOTHING_DECLARED
) -> tuple[Word | None, Quantity | None]:
    """A value that somebody typed, and its unit where it stands apart, by the rules of a message's text.

    It goes to a file and not to a plan: a viral load below a limit stays what it is, neither detected nor
    not.

    Raises:
        ValueError: it is no result of this test; the sentence says why.
    """
    try:
        found = said_in_text(text, Coded(original=unit), test, local)
        quantity = found.quantity
        if quantity and found.outcome is None and test.kind is Kind.VIRAL_LOAD and quantity.number:
            return None, quantity
        if found.no_result:
            raise Hold(found.no_result)
        found = fitting(found, test)
    except Hold as hold:
        raise ValueError(str(hold)) from hold
    return found.outcome, found.quantity


NO_STATUS = "The laboratory did not say whether this result is final (OBX-11 is empty)."


def _standing(row: Observation) -> Standing:
    if not row.status:
        shifted = " The row may be shifted by a separator in a text." if not row.values else ""
        raise Hold(f"{NO_STATUS}{shifted}", About.STATUS)
    standing = STANDINGS.get(row.status)
    if standing is None:
        raise Hold(f"The status {shown(row.status)} is not in table 0085.", About.STATUS)
    return standing
