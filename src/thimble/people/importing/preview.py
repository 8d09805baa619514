"""The fate of every row of a file before anything is written: a pure function of file, register and what
people decided.

A row is matched by number, then by name and birth date. Only a number that fits a name or a birth date
matches by itself; whatever is less sure is asked, and nothing is done about it until somebody says
whether it is the same person. Two rows of one file never write in one person's file.
"""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field
from datetime import date
from enum import StrEnum
from typing import Any

from thimble.exchange.sheets import Sheet
from thimble.people.fold import Person, differing
from thimble.people.identity import PersonIdentity, changed_fields
from thimble.people.importing.columns import Columns
from thimble.people.importing.values import Reading, read_row
from thimble.people.names import another, name_key, number_key, without_zeros

NEW, LEAVE = "new", "leave"
"""Decisions about a row: another person than those shown; leave it out. Else a person's reference."""

EMPLOYMENT: Mapping[str, Any] = {
    "role": "",
    "site": "",
    "department": "",
    "cohort": "",
    "starts_on": None,
    "ends_on": None,
    "exposure_prone": "not_known",
    "categories": {},
}
"""What is held of somebody new where the file says nothing."""


class Fate(StrEnum):
    """What becomes of a row."""

    NEW = "new"
    CHANGED = "changed"
    UNCHANGED = "unchanged"
    ASK = "ask"
    REPEATED = "repeated"
    LEFT_OUT = "left_out"
    REFUSED = "refused"


@dataclass(frozen=True, slots=True)
class Change:
    """One field of somebody in the register: as it is, and as the file has it."""

    field: str
    before: str
    after: str


@dataclass(frozen=True, slots=True)
class Row:
    """One row and its fate.

    `person` is whose file it writes in ("" for nobody, or somebody new); `work` is what an entry says;
    `why` are sentences; `candidates` are the people whom it may be.
    """

    number: int
    fate: Fate
    identity: PersonIdentity
    person: str = ""
    work: Mapping[str, Any] = field(default_factory=dict)
    changes: tuple[Change, ...] = ()
    why: tuple[str, ...] = ()
    candidates: tuple[str, ...] = ()
    may_be_new: bool = False
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Preview:
    """The fate of every row, in the file's order; `absent` are people of the register whom no row names."""

    rows: tuple[Row, ...]
    absent: tuple[str, ...]

    @property
    def counts(self) -> Mapping[Fate, int]:
        """How many rows have each fate."""
        return Counter(row.fate for row in self.rows)

    @property
    def digest(self) -> str:
        """Equal for equal previews: what was looked at is what is written."""
        told = repr(
            [
                (r.number, r.fate, r.person, r.changes, sorted(r.work.items(), key=str))
                for r in self.rows
            ]
            + [asdict(r.identity) for r in self.rows]
        )
        return hashlib.sha256(told.encode("utf-8", "replace")).hexdigest()


class Register:
    """Everybody in the register, found by number and by name."""

    def __init__(self, people: Sequence[Person], identities: Mapping[str, PersonIdentity]) -> None:
        self.people = {person.reference: person for person in people}
        self.identities = {ref: identities[ref] for ref in self.people if ref in identities}
        self.by_number: dict[str, str] = {}
        self.by_zeros: dict[str, list[str]] = {}
        self.by_name: dict[tuple[str, ...], list[str]] = {}
        for reference, who in self.identities.items():
            if who.number:
                self.by_number[number_key(who.number)] = reference
                self.by_zeros.setdefault(without_zeros(who.number), []).append(reference)
            key = name_key(who.family_name, who.given_name)
            if key:
                self.by_name.setdefault(key, []).append(reference)


def preview(
    sheet: Sheet,
    columns: Columns,
    register: Register,
    decisions: Mapping[int, str],
    today: date,
) -> Preview:
    """The fate of every row below the header.

    Args:
        decisions: by row number: a person's reference, `NEW` or `LEAVE`.

    Raises:
        ValueError: the columns have faults.
    """
    if faults := columns.faults():
        raise ValueError(" ".join(faults))
    readings = [read_row(sheet, n, columns, today) for n in sheet.rows if n > columns.header]
    twice = _numbers_of_several(readings)
    rows: list[Row] = []
    seen: dict[str, int] = {}
    names: dict[tuple[object, ...], int] = {}
    taken: dict[str, int] = {}
    for reading in readings:
        said = repr(reading.said)
        if said in seen and not reading.faults:
            why = f"It says the same as row {seen[said]}"
            rows.append(_row(reading, Fate.REPEATED, why=(why,)))
            continue
        seen.setdefault(said, reading.number)
        row = _fate(reading, register, decisions.get(reading.number, ""), twice, names)
        if row.person and row.person in taken:
            why = f"Row {taken[row.person]} is of the same person; one file has one row for each"
            row = _row(reading, Fate.REFUSED, why=(why,))
        elif row.person:
            taken[row.person] = row.number
        rows.append(row)
    named = {c for row in rows for c in (*row.candidates, row.person)}
    return Preview(tuple(rows), tuple(ref for ref in register.people if ref not in named))


