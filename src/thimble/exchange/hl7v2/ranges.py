"""A number against the laboratory's own reference range: as it is marked, or as the range is written.

Only these forms are read: `low-high`, `<high`, `<=high`, with plain numbers in the unit of the result.
Any other text (for an age, a sex, with words) says nothing here and is shown to a person.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Final

from thimble.clinical.serology import Against, Quantity
from thimble.exchange.hl7v2.model import Coded

MARKS: Final = {
    "H": Against.ABOVE,
    "HH": Against.ABOVE,
    "N": Against.NOT_ABOVE,
    "L": Against.NOT_ABOVE,
    "LL": Against.NOT_ABOVE,
}
"""Table 0078: above high normal, above upper panic limits, normal, below low normal, below lower panic
limits (from memory; `A` says only that something is abnormal)."""

_NUMBER = r"[0-9]{1,9}(?:\.[0-9]{1,9})?"
_RANGE = re.compile(
    rf"(?:(?P<low>{_NUMBER}) ?- ?|(?P<sign><=?|≤) ?)(?P<high>{_NUMBER})(?: ?(?P<unit>\S+))?"
)


def marked_against(flags: Iterable[str]) -> Against | None:
    """What the flags say; None where they say nothing of the range, or two different things."""
    said = {MARKS[flag.upper()] for flag in flags if flag.upper() in MARKS}
    return next(iter(said)) if len(said) == 1 else None


def compared_with(quantity: Quantity, written: str, unit: Coded) -> Against | None:
    """The number against the range as written; None where either leaves it open.

    Args:
        quantity: the result.
        written: OBX-7.
        unit: OBX-6, as sent: a unit in the range has to be one of its spellings.

    >>> in_units = Coded(())
    >>> def say(number, written):
    ...     return compared_with(Quantity(number, "U/L"), written, in_units)
    >>> say(41, "0-41"), say(41.1, "0 - 41"), say(41, "<41"), say(50, "see comment")
    (<Against.NOT_ABOVE: 'not_above'>, <Against.ABOVE: 'above'>, <Against.ABOVE: 'above'>, None)
    """
    found = _RANGE.fullmatch(" ".join(written.split()))
    if found is None:
        return None
    spellings = {quantity.unit, *(text for code in unit.codes for text in (code.code, code.text))}
    if found["unit"] and found["unit"] not in spellings:
        return None
    high = float(found["high"])
    if found["low"] and float(found["low"]) > high:
        return None
    number, sign = quantity.number, quantity.comparator
    above = number >= high if found["sign"] == "<" else number > high
    at_the_limit = number == high
    if sign in ("<", "<="):
        below = not above or (at_the_limit and sign == "<")
        return Against.NOT_ABOVE if below else None
    if sign in (">", ">=") and not above:
        return Against.ABOVE if at_the_limit and sign == ">" else None
    return Against.ABOVE if above else Against.NOT_ABOVE
