"""Days as people and spreadsheets write them. What could be two days is asked, never guessed."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import date
from typing import Literal

Order = Literal["day_first", "month_first"]
"""Which of the first two numbers of a date is the day."""

_MONTHS: Mapping[str, int] = {
    name: number
    for number, names in enumerate(
        (
            "jan january januar jänner janvier enero gennaio ene gen janv",
            "feb february februar février fevrier febrero febbraio févr fevr fév",
            "mar march märz maerz mrz mars marzo mär",
            "apr april avril abril aprile avr abr",
            "may mai mayo maggio mag",
            "jun june juni juin junio giugno giu",
            "jul july juli juillet julio luglio juil lug",
            "aug august août aout agosto ago aoû",
            "sep september sept septembre septiembre settembre set",
            "oct october oktober okt octobre octubre ottobre ott",
            "nov november novembre noviembre",
            "dec december dezember dez décembre decembre diciembre dicembre dic déc",
        ),
        start=1,
    )
    for name in names.split()
}
"""Names of months in English, German, French, Spanish and Italian."""

_PARTS = re.compile(r"\d+|[^\W\d_]+", re.UNICODE)
_CENTURY = 100


class NotADate(ValueError):
    """A text that is no day. The message is a sentence."""


class EitherDay(NotADate):
    """A text that is one of two days, as long as nobody says which number comes first."""

    def __init__(self, text: str) -> None:
        super().__init__(
            f"{text} can be read in two ways: say whether the day or the month comes first"
        )


def read_date(text: str, *, today: date, order: Order | None = None, ahead: bool = False) -> str:
    """`2019-03-14`, `2019-03` or `2019`, as exactly as the text tells it.

    Understood: ISO 8601; numbers parted by `.`, `/`, `-` or spaces; names of months. A year of two
    digits is the latest that has begun by `today`, or with `ahead` the nearest to it. `order` settles what
    can be read in two ways, and nothing else: 3/14/2019 is one day, whatever was answered.

    Raises:
        EitherDay: day and month can be exchanged and `order` is None.
        NotADate: anything else that is no day.

    >>> read_date("14. März 2019", today=date(2026, 1, 1))
    '2019-03-14'
    >>> read_date("3/2019", today=date(2026, 1, 1))
    '2019-03'
    """
    parts = _PARTS.findall(text)
    if (parts and parts[-1].casefold() in {"00", "0", "t", "z"}) or len(parts) > 3:
        parts = _without_midnight(parts)
    named = [i for i, part in enumerate(parts) if not part.isdecimal()]
    if not parts or len(parts) > 3 or len(named) > 1:
        raise _bad(text)
    if named:
        return _with_name(text, parts, named[0], today, ahead=ahead)
    if len(parts) == 1:
        return _one_number(text, parts[0])
    if len(parts[0]) == 4:
        return _iso(text, *parts)
    year = _year(text, parts[-1], today, ahead=ahead)
    if len(parts) == 2:
        # "3.19" could be a day and a month without year: only a whole year makes it a month.
        if len(parts[1]) != 4:
            raise _bad(text)
        return _iso(text, str(year), parts[0])
    first, second = int(parts[0]), int(parts[1])
    if first != second and first <= 12 and second <= 12:
        # Only what can be exchanged is settled by what was answered.
        if order is None:
            raise EitherDay(text.strip())
        day, month = (first, second) if order == "day_first" else (second, first)
    else:
        day, month = (first, second) if second <= 12 else (second, first)
    return _iso(text, str(year), str(month), str(day))


def order_of(text: str) -> Order | None:
    """Which number comes first in a text that can only be read in one way; None where it shows nothing."""
    parts = _PARTS.findall(text)[:3]
    if len(parts) < 3 or not all(part.isdecimal() for part in parts) or len(parts[0]) == 4:
        return None
    first, second = int(parts[0]), int(parts[1])
    if first <= 12 < second <= 31:
        return "month_first"
    if second <= 12 < first <= 31:
        return "day_first"
    return None


def _without_midnight(parts: list[str]) -> list[str]:
    """Spreadsheets write a day as an instant: 2019-03-14 00:00:00."""
    rest = [part for part in parts[3:] if part.casefold() not in {"t", "z", "utc"}]
    return parts[:3] if all(part.isdecimal() and int(part) == 0 for part in rest) else parts


def _with_name(text: str, parts: list[str], at: int, today: date, *, ahead: bool) -> str:
    month = _MONTHS.get(parts[at].casefold())
    numbers = [part for part in parts if part.isdecimal()]
    if month is None or not numbers:
        raise _bad(text)
    if len(numbers) == 1:
        if len(numbers[0]) != 4:
            raise _bad(text)
        return _iso(text, numbers[0], str(month))
    if len(numbers[0]) == 4:
        return _iso(text, numbers[0], str(month), numbers[1])
    year = _year(text, numbers[1], today, ahead=ahead)
    return _iso(text, str(year), str(month), numbers[0])


def _one_number(text: str, number: str) -> str:
    if len(number) == 8:
        # 20190314 as systems export it. 14032019 is not guessed at.
        try:
            return _iso(text, number[:4], number[4:6], number[6:])
        except NotADate:
            raise _bad(text) from None
    if len(number) == 4:
        return _iso(text, number)
    raise _bad(text)


def _year(text: str, part: str, today: date, *, ahead: bool) -> int:
    if len(part) == 4:
        return int(part)
    if len(part) != 2:
        raise _bad(text)
    year = today.year - today.year % _CENTURY + int(part)
    if ahead:
        return min((year - _CENTURY, year, year + _CENTURY), key=lambda y: abs(y - today.year))
    return year if year <= today.year else year - _CENTURY


def _iso(text: str, year: str, month: str = "", day: str = "") -> str:
    try:
        found = date(int(year), int(month or 1), int(day or 1))
    except ValueError:
        raise _bad(text) from None
    if not 1900 <= found.year <= 2200:
        raise _bad(text)
    return found.isoformat()[: 10 if day else 7 if month else 4]


def _bad(text: str) -> NotADate:
    return NotADate(
        f"{text.strip()[:40]!r} is no date; write 14.3.2019, or 3.2019 or 2019 where no more is known"
    )
