"""The evidence of rows, held against the files that it would be written in."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from datetime import date

from thimble.people.documented import outside
from thimble.people.importing.columns import Columns
from thimble.people.importing.matching import Register, of_the_register
from thimble.people.importing.on_file import Filed, Judged, Standing
from thimble.people.importing.rows import LEAVE, Fate, Row
from thimble.people.importing.values import Reading


class Filing:
    """Every file that a list has evidence for, as it would be after the rows so far."""

    def __init__(self, register: Register, cells: Mapping[str, str], today: date) -> None:
        self._register, self._cells, self._today = register, cells, today
        self._files: dict[str, Filed] = {}

    def filed(self, row: Row, reading: Reading) -> Row:
        """The row with its evidence. With a piece that cannot be right the whole row is refused."""
        if not reading.pieces or row.fate not in (Fate.NEW, Fate.CHANGED, Fate.UNCHANGED):
            return row
        born = row.identity.birth_date
        faults = tuple(
            f"{piece.place}: {why}"
            for piece in reading.pieces
            if (why := outside(piece.kind, piece.body, self._today, born))
        )
        if faults:
            return Row(row.number, Fate.REFUSED, row.identity, why=faults, notes=row.notes)
        if any(self._cells.get(piece.place) == LEAVE for piece in reading.pieces):
            out = tuple(Judged(piece, Standing.SAME) for piece in reading.pieces)
            return replace(row, fate=Fate.LEFT_OUT, why=("Left out, as decided",), evidence=out)
        file = self._file(row.person)
        judged = tuple(
            file.judge(piece, row.number, self._cells.get(piece.place, ""))
            for piece in reading.pieces
        )
        return replace(row, fate=_fate(row.fate, {j.standing for j in judged}), evidence=judged)

    def _file(self, person: str) -> Filed:
        if not person:
            return Filed(())
        if person not in self._files:
            self._files[person] = Filed(self._register.people[person].evidence)
        return self._files[person]


def _fate(of_person: Fate, standings: set[Standing]) -> Fate:
    if Standing.ASK in standings:
        return Fate.ASK
    if of_person is not Fate.UNCHANGED:
        return of_person
    if Standing.NEW in standings:
        return Fate.ADDED
    only = {
        frozenset({Standing.REPEATED}): Fate.REPEATED,
        frozenset({Standing.SAME}): Fate.LEFT_OUT,
    }
    return only.get(frozenset(standings), Fate.UNCHANGED)


def of_people_known(
    readings: Iterable[Reading],
    columns: Columns,
    register: Register,
    decisions: Mapping[int, str],
    filing: Filing,
) -> Iterator[Row]:
    """The rows of a list that enrols nobody. Of whom a row is, is asked once for all that say it alike."""
    said = set(columns.fields.values())
    named_by = frozenset(said & {"birth_date", "family_name", "full_name"})
    asked: dict[object, int] = {}
    answered: dict[object, str] = {}
    for reading in readings:
        who, notes = reading.who, tuple(reading.notes)
        if reading.faults:
            why = tuple(reading.faults)
            yield Row(reading.number, Fate.REFUSED, who, why=why, notes=notes)
            continue
        decision = decisions.get(reading.number, "")
        person, doubt, candidates = of_the_register(who, register, named_by)
        if candidates:
            decision = answered.setdefault(who, decision) if decision else answered.get(who, "")
            person = decision if decision in candidates else ""
        if decision == LEAVE:
            why = ("Left out, as decided",)
            yield Row(reading.number, Fate.LEFT_OUT, who, why=why, notes=notes)
        elif person:
            why = () if reading.pieces else ("It holds no evidence",)
            identity = register.identities[person]
            row = Row(reading.number, Fate.UNCHANGED, identity, person=person, why=why, notes=notes)
            yield filing.filed(row, reading)
        elif not candidates:
            yield Row(reading.number, Fate.REFUSED, who, why=(doubt,), notes=notes)
        elif who in asked:
            why = (f"Of whom row {asked[who]} is asks for this one too",)
            yield Row(reading.number, Fate.ASK, who, why=why, notes=notes)
        else:
            asked[who] = reading.number
            yield Row(
                reading.number,
                Fate.ASK,
                who,
                why=(doubt,),
                candidates=tuple(candidates),
                notes=notes,
            )
