"""Flags, and the laboratory's own range: they must not contradict the value."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from thimble.clinical.laboratory import fold
from thimble.clinical.serology import Against, Quantity, Word, measures
from thimble.exchange.hl7v2.loinc import Kind, Test, words
from thimble.exchange.hl7v2.model import Observation
from thimble.exchange.hl7v2.ranges import compared_with, marked_against
from thimble.exchange.hl7v2.reading import (
    About,
)
from thimble.exchange.hl7v2.values.answers import answers
from thimble.exchange.hl7v2.values.hold import Found, Hold, shown

_BY_RANGE: Final = frozenset(analyte.value for analyte, how in measures().items() if how.by_range)


def flagged_as(flags: Iterable[str]) -> Word | None:
    """What the flags say in words, where they do."""
    listed = words()["flags"]
    said: set[Word] = set()
    for flag in flags:
        if flag in listed["resistance"]:
            raise Hold(
                f"The flag {flag} speaks of resistance to a medicine (table 0078), not of this test.",
                About.CONTRADICTION,
            )
        answer = next((name for name in Word if flag.upper() in listed[name]), None)
        answer = answer or next((o for o in Word if answers().get(fold(flag)) == o), None)
        if answer:
            said.add(answer)
    if len(said) > 1:
        raise Hold("The flags contradict each other.", About.CONTRADICTION)
    return next(iter(said), None)


def agree(found: Found, flagged: Word | None, flags: tuple[str, ...], test: Test) -> None:
    """The value and the flags say the same."""
    if found.outcome and flagged and found.outcome is not flagged:
        raise Hold(
            f"The value says {found.outcome} and the flag says {flagged}.", About.CONTRADICTION
        )
    quantity = found.quantity
    if quantity is None:
        return
    for mark in "<>":
        if mark in flags and not quantity.comparator.startswith(mark):
            raise Hold(
                f"The flag {mark} says that the number is a limit of the measurement, and the value "
                "does not.",
                About.CONTRADICTION,
            )
    counted = test.kind is Kind.VIRAL_LOAD and found.outcome is None
    if counted and flagged in {Word.NEGATIVE, Word.INDETERMINATE}:
        raise Hold(f"The value is a count and the flag says {flagged}.", About.CONTRADICTION)


def against_range(quantity: Quantity | None, row: Observation, test: Test) -> Against | None:
    """What the laboratory says of a number against its own range, for a test that is read so."""
    if quantity is None or test.analyte not in _BY_RANGE:
        return None
    marked, compared = marked_against(row.flags), compared_with(quantity, row.range, row.unit)
    if marked and compared and marked is not compared:
        raise Hold(
            f"The flag says {marked.replace('_', ' ')} the range, and the number says otherwise of the "
            f"range {shown(row.range)}.",
            About.CONTRADICTION,
        )
    return marked or compared
