"""The evidence of one row: a row each in a long list, a column each in a wide one."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

from thimble.clinical.laboratory import Local
from thimble.exchange.sheets import Cell, Sheet
from thimble.exchange.sheets.model import column_name
from thimble.exchange.sheets.writing import unguarded
from thimble.people.dates import NotADate
from thimble.people.entries import Kind
from thimble.people.importing import evidence_values as values
from thimble.people.importing.columns import Columns, label_of
from thimble.people.importing.evidence_columns import DAY, DOSE, LONG, VALUE
from thimble.people.importing.values import Piece, Reading, read_day, refuse_unread

LONGEST = 200
"""Characters of one cell of evidence."""


class Evidence:
    """Reads the evidence of the rows of one sheet."""

    def __init__(self, sheet: Sheet, columns: Columns, today: date, local: Local) -> None:
        self.sheet, self.columns, self.today, self.local = sheet, columns, today, local
        self.parts = {name: column for column, name in columns.fields.items() if name in LONG}
        self.doses = [
            (column, name.removeprefix(DOSE))
            for column, name in sorted(columns.fields.items())
            if name.startswith(DOSE)
        ]
        self.results = columns.results

    def read(self, row: Reading) -> None:
        """Add the row's evidence, or what is wrong with it, to what was read of it."""
        if self.parts:
            self._long(row)
        for column, what in self.doses:
            self._dose(row, column, what)
        for column, day in self.results:
            self._result(row, column, day)

    # --- a column for each piece ------------------------------------------------------------------

    def _dose(self, row: Reading, column: int, what: str) -> None:
        cell = self.sheet.cell(row.number, column)
        if not cell.text:
            return
        place = self._place(row, column)
        try:
            when = self._day(row, cell, place)
            self._add(row, place, Kind.DOSE_RECORDED, values.dose(what, when))
        except ValueError as fault:
            self._fault(row, column, fault)

    def _result(self, row: Reading, column: int, day: int | None) -> None:
        cell = self.sheet.cell(row.number, column)
        when_cell = self.sheet.cell(row.number, day) if day is not None else Cell("")
        own = day is not None and self.columns.fields[day] == f"{DAY}{self._test(column)}"
        if not cell.text:
            if when_cell.text and own and day is not None:
                self._fault(row, day, "there is a day, and its result is missing")
            return
        at = column
        try:
            refuse_unread(cell)
            if not when_cell.text or day is None:
                raise NotADate("the day of this result is missing; without it nobody can judge it")
            at = day
            when = self._day(row, when_cell, self._place(row, day))
            at = column
            _, _, unit = self.columns.fields[column].removeprefix(VALUE).partition(":")
            text, typed = unguarded(cell.text), cell.kind != "number"
            body = values.result(self._test(column), when, text, unit, self.local, typed=typed)
            self._add(row, self._place(row, column), Kind.RESULT_RECORDED, body)
        except ValueError as fault:
            self._fault(row, at, fault)

    def _test(self, column: int) -> str:
        return self.columns.fields[column].split(":")[1]

    # --- a row for each piece ---------------------------------------------------------------------

    def _long(self, row: Reading) -> None:
        told: dict[str, str] = {}
        for name, column in self.parts.items():
            cell = self.sheet.cell(row.number, column)
            try:
                if name != "date":
                    refuse_unread(cell)
                    if len(cell.text) > LONGEST:
                        raise ValueError(f"it has more than {LONGEST} characters")
                told[name] = unguarded(cell.text)
            except ValueError as fault:
                self._fault(row, column, fault)
        if row.faults:
            return
        at = self._column("kind", "date")
        try:
            kind = self._kind(told)
            at = self.parts["date"]
            cell = self.sheet.cell(row.number, at)
            if not cell.text:
                raise NotADate("the date is missing; without it nobody can judge this")
            when = self._day(row, cell, self._place(row, at))
            at = self._column("disease", "date")
            disease = values.read_disease(told["disease"]) if told.get("disease") else ""
            at = self._column(*self._names(kind, told))
            if kind is Kind.RESULT_RECORDED:
                test = values.read_test(told.get("test") or told.get("code", ""))
                at = self._column("value")
                body = self._result_body(row, told, test, when)
            else:
                body = self._body(kind, told, when, disease or self.columns.disease)
            self._add(row, self._place(row, at), kind, body)
        except ValueError as fault:
            self._fault(row, at, fault)

    def _kind(self, told: Mapping[str, str]) -> Kind:
        """By the word of the row; without one by whether it names a product or a test."""
        if told.get("kind"):
            return values.read_kind(told["kind"])
        if bool(told.get("product")) == bool(told.get("test")):
            raise ValueError("it is not said whether this is a dose or a result")
        return Kind.DOSE_RECORDED if told.get("product") else Kind.RESULT_RECORDED

    def _column(self, *names: str) -> int:
        """The first of these columns that the list has."""
        return next(self.parts[name] for name in (*names, "date") if name in self.parts)

    def _names(self, kind: Kind, told: Mapping[str, str]) -> tuple[str, ...]:
        """Where a row can say what it is about, the column that does so first."""
        names = {
            Kind.DOSE_RECORDED: ("product", "code"),
            Kind.RESULT_RECORDED: ("test", "code"),
        }.get(kind, ("disease", "kind"))
        return tuple(sorted(names, key=lambda name: not told.get(name)))

    def _body(self, kind: Kind, told: Mapping[str, str], when: str, disease: str) -> dict[str, Any]:
        for name in ("value", "unit"):
            # A value beside a dose is of something else: the row does not say what it seems to.
            if told.get(name):
                word = kind.value.split("_")[0]
                raise ValueError(f"a {word} has no {name}, and the row says “{told[name]}”")
        if kind is Kind.DECLINED:
            return values.declined(disease, when)
        if kind is Kind.CONTRAINDICATED:
            return values.contraindicated(disease, when)
        what = told.get("product") or told.get("code")
        if not what:
            raise ValueError("which product it was is missing; write unknown if nobody knows")
        lot, where = told.get("lot", ""), told.get("where", "")
        return values.dose(what, when, disease=disease, lot=lot, where=where)

    def _result_body(
        self, row: Reading, told: Mapping[str, str], test: str, when: str
    ) -> dict[str, Any]:
        if not told.get("value"):
            raise ValueError("the result is missing")
        value = self.sheet.cell(row.number, self.parts["value"])
        return values.result(
            test,
            when,
            told["value"],
            told.get("unit", ""),
            self.local,
            typed=value.kind != "number",
            laboratory=told.get("laboratory", ""),
        )

    # --- both -------------------------------------------------------------------------------------

    def _day(self, row: Reading, cell: Cell, place: str) -> str:
        day, note = read_day(
            cell,
            place,
            order=self.columns.order,
            today=self.today,
            day_zero=self.sheet.day_zero,
        )
        if note:
            row.notes.append(note)
        return day

    def _add(self, row: Reading, place: str, kind: Kind, body: Mapping[str, Any]) -> None:
        row.pieces.append(Piece(place, kind, body))

    def _fault(self, row: Reading, column: int, why: object) -> None:
        header = self.sheet.cell(self.columns.header, column).text
        name = header or label_of(self.columns.fields[column])
        row.faults.append(f"{self._place(row, column)}, {name}: {why}")

    def _place(self, row: Reading, column: int) -> str:
        return f"{column_name(column)}{row.number}"
