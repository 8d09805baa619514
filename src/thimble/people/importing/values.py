"""One row of a file to a person: each cell read, or refused with its place and a reason."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Any

from thimble.exchange.sheets import Cell, Sheet
from thimble.exchange.sheets.model import column_name
from thimble.exchange.sheets.writing import unguarded
from thimble.people.dates import NotADate, Order, read_date
from thimble.people.entries import Kind
from thimble.people.identity import PersonIdentity
from thimble.people.importing.columns import FIELDS, Columns
from thimble.people.importing.headers import header_key

_WORKS_AS: Mapping[str, str] = {
    word: value
    for value, words in {
        "staff": "staff employee employees employed mitarbeiter mitarbeiterin mitarbeitende angestellt "
        "angestellte employe employee personnel empleado empleada personal dipendente permanent intern",
        "student": "student students studentin studierende studierender studierend etudiant etudiante "
        "estudiante studente studentessa trainee apprentice pupil lernende",
        "agency": "agency temporary temp temporar leiharbeit leihpersonal interim interimaire agencia",
        "contractor": "contractor contractors external extern externe externer prestataire contratista "
        "esterno",
        "volunteer": "volunteer volunteers freiwillig freiwillige ehrenamtlich benevole voluntario "
        "voluntaria volontario volontaria",
    }.items()
    for word in words.split()
}
_YES_NO: Mapping[str, str] = {
    **dict.fromkeys(["yes", "y", "ja", "j", "oui", "o", "si", "s", "x", "true", "1"], "yes"),
    **dict.fromkeys(["no", "n", "nein", "non", "false", "0"], "no"),
    **dict.fromkeys(("not known", "unknown", "unbekannt", "inconnu", "?"), "not_known"),
}
_YOUNGEST, _OLDEST = 10, 110
"""Ages in years outside which a birth date is a slip of the keyboard."""
_FAR = timedelta(days=80 * 366)
_SERIAL = (20_000, 80_000)
"""Days as spreadsheets count them: 1954 to 2119, or four years later. A year of four digits is none."""
_LONGEST = 120

_WHOSE = ("number", "family_name", "given_name", "full_name", "birth_date")
"""All that is read of the person where the row changes nobody."""
_IDENTITY = ("number", "family_name", "given_name", "birth_date", "email")


@dataclass(frozen=True, slots=True)
class Piece:
    """One piece of evidence as a row says it: the cell that it is asked about by, and its entry."""

    place: str
    kind: Kind
    body: Mapping[str, Any]


@dataclass(slots=True)
class Reading:
    """A row as it was read. Only what the file says stands in `identity` and `work`: an empty cell says
    nothing. `pieces` are its evidence. `faults` name their cell; `notes` tell what was taken for something
    else."""

    number: int
    identity: dict[str, Any] = field(default_factory=dict)
    work: dict[str, Any] = field(default_factory=dict)
    pieces: list[Piece] = field(default_factory=list)
    faults: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    @property
    def who(self) -> PersonIdentity:
        """The identity, empty where the file says nothing."""
        return PersonIdentity(**self.identity)

    @property
    def said(self) -> tuple[object, ...]:
        """Everything that the row says, to tell repeats."""
        pieces = [(piece.kind, piece.body) for piece in self.pieces]
        return (
            sorted(self.identity.items(), key=str),
            sorted(self.work.items(), key=str),
            pieces,
        )


def read_row(sheet: Sheet, number: int, columns: Columns, today: date) -> Reading:
    """One row, with everything that is wrong in it."""
    row = Reading(number)
    known = columns.of_the_register
    for column, name in columns.fields.items():
        cell = sheet.cell(number, column)
        if not cell.text or name not in (_WHOSE if known else FIELDS):
            continue
        place = f"{column_name(column)}{number}"
        try:
            _take(row, name, cell, columns, today, sheet.day_zero, place)
        except ValueError as fault:
            row.faults.append(f"{place}, {FIELDS[name]}: {fault}")
    if known:
        return row
    if not row.who.name:
        row.faults.append(f"Row {number}: the name is missing")
    if "works_as" not in row.work and columns.works_as:
        row.work["works_as"] = columns.works_as
    elif "works_as" not in row.work and not row.faults:
        row.faults.append(f"Row {number}: what the person works as is missing")
    if columns.cohort and "cohort" not in row.work:
        row.work["cohort"] = columns.cohort
    start, end = row.work.get("starts_on"), row.work.get("ends_on")
    if start and end and end < start:
        row.faults.append(f"Row {number}: the last day, {end}, lies before the first, {start}")
    return row


def _take(
    row: Reading, name: str, cell: Cell, columns: Columns, today: date, day_zero: date, place: str
) -> None:
    refuse_unread(cell)
    if name in ("birth_date", "starts_on", "ends_on"):
        day, note = read_day(
            cell,
            place,
            order=columns.order,
            today=today,
            day_zero=day_zero,
            ahead=name != "birth_date",
        )
        if note:
            row.notes.append(note)
        if len(day) < 10:
            raise NotADate(f"{cell.text} is not a whole day; day, month and year are needed here")
        told = date.fromisoformat(day)
        if name == "birth_date":
            row.identity[name] = _born(told, today)
        else:
            if abs(told - today) > _FAR:
                raise ValueError(f"{told.isoformat()} lies a lifetime away; look at the year")
            row.work[name] = told.isoformat()
        return
    text = unguarded(cell.text)
    if len(text) > _LONGEST:
        raise ValueError(f"it has more than {_LONGEST} characters")
    if name == "works_as":
        row.work[name] = _works_as(text)
    elif name == "exposure_prone":
        row.work[name] = _yes_no(text)
    elif name == "full_name":
        family, comma, given = text.partition(",")
        row.identity["family_name"] = family.strip()
        if comma:
            row.identity["given_name"] = given.strip()
    elif name == "number":
        row.identity[name] = _number(cell, text)
    elif name == "email":
        row.identity[name] = _email(text)
    elif name in _IDENTITY:
        row.identity[name] = text
    else:
        row.work[name] = text
    if name in ("family_name", "full_name") and row.who.family_name:
        _a_name(row.who.family_name)


def _a_name(text: str) -> None:
    """A line of sums below a list is nobody.

    Raises:
        ValueError: it has no letter.
    """
    if not any(letter.isalpha() for letter in text):
        raise ValueError(f"“{text}” is no name: it has no letter")


def read_day(
    cell: Cell, place: str, *, order: Order | None, today: date, day_zero: date, ahead: bool = False
) -> tuple[str, str]:
    """The day that a cell says, as exactly as it says it; and what it was taken for, if it is a number.

    Raises:
        NotADate: it is none, or could be two.
    """
    refuse_unread(cell)
    text = cell.text
    if cell.kind == "day":
        return text[:10], ""
    if text.isdecimal() and _SERIAL[0] <= int(text) < _SERIAL[1]:
        day = (day_zero + timedelta(days=int(text))).isoformat()
        return day, f"{place}: {text} was read as {day}, as spreadsheets count days"
    if cell.kind == "number" and not text.isdecimal():
        raise NotADate(f"{text} is a number; send the column as dates or as text")
    return read_date(text, today=today, order=order, ahead=ahead), ""


def refuse_unread(cell: Cell) -> None:
    """Nothing is taken from a cell that holds no value.

    Raises:
        NotADate: it holds a formula or an error.
    """
    if cell.kind == "formula":
        raise NotADate("the cell holds a formula; replace it by its value in the spreadsheet")
    if cell.kind == "error":
        raise NotADate(f"the cell holds an error, {cell.text}")


def _born(born: date, today: date) -> date:
    if not today.year - _OLDEST <= born.year <= today.year - _YOUNGEST:
        raise ValueError(f"nobody born on {born.isoformat()} works here; look at the year")
    return born


def _works_as(text: str) -> str:
    words = header_key(text).split()
    found = {_WORKS_AS[word] for word in words if word in _WORKS_AS}
    if len(found) != 1:
        raise ValueError(
            f"{text!r} is not understood; write staff, student, agency, contractor or volunteer"
        )
    return found.pop()


def _yes_no(text: str) -> str:
    found = _YES_NO.get(text.casefold()) or _YES_NO.get(header_key(text))
    if found is None:
        raise ValueError(f"{text!r} is not understood; write yes, no or not known")
    return found


def _number(cell: Cell, text: str) -> str:
    if (cell.kind == "number" and not text.isdecimal()) or "E+" in text.upper():
        raise ValueError(f"{text} was rounded by the spreadsheet; send the column as text")
    return text


def _email(text: str) -> str:
    text = text.removeprefix("mailto:")
    name, at, host = text.partition("@")
    if not name or not at or "." not in host or " " in text or "@" in host:
        raise ValueError(f"{text!r} is no e-mail address")
    return text
