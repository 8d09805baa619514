"""Whether a piece of evidence of a list is on file already, new, or for somebody to decide.

One and the same piece is not written twice, whatever it came from. Two that may be one, such as another
product on the same day, are asked about. Where a list has a column for each dose, its columns are different
doses.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from thimble.clinical.series import PartialDate
from thimble.clinical.serology.analytes import Analyte, measures
from thimble.people.documented import day_of
from thimble.people.entries import Kind
from thimble.people.fold import Evidence
from thimble.people.importing.values import Piece
from thimble.people.products import is_vaccine

ALSO, SAME = "also", "same"
"""Decisions about a piece: it is another than that on file; it is the same, and nothing is written."""


class Standing(StrEnum):
    """How a piece stands to what is on file."""

    NEW = "new"
    ON_FILE = "on_file"
    REPEATED = "repeated"
    ASK = "ask"
    SAME = "same"


@dataclass(frozen=True, slots=True)
class Judged:
    """A piece of a row and how it stands; `other` is what it is held against, of row `row` (0: on file), or
    None."""

    piece: Piece
    standing: Standing
    other: tuple[Kind, Mapping[str, Any]] | None = None
    row: int = 0


@dataclass(slots=True)
class _Known:
    kind: Kind
    body: Mapping[str, Any]
    when: PartialDate | None
    row: int = 0
    """The row that brought it, or that found it on file; 0 for nobody yet."""
    less: int = 0
    """The row that says it without its product; 0 for none."""
    on_file: bool = False


class Filed:
    """What is on file of one person, and what the rows of a list add to it, in their order."""

    def __init__(self, evidence: Iterable[Evidence]) -> None:
        self._known = [
            _Known(e.kind, e.body, _when(e.body), on_file=True)
            for e in evidence
            if e.kind is not Kind.HISTORY_RECORDED
        ]

    def judge(self, piece: Piece, row: int, decision: str) -> Judged:
        """How the piece stands; a new one is on file for those after it."""
        when = _when(piece.body)
        found = self._judged(piece, when, row)
        if found.standing is Standing.ASK and decision in (ALSO, SAME):
            new = decision == ALSO
            found = Judged(piece, Standing.NEW if new else Standing.SAME, found.other, found.row)
        if found.standing is Standing.NEW:
            self._known.append(_Known(piece.kind, piece.body, when, row))
        return found

    def _judged(self, piece: Piece, when: PartialDate | None, row: int) -> Judged:
        alike = [k for k in self._known if k.kind is piece.kind and _about(k.body, piece.body)]
        equal = [k for k in alike if k.when == when and _equal(k, piece)]
        unseen = next((k for k in equal if k.on_file and not k.row), None)
        if unseen is not None:
            unseen.row = row
            return Judged(piece, Standing.ON_FILE, (unseen.kind, unseen.body))
        exact = when is not None and when.exact
        for k in equal:
            if k.row == row and not exact:
                # Two columns of one row: two doses of a month or year.
                continue
            sure = exact and k.row != row
            standing = Standing.REPEATED if sure else Standing.ASK
            return Judged(piece, standing, (k.kind, k.body), k.row)
        for k in alike:
            if exact and k.when == when and _says_less(piece, k):
                k.less = row
                standing = Standing.ON_FILE if k.on_file else Standing.REPEATED
                return Judged(piece, standing, (k.kind, k.body), 0 if k.on_file else k.row)
        for k in alike:
            other_columns = row in (k.row, k.less) and not (exact and k.when == when)
            if k not in equal and not other_columns and _may_be_one(k, piece, when):
                return Judged(piece, Standing.ASK, (k.kind, k.body), 0 if k.on_file else k.row)
        return Judged(piece, Standing.NEW)


def _when(body: Mapping[str, Any]) -> PartialDate | None:
    told = day_of(body)
    return None if told is None else PartialDate.parse(told)


def _about(one: Mapping[str, Any], other: Mapping[str, Any]) -> bool:
    """Whether both are of the same test, or of doses, refusals of a disease in common. A vaccine and an
    immunoglobulin, given on one day as they often are, are two."""
    if "test" in one:
        return bool(one["test"] == other["test"])
    alike = is_vaccine(one.get("product")) == is_vaccine(other.get("product"))
    return alike and bool(_diseases(one) & _diseases(other))


def _diseases(body: Mapping[str, Any]) -> set[str]:
    return set(body.get("diseases") or (body["disease"],))


def _equal(known: _Known, piece: Piece) -> bool:
    if piece.kind is Kind.DOSE_RECORDED:
        same_product = known.body["product"] == piece.body["product"]
        return same_product and _diseases(known.body) == _diseases(piece.body)
    if piece.kind is Kind.RESULT_RECORDED:
        return _value(known.body) == _value(piece.body)
    return bool(known.body.get("what") == piece.body.get("what"))


def _value(body: Mapping[str, Any]) -> tuple[object, ...]:
    """A result's word and number, the number in the unit that its test is kept in."""
    number, unit = body["number"], body["unit"]
    if number is not None and body["test"] in set(Analyte):
        measure = measures()[Analyte(body["test"])]
        if unit in measure.units:
            number, unit = number * measure.units[unit], measure.unit
    return body["word"], number, body["comparator"] if number is not None else "=", unit


def _says_less(piece: Piece, known: _Known) -> bool:
    """A dose whose product nobody knows is the one of that day whose product is known, if it is against
    the same."""
    if piece.kind is not Kind.DOSE_RECORDED or piece.body["product"] is not None:
        return False
    return known.body["product"] is not None and _diseases(piece.body) <= _diseases(known.body)


def _may_be_one(known: _Known, piece: Piece, when: PartialDate | None) -> bool:
    """Whether the days may be one and nothing says that these are two."""
    if known.when is None or when is None:
        return False
    if known.when.last < when.first or when.last < known.when.first:
        return False
    if piece.kind is Kind.RESULT_RECORDED and not (known.when.exact and when.exact):
        # Of a month or year there may be many results: only the same value may be the same one.
        return _value(known.body) == _value(piece.body)
    return piece.kind in (Kind.DOSE_RECORDED, Kind.RESULT_RECORDED)
