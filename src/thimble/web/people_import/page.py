"""What the preview of an import says."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from thimble.clinical.diseases import DISEASES
from thimble.clinical.saying import inside
from thimble.exchange.sheets import Sheet
from thimble.exchange.sheets.model import column_name
from thimble.people.choices import EXPOSURE_PRONE, WORKS_AS
from thimble.people.documented import day_of
from thimble.people.entries import Kind
from thimble.people.fold import Evidence
from thimble.people.identity import PersonIdentity
from thimble.people.immunity import about
from thimble.people.importing import FIELDS, Fate, Judged, Preview, Row, Standing
from thimble.people.importing.evidence_columns import groups
from thimble.web.people import words
from thimble.web.people.words import born, day
from thimble.web.people_import.plan import Plan

FATES: Mapping[Fate, tuple[str, str]] = {
    Fate.ASK: (
        "to decide",
        "Is it the same person, or the same dose or result? Somebody has to look.",
    ),
    Fate.NEW: ("new", "Will be enrolled."),
    Fate.CHANGED: ("changed", "In the register; these fields change."),
    Fate.ADDED: ("added", "In the register; this evidence is written down."),
    Fate.UNCHANGED: (
        "unchanged",
        "In the register, and nothing differs; evidence is on file already.",
    ),
    Fate.REPEATED: ("repeated", "The same row once more; it does nothing."),
    Fate.LEFT_OUT: ("left out", "As decided."),
    Fate.REFUSED: (
        "refused",
        "Nothing of these rows is written; correct the file, say above what the columns hold, or type "
        "them by hand.",
    ),
}
"""Each fate in a word, and what it means; in the order of the page."""


GROUPS: Sequence[tuple[str, Sequence[tuple[str, str]]]] = tuple(
    (title, tuple(fields.items())) for title, fields in (("The person", FIELDS), *groups())
)
"""What a column can hold, in groups."""


@dataclass(frozen=True, slots=True)
class Candidate:
    """Somebody whom a row may be."""

    reference: str
    name: str
    told: str


@dataclass(frozen=True, slots=True)
class Question:
    """A piece of evidence that may be on file already: its cell, what it says, and what it may be."""

    cell: str
    said: str
    why: str
    decision: str


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
    written: tuple[str, ...]
    on_file: tuple[str, ...]
    questions: tuple[Question, ...]
    decided: tuple[str, ...]
    several: bool

    @property
    def asks(self) -> bool:
        """Whether somebody can answer here."""
        return self.fate == Fate.ASK and bool(self.candidates or self.may_be_new or self.questions)


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


def written(seen: Preview) -> str:
    """What was written, in words."""
    pieces = sum(len(row.pieces) for row in seen.rows)
    told = [(seen.counts[Fate.NEW], "enrolled"), (seen.counts[Fate.CHANGED], "changed")]
    told.append((pieces, "piece of evidence" if pieces == 1 else "pieces of evidence"))
    return ", ".join(f"{count} {what}" for count, what in told if count)


def kept_counts(seen: Preview) -> dict[str, int]:
    """What is kept of an import that was written: how many rows had each fate, how many pieces it had."""
    counts = {word: count for _, word, count, _ in counts_of(seen)}
    pieces = sum(len(row.pieces) for row in seen.rows)
    return counts | ({"pieces of evidence": pieces} if pieces else {})


def refused_rows(sheet: Sheet, plan: Plan, seen: Preview) -> tuple[list[str], list[list[str]]]:
    """The header and the refused rows of a file as they are there, each with its row and why."""
    width, number = sheet.width, plan.columns.header
    header = ["Row", *(sheet.cell(number, column).text for column in range(width)), "Why"]
    rows = [
        [
            str(row.number),
            *(sheet.cell(row.number, column).text for column in range(width)),
            ". ".join(row.why),
        ]
        for row in shown_in(seen, Fate.REFUSED)
    ]
    return header, rows


def line(row: Row, identities: Mapping[str, PersonIdentity], plan: Plan) -> Line:
    """A row in words."""
    by_standing: dict[Standing, list[Judged]] = {}
    for judged in row.evidence:
        by_standing.setdefault(judged.standing, []).append(judged)
    return Line(
        number=row.number,
        fate=row.fate.value,
        word=FATES[row.fate][0],
        name=row.identity.name or row.identity.number or "No name",
        told=_who(row.identity, named=bool(row.identity.name)),
        details=_details(row) if row.fate is Fate.NEW else (),
        changes=tuple(
            (FIELDS.get(c.field, c.field), _value(c.field, c.before), _value(c.field, c.after))
            for c in row.changes
        ),
        why=row.why,
        notes=row.notes,
        candidates=tuple(
            Candidate(ref, identities[ref].name, _who(identities[ref], named=True))
            for ref in row.candidates
            if ref in identities
        ),
        may_be_new=row.may_be_new,
        decision=plan.decisions.get(row.number, ""),
        written=tuple(said(j.piece.kind, j.piece.body) for j in by_standing.get(Standing.NEW, ())),
        on_file=tuple(_not_written(j) for j in row.evidence if j.standing in _THERE),
        questions=tuple(
            Question(
                j.piece.place,
                said(j.piece.kind, j.piece.body),
                _there(j),
                plan.cells.get(j.piece.place, ""),
            )
            for j in by_standing.get(Standing.ASK, ())
        ),
        several=len(row.evidence) > 1,
        decided=tuple(j.piece.place for j in row.evidence if j.piece.place in plan.cells),
    )


_THERE = (Standing.ON_FILE, Standing.REPEATED, Standing.SAME)


def _not_written(judged: Judged) -> str:
    """Why a piece is not written: what is there, or that somebody said so."""
    if judged.standing is Standing.SAME:
        told = f"Left out: {said(judged.piece.kind, judged.piece.body)}"
        return ". ".join(filter(None, (told, _there(judged))))
    return _there(judged)


def _there(judged: Judged) -> str:
    """What is there already of a piece, and where."""
    if judged.other is None:
        return ""
    where = f"In row {judged.row}" if judged.row else "On file"
    return f"{where}: {said(*judged.other)}"


def said(kind: Kind, body: Mapping[str, Any]) -> str:
    """A piece of evidence with its day, in a line."""
    piece = Evidence(0, kind, body, "", _NO_ENTRY)
    what = words.title(piece)
    if kind is not Kind.RESULT_RECORDED and not body.get("product"):
        what += f" ({', '.join(inside(DISEASES[d]) for d in about(piece))})"
    return f"{what}, {day(day_of(body))}"


_NO_ENTRY = datetime.min.replace(tzinfo=UTC)
"""Nothing is recorded yet."""


def _who(who: PersonIdentity, *, named: bool) -> str:
    told = [who.number] if named else []
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
