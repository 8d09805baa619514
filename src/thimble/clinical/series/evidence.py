"""What is documented of a person and hepatitis B: doses, results, refusals, contraindications.

Dates are often known only to the month or the year. They are kept as they are known and never filled
in: a rule that needs the day is asked of the first and the last day that the date allows.
"""

from __future__ import annotations

import calendar
import re
from dataclasses import dataclass
from datetime import date
from functools import lru_cache

from thimble.clinical.saying import calendar_day, month_name
from thimble.clinical.serology import Analyte, Quantity, Word

_FORM = re.compile(r"([0-9]{4})(?:-([0-9]{2})(?:-([0-9]{2}))?)?", re.A)


@dataclass(frozen=True, slots=True, order=True)
class PartialDate:
    """A day, or the month or year that is all that is known of it.

    Ordered by year, then month, then day; what is not known sorts first. For clinical rules compare
    `first` and `last`, not the dates themselves.

    >>> known = PartialDate.parse("2019-03")
    >>> known.first.isoformat(), known.last.isoformat(), known.exact
    ('2019-03-01', '2019-03-31', False)
    """

    year: int
    month: int = 0
    day: int = 0

    def __post_init__(self) -> None:
        """Refuse what no calendar holds."""
        if self.day and not self.month:
            raise ValueError(f"a day needs its month; found day {self.day} of {self.year}")
        date(self.year, self.month or 1, self.day or 1)

    @classmethod
    def parse(cls, text: str) -> PartialDate:
        """`2019-03-14`, `2019-03` or `2019`.

        Raises:
            ValueError: any other text, or a day that the calendar does not have.
        """
        return _read(text)

    @classmethod
    def of(cls, day: date) -> PartialDate:
        """A day that is known."""
        return cls(day.year, day.month, day.day)

    @property
    def exact(self) -> bool:
        """Whether the day is known."""
        return self.day > 0

    @property
    def first(self) -> date:
        """The earliest day that it can have been."""
        return date(self.year, self.month or 1, self.day or 1)

    @property
    def last(self) -> date:
        """The latest day that it can have been."""
        month = self.month or 12
        return date(self.year, month, self.day or calendar.monthrange(self.year, month)[1])

    @property
    def words(self) -> str:
        """For people, no more exactly than it is known: "Thu 14 Mar 2019", "Mar 2019", "2019"."""
        if self.exact:
            return calendar_day(self.first)
        return f"{month_name(self.month)} {self.year}" if self.month else f"{self.year:04}"

    def __str__(self) -> str:
        """ISO 8601, shortened to what is known."""
        parts = [f"{self.year:04}"] + [f"{part:02}" for part in (self.month, self.day) if part]
        return "-".join(parts)


@lru_cache(maxsize=1 << 14)
def _read(text: str) -> PartialDate:
    """Forty years have fewer days than are remembered: a register holds the same ones over and over."""
    match = _FORM.fullmatch(text)
    try:
        if match:
            year, month, day = match.groups()
            if month != "00" and day != "00":
                return PartialDate(int(year), int(month or 0), int(day or 0))
    except ValueError:
        pass
    raise ValueError(
        f"A date is written 2019-03-14, or 2019-03 or 2019 where no more is known; found {text!r}"
    )


@dataclass(frozen=True, slots=True)
class DoseGiven:
    """One dose of vaccine, or of immunoglobulin, by its CVX number; None where the product is not known."""

    cvx: str | None
    when: PartialDate


@dataclass(frozen=True, slots=True)
class MarkerResult:
    """One final result of a person's blood: a word, a number, or both.

    `when` is the day of the sample. None, where nobody knows it, is taken for the earliest: whatever has a
    day goes before it, and what was found once is not lost.
    """

    analyte: Analyte
    when: PartialDate | None
    word: Word | None = None
    quantity: Quantity | None = None

    def __post_init__(self) -> None:
        """A result says something."""
        if self.word is None and self.quantity is None:
            raise ValueError(
                f"A result of {self.analyte.value} has a word or a number; found neither. "
                "A result that is only awaited is not a result"
            )


@dataclass(frozen=True, slots=True)
class Declined:
    """The person declined vaccination; the offer stands."""

    when: PartialDate


@dataclass(frozen=True, slots=True)
class Contraindicated:
    """A clinician found that the person must not have hepatitis B vaccine."""

    when: PartialDate


Evidence = DoseGiven | MarkerResult | Declined | Contraindicated
