"""Where a case stands on the recall list, until when that holds, and the words of the list. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta, tzinfo

from thimble.clinical.durations import on_the_wall
from thimble.clinical.ladder import Ladder
from thimble.clinical.saying import calendar_day, counted, minute
from thimble.clinical.site import Site
from thimble.ledger.assess import assess
from thimble.ledger.bodies import CONTACT_BY, CONTACT_OUTCOMES
from thimble.ledger.entries import Entry
from thimble.ledger.fold import fold
from thimble.ledger.follow_up.reaching import Rung, next_rung, rung_on
from thimble.ledger.follow_up.record import AgreedVisit
from thimble.ledger.follow_up.visiting import SOON, Kept, expected, visiting
from thimble.ledger.next_thing import short
from thimble.ledger.plan import Plan
from thimble.ledger.pressing import NEAR, OVERDUE, Key, urgency
from thimble.ledger.situation import Situation
from thimble.protocol import Protocol
from thimble.web.visits.reaching import when_words
from thimble.web.worklist.validity import EVER, GRAIN, valid_until

PARTS = {
    "overdue": "Did not come, or nobody recorded it",
    "unplanned": "No dates agreed yet",
    "moved": "Dates that no longer fit the plan",
    "ahead": "To come",
}


@dataclass(frozen=True, slots=True)
class Recalled:
    """Where one case stands on the list: in which part, by which day, and for what.

    `visits` counts those to agree in the part `unplanned`, and is 0 in the others. `next_step` is what is
    due about a worker who did not come, `due` on which day; the part `overdue` alone has them. `at` is the
    hour that was agreed for `day`.
    """

    part: str
    day: date
    what: tuple[str, ...]
    missed: bool = False
    visits: int = 0
    last_contact: str = ""
    next_step: str = ""
    due: date | None = None
    at: str = ""


@dataclass(frozen=True, slots=True)
class Listed:
    """One row of the list."""

    case: str
    recalled: Recalled


@dataclass(frozen=True, slots=True)
class Answer:
    """`recalled`, None for a case with no visit to keep, holds before `until`, if nobody writes.

    `until` None: it may differ at any later instant.
    """

    recalled: Recalled | None
    until: datetime | None


def answer(
    entries: Sequence[Entry], protocol: Protocol, site: Site, ladder: Ladder, now: datetime
) -> Answer:
    """Where a case stands at `now`, from all entries of its ledger, which may go on after `now`."""
    known = [entry for entry in entries if entry.recorded_at <= now]
    later = [entry.recorded_at for entry in entries if entry.recorded_at > now]
    found = _answer(known, protocol, site, ladder, now) if known else Answer(None, EVER)
    if found.until is None or not later:
        return found
    return Answer(found.recalled, min(found.until, *later))


def _answer(
    entries: Sequence[Entry], protocol: Protocol, site: Site, ladder: Ladder, now: datetime
) -> Answer:
    situation = fold(entries, now, protocol.vocabulary)
    if situation.closed_at is not None:
        return Answer(None, EVER)
    plan = assess(situation, protocol, now, site)
    recalled, planned = _place(plan, situation, site, ladder)
    until = valid_until(situation, plan, protocol, site.zone)
    # A day that has come is passed at midnight; what is due is due to the minute.
    steps = [_midnight_after(day, site.zone) for day in planned]
    steps += _dues(plan)
    ahead = [step for step in steps if step > now - GRAIN]
    if until is None or any(step <= now + GRAIN for step in ahead):
        return Answer(recalled, None)
    return Answer(recalled, min([until, *(step - GRAIN for step in ahead)]))


def _place(
    plan: Plan, situation: Situation, site: Site, ladder: Ladder
) -> tuple[Recalled | None, list[date]]:
    """Where the case stands, and the days whose passing changes it.

    The fewest visits stay what they are for as long as the first of them lies ahead: a day that passes
    only takes away days on which nothing was held.
    """
    contact = _last_contact(situation, site.zone)
    today = plan.now.astimezone(site.zone).date()
    told = expected(plan, situation, today)
    if late := [e for e in told if e.kept in (Kept.MISSED, Kept.NOT_RECORDED)]:
        first = late[0]
        what = _named(first.left, {a.id: short(a.what) for a in plan.actions})
        missed = first.kept is Kept.MISSED
        rung = next_rung(situation, told, ladder, site.zone)
        return Recalled(
            "overdue", first.visit.day, what, missed, last_contact=contact,
            next_step="" if rung is None else rung.action.what,
            due=None if rung is None else rung.due, at=_hour(first.visit),
        ), []  # fmt: skip
    found = visiting(plan, situation, site)
    visits = found.planned.visits
    passing = [visit.day for visit in visits[:1]]
    if to_come := [e for e in told if e.kept in (Kept.TODAY, Kept.AHEAD)]:
        following = to_come[0]
        part = "ahead" if found.as_agreed else "moved"
        what = _named(following.left, found.names)
        recalled = Recalled(
            part, following.visit.day, what, last_contact=contact, at=_hour(following.visit)
        )
        return recalled, [*passing, following.visit.day]
    if not visits:
        return None, []
    what = _named(visits[0].items, found.names)
    first_day = visits[0].day
    return Recalled("unplanned", first_day, what, visits=len(visits), last_contact=contact), passing


def _hour(visit: AgreedVisit) -> str:
    return "" if visit.at is None else f"{visit.at:%H:%M}"


def _midnight_after(day: date, zone: tzinfo) -> datetime:
    return on_the_wall(day + timedelta(days=1), time(), zone).astimezone(UTC)


def _dues(plan: Plan) -> Iterable[datetime]:
    """The instants at which an action may become one that is done at once, or cease to be."""
    for action in plan.actions:
        if action.window.earliest is not None:
            yield action.window.earliest.astimezone(UTC)
        for limit in (action.window.target, action.window.latest):
            if limit is not None:
                at = limit.astimezone(UTC)
                yield from (at - NEAR, at - SOON, at, at + OVERDUE)


def _named(ids: Iterable[str], names: Mapping[str, str]) -> tuple[str, ...]:
    return tuple(names.get(id_, id_.replace("_", " ")) for id_ in ids)


def _last_contact(situation: Situation, zone: tzinfo) -> str:
    if not situation.follow_up.contacts:
        return ""
    at, how, outcome = situation.follow_up.contacts[-1]
    tries = len(situation.follow_up.contacts)
    count = f"{tries} attempts, last " if tries > 1 else ""
    return f"{count}{minute(at, zone)} {CONTACT_BY[how]}: {CONTACT_OUTCOMES[outcome]}"


def in_words(recalled: Recalled, today: date) -> str:
    """What is said of a case on the list of `today`."""
    hour = f" at {recalled.at}" if recalled.at else ""
    day = calendar_day(recalled.day) + hour
    if recalled.part == "overdue":
        days = (today - recalled.day).days
        late = ", missed" if recalled.missed else ""
        return f"expected on {day}, {counted(days, 'day')} ago{late}"
    if recalled.part == "unplanned":
        return f"{counted(recalled.visits, 'visit')}, the first best on {day}"
    return f"expected {f'today{hour}' if recalled.day == today else f'on {day}'}"


def next_words(recalled: Recalled, zone: tzinfo, now: datetime) -> str:
    """The next step about a worker who did not come, and when it is due; "" in the other parts."""
    if recalled.due is None:
        return ""
    return f"{recalled.next_step}: {when_words(_rung(recalled.next_step, recalled.due, zone), now)}"


def pressing(due: date, zone: tzinfo, now: datetime) -> Key:
    """Where a step due on a day stands in the one order of what is to be done."""
    return urgency(_rung("", due, zone).action, now)


def _rung(what: str, due: date, zone: tzinfo) -> Rung:
    return rung_on("", what, due, due, zone)
