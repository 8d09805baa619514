"""Letters as PDF downloads. To whom a letter goes is typed for it alone: sent as a form, kept nowhere."""

from __future__ import annotations

from collections.abc import Mapping

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_GET, require_http_methods

from thimble.documents.letters.letter import Letter, address, person
from thimble.documents.letters.results_explained import results_explained, why_not_explained
from thimble.documents.letters.to_colleagues import (
    NO_CONSENT,
    QUESTIONS,
    SPECIALTIES,
    About,
    general_practitioner,
    referral,
)
from thimble.documents.letters.visit_dates import (
    missed_visit,
    visit_dates,
    why_no_dates,
    why_not_missed,
)
from thimble.documents.render import Template
from thimble.documents.render import render as compose
from thimble.ledger.exposed import say
from thimble.ledger.follow_up.visiting import visiting
from thimble.web.access import needs
from thimble.web.context import get_protocol, get_site
from thimble.web.desk.handling import canonical, read, worker_of
from thimble.web.desk.reading import Reading
from thimble.web.papers.page import course
from thimble.web.papers.views import composed_record, not_printed, pdf

REFERRAL, GENERAL_PRACTITIONER = "referral", "general_practitioner"


@never_cache
@needs("view_case", "print_documents")
@require_GET
def visit_dates_pdf(request: HttpRequest, ref: str) -> HttpResponse:
    """The agreed dates, to post; 409 and the papers of the case where none is to come."""
    reading = read(canonical(ref))
    site, protocol = get_site(), get_protocol()
    found = visiting(reading.plan, reading.situation, site)
    if why := why_no_dates(found.expected):
        return not_printed(request, reading, why)
    letter = visit_dates(
        reading.plan, reading.situation, site, protocol, found.expected, found.windows,
        name=_name(request, reading),
    )  # fmt: skip
    return _pdf(request, reading, letter, "visit-dates")


@never_cache
@needs("view_case", "print_documents")
@require_GET
def missed_pdf(request: HttpRequest, ref: str) -> HttpResponse:
    """To a worker who did not come; 409 and the papers of the case where no visit was missed."""
    reading = read(canonical(ref))
    site = get_site()
    found = visiting(reading.plan, reading.situation, site)
    if why := why_not_missed(found.expected):
        return not_printed(request, reading, why)
    letter = missed_visit(
        reading.plan, reading.situation, site, get_protocol(), found.expected,
        name=_name(request, reading),
    )  # fmt: skip
    return _pdf(request, reading, letter, "missed-visit")


@never_cache
@needs("view_case", "print_documents")
@require_GET
def results_pdf(request: HttpRequest, ref: str) -> HttpResponse:
    """The worker's own results explained; 409 and the papers where that is not told by letter."""
    reading = read(canonical(ref))
    site, protocol = get_site(), get_protocol()
    around = course(reading, protocol, site)
    if why := why_not_explained(reading.situation, around, reading.plan.now):
        return not_printed(request, reading, why)
    letter = results_explained(
        reading.plan, reading.situation, site, protocol, around, name=_name(request, reading)
    )
    return _pdf(request, reading, letter, "results-explained")


@sensitive_post_parameters()
@never_cache
@needs("view_case", "print_documents", "see_worker_identity")
@require_http_methods(["GET", "POST"])
def letters(request: HttpRequest, ref: str) -> HttpResponse:
    """The forms of the letters to colleagues; posted, the letter itself, or the form with what is wrong."""
    reading = read(canonical(ref))
    if request.method == "GET":
        return _forms(request, reading, {})
    typed = {name: str(value) for name, value in request.POST.items()}
    try:
        to = address(typed.get("recipient", ""), typed.get("address", ""))
        # Composed once without the name: a look at it is put on record for a letter that is printed.
        _to_colleague(reading, typed, About(to, ""))
    except ValueError as fault:
        return _forms(request, reading, typed, fault=str(fault))
    worker = worker_of(request, reading.case, where="letter")
    about = person(worker.name, worker.date_of_birth) if worker else ""
    what = typed["letter"].replace("_", "-")
    return _pdf(request, reading, _to_colleague(reading, typed, About(to, about)), what)


def _to_colleague(reading: Reading, typed: Mapping[str, str], about: About) -> Letter:
    site, protocol = get_site(), get_protocol()
    record = composed_record(reading)
    if typed.get("letter") == REFERRAL:
        return referral(
            reading.plan, reading.situation, site, protocol, course(reading, protocol, site), about,
            specialty=typed.get("specialty", ""), question=typed.get("question", ""), record=record,
        )  # fmt: skip
    if typed.get("letter") == GENERAL_PRACTITIONER:
        return general_practitioner(
            reading.plan, reading.situation, site, protocol, about, record=record
        )
    raise ValueError("This page was not complete. Load it anew, then print the letter again.")


def _forms(
    request: HttpRequest, reading: Reading, typed: Mapping[str, str], *, fault: str = ""
) -> HttpResponse:
    agreed = reading.situation.follow_up.agreements.get("gp_letter", False)
    context = {
        "case": reading.case,
        "fault": fault,
        "specialties": _choices(SPECIALTIES, typed.get("specialty", "")),
        "questions": _choices(QUESTIONS, typed.get("question", "")),
        "referral": typed if typed.get("letter") == REFERRAL else {},
        "practitioner": typed if typed.get("letter") == GENERAL_PRACTITIONER else {},
        "no_consent": "" if agreed else say(NO_CONSENT, reading.situation),
    }
    return render(request, "papers/letters.html", context, status=422 if fault else 200)


def _choices(of: Mapping[str, str], chosen: str) -> list[tuple[str, str, bool]]:
    return [(id_, words, id_ == chosen) for id_, words in of.items()]


def _name(request: HttpRequest, reading: Reading) -> str:
    worker = worker_of(request, reading.case, where="letter")
    return worker.name if worker else ""


def _pdf(request: HttpRequest, reading: Reading, letter: Letter, what: str) -> HttpResponse:
    document = compose(Template.LETTER, letter.to_data(), at=reading.plan.now)
    return pdf(request, document, what, reading.case)
