"""The two files that `thimble clear` reads, and the one it writes. See `docs/clear.md`."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import Literal, cast

from thimble.clinical.series import (
    Contraindicated,
    Declined,
    DoseGiven,
    Evidence,
    MarkerResult,
    PartialDate,
    Person,
)
from thimble.clinical.series.schedule import UNKNOWN, products
from thimble.clinical.serology import Analyte, Quantity, Word, measures
from thimble.commands import NotUnderstood

PEOPLE = ("person_id", "birth_date", "start_date", "exposure_prone", "immunocompromised")
EVIDENCE = ("person_id", "date", "kind", "code", "value", "unit")
KINDS = ("dose", "result", "declined", "contraindicated")
RESULTS = (
    Analyte.ANTI_HBS, Analyte.HBSAG, Analyte.ANTI_HBC_TOTAL, Analyte.ANTI_HBC_IGM, Analyte.HBV_DNA,
    Analyte.ANTI_HCV, Analyte.HCV_RNA, Analyte.HIV_AG_AB, Analyte.HIV_RNA,
)  # fmt: skip
WORDS = tuple(word.value for word in Word)
NUMBER = re.compile(r"(<=|>=|<|>)?([0-9]{1,12}(?:\.[0-9]{1,6})?)", re.A)
OLDEST, LATEST = 1900, 2200
"""Years that a birth and the day asked for lie between: another is a slip of the keyboard."""
DAY_FORM = "a day written 2019-03-14"
Immunocompromised = Literal["yes", "no", "unknown"]


@dataclass
class Record:
    """One person of the file with everything that is documented."""

    person: Person
    line: int
    evidence: list[Evidence] = field(default_factory=list)


class _Faults:
    """The faults of one file, in its order."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.found: list[str] = []

    def add(self, line: int, column: str, found: object, allowed: str) -> None:
        """A value that is not allowed."""
        self.tell(line, column, f"found {found!r}; allowed: {allowed}")

    def tell(self, line: int, column: str, what: str) -> None:
        """Any other fault, in words."""
        self.found.append(f"{self.path}: line {line}, column {column}: {what}.")


def read_files(people: Path, evidence: Path, as_of: date) -> dict[str, Record]:
    """Everybody by id, in the order of the file.

    Raises:
        NotUnderstood: every fault of both files; nothing of a file with a fault is used.
    """
    in_people, in_evidence = _Faults(people), _Faults(evidence)
    records: dict[str, Record] = {}
    for line, row in _rows(people, PEOPLE, in_people):
        record = _person(line, row, in_people, as_of)
        earlier = records.get(row["person_id"])
        if earlier is not None:
            in_people.add(
                line, "person_id", row["person_id"], f"each id once; line {earlier.line} has it"
            )
        elif record is not None:
            records[row["person_id"]] = record
    known = set(records) if not in_people.found else None
    for line, row in _rows(evidence, EVIDENCE, in_evidence):
        if known is not None and row["person_id"] not in known:
            in_evidence.add(line, "person_id", row["person_id"], f"an id of {people}")
        subject = records.get(row["person_id"])
        item = _evidence(line, row, in_evidence, as_of, subject)
        if item is not None and subject is not None:
            subject.evidence.append(item)
    faults = [*in_people.found, *in_evidence.found]
    if faults:
        raise NotUnderstood("\n".join(faults))
    return records


def _rows(
    path: Path, columns: tuple[str, ...], faults: _Faults
) -> Iterator[tuple[int, dict[str, str]]]:
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except OSError as error:
        raise NotUnderstood(f"{path}: cannot be read: {error.strerror}.") from error
    except UnicodeDecodeError as error:
        raise NotUnderstood(f"{path}: is not UTF-8 at byte {error.start}; save it so.") from error
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    try:
        header = next(reader, [])
        if sorted(header) != sorted(columns):
            odd = (
                ", ".join(
                    [f"without {c}" for c in columns if c not in header]
                    + [f"with {c!r}" for c in header if c not in columns]
                )
                or "a column twice"
            )
            faults.tell(1, "header", f"found {odd}; allowed: {', '.join(columns)}")
            return
        for cells in reader:
            if not cells:
                continue
            if len(cells) != len(header):
                faults.add(reader.line_num, "all", f"{len(cells)} cells", f"{len(header)} cells")
                continue
            yield (
                reader.line_num,
                {name: cell.strip() for name, cell in zip(header, cells, strict=True)},
            )
    except csv.Error as error:
        # Below it nothing can be read; what was found above it is told all the same.
        faults.tell(reader.line_num, "all", f"is not CSV: {error}")


