"""The appointments of a case, from its entries: what a calendar that was fetched before must now hear."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date, datetime, time, tzinfo
from uuid import UUID, uuid5

from thimble.clinical.visits.appointments import Agreed, Appointment, replanned
from thimble.ledger.entries import Entry, Kind
from thimble.ledger.standing import standing

_NAMES = UUID("6e1f8a52-5d0b-4c5e-9a35-0f0d2f9c7b14")
"""The namespace of these names (RFC 9562); drawn once at random."""

_CHANGES = frozenset({Kind.VISITS_AGREED, Kind.CORRECTED, Kind.CLOSED, Kind.REOPENED})


def appointments(entries: Sequence[Entry], zone: tzinfo) -> tuple[Appointment, ...]:
    """Every appointment that the worker of one case was ever told, as it stands after these entries.

    Each entry that changes the dates in force is one re-planning, also a correction, a closing (what was
    still to come falls away) and a reopening. More entries never take a change back, so a calendar that
    has seen a shorter ledger only ever sees `sequence` rise. A plan that needs a visit no more takes
    nothing away by itself: the dates stand until somebody agrees others with the worker.

    Args:
        entries: of one case, from its first entry on.
        zone: in which a day of closing is a day.
    """
    known = sorted(entries, key=lambda entry: entry.position)
    found: tuple[Appointment, ...] = ()
    for count, entry in enumerate(known, start=1):
        if entry.kind in _CHANGES:
            found = replanned(
                found,
                _in_force(known[:count], zone),
                at=entry.recorded_at,
                new_uid=_named_by(entry),
            )
    return found


def _named_by(entry: Entry) -> Callable[[int], str]:
    """Names from an entry's digest: unique in the world, and nobody can tell the case from one."""
    return lambda index: str(uuid5(_NAMES, f"{entry.digest}/{index}"))


def _in_force(entries: Sequence[Entry], zone: tzinfo) -> tuple[Agreed, ...]:
    visits: tuple[Agreed, ...] = ()
    closed: datetime | None = None
    for stands in standing(entries).values():
        if stands is None:
            continue
        kind, body = stands.entry.kind, stands.body
        if kind is Kind.VISITS_AGREED:
            visits = tuple(
                Agreed(
                    date.fromisoformat(visit["day"]),
                    tuple(visit["actions"]),
                    time.fromisoformat(visit["at"]) if "at" in visit else None,
                )
                for visit in body["visits"]
            )
        elif kind is Kind.CLOSED:
            closed = stands.happened_at
        elif kind is Kind.REOPENED:
            closed = None
    if closed is None:
        return visits
    last = closed.astimezone(zone).date()
    return tuple(visit for visit in visits if visit.day <= last)
