"""A new case, from a worker without sign-in or from the clinician who takes the report."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Literal

from thimble.actions._append import Refused, append, append_new
from thimble.actions.identity import IdentityStore, SourceIdentity, WorkerIdentity
from thimble.actions.reference import new_references
from thimble.ledger.bodies import facts_to_json
from thimble.ledger.entries import Entry, Kind, instant
from thimble.ledger.store import LedgerStore, Overtaken
from thimble.protocol.vocabulary import Fact, Value

Precision = Literal["minute", "hour", "date", "unknown"]


@dataclass(frozen=True, slots=True)
class Reported:
    """The case that a report opened, or found: `again` where the same token had come before."""

    case: str
    entries: tuple[Entry, ...]
    again: bool = False


def report(
    store: LedgerStore,
    *,
    facts: Mapping[str, Value],
    occurred_at: datetime | None,
    occurred_at_precision: Precision,
    vocabulary: Mapping[str, Fact],
    now: datetime,
    by: str = "worker",
    role: str = "worker",
    reported_by: Literal["worker", "clinician"] = "worker",
    place: str = "",
    task: str = "",
    account: str = "",
    contact_left: bool | None = None,
    token: str = "",
    identities: IdentityStore | None = None,
    worker: WorkerIdentity | None = None,
    source: SourceIdentity | None = None,
) -> Reported:
    """Open a case and give it its reference.

    `token` is one that the form was served with. The same token again (a double tap, a lost
    connection) finds the same case; if the answers differ the second sending corrects the first,
    so that nothing typed is lost. Identities go to their own store, never into the ledger; to save
    both or neither, call this inside one transaction of the database that holds them.

    Raises:
        Refused: the exposure lies ahead of `now`, a fact or text is not what it must be, or an
            identity came without a store to keep it.
    """
    if occurred_at is not None and occurred_at.utcoffset() is None:
        raise Refused(f"the time of the exposure needs its offset; found {occurred_at.isoformat()}")
    if occurred_at is not None and occurred_at > now:
        raise Refused(
            f"the exposure lies ahead of now ({now.isoformat(timespec='minutes')}); found "
            f"{occurred_at.isoformat(timespec='minutes')}. Look at the date and the time again"
        )
    if identities is None and (worker is not None or source is not None):
        raise Refused("an identity was given without a place to keep it; give identities too")
    body: dict[str, Any] = {
        "facts": facts_to_json(facts),
        "occurred_at": None if occurred_at is None else occurred_at.isoformat(),
        "occurred_at_precision": occurred_at_precision,
        "place": place,
        "task": task,
        "account": account,
        "contact_left": (worker is not None) if contact_left is None else contact_left,
        "reported_by": reported_by,
    }
    if token:
        body["token"] = hashlib.sha256(token.encode()).hexdigest()

    reported = _open(store, body, token, vocabulary=vocabulary, now=now, by=by, role=role)
    if identities is not None and worker is not None:
        identities.save_worker(reported.case, worker, by=by, now=now)
    if identities is not None and source is not None:
        identities.save_source(reported.case, source, by=by, now=now)
    return reported


def _open(
    store: LedgerStore,
    body: Mapping[str, Any],
    token: str,
    *,
    vocabulary: Mapping[str, Fact],
    now: datetime,
    by: str,
    role: str,
) -> Reported:
    for case in new_references(token):
        try:
            entries = append_new(
                store,
                case,
                [(Kind.REPORTED, body)],
                now=now,
                by=by,
                role=role,
                expected_position=0,
                vocabulary=vocabulary,
            )
        except Overtaken as overtaken:
            first = overtaken.new_entries[0]
            if not token or first.body.get("token") != body["token"]:
                continue  # another case has this reference; try the next
            return _again(store, case, body, overtaken.new_entries, now=now, by=by, role=role)
        return Reported(case, tuple(entries))
    raise AssertionError("references do not end")


def _again(
    store: LedgerStore,
    case: str,
    body: Mapping[str, Any],
    entries: tuple[Entry, ...],
    *,
    now: datetime,
    by: str,
    role: str,
) -> Reported:
    standing = entries[0].body
    for entry in entries[1:]:
        if entry.kind is Kind.CORRECTED and entry.body["corrects"] == 1 and "body" in entry.body:
            standing = entry.body["body"]
    if _meaning(standing) == _meaning(body):
        return Reported(case, (), again=True)
    correction = {
        "corrects": 1,
        "reason": "The report was sent again with other answers.",
        "body": dict(body),
    }
    written = append(store, case, [(Kind.CORRECTED, correction)], now=now, by=by, role=role)
    return Reported(case, tuple(written), again=True)


def _meaning(body: Mapping[str, Any]) -> dict[str, Any]:
    """A report's body with its instant in one form, so that +01:00 and Z compare equal."""
    meaning = dict(body)
    if meaning["occurred_at"] is not None:
        meaning["occurred_at"] = instant(datetime.fromisoformat(meaning["occurred_at"]))
    return meaning
