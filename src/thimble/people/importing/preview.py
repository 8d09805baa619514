"""The fate of every row of a file before anything is written: a pure function of file, register and what
people decided.

A row is matched by number, then by name and birth date. Only a number that fits a name or a birth date
matches by itself; whatever is less sure is asked, and nothing is done about it until somebody says
whether it is the same person. Two rows of one list of people never write in one person's file; a list of
evidence may have many rows of one person, in whose files it changes nothing else.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

from thimble.clinical.laboratory import Local
from thimble.exchange.hl7v2.values import NOTHING_DECLARED
from thimble.exchange.sheets import Sheet
from thimble.people.fold import Person, differing
from thimble.people.identity import PersonIdentity, changed_fields
from thimble.people.importing.columns import Columns
from thimble.people.importing.evidence_reading import Evidence
from thimble.people.importing.filing import Filing, of_people_known
from thimble.people.importing.matching import Before, Register, match
from thimble.people.importing.orders import contradictions
from thimble.people.importing.rows import LEAVE, NEW, Change, Fate, Preview, Row
from thimble.people.importing.values import Reading, read_row
from thimble.people.names import name_key, number_key, without_zeros

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


def preview(
    sheet: Sheet,
    columns: Columns,
    register: Register,
    decisions: Mapping[int, str],
    today: date,
    *,
    cells: Mapping[str, str] | None = None,
    local: Local = NOTHING_DECLARED,
) -> Preview:
    """The fate of every row below the header.

    Args:
        decisions: by row number: a person's reference, `NEW` or `LEAVE`.
        cells: by cell of evidence, such as `D7`: `ALSO`, `SAME` (see `on_file`), or `LEAVE` for the row.
        local: the words and decimal mark of the site's laboratory.

    Raises:
        ValueError: the columns have faults.
    """
    if faults := columns.faults():
        raise ValueError(" ".join(faults))
    readings = [read_row(sheet, n, columns, today) for n in sheet.rows if n > columns.header]
    if columns.evidence:
        evidence = Evidence(sheet, columns, today, local)
        for reading in readings:
            evidence.read(reading)
    cautions = contradictions(sheet, columns)
    filing = Filing(register, cells or {}, today)
    if columns.of_the_register:
        known = tuple(of_people_known(readings, columns, register, decisions, filing))
        return Preview(known, (), cautions)
    twice = _numbers_of_several(readings)
    rows: list[Row] = []
    seen: dict[str, int] = {}
    before = Before()
    taken: dict[str, int] = {}
    for reading in readings:
        said = repr(reading.said)
        if said in seen and not reading.faults:
            why = f"It says the same as row {seen[said]}"
            rows.append(_row(reading, Fate.REPEATED, why=(why,)))
            continue
        seen.setdefault(said, reading.number)
        row = _fate(reading, register, decisions.get(reading.number, ""), twice, before)
        if row.person and row.person in taken:
            why = f"Row {taken[row.person]} is of the same person; one file has one row for each"
            row = _row(reading, Fate.REFUSED, why=(why,))
        elif row.person:
            taken[row.person] = row.number
        rows.append(filing.filed(row, reading))
    named = {c for row in rows for c in (*row.candidates, row.person)}
    absent = tuple(ref for ref in register.people if ref not in named)
    return Preview(tuple(rows), absent, cautions)


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
    before: Before,
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
    person, doubt, candidates, may_be_new = match(who, register)
    earlier = before.alike(who, reading.number)
    if not person and not candidates and earlier:
        doubt, may_be_new = earlier, True
    if doubt and decision == NEW and may_be_new:
        return _new(reading)
    if doubt and decision in candidates:
        return _known(reading, register, decision, keep_number=bool(who.number))
    if doubt:
        return _row(
            reading, Fate.ASK, why=(doubt,), candidates=tuple(candidates), may_be_new=may_be_new
        )
    return _known(reading, register, person) if person else _new(reading)


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
