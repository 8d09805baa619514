"""What a person brings on their own page, until somebody of the department has looked at it."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from thimble.actions._append import Refused
from thimble.actions.people import People, append_to, person_of
from thimble.ledger.entries import Entry
from thimble.people.entries import THEMSELF, Kind
from thimble.people.fold import Document

MOST_WAITING = 12
"""Scans of one person that may wait to be looked at."""


def bring(store: People, person: str, body: Mapping[str, Any], *, now: datetime) -> Entry[Kind]:
    """The person attaches a scan by themself; nobody has verified it.

    Raises:
        NoSuchPerson, Refused: so many wait already, or this very file does.
    """
    held = person_of(store, person, now)
    if len(held.to_look_at) >= MOST_WAITING:
        raise Refused(
            f"{MOST_WAITING} files wait already to be looked at. Withdraw one, or come back later"
        )
    if body.get("digest") in {document.digest for document in held.documents}:
        raise Refused("This very file is here already")
    drafts = [(Kind.DOCUMENT_ATTACHED, body)]
    (entry,) = append_to(
        store, person, drafts, expected_position=held.entries, now=now, by=THEMSELF, role=THEMSELF
    )
    return entry


def take_back(store: People, person: str, entry: int, *, now: datetime) -> Document:
    """The person withdraws a scan that they brought and nobody has looked at; returns it.

    Raises:
        NoSuchPerson, Overtaken.
        Refused: there is no such scan of theirs, or somebody has looked at it.
    """
    held = person_of(store, person, now)
    found = {d.entry: d for d in held.documents if d.brought}.get(entry)
    if found is None:
        raise Refused("This file is not here any more")
    if found.looked_at is not None:
        raise Refused("Somebody has looked at this file: ask occupational medicine to withdraw it")
    body = {"corrects": entry, "reason": "withdrawn by the person", "withdrawn": True}
    append_to(
        store, person, [(Kind.CORRECTED, body)], expected_position=held.entries,
        now=now, by=THEMSELF, role=THEMSELF,
    )  # fmt: skip
    return found


def look_at(
    store: People, person: str, entry: int, *, text: str, now: datetime, by: str, role: str
) -> None:
    """Put on record that somebody looked at a scan that the person brought.

    Raises:
        NoSuchPerson, Refused: there is no such scan, or somebody has looked at it before.
    """
    held = person_of(store, person, now)
    if entry not in {document.entry for document in held.to_look_at}:
        raise Refused("This scan does not wait to be looked at any more")
    drafts = [(Kind.DOCUMENT_LOOKED_AT, {"document": entry, "text": text})]
    append_to(store, person, drafts, expected_position=held.entries, now=now, by=by, role=role)
