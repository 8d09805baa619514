"""The unit of a number: one that fits the code."""

from __future__ import annotations

from collections.abc import Iterator

from thimble.exchange.hl7v2.loinc import Test, words
from thimble.exchange.hl7v2.model import Coded
from thimble.exchange.hl7v2.reading import (
    About,
)
from thimble.exchange.hl7v2.values.hold import Hold, shown


def unit_of(written: str, declared: Coded, test: Test) -> str:
    """The unit in UCUM; every spelling that is given must mean the same one of the test's units."""
    if not test.units:
        return ""  # refused a little later, with the better reason
    meant = set()
    for spelling in _spellings(written, declared):
        units = {unit for unit in test.units if spelling in words()["units"][unit]}
        if not units:
            raise Hold(
                f"The unit {shown(spelling)} does not fit {test.code}, which is reported in "
                f"{' or '.join(test.units)}.",
                About.UNIT,
            )
        meant |= units
    if not meant:
        raise Hold(f"The number has no unit; {test.code} needs one.", About.UNIT)
    if len(meant) > 1:
        raise Hold(f"The number has two units: {' and '.join(sorted(meant))}.", About.UNIT)
    return meant.pop()


def _spellings(written: str, declared: Coded) -> Iterator[str]:
    """The unit in the text, and of each triple its code or else its text."""
    if written:
        yield written
    for code in declared.codes:
        if code.code or code.text:
            yield code.code or code.text
    if not declared.codes and declared.original:
        yield declared.original
