"""Visits as a calendar knows them: each with a name that lasts, and a count of its changes.

Each time the dates are agreed anew, the new dates are matched with those before: what is held for the
same things, or on the same day, is the same appointment, moved or not. What is left over has fallen away.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime


@dataclass(frozen=True, slots=True)
class Appointment:
    """One appointment over its whole life.

    `uid` never changes. `sequence` rises by one whenever the day or `cancelled` changes, and never falls
    (RFC 5545, 3.8.7.4). `actions` serve to find it again; no calendar shows them. `changed_at` is when
    the day or `cancelled` last changed, aware.
    """

    uid: str
    day: date
    actions: tuple[str, ...]
    sequence: int
    cancelled: bool
    made_at: datetime
    changed_at: datetime


Agreed = tuple[date, tuple[str, ...]]
"""A day and what is held then."""


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
            day, actions = agreed[by_place[place]]
            new = replace(old, day=day, actions=actions, cancelled=False)
        else:
            new = replace(old, cancelled=True)
        if (new.day, new.cancelled) != (old.day, old.cancelled):
            new = replace(new, sequence=old.sequence + 1, changed_at=max(at, old.changed_at))
        kept.append(new)
    fresh = [
        Appointment(new_uid(index), day, actions, 0, cancelled=False, made_at=at, changed_at=at)
        for index, (day, actions) in enumerate(agreed)
        if index not in taken
    ]
    return (*kept, *sorted(fresh, key=lambda each: each.day))


def _matches(before: Sequence[Appointment], agreed: Sequence[Agreed]) -> dict[int, int]:
    """Index of a visit → place of the appointment that it is; the best pairs first."""
    pairs = []
    for index, (day, actions) in enumerate(agreed):
        for place, old in enumerate(before):
            shared = len(set(actions) & set(old.actions))
            same_day = day == old.day
            # What fell away comes back only as the very thing that it was.
            revived = old.cancelled and set(actions) == set(old.actions)
            if revived or (not old.cancelled and (shared or same_day)):
                close = (old.cancelled, -(shared > 0 and same_day), -shared, -same_day)
                pairs.append((close, index, place))
    found: dict[int, int] = {}
    for _, index, place in sorted(pairs):
        if index not in found and place not in found.values():
            found[index] = place
    return found
