"""Whose samples and numbers the register of people knows: asked of the database, message by message."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime

from thimble.actions.people import NoSuchPerson, person_of, read_person
from thimble.exchange.hl7v2.model import Message, Patient
from thimble.exchange.known import Registered
from thimble.exchange.whose import sample_keys
from thimble.people.entries import Kind
from thimble.people.names import another, name_key
from thimble.web.clinic.labels import owner_of, read_number
from thimble.web.context import get_people, get_people_identities
from thimble.web.people_identities import DjangoPeopleIdentities
from thimble.web.store import DjangoStore


class Register:
    """The part of `thimble.exchange.known.Known` that is about the register."""

    def __init__(self, people: DjangoStore[Kind], identities: DjangoPeopleIdentities) -> None:
        self.people, self.identities = people, identities

    def drawn(self, key: str, now: datetime) -> Sequence[Registered]:
        """See `Known`. Numbers of samples are those of the labels that were printed here."""
        number = read_number(key)
        owner = owner_of(number) if number else None
        if owner is None:
            return ()
        try:
            held = person_of(self.people, owner, now)
        except NoSuchPerson:
            return ()
        return [
            Registered(owner, each.on, each.identified)
            for each in held.samples
            if each.number == number
        ]

    def printed(self, key: str) -> str | None:
        """The person for whom a number was printed on labels."""
        number = read_number(key)
        return owner_of(number) if number else None

    def registered(self, number: str, born: date) -> Sequence[Registered]:
        """See `Known`."""
        return [
            Registered(person)
            for person, who in self.identities.of_number(number).items()
            if who.birth_date == born
        ]

    def speaks_against(self, person: str, patient: Patient) -> str:
        """See `Known`. What the message leaves out speaks against nobody."""
        who = self.identities.identity(person)
        if who is None:
            return "Who this person is was erased: nothing can be compared."
        born = patient.birth_date.day if patient.birth_date is not None else None
        if born is not None and who.birth_date is not None and born != who.birth_date:
            return (
                "The date of birth is not that of the person of the register whom the numbers name."
            )
        for name in patient.names:
            words = name_key(name.family, name.given, name.further)
            if words and (
                why := another(
                    words, born, name_key(who.family_name, who.given_name), who.birth_date
                )
            ):
                return f"The name is not that of the person of the register whom the numbers name: {why}."
        return ""

    def candidates(self, message: Message) -> dict[str, str]:
        """Who of the register a message may be about, each with what speaks for them."""
        found: dict[str, str] = {}
        for key in sorted(sample_keys(message)):
            if owner := self.printed(key):
                found[owner] = f"label {read_number(key)} was printed for them"
        ids = {each.id for patient in message.patients for each in patient.ids if each.id.strip()}
        for number in sorted(ids):
            for person in self.identities.of_number(number):
                found.setdefault(person, f"their number is {number}")
        return found

    def named(self, typed: str) -> tuple[str, ...]:
        """The files that a reference or a house number names."""
        try:
            person = read_person(typed)
        except ValueError:
            return tuple(self.identities.of_number(typed))
        return (person,) if self.people.entries(person) else ()

    def born(self, person: str) -> date | None:
        """Somebody's date of birth, where it is known."""
        who = self.identities.identity(person)
        return who.birth_date if who else None


def get_register() -> Register:
    """That of the data folder."""
    return Register(get_people(), get_people_identities())
