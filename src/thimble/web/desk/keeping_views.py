"""Opening and reopening a case, and setting right an entry."""

from __future__ import annotations

from collections.abc import Callable

from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_POST

from thimble import actions
from thimble.actions import Refused
from thimble.ledger.entries import Entry, Kind
from thimble.web import clock, log
from thimble.web.access import can, needs
from thimble.web.context import get_identities, get_protocol, get_site, get_store
from thimble.web.desk.correcting import CorrectPage, needed_to_correct, read_correction
from thimble.web.desk.handling import (
    canonical,
    go,
    names_of,
    overtaken_response,
    position_of,
    read,
    who,
    write,
)
from thimble.web.desk.new import NewCaseForm
from thimble.web.desk.questions import BadAnswer
from thimble.web.desk.reading import Reading
from thimble.web.desk.responding import record, sentence, written


@never_cache
@needs("view_case", "close_case")
@require_POST
def reopen(request: HttpRequest, ref: str) -> HttpResponse:
    """Take up a closed case again."""
    reason = request.POST.get("reason", "").strip()

    def act(
        reading: Reading, position: int
    ) -> tuple[Callable[[], object], Callable[[Entry], bool]]:
        if not reason:
            raise BadAnswer("Say why the case is taken up again.")
        return (
            lambda: actions.reopen(
                get_store(),
                reading.case,
                reason=reason,
                vocabulary=get_protocol().vocabulary,
                now=clock.now(),
                expected_position=position,
                **who(request),
            ),
            lambda e: e.kind is Kind.REOPENED and e.body["reason"] == reason,
        )

    return record(request, ref, act, form="reopen", subject="", said=lambda _: [("Why", reason)])


@never_cache
@needs("view_case", "correct_entry")
@require_http_methods(["GET", "POST"])
def correct(request: HttpRequest, ref: str, position: int) -> HttpResponse:
    """Set right an earlier entry: its time, a fact taken back, or the entry withdrawn.

    A decision is set right by whoever may take it.
    """
    reading = read(canonical(ref))
    needed = needed_to_correct(reading.entries, position)
    if needed and not can(request, needed):
        raise PermissionDenied(f"this entry needs {needed}")
    page = CorrectPage.of(
        reading, position, protocol=get_protocol(), site=get_site(), names=names_of(reading.entries)
    )
    if page is None:
        raise Http404("no such entry")
    if request.method == "GET":
        return render(request, "desk/correct.html", {"page": page})
    now = clock.now()
    try:
        correction = read_correction(request.POST, page, get_site().zone, now)
        seen_position = position_of(request)
        came_first = write(
            lambda: actions.correct(
                get_store(),
                reading.case,
                position,
                vocabulary=get_protocol().vocabulary,
                now=now,
                expected_position=seen_position,
                **correction,
                **who(request),
            ),
            mine=lambda e: (
                e.kind is Kind.CORRECTED
                and (e.body["corrects"], e.body["reason"]) == (position, correction["reason"])
            ),
            by=str(request.user.pk),
        )
    except (Refused, BadAnswer) as fault:
        context = {"page": page, "fault": sentence(fault), "typed": request.POST}
        return render(request, "desk/correct.html", context, status=422)
    if came_first:
        said = [("Correction of", page.label), ("Reason", request.POST.get("reason", ""))]
        return overtaken_response(request, read(reading.case), came_first, said)
    log.event("corrected", case=reading.case, account=str(request.user.pk))
    return written(request, reading, seen_position)


@never_cache
@needs("view_case", "record_facts")
@sensitive_post_parameters()
@require_http_methods(["GET", "POST"])
def new(request: HttpRequest) -> HttpResponse:
    """A report taken at the desk, on behalf of the worker."""
    protocol, site, now = get_protocol(), get_site(), clock.now()
    form = NewCaseForm(
        request.POST or None, vocabulary=protocol.vocabulary, now=now, zone=site.zone
    )
    if request.method == "GET" or not form.is_valid():
        status = 200 if request.method == "GET" else 422
        return render(request, "desk/new.html", {"form": form}, status=status)
    store = get_store()
    try:
        with store.transaction():
            reported = actions.report(
                store,
                facts=form.facts(),
                occurred_at=form.at,
                occurred_at_precision=form.how_well,
                vocabulary=protocol.vocabulary,
                now=now,
                reported_by="clinician",
                place=form.cleaned_data["place"],
                task=form.cleaned_data["task"],
                account=form.cleaned_data["account"],
                token=form.cleaned_data["once"],
                identities=get_identities(),
                worker=form.worker(),
                **who(request),
            )
    except Refused as fault:
        form.add_error(None, sentence(fault))
        return render(request, "desk/new.html", {"form": form}, status=422)
    log.event("reported_at_desk", case=reported.case, account=str(request.user.pk))
    return go(request, reverse("desk:case", args=[reported.case]))
