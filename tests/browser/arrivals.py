"""Four hundred invented students as a university's office sends them: a workbook that nobody tidied."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta
from typing import Any

from people.sheets import xlsx

COUNT = 400
COHORT = "Arrivals 2026 (invented)"
STARTS = date(2026, 5, 4)
_FAMILIES = (
    "Abbott-Lind", "BERGSTRÖM", "Cazador", " Dankworth ", "Ellingsen", "Fonseca", "García-Ruiz", "Hult",
    "Ivanova", "Jørgensen", "Kowalczyk", "Lauritzen", "Møllgaard", "Nakamori", "O’Bannion", "Pfeiffer",
    "Quandt", "Rosenvinge", "Söderlund", "Tvedt",
)  # fmt: skip
_GIVEN = (
    "Aino", "Bjarne", "Celia", "Dov", "Elke", "Florin", "Gwen", "Hanno", "Isa", "Jalil", "Kaja", "Levin",
    "Mira", "Nils", "Oda", "Pau", "Rike", "Sami", "Tuva", "Yaro",
)  # fmt: skip


def student(place: int) -> tuple[str, str, str, date]:
    """Number, family name, given name and birth date of one of them; the date cannot be read as another."""
    family = _FAMILIES[place % len(_FAMILIES)]
    born = date(2003, 1, 13) + timedelta(days=(place * 37) % 700)
    return (
        f"5{place:05}",
        family,
        _GIVEN[place // len(_FAMILIES)],
        born if born.day > 12 else born.replace(day=born.day + 12),
    )


def _written(place: int, day: date) -> Any:
    """A birth date as one of four clerks typed it."""
    return (
        day,
        day.isoformat(),
        f"{day.day}.{day.month}.{day.year}",
        f"{day.day} {day:%B} {day.year}",
    )[place % 4]


def row(place: int, *, number: Any = None) -> list[Any]:
    """The row of one student."""
    own, family, given, born = student(place)
    mail = f" arrival{place}@example.invalid" if place % 8 else None
    return [own if number is None else number, family, given, _written(place, born), mail, None,
            COHORT, STARTS, "yes" if place % 2 else "no"]  # fmt: skip


HEADER = ["Student no.", "Surname", "First name", "DOB", "E-mail", "Remarks", "Cohort", "Starts on",
          "Exposure prone"]  # fmt: skip


def workbook(doubles: Sequence[Sequence[Any]]) -> bytes:
    """The workbook: a title, an empty row, the header, the students, and whoever may be there twice."""
    rows = [row(place) for place in range(COUNT - len(doubles))]
    return xlsx(["Arrivals, spring term"], [], HEADER, *rows, *doubles, title="Tabelle1")
