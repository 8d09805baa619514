"""Who a person of the register was is erased when its time is over. The file keeps when and by which rule.

What goes: name, number, birth date and address, the scans, the papers of certificates and letters, and the
same person's name in cases that are closed. What stays: the file's entries, which name nobody.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from thimble.actions._append import append
from thimble.actions.identity import IdentityStore, WorkerIdentity
from thimble.actions.people import People, append_to, person_of, read_person
from thimble.actions.people_identity import PeopleIdentities
from thimble.clinical.people_rules import PeopleRules, RetentionLaw, kept_until
from thimble.ledger.entries import Kind
from thimble.ledger.store import LedgerStore
from thimble.people.entries import Kind as PeopleKind
from thimble.people.identity import PersonIdentity
from thimble.people.names import another, name_key, number_key


@dataclass(frozen=True, slots=True)
class CaseOf:
    """A case that may be a person's: its worker, whether it is closed, and the days that count.

    `position` is that of its last entry.
    """

    case: str
    worker: WorkerIdentity
    closed: bool
    exposed_on: date
    position: int


@dataclass(frozen=True, slots=True)
class PersonErasure:
    """Somebody whose time is over: left when, kept until when by which rule; the cases that name them."""

    person: str
    left_on: date
    kept_until: date
    rule: str
    cases: tuple[CaseOf, ...]
    position: int


def held_people(rules: PeopleRules) -> frozenset[str]:
    """The files on hold, as their references are written.

    Raises:
        ValueError: one of them is no reference; before it is set right nothing may be erased.
    """
    return frozenset(read_person(typed) for typed in rules.hold)


def may_be_theirs(who: PersonIdentity, worker: WorkerIdentity) -> bool:
    """Whether a case can be this person's: by number, or by name unless the birth dates differ."""
    if who.number and number_key(worker.staff_number) == number_key(who.number):
        return True
    born, other_born = who.birth_date, worker.date_of_birth
    if born and other_born and born != other_born:
        return False
    one, other = set(name_key(who.family_name, who.given_name)), set(name_key(worker.name))
    return bool(one and other) and (one <= other or other <= one)


def is_theirs(who: PersonIdentity, worker: WorkerIdentity) -> bool:
    """Whether a case is this person's for certain: by number under a fitting name, or by name and birth
    date."""
    known_as, named = name_key(who.family_name, who.given_name), name_key(worker.name)
    if who.number and number_key(worker.staff_number) == number_key(who.number):
        return not another(named, worker.date_of_birth, known_as, who.birth_date)
    if worker.staff_number and who.number:
        return False
    return (
        who.birth_date is not None
        and worker.date_of_birth == who.birth_date
        and set(named) == set(known_as)
    )


def due_of(
    store: People,
    person: str,
    who: PersonIdentity,
    cases: Sequence[CaseOf],
    rules: PeopleRules,
    law: RetentionLaw | None,
    *,
    today: date,
    now: datetime,
) -> PersonErasure | None:
    """What is to be erased of a person; None while their time is not over.

    Somebody who has not left, one on hold, and one of whom a case is open, or may be, is never erased.

    Raises:
        NoSuchPerson.
        ValueError: a reference on hold is none.
    """
    if person in held_people(rules):
        return None
    file = person_of(store, person, now)
    left = file.employment.ends_on
    if left is None or left >= today:
        return None
    near = [case for case in cases if may_be_theirs(who, case.worker)]
    if any(not case.closed for case in near):
        return None
    # An exposure that may be theirs lengthens the time; only a case that is theirs loses its name.
    kept = kept_until(rules, law, left, (case.exposed_on for case in near))
    if kept is None or today <= kept[0]:
        return None
    theirs = tuple(case for case in near if is_theirs(who, case.worker))
    return PersonErasure(person, left, *kept, theirs, file.entries)


def erase_person(
    store: People,
    identities: PeopleIdentities,
    ledger: LedgerStore,
    workers: IdentityStore,
    erasure: PersonErasure,
    *,
    together: AbstractContextManager[Any],
    now: datetime,
    by: str,
    role: str,
    also: Callable[[], object] = lambda: None,
) -> None:
    """Erase who one person was and put on record that it was: all of it or nothing.

    Args:
        together: the transaction that makes it so.
        also: takes away the files that name them; done last, so that whatever breaks off is found again.

    Raises:
        Overtaken: somebody wrote to the file or to a case since it was looked at; nothing was erased.
    """
    body = {
        "kept_until": erasure.kept_until.isoformat(),
        "rule": erasure.rule,
        "left_on": erasure.left_on.isoformat(),
    }
    with together:
        append_to(
            store, erasure.person, [(PeopleKind.IDENTITY_PURGED, body)],
            expected_position=erasure.position, now=now, by=by, role=role,
        )  # fmt: skip
        identities.erase([erasure.person])
        for case in erasure.cases:
            append(
                ledger, case.case, [(Kind.WORKER_IDENTITY_PURGED, body)],
                expected_position=case.position, now=now, by=by, role=role,
            )  # fmt: skip
            workers.erase_worker(case.case)
        also()
