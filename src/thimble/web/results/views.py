"""The results of a case: what came, what it says, and a form to enter more."""

from __future__ import annotations

from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET, require_POST

from thimble import actions
from thimble.actions import Doubtful, Refused
from thimble.ledger.entries import Entry, Kind
from thimble.ledger.exposed import say
from thimble.ledger.results.drawn import drawn_by_results
from thimble.ledger.results.recorded import course_around
from thimble.web import clock, log
from thimble.web.access import can, needs
from thimble.web.context import get_protocol, get_site, get_store
from thimble.web.desk.handling import (
    canonical,
    capabilities_of,
    go,
    overtaken_response,
    position_of,
    read,
    who,
    write,
)
from thimble.web.desk.questions import BadAnswer
from thimble.web.desk.reading import Reading
from thimble.web.desk.responding import sentence
from thimble.web.results.entering import WHOSE, read_results
from thimble.web.results.page import ResultsPage


@never_cache
@needs("view_case")
@require_GET
def results(request: HttpRequest, ref: str) -> HttpResponse:
    """Every result of the case with what the tables say."""
    return _show(request, read(canonical(ref)))


def _show(
    request: HttpRequest,
    reading: Reading,
    *,
    fault: str = "",
    doubts: tuple[str, ...] = (),
) -> HttpResponse:
    site, protocol = get_site(), get_protocol()
    course = course_around(reading.situation, reading.plan.actions, protocol, site.zone)
    page = ResultsPage.of(
        reading.situation, course, reading.plan.now, site.zone,
        capabilities=capabilities_of(request), fault=fault, doubts=doubts,
        drawn=drawn_by_results(reading.situation, reading.plan, protocol),
        typed=request.POST.dict() if request.method == "POST" else None,
    )  # fmt: skip
    status = 422 if fault or doubts else 200
    done = request.GET.get("done") == "entered"
    return render(request, "results/results.html", {"page": page, "done": done}, status=status)


@never_cache
@needs("view_case", "record_facts")
@require_POST
def enter(request: HttpRequest, ref: str) -> HttpResponse:
    """Results of one sample; doubtful ones come back with the reasons until somebody has looked."""
    reading = read(canonical(ref))
    site, now, by = get_site(), clock.now(), str(request.user.pk)
    typed = request.POST.dict()
    if typed.get("whose") == "source" and not can(request, "see_source"):
        raise PermissionDenied("this role does not see the source patient")
    said = [("Whose", say(WHOSE.get(typed.get("whose", ""), ""), reading.situation))]
    try:
        position = position_of(request)
        entered = read_results(typed, site.zone, now)
        said += [(r.name, str(r.word or r.quantity)) for r in entered.results]
        wanted = [r.analyte.value for r in entered.results]

        def mine(entry: Entry) -> bool:
            same = [one["analyte"] for one in entry.body.get("results", ())] == wanted
            return entry.kind is Kind.RESULT_RECEIVED and same

        came_first = write(
            lambda: actions.record_results(
                get_store(), reading.case, entered.results, protocol=get_protocol(), site=site,
                now=now, drawn_for=entered.drawn_for, text=entered.text,
                laboratory=entered.laboratory, looked_at=entered.looked_at,
                expected_position=position, **who(request),
            ),
            mine=mine, by=by,
        )  # fmt: skip
    except Doubtful as doubtful:
        return _show(request, reading, doubts=doubtful.faults)
    except (Refused, BadAnswer) as fault:
        return _show(request, reading, fault=sentence(fault))
    if came_first:
        return overtaken_response(request, read(reading.case), came_first, said)
    log.event("results_recorded", case=reading.case, account=by)
    return go(request, reverse("results:results", args=[reading.case]) + "?done=entered")