def _numbers_of_several(readings: Sequence[Reading]) -> dict[str, list[int]]:
    """Numbers that rows which say different things share."""
    rows: dict[str, dict[str, int]] = {}
    for reading in readings:
        if number := reading.who.number:
            rows.setdefault(number_key(number), {}).setdefault(repr(reading.said), reading.number)
    return {key: list(each.values()) for key, each in rows.items() if len(each) > 1}


def _row(reading: Reading, fate: Fate, **more: Any) -> Row:
    return Row(reading.number, fate, reading.who, notes=tuple(reading.notes), **more)


def _fate(
    reading: Reading,
    register: Register,
    decision: str,
    twice: Mapping[str, list[int]],
    names: dict[tuple[object, ...], int],
) -> Row:
    if reading.faults:
        return _row(reading, Fate.REFUSED, why=tuple(reading.faults))
    who = reading.who
    number = number_key(who.number)
    if number in twice:
        others = ", ".join(str(n) for n in twice[number] if n != reading.number)
        why = f"Number {who.number} stands in row {others} too, and that row says something else"
        return _row(reading, Fate.REFUSED, why=(why,))
    if decision == LEAVE:
        return _row(reading, Fate.LEFT_OUT, why=("Left out, as decided",))
    person, doubt, candidates, may_be_new = _match(who, register)
    earlier = names.setdefault(
        (name_key(who.family_name, who.given_name), who.birth_date), reading.number
    )
    if not person and not candidates and earlier != reading.number:
        doubt = f"Row {earlier} has the same name and birth date"
        may_be_new = True
    if doubt and decision == NEW and may_be_new:
        return _new(reading)
    if doubt and decision in candidates:
        return _known(reading, register, decision, keep_number=bool(who.number))
    if doubt:
        return _row(
            reading, Fate.ASK, why=(doubt,), candidates=tuple(candidates), may_be_new=may_be_new
        )
    return _known(reading, register, person) if person else _new(reading)


def _match(who: PersonIdentity, register: Register) -> tuple[str, str, list[str], bool]:
    """Who it is; or a doubt, whom it may be, and whether it may be somebody new."""
    name = name_key(who.family_name, who.given_name)
    held = register.by_number.get(number_key(who.number)) if who.number else None
    if held is not None:
        other = register.identities[held]
        known_as = name_key(other.family_name, other.given_name)
        if doubt := another(name, who.birth_date, known_as, other.birth_date):
            return "", f"The number is known, with {doubt}", [held], False
        return held, "", [], False
    zeros = register.by_zeros.get(without_zeros(who.number), []) if who.number else []
    for reference in zeros:
        other = register.identities[reference]
        alike = name == name_key(other.family_name, other.given_name)
        if alike or (who.birth_date and who.birth_date == other.birth_date):
            doubt = f"The number {other.number} is known; a spreadsheet may have taken its leading zeros"
            return "", doubt, [reference], True
    alike_by_name = [
        reference
        for reference in register.by_name.get(name, [])
        if None in (who.birth_date, register.identities[reference].birth_date)
        or who.birth_date == register.identities[reference].birth_date
    ]
    if alike_by_name:
        births = {register.identities[r].birth_date for r in alike_by_name}
        known = who.birth_date is not None and births == {who.birth_date}
        what = "name and birth date" if known else "name, and a birth date is missing"
        return "", f"Somebody has the same {what}", alike_by_name, True
    return "", "", [], True


def _new(reading: Reading) -> Row:
    return _row(reading, Fate.NEW, work={**EMPLOYMENT, **reading.work})


def _known(reading: Reading, register: Register, person: str, *, keep_number: bool = False) -> Row:
    held = register.identities[person]
    said = dict(reading.identity)
    if keep_number and without_zeros(held.number) == without_zeros(said.get("number", "")):
        # The file lost the zeros; the register has them.
        said["number"] = held.number
    told = {
        name: getattr(held, name)
        for name in ("number", "family_name", "given_name", "birth_date", "email")
    }
    identity = PersonIdentity(**{**told, **said})
    if name_key(identity.family_name, identity.given_name) == name_key(
        held.family_name, held.given_name
    ):
        # Written otherwise (capitals, one cell for both names): it is still the same name.
        identity = PersonIdentity(
            identity.number, held.family_name, held.given_name, identity.birth_date, identity.email
        )
    new = differing(register.people[person], reading.work)
    changes = tuple(
        Change(name, _shown(getattr(held, name)), _shown(getattr(identity, name)))
        for name in changed_fields(held, identity)
    ) + tuple(
        Change(name, _shown(_held(register.people[person], name)), _shown(value))
        for name, value in new.items()
    )
    fate = Fate.CHANGED if changes else Fate.UNCHANGED
    return Row(
        reading.number,
        fate,
        identity,
        person=person,
        work=new,
        changes=changes,
        notes=tuple(reading.notes),
    )


def _held(person: Person, name: str) -> object:
    return getattr(person.employment, name)


def _shown(value: object) -> str:
    return value.isoformat() if isinstance(value, date) else str(value or "")
