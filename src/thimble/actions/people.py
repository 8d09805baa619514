"""What is written in people's files: who comes, moves and leaves, and what is documented of them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime
from typing import Any

from thimble.actions._append import Refused, who_and_when
from thimble.actions.people_identity import PeopleIdentities, Written
from thimble.actions.reference import new_references, read_reference
from thimble.ledger.entries import Draft, Entry
from thimble.ledger.store import LedgerStore
from thimble.people.alike import alike
from thimble.people.bodies import faults_of
from thimble.people.documented import named, outside, same
from thimble.people.entries import EVIDENCE, Kind
from thimble.people.fold import Document, Person, differing, fold
from thimble.people.identity import PersonIdentity, changed_fields
from thimble.people.names import number_key

PREFIX = "P-"
"""Begins the reference of every person, so that none is taken for a case."""

People = LedgerStore[Kind]


class NoSuchPerson(Refused):
    """No file has this reference."""


def new_reference(taken: set[str] | frozenset[str] = frozenset()) -> str:
    """A reference that no file has yet."""
    return next(PREFIX + each for each in new_references() if PREFIX + each not in taken)


def read_person(text: str) -> str:
    """A person's reference as scanned or typed, in its written form.

    Raises:
        ValueError: it is none.
    """
    bare = text.strip().upper()
    if not bare.startswith("P"):
        raise ValueError(f"a person's reference begins with {PREFIX}")
    return PREFIX + read_reference(bare[1:].lstrip("-"))


def who_is(identity: PersonIdentity) -> list[str]:
    """What an identity lacks, in sentences."""
    faults = []
    if not identity.family_name.strip() and not identity.given_name.strip():
        faults.append("The name is missing: nobody is enrolled without one")
    for name in ("number", "family_name", "given_name", "email"):
        if len(getattr(identity, name)) > 200:
            faults.append(f"The {name.replace('_', ' ')} has at most 200 characters")
    return faults


def enrol(
    store: People,
    identities: PeopleIdentities,
    identity: PersonIdentity,
    employment: Mapping[str, Any],
    *,
    now: datetime,
    by: str,
    role: str,
    not_the_same_as: Iterable[str] = (),
) -> str:
    """Open a file for somebody new; returns its reference. Call it in one transaction of both stores.

    Args:
        employment: the body of an `enrolled` entry.
        not_the_same_as: files that somebody looked at and found to be of another person.

    Raises:
        Refused: the number is taken, somebody who may be the same (see `alike`) is there and nobody
            said that they are another, or the employment does not fit.
    """
    faults = who_is(identity)
    for person, other in identities.all_identities().items():
        if identity.number and number_key(other.number) == number_key(identity.number):
            faults.append(f"The number {identity.number} belongs to another person already")
        elif person not in not_the_same_as and (told := alike(identity, other)):
            faults.append(
                f"Somebody of the same {told} is in the register. Open that file, or say that this is "
                "another person"
            )
    if faults:
        raise Refused(faults)
    person = new_reference(frozenset(store.cases()))
    drafts = [(Kind.ENROLLED, employment)]
    append_to(store, person, drafts, expected_position=0, now=now, by=by, role=role)
    identities.save_all([Written(person, 1, identity)], by=by, now=now)
    return person


def change(
    store: People,
    identities: PeopleIdentities,
    person: str,
    changes: Mapping[str, Any],
    *,
    identity: PersonIdentity | None = None,
    moved_on: date | None = None,
    expected_position: int | None = None,
    now: datetime,
    by: str,
    role: str,
) -> list[Entry[Kind]]:
    """Change what is known of somebody's work, or who they are. Nothing changed writes nothing.

    Args:
        changes: keys of a `changed` body; those that hold already are left out.
        identity: the whole identity as it is now.
        moved_on: the day of a change of place; then a change of place is a move.

    Raises:
        NoSuchPerson, Refused, Overtaken.
    """
    before = person_of(store, person, now)
    new = differing(before, changes)
    if identity is not None and (faults := who_is(identity)):
        raise Refused(faults)
    held = identities.identity(person) or PersonIdentity()
    fields = changed_fields(held, identity or held)
    if "number" in fields and identity is not None and identity.number:
        for other, known in identities.all_identities().items():
            if other != person and number_key(known.number) == number_key(identity.number):
                raise Refused(f"The number {identity.number} belongs to another person already")
    drafts = drafts_of(new, fields, moved_on=moved_on)
    if not drafts:
        return []
    written = append_to(
        store, person, drafts, expected_position=expected_position, now=now, by=by, role=role
    )
    if fields and identity is not None:
        row = Written(person, written[-1].position, identity)
        identities.save_all([row], by=by, now=now)
    return written


def drafts_of(
    new: Mapping[str, Any],
    identity_fields: Sequence[str],
    *,
    moved_on: date | None = None,
    import_id: str = "",
) -> list[tuple[Kind, dict[str, Any]]]:
    """Entries that say what is new: a leaving, a move, a change. Each names its import, if any."""
    told = dict(new)
    imported = {"import": import_id} if import_id else {}
    drafts: list[tuple[Kind, dict[str, Any]]] = []
    if told.get("ends_on"):
        drafts.append((Kind.LEFT, {"on": told.pop("ends_on"), **imported}))
    places: dict[str, Any] = {key: told.pop(key) for key in ("site", "department") if key in told}
    if places:
        if "role" in told:
            places["role"] = told.pop("role")
        day = None if moved_on is None else moved_on.isoformat()
        drafts.append((Kind.MOVED, {**places, "on": day, **imported}))
    if told or identity_fields:
        changed = {**told, **imported}
        if identity_fields:
            changed["identity"] = list(identity_fields)
        drafts.append((Kind.CHANGED, changed))
    return drafts


def leave(
    store: People, person: str, on: date, *, now: datetime, by: str, role: str
) -> list[Entry[Kind]]:
    """Somebody leaves; the day may lie ahead.

    Raises:
        NoSuchPerson, Refused: the day lies before the first.
    """
    starts_on = person_of(store, person, now).employment.starts_on
    if starts_on is not None and on < starts_on:
        raise Refused(f"The last day cannot lie before the first, {starts_on.isoformat()}")
    return append_to(
        store, person, [(Kind.LEFT, {"on": on.isoformat()})], now=now, by=by, role=role
    )


def come_back(
    store: People, person: str, on: date, *, now: datetime, by: str, role: str
) -> list[Entry[Kind]]:
    """Somebody who left comes back.

    Raises:
        NoSuchPerson, Refused: they have not left.
    """
    if person_of(store, person, now).employment.ends_on is None:
        raise Refused("This person has no last day on record: there is nothing to come back from")
    return append_to(
        store, person, [(Kind.RETURNED, {"on": on.isoformat()})], now=now, by=by, role=role
    )


def record_evidence(
    store: People,
    person: str,
    drafts: Sequence[tuple[Kind, Mapping[str, Any]]],
    *,
    today: date,
    born: date | None = None,
    expected_position: int | None = None,
    now: datetime,
    by: str,
    role: str,
) -> list[Entry[Kind]]:
    """Write down what a card, a slip or the person shows: all of it or nothing.

    Args:
        today: the day by the calendar of the site; nothing of a later one is on record yet.
        born: nothing lies before it.

    Raises:
        NoSuchPerson, Overtaken.
        Refused: something does not fit, lies ahead or before birth, or is on record already.
    """
    faults = [
        f"{kind.value} is not evidence"
        for kind, _ in drafts
        if kind not in EVIDENCE | {Kind.OFFERED, Kind.NOTED, Kind.DOCUMENT_ATTACHED}
    ]
    held = person_of(store, person, now)
    there = [(e.kind, same(e.body)) for e in held.evidence]
    for kind, body in drafts:
        # A result may be repeated on one day; a dose, a refusal may not.
        if (kind, same(body)) in there:
            faults.append(f"{named(kind, body)} is on record already; nothing was written")
        there.append((kind, same(body)))
        if fault := outside(kind, body, today, born):
            faults.append(fault)
    if faults:
        raise Refused(faults)
    return append_to(
        store, person, drafts, expected_position=expected_position, now=now, by=by, role=role
    )


def record_letter(
    store: People,
    person: str,
    body: Mapping[str, Any],
    *,
    now: datetime,
    by: str,
    role: str,
) -> list[Entry[Kind]]:
    """Put on record that somebody was written to.

    Raises:
        NoSuchPerson, Refused.
    """
    person_of(store, person, now)
    return append_to(store, person, [(Kind.INVITED, body)], now=now, by=by, role=role)


def record_offer(
    store: People,
    person: str,
    disease: str,
    *,
    how: str,
    letters: str,
    on: date,
    now: datetime,
    by: str,
    role: str,
) -> bool:
    """Put on record, once, that somebody was offered a vaccine by a letter; whether this did it.

    That they were told of its benefits and drawbacks, and trained before, no letter shows: not `informed`.

    Args:
        how: an id of `people.choices.OFFERED_BY`.
        letters: the run of letters that offered it.
        on: the day on which it is known that the offer reached them or was handed over.

    Raises:
        NoSuchPerson, Refused, Overtaken.
    """
    held = person_of(store, person, now)
    if any(offer.disease == disease for offer in held.offers):
        return False
    body = {
        "disease": disease,
        "on": on.isoformat(),
        "informed": False,
        "how": how,
        "letters": letters,
    }
    append_to(
        store, person, [(Kind.OFFERED, body)], now=now, by=by, role=role,
        expected_position=held.entries,
    )  # fmt: skip
    return True


def verify_evidence(
    store: People,
    person: str,
    entries: Sequence[int],
    *,
    seen: str,
    text: str = "",
    now: datetime,
    by: str,
    role: str,
) -> list[Entry[Kind]]:
    """Put on record that `by` saw what pieces of evidence rest on.

    Raises:
        NoSuchPerson, Refused: an entry is no evidence that stands.
    """
    standing = {e.entry for e in person_of(store, person, now).evidence}
    odd = sorted(set(entries) - standing)
    if odd or not entries:
        raise Refused(
            f"Entry {odd[0]} is no evidence that stands" if odd else "Choose what you have seen"
        )
    body = {"entries": sorted(set(entries)), "seen": seen, "text": text}
    return append_to(store, person, [(Kind.EVIDENCE_VERIFIED, body)], now=now, by=by, role=role)


def correct_evidence(
    store: People,
    person: str,
    entry: int,
    *,
    reason: str,
    body: Mapping[str, Any] | None = None,
    now: datetime,
    by: str,
    role: str,
) -> list[Entry[Kind]]:
    """Set a piece of evidence right by a new entry, or withdraw it where no body is given.

    Raises:
        NoSuchPerson, Refused: the entry is no evidence that stands, or the new body does not fit.
    """
    found = {e.entry: e for e in person_of(store, person, now).evidence}.get(entry)
    if found is None:
        raise Refused(f"Entry {entry} is no evidence that stands")
    correction: dict[str, Any] = {"corrects": entry, "reason": reason}
    if body is None:
        correction["withdrawn"] = True
    else:
        if faults := faults_of(found.kind, body):
            raise Refused(faults)
        correction["body"] = dict(body)
    return append_to(store, person, [(Kind.CORRECTED, correction)], now=now, by=by, role=role)


def withdraw_scan(
    store: People, person: str, entry: int, *, reason: str, now: datetime, by: str, role: str
) -> Document:
    """Withdraw a scan, such as one of somebody else; returns it, so that its content can be deleted. What
    was typed from it stands until it is withdrawn itself.

    Raises:
        NoSuchPerson, Refused: there is no such scan.
    """
    held = person_of(store, person, now)
    found = {document.entry: document for document in held.documents}.get(entry)
    if found is None:
        raise Refused(f"Entry {entry} is no scan that stands")
    body = {"corrects": entry, "reason": reason, "withdrawn": True}
    append_to(store, person, [(Kind.CORRECTED, body)], now=now, by=by, role=role)
    return found


def person_of(store: People, person: str, now: datetime) -> Person:
    """The person as of now.

    Raises:
        NoSuchPerson: there is no such file, or its enrolment was taken back.
    """
    entries = store.entries(person)
    found = fold(entries, max(now, entries[-1].recorded_at)) if entries else None
    if found is None or not found.enrolled:
        raise NoSuchPerson(f"there is no person {person}")
    return found


def append_to(
    store: People,
    person: str,
    drafts: Sequence[tuple[Kind, Mapping[str, Any]]],
    *,
    expected_position: int | None = None,
    now: datetime,
    by: str,
    role: str,
) -> list[Entry[Kind]]:
    """Append to a person's file what fits its kind, all or nothing.

    Raises:
        Refused: a body does not fit, or nobody is named.
        thimble.ledger.store.Overtaken: see `LedgerStore.append`.
    """
    faults = [fault for kind, body in drafts for fault in faults_of(kind, body)]
    if faults := faults + who_and_when(now=now, by=by, role=role):
        raise Refused(faults)
    return store.append(
        person,
        [Draft(kind, now, body) for kind, body in drafts],
        expected_position=expected_position,
        by=by,
        role=role,
        now=now,
    )
