"""The rows of one order that say something, each with how it was read; or why a person has to look.

A laboratory often sends one test in two rows, a number and what it calls it. They are one result.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from thimble.clinical.laboratory import Local
from thimble.clinical.serology.results import Status
from thimble.exchange.hl7v2.loinc import is_loinc, tests
from thimble.exchange.hl7v2.model import Observation, Order
from thimble.exchange.hl7v2.reading import Held, Reading, Standing
from thimble.exchange.hl7v2.values import read_value

STATUS = {
    Standing.FINAL: Status.FINAL,
    Standing.CORRECTED: Status.CORRECTED,
    Standing.PROVISIONAL: Status.PRELIMINARY,
    Standing.RETRACTED: Status.RETRACTED,
    Standing.WRONG: Status.RETRACTED,
}
COUNTS = frozenset({*STATUS, Standing.PROMOTED})


@dataclass(frozen=True, slots=True)
class Row:
    """One result: how it was read, and from whom. `sent` says whether any value stands in it."""

    reading: Reading
    laboratory: str
    sent: bool

    @property
    def words(self) -> str:
        """The sender's own."""
        return self.reading.words


def rows_of(order: Order, local: Local) -> tuple[list[Row], list[str]]:
    """The results of an order, and why rows of it wait for a person, in sentences."""
    found: list[Row] = []
    faults: list[str] = []
    for row in order.observations:
        if passed_over(row, local):
            continue
        reading = read_value(row, local)
        name = next(iter(row.test.texts), "") or "a test without a name"
        if isinstance(reading, Held):
            faults.append(f"{name}: {reading.reason}")
        elif reading.standing in COUNTS and _in_part(reading):
            faults.append(f"{name}: the code is for a part of the test ({reading.test.part}).")
        elif reading.standing in COUNTS and _says_something(reading):
            found.append(Row(reading, row.lab, _sent(row)))
    return _together(found), faults


def passed_over(row: Observation, local: Local) -> bool:
    """Whether the site says that nobody follows this test here; no code of the row may say another one."""
    codes = [(each.system, each.code) for each in row.test.codes if each.code]
    read = any(code in local.codes or (is_loinc(code[0]) and code[1] in tests()) for code in codes)
    return not read and any(code in local.passed_over for code in codes)


def _in_part(reading: Reading) -> bool:
    """Whether a code is for a part of the test; RNA of HIV-1 is what HIV RNA means everywhere."""
    return bool(reading.test.part) and (reading.analyte, reading.test.part) != ("hiv_rna", "HIV-1")


def _says_something(reading: Reading) -> bool:
    if reading.standing in (Standing.RETRACTED, Standing.WRONG, Standing.PROMOTED):
        return True
    return not reading.no_result and (reading.outcome is not None or reading.quantity is not None)


def _sent(row: Observation) -> bool:
    return any(part.strip() for value in row.values for part in value)


def _together(rows: Sequence[Row]) -> list[Row]:
    """A test's one number and its one word, sent under two codes, made one; set right if either was."""
    found: list[Row] = []
    done: set[int] = set()
    for at, row in enumerate(rows):
        if at in done:
            continue
        same = [i for i, other in enumerate(rows) if _alike(row.reading, other.reading)]
        if len(same) == 2 and (pair := _pair(rows[i] for i in same)) is not None:
            done.update(same)
            found.append(pair)
        else:
            found.append(row)
    return found


def _alike(one: Reading, other: Reading) -> bool:
    usable = {Standing.FINAL, Standing.CORRECTED}
    same = one.standing is other.standing or {one.standing, other.standing} == usable
    return same and (one.analyte, one.test.part) == (other.analyte, other.test.part)


def _pair(two: Iterable[Row]) -> Row | None:
    one, other = two
    for number, word in ((one, other), (other, one)):
        a, b = number.reading, word.reading
        if (a.quantity and not a.outcome) and (b.outcome and not b.quantity):
            set_right = Standing.CORRECTED in (a.standing, b.standing)
            both = replace(
                a,
                standing=Standing.CORRECTED if set_right else a.standing,
                outcome=b.outcome,
                words=f"{a.words}; {b.words}",
            )
            return replace(number, reading=both)
    return None
