"""What comes up again: a list with filters, and the same as a file."""

from __future__ import annotations

from collections import Counter
from datetime import date

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET

from thimble.clinical.offers import offer_law
from thimble.clinical.site import Site
from thimble.people.fold import Person
from thimble.people.rechecks import House, Recheck, Topic
from thimble.protocol import STANDINGS
from thimble.web import clock
from thimble.web.access import can, needs
from thimble.web.context import get_people_identities, get_site, looked, zone
from thimble.web.fitness.monitoring import monitored_lines
from thimble.web.people.roster import roster
from thimble.web.rechecks import page
from thimble.web.rechecks.board import board
from thimble.web.rechecks.page import Chosen
from thimble.web.tables import csv_file, xlsx_file

HEADER = ("Number", "Name", "Place", "About", "What", "When", "Why")


@never_cache
@needs("view_people")
@require_GET
def listed(request: HttpRequest) -> HttpResponse:
    """Overdue first, then by day; a person may stand here more than once."""
    on, people, lines = _everything(request)
    chosen = _chosen(request)
    departments = {ref: p.employment.department for ref, p in people.items()}
    shown = Paginator(page.chosen_of(lines, chosen, departments), page.PAGE).get_page(
        request.GET.get("page")
    )
    references = list(dict.fromkeys(line.person for line in shown))
    identities = get_people_identities().some_identities(references)
    looked(request, references, whose="worker", where="rechecks")
    counts = Counter(line.topic for line in lines)
    late = sum(line.late for line in lines)
    law = offer_law(get_site().protocol)
    context = {
        "rows": page.rows(list(shown), people, identities, on),
        "shown": shown,
        "chosen": chosen,
        "everything": len(lines),
        "late": late,
        "filters": [
            (topic.value, label, counts[topic], topic == chosen.topic)
            for topic, label in page.TOPICS.items()
            if counts[topic]
        ],
        "departments": sorted({d for line in lines if (d := departments[line.person])}),
        "ahead": page.AHEAD.days,
        "law": law,
        "law_standing": STANDINGS[law.standing] if law else "",
        "may_export": can(request, "import_people"),
    }
    return render(request, "rechecks/listed.html", context)


@never_cache
@needs("view_people", "import_people")
@require_GET
def export_csv(request: HttpRequest) -> HttpResponse:
    """The list as CSV."""
    return csv_file("rechecks", HEADER, _exported(request))


@never_cache
@needs("view_people", "import_people")
@require_GET
def export_xlsx(request: HttpRequest) -> HttpResponse:
    """The list as a workbook."""
    return xlsx_file("rechecks", HEADER, _exported(request))


def _exported(request: HttpRequest) -> list[list[str]]:
    on, people, lines = _everything(request)
    # A file is passed on: that somebody is monitored, or a result is looked at, tells a diagnosis.
    stays = {Topic.MONITORED, Topic.LOOK_AT}
    lines = [line for line in lines if line.topic not in stays]
    departments = {ref: p.employment.department for ref, p in people.items()}
    lines = page.chosen_of(lines, _chosen(request), departments)
    references = list(dict.fromkeys(line.person for line in lines))
    identities = get_people_identities().all_identities()
    looked(request, references, whose="worker", where="rechecks export")
    return [
        [row.number, row.name, row.place, row.topic, row.what, row.when, row.why]
        for row in page.rows(lines, people, identities, on)
    ]


def _everything(request: HttpRequest) -> tuple[date, dict[str, Person], list[Recheck]]:
    """The day, everybody, and every line that this account may see."""
    now = clock.now()
    on = now.astimezone(zone()).date()
    people = roster().people(now)
    births = {ref: who.birth_date for ref, who in get_people_identities().all_identities().items()}
    lines = board().lines(people, births, on, house_of(get_site()))
    may = can(request, "decide_fitness")
    if may:
        lines = sorted((*lines, *monitored_lines(people, now)), key=lambda line: line.order)
    seen = page.seen(lines, on, monitored=may)
    return on, {p.reference: p for p in people}, seen


def house_of(site: Site) -> House:
    """What the site goes by."""
    return House(
        site.evidence_asked,
        site.protocol,
        site.fitness_rule_set,
        site.holidays_country,
        site.holidays_subdivision,
        offer_law(site.protocol),
        site.zone,
    )


def _chosen(request: HttpRequest) -> Chosen:
    topic = request.GET.get("topic", "")
    return Chosen(
        topic if topic in set(Topic) else "",
        request.GET.get("department", ""),
        request.GET.get("late") == "1",
    )
