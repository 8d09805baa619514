"""What a site declares of its laboratory: local codes, words of its own language, the decimal comma."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from thimble.clinical.serology.results import Word
from thimble.clinical.settings import Settings

_SHAPE = re.compile(r"([0-9]{1,7})-([0-9])", re.A)


@dataclass(frozen=True, slots=True)
class Local:
    """The laboratory's own habits, which no rule can guess.

    Attributes:
        codes: (system, local code) to a LOINC code.
        words: answers in the laboratory's own language, reviewed by it, each compared whole.
        decimal_comma: whether numbers in texts have a comma where others have a point.
        days_to_result: whole days from the draw to a result, 0 to 60; None where it has not said.
        passed_over: (system, code) of rows that it sends beside others and that nobody follows here.
    """

    # Mappings cannot be hashed, and what is worked out for a site is kept by its settings.
    codes: Mapping[tuple[str, str], str] = field(default_factory=dict, hash=False)
    words: Mapping[str, Word] = field(default_factory=dict, hash=False)
    decimal_comma: bool = False
    days_to_result: int | None = None
    passed_over: frozenset[tuple[str, str]] = frozenset()


MOST_DAYS_TO_RESULT = 60
"""A slip of the pen beyond this; no laboratory's promise."""


def read_local(read: Settings) -> Local:
    """The table `laboratory`, which may be left out; so may each of its keys."""
    read.allow("laboratory")
    table = read.table("laboratory") if read.has("laboratory") else None
    if table is None:
        return Local()
    table.allow("codes", "words", "decimal_comma", "days_to_result", "passed_over")
    local = Local(
        codes=_codes(table),
        words=_words(table),
        decimal_comma=table.flag("decimal_comma") if table.has("decimal_comma") else False,
        days_to_result=_days(table) if table.has("days_to_result") else None,
        passed_over=_passed_over(table),
    )
    table.refuse_the_rest()
    return local


def _days(table: Settings) -> int | None:
    found = table.take("days_to_result")
    if type(found) is int and 0 <= found <= MOST_DAYS_TO_RESULT:
        return found
    table.fault("days_to_result", f"is whole days from 0 to {MOST_DAYS_TO_RESULT}; found {found!r}")
    return None


def _codes(table: Settings) -> dict[tuple[str, str], str]:
    codes: dict[tuple[str, str], str] = {}
    rows: Sequence[Any] = table.tables("codes")
    for row in rows:
        local, loinc = (row.text("system", may_be_empty=True), row.text("code")), row.text("loinc")
        row.refuse_the_rest()
        if loinc and not well_formed(loinc):
            row.fault(
                "loinc",
                "is a LOINC code: digits, a hyphen and the right check digit, such as 5195-3; "
                f"found {loinc!r}",
            )
        if local in codes:
            row.fault("code", f"is listed twice: {local[1]!r} of {local[0]!r}")
        codes[local] = loinc
    return codes


def _passed_over(table: Settings) -> frozenset[tuple[str, str]]:
    found: set[tuple[str, str]] = set()
    for row in table.tables("passed_over"):
        named = (row.text("system", may_be_empty=True), row.text("code"))
        row.refuse_the_rest()
        if named in found:
            row.fault("code", f"is listed twice: {named[1]!r} of {named[0]!r}")
        found.add(named)
    return frozenset(found)


def _words(table: Settings) -> dict[str, Word]:
    lists = table.table("words") if table.has("words") else None
    if lists is None:
        return {}
    lists.allow(*Word)
    words: dict[str, Word] = {}
    folded: dict[str, str] = {}
    for word in Word:
        for text in lists.texts(word.value, may_be_empty=True):
            if fold(text) in folded:
                lists.fault(
                    word.value, f"has {text!r}, which is listed already as {folded[fold(text)]}"
                )
            folded.setdefault(fold(text), word.value)
            words[text] = word
    lists.refuse_the_rest()
    return words


_HYPHENS = re.compile(r"[\s\-\u2010\u2011]+")


def fold(text: str) -> str:
    """A text as answers are compared: hyphens and blanks made one blank, letters folded.

    >>> fold(" Non-Reactive ")
    'non reactive'
    """
    return _HYPHENS.sub(" ", text).strip().casefold()


def well_formed(code: str) -> bool:
    """Digits, hyphen and the right check digit: Luhn, modulus 10, doubling from the right.

    >>> well_formed("10900-9"), well_formed("10900-8")
    (True, False)
    """
    shape = _SHAPE.fullmatch(code)
    if shape is None:
        return False
    total = 0
    for place, digit in enumerate(reversed(shape[1])):
        doubled = int(digit) * (2 if place % 2 == 0 else 1)
        total += doubled - 9 if doubled > 9 else doubled
    return (10 - total % 10) % 10 == int(shape[2])
