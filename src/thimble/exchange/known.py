"""What a site knows of samples and people, for messages to be matched with."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Protocol

from thimble.clinical.serology import Result
from thimble.clinical.serology.results import Of
from thimble.exchange.hl7v2.model import Patient


@dataclass(frozen=True, slots=True)
class Sample:
    """A sample that a case knows: whose, what it was drawn for, for which action."""

    case: str
    of: Of
    drawn_for: str = ""
    action: str = ""


@dataclass(frozen=True, slots=True)
class Person:
    """Somebody a case is about, by number (staff or hospital) and date of birth."""

    case: str
    of: Of
    number: str
    born: date


@dataclass(frozen=True, slots=True)
class Registered:
    """Somebody of the register of people, by the reference of their file.

    `drawn_on` is the day on which the department drew the sample, `identified` whether photo identity was
    checked then; None and `not_known` where it drew none under these numbers.
    """

    person: str
    drawn_on: date | None = None
    identified: str = "not_known"


class Known(Protocol):
    """What a site knows of its samples, of the people its cases are about and of those in its register."""

    def samples(self, key: str) -> Sequence[Sample]:
        """The samples of cases with a number, as `label_key` has it."""
        ...

    def people(self) -> Iterable[Person]:
        """Everybody with a number and a date of birth; asked only where no sample is known."""
        ...

    def born(self, case: str, of: Of) -> date | None:
        """The date of birth of whoever a case is about, where it is known."""
        ...

    def preliminary(self, sample: Sample, key: tuple[str, ...], at: datetime) -> Result | None:
        """The preliminary result on record at `at` that counts under `key` (see `Result.key`)."""
        ...

    def drawn(self, key: str) -> Sequence[Registered]:
        """Of the register, whose sample was drawn at a session under a number."""
        ...

    def printed(self, key: str) -> bool:
        """Whether a number was printed on labels for somebody of the register."""
        ...

    def registered(self, number: str, born: date) -> Sequence[Registered]:
        """Of the register, whoever has a number and a date of birth."""
        ...

    def speaks_against(self, person: str, patient: Patient) -> str:
        """What a message says of a person that their file contradicts, in a sentence; "" if nothing."""
        ...
