"""What presses most: the one order in which the plan, the worklist and every paper name what is to be done.

A window has two limits: `target`, by when a thing is best done, and `latest`, after which it is late.
The limit that counts is the next one still to come. A target that has just passed counts on for a
day; then the latest instant counts, where there is one.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from enum import StrEnum

from thimble.ledger.plan import TO_DO, Action, Plan, State

NEAR = timedelta(hours=72)
"""What closes within this much of now stands at the top."""

AT_ONCE = timedelta(hours=1)
"""What is best done within this much of now is due at once."""

OVERDUE = timedelta(hours=24)
"""How long a target that has passed still counts as the limit."""

FAR = datetime.max.replace(tzinfo=UTC)


class Group(StrEnum):
    """The parts of a list of things to do, what presses most first."""

    NOW = "now"
    PAST = "past"
    OPEN = "open"
    AHEAD = "ahead"


TITLES = {
    Group.NOW: "Due, or closing within three days",
    Group.PAST: "Past the window",
    Group.OPEN: "There is time",
    Group.AHEAD: "Not open yet",
}
RANK = {group: rank for rank, group in enumerate(Group)}


def to_do(plan: Plan) -> tuple[Action, ...]:
    """The actions that somebody still has to do, or to decide about."""
    return tuple(action for action in plan.actions if action.state in TO_DO)


def limit_of(action: Action, now: datetime) -> tuple[datetime | None, bool]:
    """The limit of an action that counts at `now`, in UTC, and whether it is a target."""
    target, latest = action.window.target, action.window.latest
    still = latest is None or (now <= latest and now - OVERDUE <= (target or now) < latest)
    if target is not None and still:
        return target.astimezone(UTC), True
    return (None if latest is None else latest.astimezone(UTC)), False


def group_of(action: Action, now: datetime) -> Group:
    """Which part an action that is still to be done belongs to.

    What can still be done and is past its target is due, however long the window stays open: nobody
    waits for the last instant of an immunoglobulin.
    """
    window = action.window
    limit, _ = limit_of(action, now)
    if window.waits_for:
        return Group.AHEAD
    if action.state is State.LATE or (window.latest is not None and now > window.latest):
        return Group.PAST
    if _overdue(action, now) or (limit is not None and limit <= now + NEAR):
        return Group.NOW
    return Group.OPEN if has_opened(action, now) else Group.AHEAD


def has_opened(action: Action, now: datetime) -> bool:
    """Whether an action can be done at `now`."""
    window = action.window
    return not window.waits_for and (window.earliest is None or window.earliest <= now)


def urgency(action: Action, now: datetime) -> tuple[int, int, datetime, bool, bool, bool]:
    """What the actions that are still to be done are ordered by, in a case and between cases.

    First what is due or closes soon, in this order: what is due at once (`_band`), by how far its
    limit is from now, so that the exposure of this hour is not behind yesterday's; what has hours
    left, by the limit that comes next; what has been overdue for longer, what is needed for certain
    before what may be. Then what is late, what closed last first: there is most left to
    save. Then what can be done now and has time, by its limit; what opens later, by when it opens;
    what waits for another action.

    Of two alike: what has opened, what is needed for certain, a dose.
    """
    group = group_of(action, now)
    limit, _ = limit_of(action, now)
    band, at = 0, limit or FAR
    if group is Group.NOW:
        band = _band(action, limit, now)
        if band in _AT_ONCE:
            at = _how_far(action, limit, now)
    elif group is Group.PAST:
        at = turned(at)
    elif group is Group.AHEAD:
        earliest = action.window.earliest
        waits = bool(action.window.waits_for)
        band = int(waits)
        at = FAR if waits or earliest is None else earliest.astimezone(UTC)
    return (
        RANK[group], band, at, not has_opened(action, now), not action.stands,
        action.kind != "dose",
    )  # fmt: skip


_FRESH_AID, _DOSE, _DUE, _HOURS_LEFT, _OVERDUE, _PERHAPS_OVERDUE, _OLD_AID = range(7)
_AT_ONCE = (_FRESH_AID, _DOSE, _DUE)


def _band(action: Action, limit: datetime | None, now: datetime) -> int:
    """Where something stands among what is due now.

    What can be done and has its limit within an hour, or had it within the last day, is due at once:
    first aid of this hour, then doses, then the rest. A dose past its target stays so for as long as it
    can be given: no sample comes before it.
    """
    aid = action.kind == "first_aid"
    if (
        action.kind == "dose"
        and action.stands
        and has_opened(action, now)
        and _overdue(action, now)
    ):
        return _DOSE
    if limit is None or limit < now - OVERDUE or limit > now + NEAR:
        # First aid of days ago is written down, it is no longer given.
        if aid:
            return _OLD_AID
        if not action.stands:
            return _PERHAPS_OVERDUE
        return _OVERDUE
    if limit > now + AT_ONCE or not has_opened(action, now):
        return _HOURS_LEFT
    if aid and limit >= now - AT_ONCE:
        return _FRESH_AID
    return _DOSE if action.kind == "dose" else _DUE


def _overdue(action: Action, now: datetime) -> bool:
    return action.window.target is not None and action.window.target < now


def _how_far(action: Action, limit: datetime | None, now: datetime) -> datetime:
    """What is due at once by how far its limit is; a dose longer overdue by the end of its window."""
    if limit is not None and abs(limit - now) <= AT_ONCE:
        return (now + abs(limit - now)).astimezone(UTC)
    if action.kind == "dose":
        latest = action.window.latest
        return FAR if latest is None else latest.astimezone(UTC)
    return FAR if limit is None else (now + abs(limit - now)).astimezone(UTC)


def turned(at: datetime) -> datetime:
    """Instants in reverse order."""
    return FAR if at == FAR else datetime.fromtimestamp(-at.timestamp(), UTC)