def _person(line: int, row: Mapping[str, str], faults: _Faults, as_of: date) -> Record | None:
    before = len(faults.found)
    if not row["person_id"]:
        faults.add(line, "person_id", "", "an id")
    born = _day(line, row, "birth_date", faults)
    if (born is not None and not OLDEST <= born.year <= as_of.year) or (
        born is not None and born > as_of
    ):
        faults.add(
            line, "birth_date", row["birth_date"], f"a day from {OLDEST} to {as_of.isoformat()}"
        )
    _day(line, row, "start_date", faults)
    for column, allowed in (
        ("exposure_prone", ("yes", "no")),
        ("immunocompromised", ("yes", "no", "unknown")),
    ):
        if row[column] not in allowed:
            faults.add(line, column, row[column], ", ".join(allowed))
    if born is None or len(faults.found) > before:
        return None
    weak = cast(Immunocompromised, row["immunocompromised"])
    return Record(Person(born, row["exposure_prone"] == "yes", weak), line)


def _day(line: int, row: Mapping[str, str], column: str, faults: _Faults) -> date | None:
    try:
        when = PartialDate.parse(row[column])
    except ValueError:
        when = None
    if when is None or not when.exact:
        faults.add(line, column, row[column], DAY_FORM)
        return None
    return when.first


def _evidence(
    line: int, row: Mapping[str, str], faults: _Faults, as_of: date, subject: Record | None
) -> Evidence | None:
    before = len(faults.found)
    when = _when(line, row, faults, as_of, subject)
    make: Callable[[PartialDate], Evidence] | None = None
    kind = row["kind"]
    if kind not in KINDS:
        faults.add(line, "kind", kind, ", ".join(KINDS))
    elif kind == "dose":
        cvx = row["code"] if row["code"] == UNKNOWN else row["code"].zfill(2)
        _empty(line, row, ("value", "unit"), faults)
        if cvx not in products():
            faults.add(line, "code", row["code"], ", ".join(products()))
        make = lambda at: DoseGiven(None if cvx == UNKNOWN else cvx, at)  # noqa: E731
    elif kind == "result":
        said = _result(line, row, faults)
        if said is not None:
            analyte, word, quantity = said
            make = lambda at: MarkerResult(analyte, at, word, quantity)  # noqa: E731
    else:
        _empty(line, row, ("code", "value", "unit"), faults)
        make = Declined if kind == "declined" else Contraindicated
    if when is None or make is None or len(faults.found) > before:
        return None
    return make(when)


def _when(
    line: int, row: Mapping[str, str], faults: _Faults, as_of: date, subject: Record | None
) -> PartialDate | None:
    try:
        when = PartialDate.parse(row["date"])
    except ValueError:
        faults.add(
            line, "date", row["date"], "2019-03-14, or 2019-03 or 2019 where no more is known"
        )
        return None
    if when.first > as_of:
        faults.add(
            line, "date", row["date"], f"a date up to {as_of.isoformat()}, the day asked for"
        )
    elif subject is not None and when.last < subject.person.birth_date:
        faults.add(line, "date", row["date"], "a date on or after the birth")
    return when


def _result(
    line: int, row: Mapping[str, str], faults: _Faults
) -> tuple[Analyte, Word | None, Quantity | None] | None:
    codes = tuple(a.value for a in RESULTS)
    if row["code"] not in codes:
        faults.add(line, "code", row["code"], ", ".join(codes))
        return None
    analyte, value, unit = Analyte(row["code"]), row["value"], row["unit"]
    measure = measures()[analyte]
    if value in WORDS:
        if unit and unit not in measure.units:
            faults.add(line, "unit", unit, ", ".join(("nothing beside a word", *measure.units)))
            return None
        return analyte, Word(value), None
    number = NUMBER.fullmatch(value)
    words = ", ".join(WORDS)
    if not measure.units:
        faults.add(line, "value", value, words)
        return None
    if number is None or not measure.low <= float(number[2]) <= measure.high:
        allowed = f"a number from {measure.low:g} to {measure.high:g}, as it is or as <10 or >1000; {words}"
        faults.add(line, "value", value, allowed)
        return None
    if unit not in measure.units:
        faults.add(line, "unit", unit, ", ".join(measure.units))
        return None
    return analyte, None, Quantity(float(number[2]), unit, number[1] or "=")


def _empty(line: int, row: Mapping[str, str], columns: tuple[str, ...], faults: _Faults) -> None:
    for column in columns:
        if row[column]:
            faults.add(line, column, row[column], f"nothing, for kind {row['kind']}")
