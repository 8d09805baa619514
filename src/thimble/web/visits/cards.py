"""One planned visit and one agreed visit, in words."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import tzinfo

from thimble.clinical.saying import calendar_day, counted
from thimble.clinical.visits import (
    Alternative,
    Visit,
    alternatives,
    shared,
    words,
)
from thimble.ledger.follow_up.visiting import Expected, Kept, Visiting
from thimble.web.visits.typed import field_of, hour_field_of

MOST_DAYS = 40
"""How many other days a visit offers; the nearest to its targets."""
STATES = {
    Kept.KEPT: "done",
    Kept.MISSED: "missed",
    Kept.NOT_RECORDED: "past, not recorded as done",
    Kept.TODAY: "today",
    Kept.AHEAD: "to come",
}


@dataclass(frozen=True, slots=True)
class DayChoice:
    """A day on which a visit may be held."""

    value: str
    label: str
    chosen: bool


@dataclass(frozen=True, slots=True)
class VisitCard:
    """One planned visit: `field` and `hour_field` are the names of its day and hour in the form, `hour`
    what stands there; `told` is the hour that was agreed."""

    field: str
    hour_field: str
    hour: str
    told: str
    day: str
    away: str
    what: tuple[str, ...]
    hours: tuple[str, ...]
    reasons: tuple[str, ...]
    days: tuple[DayChoice, ...]
    agreed: bool


@dataclass(frozen=True, slots=True)
class ExpectedLine:
    """One agreed visit and what became of it."""

    value: str
    day: str
    what: tuple[str, ...]
    state: str
    may_be_missed: bool


def card_of(
    visit: Visit, found: Visiting, zone: tzinfo, hours: Mapping[str, str] | None
) -> VisitCard:
    """A planned visit; `hours` are what was typed, None where those agreed stand."""
    names = found.names
    field = hour_field_of(visit)
    told = next((e.visit.at for e in found.expected if e.visit.day == visit.day), None)
    agreed = f"{told:%H:%M}" if told else ""
    said = words.visit(visit, names)
    others = sorted(alternatives(found.planned, visit)[:MOST_DAYS], key=lambda other: other.day)
    days = [*((other.day, _label(other)) for other in others), (visit.day, calendar_day(visit.day))]
    return VisitCard(
        field=field_of(visit),
        hour_field=field,
        hour=agreed if hours is None else hours.get(field, ""),
        told=agreed,
        day=calendar_day(visit.day),
        away=_away((visit.day - found.today).days),
        what=tuple(names.get(id_, id_) for id_ in visit.items),
        hours=tuple(
            f"{names.get(id_, id_)}: on {calendar_day(part.day)} only from "
            f"{part.opens.astimezone(zone):%H:%M} to {part.closes.astimezone(zone):%H:%M}"
            for id_ in visit.items
            for part in found.windows[id_].hours
        )
        + _together(visit, found, zone),
        # The first sentence names the day and what is held: that stands in the card already.
        reasons=said[1:],
        days=tuple(
            DayChoice(day.isoformat(), label, day == visit.day) for day, label in sorted(days)
        ),
        agreed=visit.agreed,
    )


def _together(visit: Visit, found: Visiting, zone: tzinfo) -> tuple[str, ...]:
    """The hours that suit all that is held, where those of several items are limited on that day."""
    parts = [p for id_ in visit.items for p in found.windows[id_].hours if p.day == visit.day]
    if len(parts) < 2:
        return ()
    hours = " or ".join(
        f"{one.astimezone(zone):%H:%M} to {two.astimezone(zone):%H:%M}"
        for one, two in shared(parts)
    )
    return (f"All of it: from {hours}",)


def _label(other: Alternative) -> str:
    if not other.change:
        return calendar_day(other.day)
    much = counted(abs(other.change), "day")
    side = "farther from" if other.change > 0 else "nearer to"
    return f"{calendar_day(other.day)} ({much} {side} the best)"


def _away(days: int) -> str:
    if days == 0:
        return "today"
    if days == 1:
        return "tomorrow"
    if days < 14:
        return f"in {days} days"
    return f"in {days // 7} weeks" if days < 120 else f"in {round(days / 30.44)} months"


def expected_line(each: Expected, names: Mapping[str, str]) -> ExpectedLine:
    """An agreed visit and what became of it."""
    return ExpectedLine(
        value=each.visit.day.isoformat(),
        day=each.visit.words,
        what=tuple(names.get(id_, id_.replace("_", " ")) for id_ in each.visit.actions),
        state=STATES[each.kept],
        may_be_missed=each.kept in (Kept.NOT_RECORDED, Kept.TODAY),
    )
