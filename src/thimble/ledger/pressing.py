"""What presses most: the one order in which the plan, the worklist and every paper name what is to be done.

A window has two limits: `target`, by when a thing is best done, and `latest`, after which it is late.
The limit that counts is the next one still to come. A target that has just passed counts on for a
day; then the latest instant counts, where there is one.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from enum import StrEnum
from math import inf

from thimble.ledger.plan import TO_DO, Action, Plan, State

NEAR = timedelta(hours=72)
"""What closes within this much of now stands at the top."""

AT_ONCE = timedelta(hours=1)
"""What is best done within this much of now is due at once."""

OVERDUE = timedelta(hours=24)
"""How long a target that has passed still counts as the limit."""

FAR = inf
"""Where nothing closes, in seconds."""


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


@dataclass(frozen=True, slots=True)
class Limits:
    """What the order looks at of an action, its instants in seconds since 1970.

    Instants are slow to compare, and a list of cases compares thousands: whoever keeps plans keeps these.
    """

    opens: float
    best: float | None
    ends: float | None
    waits: bool
    late: bool
    stands: bool
    dose: bool
    aid: bool


Key = tuple[int, int, float, bool, bool, bool]
"""What things to do are ordered by: smaller comes first."""


def limits_of(action: Action) -> Limits:
    """The limits of an action as the order sees them."""
    window = action.window
    return Limits(
        opens=-inf if window.earliest is None else window.earliest.timestamp(),
        best=None if window.target is None else window.target.timestamp(),
        ends=None if window.latest is None else window.latest.timestamp(),
        waits=bool(window.waits_for),
        late=action.state is State.LATE,
        stands=action.stands,
        dose=action.kind == "dose",
        aid=action.kind == "first_aid",
    )


def limit_of(action: Action, now: datetime) -> tuple[datetime | None, bool]:
    """The limit of an action that counts at `now`, in UTC, and whether it is a target."""
    target, latest = action.window.target, action.window.latest
    limit, best = _limit(limits_of(action), now.timestamp())
    if limit is None:
        return None, False
    counts = target if best else latest
    return (None if counts is None else counts.astimezone(UTC)), best


def _limit(limits: Limits, now: float) -> tuple[float | None, bool]:
    best, ends = limits.best, limits.ends
    if best is None:
        return ends, False
    if ends is None or (now <= ends and now - _DAY <= best < ends):
        return best, True
    return ends, False


_HOUR, _DAY, _NEAR = AT_ONCE.total_seconds(), OVERDUE.total_seconds(), NEAR.total_seconds()


def group_of(action: Action, now: datetime) -> Group:
    """Which part an action that is still to be done belongs to.

    What can still be done and is past its target is due, however long the window stays open: nobody
    waits for the last instant of an immunoglobulin.
    """
    limits, at = limits_of(action), now.timestamp()
    return _group(limits, _limit(limits, at)[0], at)


def _group(limits: Limits, limit: float | None, now: float) -> Group:
    if limits.waits:
        return Group.AHEAD
    if limits.late or (limits.ends is not None and now > limits.ends):
        return Group.PAST
    overdue = limits.best is not None and limits.best < now
    if overdue or (limit is not None and limit <= now + _NEAR):
        return Group.NOW
    return Group.OPEN if limits.opens <= now else Group.AHEAD


def has_opened(action: Action, now: datetime) -> bool:
    """Whether an action can be done at `now`."""
    window = action.window
    return not window.waits_for and (window.earliest is None or window.earliest <= now)


def urgency(action: Action, now: datetime) -> Key:
    """What the actions that are still to be done are ordered by, in a case and between cases.

    First what is due or closes soon, in this order: what is due at once (`_band`), by how far its
    limit is from now, so that the exposure of this hour is not behind yesterday's; what has hours
    left, by the limit that comes next; what has been overdue for longer, what is needed for certain
    before what may be. Then what is late, what closed last first: there is most left to save. Then
    what can be done now and has time, by its limit; what opens later, by when it opens; what waits for
    another action.

    Of two alike: what has opened, what is needed for certain, a dose.
    """
    return urgency_of(limits_of(action), now.timestamp())


def urgency_of(limits: Limits, now: float) -> Key:
    """The same from limits, `now` in seconds since 1970."""
    limit = _limit(limits, now)[0]
    group = _group(limits, limit, now)
    opened = not limits.waits and limits.opens <= now
    band, at = 0, FAR if limit is None else limit
    if group is Group.NOW:
        band = _band(limits, limit, now, opened=opened)
        if band in _AT_ONCE:
            at = _how_far(limits, limit, now)
    elif group is Group.PAST:
        at = -at
    elif group is Group.AHEAD:
        band = int(limits.waits)
        at = FAR if limits.waits else limits.opens
    return (RANK[group], band, at, not opened, not limits.stands, not limits.dose)


_FRESH_AID, _DOSE, _DUE, _HOURS_LEFT, _OVERDUE, _PERHAPS_OVERDUE, _OLD_AID = range(7)
_AT_ONCE = (_FRESH_AID, _DOSE, _DUE)


def _band(limits: Limits, limit: float | None, now: float, *, opened: bool) -> int:
    """Where something stands among what is due now.

    What can be done and has its limit within an hour, or had it within the last day, is due at once:
    first aid of this hour, then doses, then the rest. A dose past its target stays so for as long as it
    can be given: no sample comes before it.
    """
    overdue = limits.best is not None and limits.best < now
    if limits.dose and limits.stands and opened and overdue:
        return _DOSE
    if limit is None or limit < now - _DAY or limit > now + _NEAR:
        # First aid of days ago is written down, it is no longer given.
        if limits.aid:
            return _OLD_AID
        return _OVERDUE if limits.stands else _PERHAPS_OVERDUE
    if limit > now + _HOUR or not opened:
        return _HOURS_LEFT
    if limits.aid and limit >= now - _HOUR:
        return _FRESH_AID
    return _DOSE if limits.dose else _DUE


def _how_far(limits: Limits, limit: float | None, now: float) -> float:
    """What is due at once by how far its limit is; a dose longer overdue by the end of its window."""
    if limit is not None and abs(limit - now) <= _HOUR:
        return now + abs(limit - now)
    if limits.dose:
        return FAR if limits.ends is None else limits.ends
    return FAR if limit is None else now + abs(limit - now)
