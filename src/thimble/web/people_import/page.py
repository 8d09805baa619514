"""What the preview of an import says."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from thimble.exchange.sheets import Sheet
from thimble.exchange.sheets.model import column_name
from thimble.people.choices import EXPOSURE_PRONE, WORKS_AS
from thimble.people.identity import PersonIdentity
from thimble.people.importing import FIELDS, Fate, Preview, Row
from thimble.web.people.words import born, day
from thimble.web.people_import.plan import Plan

FATES: Mapping[Fate, tuple[str, str]] = {
    Fate.ASK: ("to decide", "Is it the same person? Somebody has to look."),
    Fate.NEW: ("new", "Will be enrolled."),
    Fate.CHANGED: ("changed", "In the register; these fields change."),
    Fate.UNCHANGED: ("unchanged", "In the register, and nothing differs."),
    Fate.REPEATED: ("repeated", "The same row once more; it does nothing."),
    Fate.LEFT_OUT: ("left out", "As decided."),
    Fate.REFUSED: (
        "refused",
        "Cannot be read; correct the file, say above what the columns hold, or enrol by hand.",
    ),
}
"""Each fate in a word, and what it means; in the order of the page."""


@dataclass(frozen=True, slots=True)
class Candidate:
    """Somebody whom a row may be."""

    reference: str
    name: str
    told: str


@dataclass(frozen=True, slots=True)
class Line:
    """One row of the file."""

    number: int
    fate: str
    word: str
    name: str
    told: str
    details: tuple[str, ...]
    changes: tuple[tuple[str, str, str], ...]
    why: tuple[str, ...]
    notes: tuple[str, ...]
    candidates: tuple[Candidate, ...]
    may_be_new: bool
    decision: str


@dataclass(frozen=True, slots=True)
class ColumnLine:
    """One column of the file: its header, a first value, and the field that it is taken for."""

    column: int
    letter: str
    header: str
    sample: str
    field: str


def columns_of(sheet: Sheet, plan: Plan) -> list[ColumnLine]:
    """Every column that holds anything below the header."""
    below = [number for number in sheet.rows if number > plan.columns.header]
    lines = []
    for column in range(sheet.width):
        header = sheet.cell(plan.columns.header, column).text
        values = (sheet.cell(number, column).text for number in below)
        sample = next((value for value in values if value), "")
        if header or sample:
            lines.append(
                ColumnLine(
                    column,
                    column_name(column),
                    header,
                    sample[:40],
                    plan.columns.fields.get(column, ""),
                )
            )
    return lines


def shown_in(seen: Preview, show: str) -> list[Row]:
    """The rows with one fate, or all of them."""
    return [row for row in seen.rows if show in ("all", row.fate)]


def counts_of(seen: Preview) -> list[tuple[str, str, int, str]]:
    """Every fate that any row has: id, word, how many, meaning."""
    counts = seen.counts
    return [
        (fate.value, word, counts[fate], meaning)
        for fate, (word, meaning) in FATES.items()
        if counts[fate]
    ]


def line(row: Row, identities: Mapping[str, PersonIdentity], decisions: Mapping[int, str]) -> Line:
    """A row in words."""
    return Line(
        number=row.number,
        fate=row.fate.value,
        word=FATES[row.fate][0],
        name=row.identity.name or "No name",
        told=_who(row.identity),
        details=_details(row) if row.fate is Fate.NEW else (),
        changes=tuple(
            (FIELDS.get(c.field, c.field), _value(c.field, c.before), _value(c.field, c.after))
            for c in row.changes
        ),
        why=row.why,
        notes=row.notes,
        candidates=tuple(
            Candidate(ref, identities[ref].name, _who(identities[ref]))
            for ref in row.candidates
            if ref in identities
        ),
        may_be_new=row.may_be_new,
        decision=decisions.get(row.number, ""),
    )


def _who(who: PersonIdentity) -> str:
    told = [who.number]
    if who.birth_date:
        told.append(f"born {born(who.birth_date)}")
    return " · ".join(part for part in (*told, who.email) if part)


def _details(row: Row) -> tuple[str, ...]:
    told = []
    for name in ("works_as", "role", "department", "site", "cohort"):
        if row.work.get(name):
            told.append(_value(name, row.work[name]))
    if row.work.get("starts_on"):
        told.append(f"starts {day(row.work['starts_on'])}")
    if row.work.get("ends_on"):
        told.append(f"until {day(row.work['ends_on'])}")
    if row.work.get("exposure_prone") == "yes":
        told.append("exposure-prone procedures")
    return tuple(told)


def _value(name: str, text: str) -> str:
    if not text:
        return "empty"
    if name == "works_as":
        return WORKS_AS.get(text, text)
    if name == "exposure_prone":
        return EXPOSURE_PRONE.get(text, text)
    return day(text) if name in ("starts_on", "ends_on", "birth_date") else text


EXPORTED: Sequence[tuple[str, str]] = tuple(
    (name, label) for name, label in FIELDS.items() if name != "full_name"
)
"""The columns of an export: those that an import understands by themselves."""
