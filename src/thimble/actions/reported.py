"""Results of the laboratory's messages in people's files, and that somebody saw them."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, tzinfo

from thimble.actions._append import Refused
from thimble.actions.people import People, append_to, person_of
from thimble.actions.results import Doubtful
from thimble.exchange.matching import Reports
from thimble.ledger.entries import Entry
from thimble.people.entries import Kind
from thimble.people.reported_doubts import Around
from thimble.people.reporting import weigh
from thimble.people.to_see import to_see


def record_reports(
    store: People,
    reports: Reports,
    *,
    born: date | None,
    zone: tzinfo,
    now: datetime,
    by: str,
    role: str,
    message: str,
    looked_at: str = "",
    doubts_shown: bool = True,
    drawn_on: date | None = None,
) -> list[Entry[Kind]]:
    """Write down what a message says of one sample of somebody of the register: all of it or nothing.

    Args:
        message: the digest of the message.
        looked_at: how somebody knows whose it is, or what they found out about a doubt.
        doubts_shown: whether whoever wrote `looked_at` had seen the doubts; without that it answers
            another question and silences none.
        drawn_on: the day of the draw as somebody told it; that of a session goes before it.

    Returns:
        The entries; none where the file says it all already.

    Raises:
        Doubtful: something seems not right, and nobody says to have looked at it.
        Refused: the laboratory contradicts itself, or a day is missing.
        NoSuchPerson.
    """
    held = person_of(store, reports.whose.person, now)
    around = Around(born, now.astimezone(zone).date(), zone, now)
    weighed = weigh(held, reports, around, message=message, looked_at=looked_at, drawn_on=drawn_on)
    if weighed.impossible:
        raise Refused((*weighed.impossible, *weighed.doubts))
    if weighed.doubts and not (doubts_shown and looked_at):
        raise Doubtful(weighed.doubts)
    if not weighed.drafts:
        return []
    return append_to(store, held.reference, weighed.drafts, now=now, by=by, role=role)


def look_at_results(
    store: People,
    person: str,
    entries: Sequence[int],
    text: str,
    *,
    now: datetime,
    by: str,
    role: str,
) -> list[Entry[Kind]]:
    """Put on record that `by` saw what messages of the laboratory brought, and what was done about it.

    Raises:
        NoSuchPerson, Refused: nothing was said, or one of them waits for nobody.
    """
    waiting = {one.entry for one in to_see(person_of(store, person, now))}
    if not text.strip():
        raise Refused("Say what was done about it")
    if not entries or set(entries) - waiting:
        raise Refused("Somebody saw this before. Look at the file again")
    body = {"entries": sorted(set(entries)), "text": text.strip()}
    return append_to(store, person, [(Kind.RESULT_LOOKED_AT, body)], now=now, by=by, role=role)
