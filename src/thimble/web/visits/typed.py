"""What was typed about visits: days, hours, absences, doses from before."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date, datetime, time

from thimble.clinical.durations import on_the_wall
from thimble.clinical.saying import calendar_day
from thimble.clinical.series import DoseGiven, PartialDate
from thimble.clinical.site import Site
from thimble.clinical.visits import (
    Visit,
    VisitPlan,
    why_not_at,
)
from thimble.ledger.follow_up.visiting import Visiting


def typed_doses(text: str) -> tuple[DoseGiven, ...]:
    """Dates of doses parted by commas, each with its day, or the month or year that is known.

    Raises:
        ValueError: a text that is none; a sentence.
    """
    return tuple(
        DoseGiven(None, PartialDate.parse(part.strip())) for part in text.split(",") if part.strip()
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
