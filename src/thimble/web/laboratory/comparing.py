"""Whom a message names beside whom a file or a case is about, before anything is recorded. Pure.

Names change and laboratories have numbers of their own: that these differ is shown, and a person decides.
Dates of birth do not change: where they differ nothing is recorded.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Literal

from thimble.clinical.saying import calendar_day
from thimble.exchange.hl7v2.model import Message, Patient
from thimble.exchange.matching import SEVERAL, about_several
from thimble.exchange.whose import other_birth_date
from thimble.people.names import name_key, number_key

SAME, DIFFERS, UNKNOWN = "the same", "differs", "cannot be compared"
NOT_SAID, NOT_KNOWN = "not said", "not known"


@dataclass(frozen=True, slots=True)
class Somebody:
    """Who a file or a case is about, as far as it is known."""

    name: str = ""
    born: date | None = None
    number: str = ""


@dataclass(frozen=True, slots=True)
class Row:
    """One thing that the message says, beside what stands here."""

    what: str
    message: str
    here: str
    told: str


@dataclass(frozen=True, slots=True)
class Comparison:
    """Each patient of a message beside one person; `differs` where anything that both say does."""

    patients: tuple[tuple[Row, ...], ...]

    @property
    def differs(self) -> bool:
        """Whether anything that both say differs."""
        return any(row.told == DIFFERS for rows in self.patients for row in rows)

    @property
    def born_unknown(self) -> bool:
        """Whether the dates of birth, which tell people apart best, say nothing."""
        return any(
            row.what == BORN and row.told == UNKNOWN for rows in self.patients for row in rows
        )


BORN = "Born"


def compare(message: Message, who: Somebody) -> Comparison:
    """A message held against the person whose results it is said to bring."""
    return Comparison(tuple(_rows(patient, who) for patient in message.patients))


def refusal(message: Message, born: date | None, where: Literal["file", "case"]) -> str:
    """Why nothing of a message may be recorded of somebody born then; "" where nothing contradicts it."""
    if about_several(message):
        return SEVERAL
    if not any(other_birth_date(patient, born) for patient in message.patients):
        return ""
    return (
        f"Nothing was recorded: the date of birth in the message is not the one in this {where}. If this "
        f"is another person, look for the right one. If the {where} has it wrong, set it right there "
        "first. If the laboratory has it wrong, ask it to send the message again and settle this one."
    )


def _rows(patient: Patient, who: Somebody) -> tuple[Row, ...]:
    names = {
        name_key(n.family, n.given, n.further): f"{n.family}, {n.given}".strip(", ")
        for n in patient.names
    }
    ids = {number_key(each.id): each.id for each in patient.ids if each.id.strip()}
    return (
        _row("Name", names.values(), who.name, same=name_key(who.name) in names),
        _born(patient, who.born),
        _row("Number", ids.values(), who.number, same=number_key(who.number) in ids),
    )


def _born(patient: Patient, born: date | None) -> Row:
    told = patient.birth_date
    here = "" if born is None else calendar_day(born)
    if told is None:
        return _row(BORN, (), here, same=False)
    if told.day is None and not other_birth_date(patient, born):
        # A year fits many people.
        return Row(BORN, f"in {told.local.year}", here or NOT_KNOWN, UNKNOWN)
    said = calendar_day(told.day) if told.day is not None else f"in {told.local.year}"
    return _row(BORN, (said,), here, same=not other_birth_date(patient, born))


def _row(what: str, message: Iterable[str], here: str, *, same: bool) -> Row:
    said = ", ".join(each for each in message if each)
    told = UNKNOWN if not said or not here else SAME if same else DIFFERS
    return Row(what, said or NOT_SAID, here or NOT_KNOWN, told)
