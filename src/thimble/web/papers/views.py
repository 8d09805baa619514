"""PDF downloads. Nothing is kept: each is composed from the case as it stands."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET

from thimble.documents.all_clear.data import all_clear
from thimble.documents.clinician_summary.data import clinician_summary
from thimble.documents.closing_statement.data import closing_statement
from thimble.documents.downtime_pack.data import downtime_pack
from thimble.documents.record import Record
from thimble.documents.render import Template
from thimble.documents.render import render as compose
from thimble.documents.source_request.data import source_request, why_no_request
from thimble.documents.ward_card.data import ward_card
from thimble.documents.worker_plan.data import worker_plan
from thimble.web import clock, log
from thimble.web.access import needs
from thimble.web.context import get_protocol, get_site
from thimble.web.desk.handling import canonical, capabilities_of, names_of, read, worker_of
from thimble.web.desk.reading import Reading
from thimble.web.papers.page import (
    FOR_ALL,
    PapersPage,
    course,
    filename,
    letters_of,
    record_of,
    refusal,
)


@needs("print_documents")
@require_GET
def for_all(request: HttpRequest) -> HttpResponse:
    """What is printed for everybody."""
    return render(request, "papers/for_all.html", {"papers": FOR_ALL})


@never_cache
@needs("view_case", "print_documents")
@require_GET
def papers(request: HttpRequest, ref: str) -> HttpResponse:
    """What can be printed of a case."""
    return _page(request, read(canonical(ref)))


def not_printed(request: HttpRequest, reading: Reading, why: str) -> HttpResponse:
    """The papers of the case with the reason why what was asked for is not printed."""
    return _page(request, reading, fault=why)


def _page(request: HttpRequest, reading: Reading, *, fault: str = "") -> HttpResponse:
    refused = refusal(reading, composed_record(reading), get_protocol(), get_site())
    page = PapersPage.of(
        reading,
        capabilities_of(request),
        no_all_clear=refused,
        fault=fault,
        letters=letters_of(reading, get_protocol(), get_site()),
    )
    context = {"page": page, "for_all": FOR_ALL}
    return render(request, "papers/papers.html", context, status=409 if fault else 200)


def composed_record(reading: Reading) -> Record:
    """What the papers of a case take from its entries."""
    return record_of(reading, names_of(reading.entries), get_protocol(), get_site())


def pdf(
    request: HttpRequest, document: bytes, what: str, case: str = "", *, saved: bool = False
) -> HttpResponse:
    """A document as it is answered; that it was printed is an event of the log.

    `saved` lets the browser keep it as a file: a viewer asks again with GET for what a form was answered
    with, and finds no page.
    """
    log.event(f"printed_{what.replace('-', '_')}", case=case, account=str(request.user.pk))
    response = HttpResponse(document, content_type="application/pdf")
    shown = "attachment" if saved else "inline"
    response["Content-Disposition"] = f'{shown}; filename="{filename(what, case)}"'
    return response


@never_cache
@needs("view_case", "print_documents")
@require_GET
def worker_plan_pdf(request: HttpRequest, ref: str) -> HttpResponse:
    """The worker's own plan, with their name where this account may know it."""
    reading = read(canonical(ref))
    worker = worker_of(request, reading.case, where="worker_plan")
    data = worker_plan(
        reading.plan,
        reading.situation,
        get_site(),
        get_protocol(),
        name=worker.name if worker else "",
        record=composed_record(reading),
    )
    document = compose(Template.WORKER_PLAN, data.to_data(), at=reading.plan.now)
    return pdf(request, document, "worker-plan", reading.case)


@never_cache
@needs("view_case", "print_documents")
@require_GET
def summary_pdf(request: HttpRequest, ref: str) -> HttpResponse:
    """The whole case on paper: who wrote by name, the worker and the source patient by none."""
    reading = read(canonical(ref))
    data = clinician_summary(
        reading.plan, reading.situation, get_site(), get_protocol(), record=composed_record(reading)
    )
    document = compose(Template.CLINICIAN_SUMMARY, data.to_data(), at=reading.plan.now)
    return pdf(request, document, "summary", reading.case)


@never_cache
@needs("view_case", "print_documents", "see_source")
@require_GET
def request_pdf(request: HttpRequest, ref: str) -> HttpResponse:
    """The request to the source patient's team; the patient is written in by hand.

    409 and the papers of the case, with the reason, where the source is not identified.
    """
    reading = read(canonical(ref))
    if why := why_no_request(reading.situation):
        return _page(request, reading, fault=why)
    data = source_request(reading.plan, reading.situation, get_site(), get_protocol())
    document = compose(Template.SOURCE_REQUEST, data.to_data(), at=reading.plan.now)
    return pdf(request, document, "source-request", reading.case)


@never_cache
@needs("view_case", "print_documents")
@require_GET
def closing_pdf(request: HttpRequest, ref: str) -> HttpResponse:
    """How the case ended, for its record; of an open case it says that it is open."""
    reading = read(canonical(ref))
    site, protocol = get_site(), get_protocol()
    data = closing_statement(
        reading.plan, reading.situation, site, protocol, course(reading, protocol, site),
        record=composed_record(reading),
    )  # fmt: skip
    document = compose(Template.CLOSING_STATEMENT, data.to_data(), at=reading.plan.now)
    return pdf(request, document, "closing-statement", reading.case)


@never_cache
@needs("view_case", "print_documents")
@require_GET
def all_clear_pdf(request: HttpRequest, ref: str) -> HttpResponse:
    """The worker's certificate; 409 and the papers of the case, with the reason, where there is none."""
    reading = read(canonical(ref))
    site, protocol, record = get_site(), get_protocol(), composed_record(reading)
    if why := refusal(reading, record, protocol, site):
        return _page(request, reading, fault=why)
    # The name is looked at, and that is put on record, only for a certificate that is printed.
    worker = worker_of(request, reading.case, where="certificate")
    data = all_clear(
        reading.plan, reading.situation, site, protocol, course(reading, protocol, site),
        name=worker.name if worker else "", record=record,
    )  # fmt: skip
    document = compose(Template.ALL_CLEAR, data.to_data(), at=reading.plan.now)
    return pdf(request, document, "all-clear", reading.case)


@needs("print_documents")
@require_GET
def ward_card_pdf(request: HttpRequest) -> HttpResponse:
    """First aid and where to go, for the wall."""
    now = clock.now()
    data = ward_card(get_site(), get_protocol(), now)
    return pdf(request, compose(Template.WARD_CARD, data.to_data(), at=now), "ward-card")


@needs("print_documents")
@require_GET
def downtime_pack_pdf(request: HttpRequest) -> HttpResponse:
    """Tables and forms on paper."""
    now = clock.now()
    data = downtime_pack(get_site(), get_protocol(), now)
    return pdf(request, compose(Template.DOWNTIME_PACK, data.to_data(), at=now), "downtime-pack")
