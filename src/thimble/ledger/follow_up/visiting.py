"""The visits of a case: what of its plan is held when, beside what was agreed with the worker.

What is due at once is not planned, it is done; what waits for another action gets its day when that is
done, unless that has its own day already: the doses of a vaccine series, and the titre after them, are
planned ahead, each as long after the one before it as it must be. Everything else that asks for the
worker and has a limit is an item of the fewest visits.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from enum import StrEnum

from thimble.clinical.durations import on_the_wall
from thimble.clinical.site import Site
from thimble.clinical.visits import (
    After,
    DayWindow,
    Item,
    OpenDays,
    VisitPlan,
    day_window,
    open_days,
    plan_visits,
)
from thimble.clinical.visits.items import shifted
from thimble.ledger.follow_up.record import AgreedVisit
from thimble.ledger.next_thing import short
from thimble.ledger.plan import TO_DO, Action, Plan, Window
from thimble.ledger.pressing import Group, group_of, has_opened, limit_of
from thimble.ledger.series import series_found
from thimble.ledger.situation import Situation

HELD = frozenset({"sample", "dose", "review"})
"""Kinds of action for which the worker comes."""

AHEAD = timedelta(days=31)
"""How far beyond the last limit open days are looked at."""


SOON = timedelta(hours=24)
"""What closes within this much of now is done now: no visit is planned for it."""


class Kept(StrEnum):
    """What became of an agreed visit."""

    KEPT = "kept"
    MISSED = "missed"
    NOT_RECORDED = "not_recorded"
    TODAY = "today"
    AHEAD = "ahead"


@dataclass(frozen=True, slots=True)
class Expected:
    """An agreed visit, what became of it, and which of its actions are still to be done."""

    visit: AgreedVisit
    kept: Kept
    left: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Visiting:
    """The visits of a case as of a moment.

    `planned` holds what can be planned; `due` is done now, without waiting for a visit; `waiting` gets
    its day later. `windows` are the days of each item. `names` are the short words for all of them.
    """

    today: date
    planned: VisitPlan
    due: tuple[Action, ...]
    waiting: tuple[Action, ...]
    windows: Mapping[str, DayWindow]
    names: Mapping[str, str]
    expected: tuple[Expected, ...]

    @property
    def as_agreed(self) -> bool:
        """Whether the dates that the worker was told are those of the plan."""
        told = {e.visit.day: frozenset(e.left) for e in self.expected if e.left}
        return told == {visit.day: frozenset(visit.items) for visit in self.planned.visits}


def visiting(
    plan: Plan,
    situation: Situation,
    site: Site,
    *,
    unavailable: Sequence[tuple[date, date]] | None = None,
    chosen: Mapping[str, date] | None = None,
) -> Visiting:
    """The fewest visits for what a plan still asks of the worker.

    Args:
        unavailable: stretches of days on which the worker cannot come; None: as agreed before.
        chosen: actions whose day somebody chose; those that are not planned are left out.
    """
    now = plan.now
    today = now.astimezone(site.zone).date()
    asked = [a for a in plan.actions if a.whom == "worker" and a.state in TO_DO and a.stands]
    asked = [a for a in asked if a.kind in HELD]
    limited = [a for a in asked if not a.window.waits_for and _has_limit(a)]
    due = tuple(a for a in limited if _due(a, now))
    later = [a for a in limited if a not in due]

    stretches = situation.follow_up.unavailable if unavailable is None else unavailable
    ahead = _ahead(asked, {a.id for a in later}, plan, situation, today, site)
    until = max([_horizon(later, today, site), *(a.until + AHEAD for a in ahead)])
    days = open_days(site, today, until, _days_of(stretches))
    windows = {
        a.id: day_window(a.window.earliest, a.window.target, _by(a.window, site, days), site, days)
        for a in later
    }
    windows |= {a.id: DayWindow(a.earliest, a.target, None) for a in ahead}
    after = {a.id: a.after for a in ahead}
    items = [
        Item(id_, w.earliest, w.target, w.latest, after.get(id_, ()), hours=w.hours)
        for id_, w in windows.items()
    ]
    waiting = tuple(a for a in asked if a.window.waits_for and a.id not in windows)
    wanted = {id_: day for id_, day in (chosen or {}).items() if id_ in windows}
    told = [visit.day for visit in situation.follow_up.visits if visit.day >= today]
    return Visiting(
        today=today,
        planned=plan_visits(items, days, kept=told, chosen=wanted),
        due=due,
        waiting=waiting,
        windows=windows,
        names={
            **{id_: short(what) for id_, what in plan.words.items()},
            **{a.id: short(a.what) for a in plan.actions},
        },
        expected=expected(plan, situation, today),
    )


@dataclass(frozen=True, slots=True)
class _Ahead:
    """An action planned before what it waits for is done. `until`: how far ahead days are looked at."""

    id: str
    earliest: date
    target: date | None
    after: tuple[After, ...]
    until: date


def _ahead(
    asked: Sequence[Action],
    planned: Collection[str],
    plan: Plan,
    situation: Situation,
    today: date,
    site: Site,
) -> list[_Ahead]:
    """What waits for an action that has its day, in the order in which it follows."""
    series = series_found(plan.findings, situation, plan.protocol_id, site.zone, today=today)
    waiting = {a.id: a for a in asked if a.window.waits_for}
    open_ids = {a.id for a in asked}
    found: dict[str, _Ahead] = {}
    for one in series.planned[1:] if series is not None else ():
        # A dose that is due now has no day of its own; the next is planned as if it were given today.
        if one.action not in waiting or one.after not in open_ids:
            break
        dose = one.dose
        known = one.after in planned or one.after in found
        after = (After(one.after, one.at_least),) if known else ()
        found[one.action] = _Ahead(one.action, dose.earliest, dose.target, after, dose.target)
    starts = {id_: (one.earliest, one.until) for id_, one in found.items()}
    for action in asked:
        if action.id in planned:
            opens, best = (
                max(today, at.astimezone(site.zone).date()) if at is not None else today
                for at in (action.window.earliest, action.window.target)
            )
            starts[action.id] = (opens, max(opens, best))
    for id_, action in waiting.items():
        follows, before = action.window.follows, action.window.waits_for
        if id_ in found or follows is None or before not in starts:
            continue
        soonest, latest = starts[before]
        first = shifted(soonest, follows.at_least)
        if follows.not_before is not None:
            first = max(first, follows.not_before.astimezone(site.zone).date())
        last = shifted(latest, follows.at_most or follows.at_least)
        after = (After(before, follows.at_least, follows.at_most),)
        found[id_] = _Ahead(id_, first, None, after, max(first, last))
    return list(found.values())


def expected(plan: Plan, situation: Situation, today: date) -> tuple[Expected, ...]:
    """The agreed visits, in order of their days, and what became of each."""
    open_ids = {a.id for a in plan.actions if a.state in TO_DO}
    found = []
    for visit in situation.follow_up.visits:
        left = tuple(id_ for id_ in visit.actions if id_ in open_ids)
        if not left:
            kept = Kept.KEPT
        elif visit.day in situation.follow_up.missed:
            kept = Kept.MISSED
        elif visit.day < today:
            kept = Kept.NOT_RECORDED
        else:
            kept = Kept.TODAY if visit.day == today else Kept.AHEAD
        found.append(Expected(visit, kept, left))
    return tuple(found)


def to_agree(
    planned: VisitPlan, before: Iterable[Expected], hours: Mapping[date, time] | None = None
) -> tuple[AgreedVisit, ...]:
    """What is agreed with the dates of a plan: its visits, and those before that were kept.

    Args:
        hours: the hour agreed for a visit, by its day; a day may do without.
    """
    agreed = hours or {}
    kept = tuple(e.visit for e in before if e.kept is Kept.KEPT)
    taken = {visit.day for visit in planned.visits}
    new = tuple(
        AgreedVisit(visit.day, visit.items, agreed.get(visit.day)) for visit in planned.visits
    )
    return (*(visit for visit in kept if visit.day not in taken), *new)


def _has_limit(action: Action) -> bool:
    return action.window.target is not None or action.window.latest is not None


def _due(action: Action, now: datetime) -> bool:
    """Late, past its target, a dose that can be given, or with a limit within the day."""
    group = group_of(action, now)
    if group is Group.PAST:
        return True
    limit, _ = limit_of(action, now)
    if group is not Group.NOW or not has_opened(action, now):
        return False
    target = action.window.target
    overdue = target is not None and target < now
    return overdue or action.kind == "dose" or (limit is not None and limit <= now + SOON)


def _by(window: Window, site: Site, days: OpenDays) -> datetime | None:
    """The instant by which it is planned: the last one, or as far as it may be put off.

    What has no last instant is not refused because the clinic is closed or the worker away until then:
    it comes on the first open day after.
    """
    if window.latest is not None or window.put_off_to is None:
        return window.latest
    until = window.put_off_to
    found = day_window(window.earliest, window.target, until, site, days)
    first = days.from_day(found.earliest or days.first)
    if first is None or (found.latest is not None and first <= found.latest):
        return until
    return on_the_wall(first + timedelta(days=1), time(0), site.zone)


def _horizon(actions: Iterable[Action], today: date, site: Site) -> date:
    ends = [today]
    for action in actions:
        window = action.window
        ends += [
            at.astimezone(site.zone).date()
            for at in (window.earliest, window.target, window.latest, window.put_off_to)
            if at is not None
        ]
    return max(ends) + AHEAD


def _days_of(stretches: Iterable[tuple[date, date]]) -> set[date]:
    return {
        first + timedelta(days=ahead)
        for first, last in stretches
        for ahead in range((last - first).days + 1)
    }
