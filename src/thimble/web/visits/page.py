"""The words on the page of a case's visits. Pure."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, tzinfo

from thimble.clinical.durations import on_the_wall
from thimble.clinical.saying import calendar_day, counted, inside, minute
from thimble.clinical.series import DoseGiven, PartialDate
from thimble.clinical.site import Site
from thimble.clinical.visits import (
    Alternative,
    Visit,
    VisitPlan,
    alternatives,
    shared,
    why_not_at,
    words,
)
from thimble.ledger.bodies import AGREEMENTS, CONTACT_BY, CONTACT_OUTCOMES
from thimble.ledger.plan import Plan, Situation
from thimble.ledger.series import series_found
from thimble.ledger.visiting import Expected, Kept, Visiting
from thimble.web.support.page import Support
from thimble.web.visits.picture import picture
from thimble.web.visits.reaching import NextStep
from thimble.web.visits.recall import PARTS, Listed, in_words, next_words

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


@dataclass(frozen=True, slots=True)
class EarlierDoses:
    """The doses of a vaccine series from before the exposure, where they count: `asked` while none is on
    record; `typed` is what stands in the form."""

    asked: bool
    known: tuple[str, ...]
    typed: str

    @classmethod
    def of(
        cls, plan: Plan, situation: Situation, zone: tzinfo, typed: str | None = None
    ) -> EarlierDoses | None:
        """None where no series is asked for, or doses from before do not count for it."""
        series = series_found(plan.findings, situation, plan.protocol_id, zone)
        if series is None or not series.counts_before:
            return None
        doses = situation.doses_before
        return cls(
            asked=series.unknown,
            known=tuple(dose.when.words for dose in doses),
            typed=", ".join(str(dose.when) for dose in doses) if typed is None else typed,
        )


def typed_doses(text: str) -> tuple[DoseGiven, ...]:
    """Dates of doses parted by commas, each with its day, or the month or year that is known.

    Raises:
        ValueError: a text that is none; a sentence.
    """
    return tuple(
        DoseGiven(None, PartialDate.parse(part.strip())) for part in text.split(",") if part.strip()
    )


@dataclass(frozen=True, slots=True)
class VisitsPage:
    """Everything that the page shows."""

    case: str
    position: int
    today: str
    picture: str
    problems: tuple[str, ...]
    due: tuple[str, ...]
    waiting: tuple[str, ...]
    cards: tuple[VisitCard, ...]
    dropped: tuple[str, ...]
    expected: tuple[ExpectedLine, ...]
    as_agreed: bool
    agreed_once: bool
    away: tuple[tuple[str, str, str], ...]
    contacts: tuple[str, ...]
    ways: tuple[tuple[str, str], ...]
    outcomes: tuple[tuple[str, str], ...]
    may_record: bool
    may_print: bool
    closed: bool
    has_calendar: bool
    link_since: str
    next_step: NextStep | None
    agrees: tuple[str, ...]
    mail_due: bool
    support: Support
    fault: str
    doses: EarlierDoses | None

    @classmethod
    def of(
        cls,
        found: Visiting,
        situation: Situation,
        zone: tzinfo,
        *,
        away: Sequence[tuple[date, date]],
        capabilities: Collection[str],
        link_since: datetime | None = None,
        next_step: NextStep | None = None,
        mail_due: bool = False,
        claimed: Sequence[datetime] = (),
        hours: Mapping[str, str] | None = None,
        fault: str = "",
        doses: EarlierDoses | None = None,
    ) -> VisitsPage:
        """The page for the visits of a case; `link_since` is when its calendar's address was made,
        `claimed` when mails were begun of which nothing else is known. `hours` are what was typed, by
        field; None: those agreed before stand.
        """
        planned, names = found.planned, found.names
        problems = [words.overdue(each, names) for each in planned.overdue]
        problems += [words.unplaceable(each, names) for each in planned.unplaceable]
        problems += [words.refusal(each, names) for each in planned.refused]
        return cls(
            case=situation.case,
            position=situation.entries,
            today=found.today.isoformat(),
            picture=picture(planned, found.windows, names, found.today),
            problems=tuple(problems),
            due=tuple(names.get(a.id, a.id) for a in found.due),
            waiting=tuple(
                f"{names.get(a.id, a.id)} (counts from: "
                f"{inside(names.get(a.window.waits_for, a.window.waits_for.replace('_', ' ')))})"
                for a in found.waiting
            ),
            cards=tuple(_card(visit, found, zone, hours) for visit in planned.visits),
            dropped=tuple(calendar_day(day) for day in planned.dropped),
            expected=tuple(_expected(each, names) for each in found.expected),
            as_agreed=found.as_agreed,
            agreed_once=situation.follow_up.agreed_by is not None,
            away=tuple(
                (
                    first.isoformat(),
                    last.isoformat(),
                    f"{calendar_day(first)} to {calendar_day(last)}",
                )
                for first, last in away
            ),
            contacts=tuple(
                f"{minute(at, zone)}, {CONTACT_BY['email']}: {CONTACT_OUTCOMES['not_known']}"
                for at in claimed
            )
            + tuple(
                f"{minute(at, zone)}, {CONTACT_BY[how]}: {CONTACT_OUTCOMES[outcome]}"
                for at, how, outcome in reversed(situation.follow_up.contacts)
            ),
            ways=tuple(CONTACT_BY.items()),
            # Of what a person did it is known whether it was done.
            outcomes=tuple(each for each in CONTACT_OUTCOMES.items() if each[0] != "not_known"),
            may_record="record_facts" in capabilities,
            may_print="print_documents" in capabilities,
            closed=situation.closed_at is not None,
            has_calendar=situation.follow_up.agreed_by is not None,
            link_since="" if link_since is None else minute(link_since, zone),
            next_step=next_step,
            agrees=tuple(
                words
                for to, words in AGREEMENTS.items()
                if situation.follow_up.agreements.get(to, False)
            ),
            mail_due=mail_due,
            support=Support.of(situation, zone),
            fault=fault,
            doses=doses,
        )


def field_of(visit: Visit) -> str:
    """The name of a visit's day in the form: by its first item, which no other visit has."""
    return f"day-{visit.items[0]}"


