"""The course of a case: what was given, what is left, what was missed, what to check, what to decide."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods

from thimble.actions import AgainstIt, Refused
from thimble.ledger.exposed import told
from thimble.web import clock, log
from thimble.web.access import can, needs
from thimble.web.context import get_protocol, get_site
from thimble.web.course.forms import CHOICES, FORMS, Posted, doing
from thimble.web.course.page import CoursePage
from thimble.web.desk.handling import (
    canonical,
    go,
    names_of,
    overtaken_response,
    position_of,
    read,
    write,
)
from thimble.web.desk.questions import BadAnswer
from thimble.web.desk.reading import Reading
from thimble.web.desk.responding import sentence
from thimble.web.stock.giving import course_lots


@never_cache
@needs("view_case")
@require_http_methods(["GET", "POST"])
def course(request: HttpRequest, ref: str) -> HttpResponse:
    """The course as it stands, and one form for each thing that can happen to it."""
    reading = read(canonical(ref))
    if request.method == "GET":
        return _show(request, reading)
    return _record(request, reading)


def _has_form(page: CoursePage, which: str) -> bool:
    """Whether the page holds the form that was sent; a course that ended meanwhile has others."""
    if which == "answer":
        return page.awaited
    return which == "ask" or (
        which in FORMS and (which == "resume") == (page.begun and not page.running)
    )


@needs("view_case", "record_facts")
def _record(request: HttpRequest, reading: Reading) -> HttpResponse:
    which = request.POST.get("do", "")
    try:
        position = position_of(request)
        act, mine = doing(Posted(request, reading, position, clock.now()), which)
        came_first = write(act, mine=mine, by=str(request.user.pk))
    except (Refused, BadAnswer) as fault:
        return _show(request, reading, which, fault)
    if came_first:
        said = [
            (name.replace("_", " ").capitalize(), request.POST[name])
            for name in request.POST
            if name not in ("csrfmiddlewaretoken", "position", "do", "when")
        ]
        return overtaken_response(request, read(reading.case), came_first, said)
    log.event(f"course_{which}", case=reading.case, account=str(request.user.pk))
    return go(request, f"{reverse('course:course', args=[reading.case])}?done={which}")


def _show(
    request: HttpRequest, reading: Reading, which: str = "", fault: Exception | None = None
) -> HttpResponse:
    page = CoursePage.of(
        reading,
        protocol=get_protocol(),
        site=get_site(),
        names=names_of(reading.entries),
        case_href=reverse("desk:case", args=[reading.case]),
        may_record=can(request, "record_facts"),
    )
    context = {
        "page": page,
        "choices": told(CHOICES, reading.situation),
        "lots": course_lots(request, reading.plan.now),
        "open": which or request.GET.get("do", ""),
        "typed": request.POST.dict() if fault else {"about": request.GET.get("about", "")},
        "fault": sentence(fault) if fault else "",
        "loose": bool(fault) and not _has_form(page, which),
        "against": isinstance(fault, AgainstIt),
        "done": request.GET.get("done", "") in FORMS,
    }
    return render(request, "course/course.html", context, status=422 if fault else 200)
