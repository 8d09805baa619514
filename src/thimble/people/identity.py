"""Who a person is: kept apart from the ledger, compared here."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from thimble.people.bodies import IDENTITY_FIELDS


@dataclass(frozen=True, slots=True, repr=False)
class PersonIdentity:
    """A person of the register. No `repr`: a name must not reach a log by accident.

    `number` is the house's own (staff or student number). A name that came as one text is kept whole
    as `family_name`: nobody guesses where to cut it.
    """

    number: str = ""
    family_name: str = ""
    given_name: str = ""
    birth_date: date | None = None
    email: str = ""

    def __repr__(self) -> str:
        return "PersonIdentity(…)"

    @property
    def name(self) -> str:
        """As lists show it: family name first."""
        return ", ".join(part for part in (self.family_name, self.given_name) if part)


def changed_fields(before: PersonIdentity, after: PersonIdentity) -> list[str]:
    """The identity's fields that differ."""
    return [name for name in IDENTITY_FIELDS if getattr(before, name) != getattr(after, name)]
