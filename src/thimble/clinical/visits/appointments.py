"""Visits as a calendar knows them: each with a name that lasts, and a count of its changes.

Each time the dates are agreed anew, the new dates are matched with those before: what is held for the
same things, or on the same day, is the same appointment, moved or not. What is left over has fallen away.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, time


@dataclass(frozen=True, slots=True)
class Appointment:
    """One appointment over its whole life.

    `uid` never changes. `sequence` rises by one whenever the day, the hour or `cancelled` changes, and
    never falls (RFC 5545, 3.8.7.4). `hour` is that on the clock of the site, None where none was agreed.
    `actions` serve to find it again; no calendar shows them. `changed_at` is when any of these last
    changed, aware.
    """

    uid: str
    day: date
    actions: tuple[str, ...]
    sequence: int
    cancelled: bool
    made_at: datetime
    changed_at: datetime
    hour: time | None = None


@dataclass(frozen=True, slots=True)
class Agreed:
    """A day, what is held then, and the hour on the clock of the site if one was agreed."""

    day: date
    actions: tuple[str, ...]
    hour: time | None = None


def replanned(
    before: Sequence[Appointment],
    agreed: Sequence[Agreed],
    *,
    at: datetime,
    new_uid: Callable[[int], str],
) -> tuple[Appointment, ...]:
    """Every appointment there ever was, after the dates in force have become `agreed`.

    Args:
        before: the appointments so far, those that fell away included.
        agreed: the visits that stand now, one a day.
        at: when that was said, aware.
        new_uid: a name for the visit of this index, where it is a new one.

    Returns:
        Those of `before` in their order, then the new ones in order of their days.
    """
    taken = _matches(before, agreed)
    by_place = {place: visit for visit, place in taken.items()}
    kept = []
    for place, old in enumerate(before):
        if place in by_place:
            now = agreed[by_place[place]]
            new = replace(old, day=now.day, actions=now.actions, hour=now.hour, cancelled=False)
        else:
            new = replace(old, cancelled=True)
        if (new.day, new.hour, new.cancelled) != (old.day, old.hour, old.cancelled):
            new = replace(new, sequence=old.sequence + 1, changed_at=max(at, old.changed_at))
        kept.append(new)
    fresh = [
        Appointment(
            new_uid(index),
            new.day,
            new.actions,
            0,
            cancelled=False,
            made_at=at,
            changed_at=at,
            hour=new.hour,
        )
        for index, new in enumerate(agreed)
        if index not in taken
    ]
    return (*kept, *sorted(fresh, key=lambda each: each.day))


def _matches(before: Sequence[Appointment], agreed: Sequence[Agreed]) -> dict[int, int]:
    """Index of a visit → place of the appointment that it is; the best pairs first."""
    pairs = []
    for index, new in enumerate(agreed):
        for place, old in enumerate(before):
            shared = len(set(new.actions) & set(old.actions))
            same_day = new.day == old.day
            # What fell away comes back only as the very thing that it was.
            revived = old.cancelled and set(new.actions) == set(old.actions)
            if revived or (not old.cancelled and (shared or same_day)):
                close = (old.cancelled, -(shared > 0 and same_day), -shared, -same_day)
                pairs.append((close, index, place))
    found: dict[int, int] = {}
    for _, index, place in sorted(pairs):
        if index not in found and place not in found.values():
            found[index] = place
    return found