def hour_field_of(visit: Visit) -> str:
    """The name of a visit's hour in the form."""
    return f"hour-{visit.items[0]}"


def agreed_hours(
    free: VisitPlan, found: Visiting, typed: Mapping[str, str], site: Site
) -> dict[date, time]:
    """The hours typed in the form, by the day on which each visit is held now.

    Args:
        free: the visits as the form showed them.
        found: the visits with the days that were chosen.

    Raises:
        ValueError: an hour that is none, two for one day, or at which the visit cannot be held.
    """
    hours: dict[date, time] = {}
    held = found.planned.held
    for visit in free.visits:
        text = typed.get(hour_field_of(visit), "").strip()
        day = next((held[id_] for id_ in visit.items if id_ in held), None)
        if not text or day is None:
            continue
        try:
            hour = datetime.strptime(text, "%H:%M").time()  # noqa: DTZ007 - a clock has no zone
        except ValueError:
            raise ValueError(f"{text!r} is no hour. Write it like 09:30, or leave it.") from None
        if hours.setdefault(day, hour) != hour:
            raise ValueError(f"Two hours are given for {calendar_day(day)}. Give one.")
        parts = [
            part
            for id_, on in held.items()
            if on == day
            for part in found.windows[id_].hours
            if part.day == day
        ]
        if why := why_not_at(on_the_wall(day, hour, site.zone), parts, site):
            raise ValueError(f"{calendar_day(day)} at {hour:%H:%M} cannot be: {why}.")
    return hours


def _card(
    visit: Visit, found: Visiting, zone: tzinfo, hours: Mapping[str, str] | None
) -> VisitCard:
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


