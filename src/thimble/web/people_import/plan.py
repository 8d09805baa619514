"""What the user said of a file: kept as JSON beside it, read from forms, guessed at first."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, get_args

from thimble.clinical.diseases import DISEASES
from thimble.exchange.sheets import Sheet
from thimble.people.choices import WORKS_AS
from thimble.people.dates import Order
from thimble.people.importing import FIELDS, Columns, find_header, guess
from thimble.people.importing.evidence_columns import labels
from thimble.web.people.forms import clean_text


@dataclass(frozen=True, slots=True)
class Plan:
    """Which sheet, which columns, and what was decided about rows, and about cells of evidence."""

    sheet: int
    columns: Columns
    decisions: Mapping[int, str] = field(default_factory=dict)
    cells: Mapping[str, str] = field(default_factory=dict)

    def to_json(self) -> str:
        """As it is kept."""
        return json.dumps(
            {
                "sheet": self.sheet,
                "header": self.columns.header,
                "fields": {str(column): name for column, name in self.columns.fields.items()},
                "order": self.columns.order,
                "works_as": self.columns.works_as,
                "cohort": self.columns.cohort,
                "only_evidence": self.columns.only_evidence,
                "disease": self.columns.disease,
                "cells": dict(self.cells),
                "decisions": {str(row): what for row, what in self.decisions.items()},
            }
        )

    @classmethod
    def from_json(cls, text: str) -> Plan:
        """The inverse of `to_json`."""
        told: dict[str, Any] = json.loads(text)
        columns = Columns(
            header=told["header"],
            fields={int(column): name for column, name in told["fields"].items()},
            order=told["order"],
            works_as=told["works_as"],
            cohort=told["cohort"],
            only_evidence=told.get("only_evidence", False),
            disease=told.get("disease", ""),
        )
        decisions = {int(row): what for row, what in told["decisions"].items()}
        return cls(told["sheet"], columns, decisions, told.get("cells", {}))


def first_plan(sheets: Sequence[Sheet]) -> Plan:
    """A guess: the sheet with the most columns understood, its header, its columns."""
    guesses = [(at, guess(sheet, find_header(sheet))) for at, sheet in enumerate(sheets)]
    at, columns = max(guesses, key=lambda guess: (len(guess[1].fields), -guess[0]))
    return Plan(at, columns)


def from_form(posted: Mapping[str, str], sheets: Sequence[Sheet], before: Plan) -> Plan:
    """The plan as a form says it. Another sheet or header is guessed anew; decisions stay with the rows
    only as long as these are the same rows."""
    at = _whole(posted.get("sheet"), before.sheet)
    at = at if at < len(sheets) else before.sheet
    sheet = sheets[at]
    if at != before.sheet:
        header = find_header(sheet)
        return Plan(at, _guessed(sheet, header, before.columns))
    header = _whole(posted.get("header"), before.columns.header)
    header = header if header in sheet.rows else before.columns.header
    if header != before.columns.header:
        return Plan(at, _guessed(sheet, header, before.columns))
    fields = {
        column: name
        for column in range(sheet.width)
        if (name := posted.get(f"column-{column}", "")) in FIELDS or name in labels()
    }
    order = posted.get("order", "")
    works_as, disease = posted.get("works_as", ""), posted.get("disease", "")
    columns = Columns(
        header=header,
        fields=fields,
        order=order if order in get_args(Order) else None,  # type: ignore[arg-type]
        works_as=works_as if works_as in WORKS_AS else "",
        cohort=clean_text(posted.get("cohort", ""))[:120],
        only_evidence=posted.get("only_evidence") == "yes",
        disease=disease if disease in DISEASES else "",
    )
    return replace(before, columns=columns)


def _guessed(sheet: Sheet, header: int, before: Columns) -> Columns:
    """Other columns; what was said for every row holds still."""
    return replace(
        guess(sheet, header), order=before.order, works_as=before.works_as, cohort=before.cohort
    )


def _whole(text: str | None, other: int) -> int:
    return int(text) if text and text.isdecimal() and len(text) < 8 else other
