"""Which file of the register is of the worker of a case: by number, and only if the name fits."""

from __future__ import annotations

from dataclasses import dataclass

from thimble.actions import people as acts
from thimble.clinical.saying import month_name
from thimble.people.fold import Person
from thimble.people.identity import PersonIdentity
from thimble.people.names import another, name_key, number_key
from thimble.web import clock
from thimble.web.context import get_identities, get_people, get_people_identities


@dataclass(frozen=True, slots=True)
class OnRecord:
    """The file that has the worker's number. `doubt` is a sentence where it may be of somebody else:
    then nothing of it is shown but that."""

    person: Person
    identity: PersonIdentity
    doubt: str


def on_record(case: str) -> OnRecord | None:
    """The file with the number of a case's worker; None without a number, or where nobody has it."""
    worker = get_identities().worker(case)
    if worker is None or not worker.staff_number:
        return None
    holders = get_people_identities().of_number(worker.staff_number)
    if len(holders) != 1:
        return None
    reference, who = next(iter(holders.items()))
    try:
        person = acts.person_of(get_people(), reference, clock.now())
    except acts.NoSuchPerson:
        return None
    known_as = name_key(who.family_name, who.given_name)
    what = another(name_key(worker.name), worker.date_of_birth, known_as, who.birth_date)
    doubt = f"The number belongs to somebody of {what} in the register." if what else ""
    return OnRecord(person, who, doubt)


def cases_of_person(case: str) -> tuple[str, ...]:
    """Every case of the worker of a case, by the one file of the register that all of them name without a
    doubt; the case alone where there is no such file. The case itself comes first."""
    found = on_record(case)
    if found is None or found.doubt:
        return (case,)
    key = number_key(found.identity.number)
    others = [
        other
        for other, worker in get_identities().cases_of_workers().items()
        if other != case and worker.staff_number and number_key(worker.staff_number) == key
    ]
    same = [
        other
        for other in sorted(others)
        if (file := on_record(other)) is not None
        and not file.doubt
        and file.person.reference == found.person.reference
    ]
    return (case, *same)


def born(identity: PersonIdentity) -> str:
    """The birth date in words, or nothing."""
    day = identity.birth_date
    return f"born {day.day} {month_name(day.month)} {day.year}" if day else ""