def _expected(each: Expected, names: Mapping[str, str]) -> ExpectedLine:
    return ExpectedLine(
        value=each.visit.day.isoformat(),
        day=each.visit.words,
        what=tuple(names.get(id_, id_.replace("_", " ")) for id_ in each.visit.actions),
        state=STATES[each.kept],
        may_be_missed=each.kept in (Kept.NOT_RECORDED, Kept.TODAY),
    )


# -- recall ---------------------------------------------------------------------------------------

MOST_ROWS = 100
"""How many rows of a part stand on one page of the recall list."""


@dataclass(frozen=True, slots=True)
class RecallRow:
    """One case on the recall list; `next_step` is what is due about a worker who did not come."""

    reference: str
    words: str
    next_step: str
    what: tuple[str, ...]
    last_contact: str
    name: str
    phone: str


@dataclass(frozen=True, slots=True)
class RecallPart:
    """One part of the list: the rows shown of `count`, the first of them the `first`, from 1.

    `before` and `after` are where the pages beside this one start, counted from 0; None without one.
    """

    id: str
    title: str
    rows: tuple[RecallRow, ...]
    count: int
    first: int
    before: int | None
    after: int | None

    @property
    def last(self) -> int:
        """The number of the last row shown, from 1."""
        return self.first + len(self.rows) - 1


def recall(
    shown: Mapping[str, Sequence[Listed]],
    counts: Mapping[str, int],
    now: datetime,
    zone: tzinfo,
    people: Mapping[str, tuple[str, str]],
    *,
    start: int = 0,
) -> tuple[RecallPart, ...]:
    """The parts with the rows to show, `start` of which come before them."""
    return tuple(
        RecallPart(
            id=part,
            title=PARTS[part],
            rows=tuple(
                RecallRow(
                    row.case,
                    in_words(row.recalled, now.astimezone(zone).date()),
                    next_words(row.recalled, zone, now),
                    row.recalled.what,
                    row.recalled.last_contact,
                    *people.get(row.case, ("", "")),
                )
                for row in rows
            ),
            count=counts[part],
            first=start + 1,
            before=max(0, start - MOST_ROWS) if start else None,
            after=start + len(rows) if rows and start + len(rows) < counts[part] else None,
        )
        for part, rows in shown.items()
    )


def typed_away(texts: Iterable[str]) -> tuple[tuple[date, date], ...]:
    """Stretches as a form carries them, `2026-04-01..2026-04-09`.

    Raises:
        ValueError: a sentence about the first one that is none.
    """
    found = []
    for text in texts:
        first, _, last = text.partition("..")
        found.append(stretch(first, last))
    return tuple(found)


def stretch(first: str, last: str) -> tuple[date, date]:
    """A stretch of days; without a last day it is one day long.

    Raises:
        ValueError: a sentence that says what was wrong.
    """
    try:
        begins = date.fromisoformat(first)
        ends = date.fromisoformat(last) if last else begins
    except ValueError:
        raise ValueError(
            "Give the first day, and the last if there are several, such as 2026-04-01."
        ) from None
    if ends < begins:
        raise ValueError(
            f"The absence ends before it begins: {calendar_day(begins)} to {calendar_day(ends)}."
        )
    if (ends - begins).days > 366:
        raise ValueError("An absence of more than a year is nothing to plan around; call them.")
    return begins, ends


def chosen_days(planned: VisitPlan, typed: Mapping[str, str]) -> dict[str, date]:
    """The days chosen in the form, by item; a visit left where it is chooses nothing.

    Raises:
        ValueError: a day that is none.
    """
    found: dict[str, date] = {}
    for visit in planned.visits:
        text = typed.get(field_of(visit), "")
        if not text:
            continue
        try:
            day = date.fromisoformat(text)
        except ValueError:
            raise ValueError(f"{text!r} is no day. Choose one of the days offered.") from None
        if day != visit.day:
            found.update(dict.fromkeys(visit.items, day))
    return found
