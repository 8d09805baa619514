"""A new case, from a worker without sign-in or from the clinician who takes the report."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Literal

from thimble.actions._append import Refused, append, append_new
from thimble.actions.identity import IdentityStore, SourceIdentity, WorkerIdentity
from thimble.actions.reference import new_references
from thimble.ledger.bodies import facts_to_json
from thimble.ledger.entries import Entry, Kind, instant
from thimble.ledger.standing import standing_bodies
from thimble.ledger.store import LedgerStore, Overtaken
from thimble.protocol.vocabulary import Fact, Value

Precision = Literal["minute", "hour", "date", "unknown"]

SENT_AGAIN = "The report was sent again with other answers."
"""The reason of the correction that a second sending writes."""

SAME_TIME = timedelta(minutes=1)
"""How far apart two relatively given times may lie and still be one: the way of a message takes
time, and nobody says "15 minutes ago" to the second."""


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
    relative: bool = False,
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
    so that nothing typed is lost. What others set right in the meantime stays as they left it,
    save where the second sending itself says something else than the first.

    `relative` says that the time was told as so long ago ("15 min ago") and counted back from a
    moment that may lie too late, as when a phone waited for its connection. Such a time, sent
    again, may move the exposure earlier but never later: no window is shown longer than it is. A
    time of the clock is taken as it was typed.

    Identities go to their own store, never into the ledger; to save
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

    reported = _open(store, body, token, relative, vocabulary=vocabulary, now=now, by=by, role=role)
    if identities is not None and worker is not None:
        identities.save_worker(reported.case, worker, by=by, now=now)
    if identities is not None and source is not None:
        identities.save_source(reported.case, source, by=by, now=now)
    return reported


def _open(
    store: LedgerStore,
    body: Mapping[str, Any],
    token: str,
    relative: bool,
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
            again = _sent_again(body, overtaken.new_entries, relative)
            if again is None:
                return Reported(case, (), again=True)
            correction = {"corrects": 1, "reason": SENT_AGAIN, "body": again}
            written = append(store, case, [(Kind.CORRECTED, correction)], now=now, by=by, role=role)
            return Reported(case, tuple(written), again=True)
        return Reported(case, tuple(entries))
    raise AssertionError("references do not end")


def _sent_again(
    body: Mapping[str, Any], entries: Sequence[Entry], relative: bool
) -> dict[str, Any] | None:
    """The report's body after a second sending; None where it says nothing else than the first."""
    sent = _as_sent(entries)
    standing = standing_bodies(entries)[1] or sent
    after = _with(standing, _changes(sent, body))
    if not _same_time(body, sent, standing, relative):
        after = {**after, **_time(body)}
    return None if _meaning(after) == _meaning(standing) else after


def _as_sent(entries: Sequence[Entry]) -> dict[str, Any]:
    """What the form said last: the first report, with what its later sendings changed."""
    sent = dict(entries[0].body)
    for index, entry in enumerate(entries):
        if _by_sending(entry):
            before = standing_bodies(entries[:index])[1] or sent
            later = entry.body["body"]
            sent = _with(sent, _changes(before, later))
            if _meaning(_time(later)) != _meaning(_time(before)):
                sent |= _time(later)
    return sent


def _by_sending(entry: Entry) -> bool:
    return (
        entry.kind is Kind.CORRECTED
        and (entry.body["corrects"], entry.body["reason"]) == (1, SENT_AGAIN)
        and "body" in entry.body
    )


def _same_time(
    body: Mapping[str, Any], sent: Mapping[str, Any], standing: Mapping[str, Any], relative: bool
) -> bool:
    """Whether the time that stands is to stay, after the form was sent again."""
    if _meaning(_time(body)) == _meaning(_time(sent)):
        return True
    new, old, stands = (_instant(each) for each in (body, sent, standing))
    if not relative or new is None:
        return False
    if old is not None and new > old - SAME_TIME:
        return True
    return stands is not None and new >= stands


_TIME = ("occurred_at", "occurred_at_precision")
_MISSING = object()


def _time(body: Mapping[str, Any]) -> dict[str, Any]:
    return {name: body[name] for name in _TIME}


def _instant(body: Mapping[str, Any]) -> datetime | None:
    at = body["occurred_at"]
    return None if at is None else datetime.fromisoformat(at)


def _meaning(body: Mapping[str, Any]) -> dict[str, Any]:
    """A report's body with its instant in one form, so that +01:00 and Z compare equal."""
    at = _instant(body)
    return {**body, "occurred_at": None if at is None else instant(at)}


def _changes(before: Mapping[str, Any], after: Mapping[str, Any]) -> dict[tuple[str, ...], Any]:
    """What a second body says else than the first, fact by fact; the time is left out."""
    old, new = _flat(before), _flat(after)
    return {
        name: new.get(name, _MISSING)
        for name in old.keys() | new.keys()
        if old.get(name, _MISSING) != new.get(name, _MISSING)
    }


def _flat(body: Mapping[str, Any]) -> dict[tuple[str, ...], Any]:
    plain = {(name,): body[name] for name in body if name not in ("facts", *_TIME)}
    return plain | {("facts", fact): value for fact, value in body["facts"].items()}


def _with(body: Mapping[str, Any], changes: Mapping[tuple[str, ...], Any]) -> dict[str, Any]:
    """A body with these changes made."""
    flat = {n: v for n, v in (_flat(body) | dict(changes)).items() if v is not _MISSING}
    plain = {name[0]: value for name, value in flat.items() if len(name) == 1}
    return {
        **plain,
        **_time(body),
        "facts": {name[1]: value for name, value in flat.items() if len(name) == 2},
    }
