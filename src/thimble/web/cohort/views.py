"""The list of cohorts, and one cohort: who is ready, what is missing, week by week."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from datetime import date
from urllib.parse import urlencode

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.safestring import mark_safe
from django.views.decorators.http import require_GET

from thimble.clinical.saying import calendar_day
from thimble.exchange.sheets import write_csv
from thimble.people.fold import Person
from thimble.people.readiness import cohorts as weekly
from thimble.people.readiness.cohorts import Member
from thimble.web import clock
from thimble.web.access import can, needs
from thimble.web.cohort import page
from thimble.web.cohort.choosing import Chosen, chosen
from thimble.web.cohort.picture import picture
from thimble.web.cohort.standings import standings
from thimble.web.context import get_people_identities, get_site, looked, zone
from thimble.web.people.roster import roster


@needs("view_people")
@require_GET
def cohorts(request: HttpRequest) -> HttpResponse:
    """Every cohort; those that start or started not long ago with who is ready. No names here."""
    today = clock.now().astimezone(zone()).date()
    by_name: dict[str, list[Person]] = {}
    everybody = [p for p in roster().people(clock.now()) if p.employment.here_on(today)]
    for person in everybody:
        if person.employment.cohort:
            by_name.setdefault(person.employment.cohort, []).append(person)
    starters = [p for p in everybody if p.employment.starts_on and page.followed(p, today)]
    identities = get_people_identities().all_identities()

    def line(name: str, people: list[Person]) -> page.CohortLine:
        counts = None
        if any(page.followed(p, today) for p in people):
            members = standings().of(people, identities, today, get_site())
            counts = {show: sum(page.passes(m, show) for m in members) for show in page.SHOWS}
        return page.CohortLine(
            name, len(people), page.starts_of(p.employment.starts_on for p in people), counts
        )

    lines = [line(name, people) for name, people in sorted(by_name.items())]
    context = {
        "everybody": line("", starters) if starters else None,
        "lines": [each for each in lines if each.counts is not None],
        "past": [each for each in lines if each.counts is None],
    }
    return render(request, "cohort/list.html", context)


@needs("view_people")
@require_GET
def one(request: HttpRequest) -> HttpResponse:
    """One cohort: the chart, what it takes, and its people, what matters first."""
    found = chosen(request.GET)
    shown = Paginator(found.shown, page.PAGE).get_page(request.GET.get("page"))
    looked(request, (m.reference for m in shown), whose="worker", where="cohort")
    weeks = weekly.by_week(found.members, found.today)
    heads, demand = page.demand_rows(weekly.demand(found.members, found.today))
    counts = found.counts()
    context = {
        "found": found,
        "starts": page.starts_of(m.start for m in found.members),
        "everybody": len(found.members),
        "rows": [
            page.row(m, found.identities.get(m.reference), found.today, zone()) for m in shown
        ],
        "shown": shown,
        "counts": counts,
        "filters": [
            (id_, words, counts[id_], id_ == found.filters["show"])
            for id_, words in page.SHOWS.items()
            if counts[id_] or id_ in ("all", "ready", "not_ready", found.filters["show"])
        ],
        "groups": found.groups(),
        "roles": found.options("role"),
        "sites": found.options("site"),
        "chart": mark_safe(  # noqa: S308 - made of numbers and our own words, escaped
            picture(weeks, len(found.members), found.today, *_first_day(found.members))
        ),
        "weeks": weeks,
        "heads": heads,
        "demand": demand,
        "query": urlencode({"cohort": found.cohort}),
        "chosen_query": _query(found),
        "today": calendar_day(found.today),
        "may_edit": can(request, "edit_people"),
        "certify": " ".join(m.reference for m in found.shown)
        if can(request, "certify_clearance")
        else "",
    }
    return render(request, "cohort/one.html", context)


@needs("view_people")
@require_GET
def demand_csv(request: HttpRequest) -> HttpResponse:
    """What a cohort takes by week, as CSV: products and numbers, nobody's name."""
    found = chosen(request.GET)
    heads, rows = page.demand_rows(weekly.demand(found.members, found.today))
    lines = [[monday.isoformat(), *numbers] for monday, numbers in rows]
    response = HttpResponse(write_csv(heads, lines), content_type="text/csv; charset=utf-8")
    response.headers["Content-Disposition"] = 'attachment; filename="demand.csv"'
    return response


def _query(found: Chosen) -> str:
    return urlencode({"cohort": found.cohort, **{k: v for k, v in found.filters.items() if v}})


def _first_day(members: Iterable[Member]) -> tuple[date | None, str]:
    """The first day of most people, of two the later, and what to call it."""
    days = Counter(m.start for m in members if m.start is not None)
    most = max(days, key=lambda day: (days[day], day), default=None)
    return most, "first day" if len(days) == 1 else "first day of most"
