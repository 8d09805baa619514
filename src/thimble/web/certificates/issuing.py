"""One person's certificates: issued, printed again, withdrawn, found to hold still."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET, require_http_methods

from thimble.actions import Refused
from thimble.actions import certificates as acts
from thimble.documents.clearance_certificate.data import Printed, certificates
from thimble.documents.render import Template
from thimble.documents.render import render as compose
from thimble.ledger.store import Overtaken
from thimble.people.certificates.checking import Worth
from thimble.people.certificates.issued import Issued
from thimble.people.fold import Person
from thimble.web import log
from thimble.web.access import account_of, can, needs
from thimble.web.certificates.forms import IssueForm, ReasonForm
from thimble.web.certificates.house import (
    DECIDES,
    basis_today,
    check_address,
    decision_today,
    issue,
    printed,
)
from thimble.web.certificates.keys import NotSigned
from thimble.web.certificates.page import asked, lines
from thimble.web.certificates.papers import DjangoPapers
from thimble.web.context import get_people, get_site, today
from thimble.web.digits import whole
from thimble.web.people.found import account_names, found, writer
from thimble.web.people.judged import clearance_of

DECIDED_MEANWHILE = "Something was decided about fitness meanwhile. Look at it, then say so again."
MOVED_ON = "Somebody else wrote in this file meanwhile. Look at what is new, then issue it."


@never_cache
@needs("view_people", "certify_clearance")
@require_http_methods(["GET", "POST"])
def new(request: HttpRequest, person: str) -> HttpResponse:
    """What is asked for, how it stands, and the certificate that may be issued on it."""
    held, identity = found(request, person, "certificate")
    decides = can(request, DECIDES)
    basis = basis_today(held, identity)
    nameless = identity is None or identity.birth_date is None
    offered = not nameless and bool(basis.states) and (decides or basis.standard)
    form = IssueForm(request.POST or None, basis, decides=decides)
    if request.method == "POST" and offered and form.is_valid():
        position = whole(request.POST.get("position"))
        try:
            paper = issue(
                request,
                held,
                identity,
                form.statement(),
                valid_until=form.cleaned_data["valid_until"],
                reason=form.cleaned_data.get("reason", ""),
                expected_position=position,
            )
        except Refused as refused:
            _tell(form, refused.faults)
        except NotSigned as missing:
            _tell(form, [str(missing)])
        except Overtaken:
            _tell(form, [MOVED_ON])
        else:
            log.event("certificate_issued", case=person, account=account_of(request).pk)
            messages.success(request, f"Certificate {paper.number} is issued. Print it below.")
            return redirect("people:person", person)
    standing = [
        each.number
        for each in held.certificates
        if each.worth(today(), basis.decided) is Worth.HOLDS
    ]
    context = {
        "form": form,
        "offered": offered,
        "nameless": nameless,
        "decides": decides,
        "met": basis.met,
        "standard": basis.standard,
        "decided": basis.decided_words,
        "asked": asked(basis),
        "standing": standing,
        "unverified": held.unverified,
        # Whoever clears for exposure-prone procedures sees what was tested before them.
        "clearance": clearance_of(held, today(), get_site().fitness_rule_set) if decides else None,
        "rule_set_missing": decides and not get_site().fitness_rule_set,
        "reference": person,
        "position": held.entries,
        "name": identity.name if identity else "",
    }
    return render(request, "certificates/new.html", context, status=422 if form.errors else 200)


@never_cache
@needs("view_people", "certify_clearance")
@require_http_methods(["GET", "POST"])
def withdraw(request: HttpRequest, person: str, number: str) -> HttpResponse:
    """Withdraw a certificate, with a reason that stays in the file."""
    held, identity = found(request, person, "certificate")
    issued = _one(held, number)
    form = ReasonForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        reason = form.cleaned_data["reason"]
        try:
            acts.withdraw(get_people(), person, number, reason=reason, **writer(request))
        except Refused as refused:
            _tell(form, refused.faults)
        else:
            log.event("certificate_withdrawn", case=person, account=account_of(request).pk)
            messages.success(request, f"Certificate {number} is withdrawn, from this minute on.")
            return redirect("people:person", person)
    context = {
        "form": form,
        "issued": issued,
        "reference": person,
        "name": identity.name if identity else "",
    }
    return render(
        request, "certificates/withdraw.html", context, status=422 if form.errors else 200
    )


@never_cache
@needs("view_people", "certify_clearance", DECIDES)
@require_http_methods(["GET", "POST"])
def confirm(request: HttpRequest, person: str, number: str) -> HttpResponse:
    """Look at what is new in the file, and put on record that the certificate holds in spite of it."""
    held, identity = found(request, person, "certificate")
    issued = _one(held, number)
    form = ReasonForm(request.POST or None)
    decision = decision_today(person)
    # A decision in a case moves nothing on in this file: which one was seen is said by the form.
    seen = f"{decision.of} {decision.entry}" if decision else ""
    if request.method == "POST" and form.is_valid():
        position = whole(request.POST.get("position"))
        try:
            if request.POST.get("seen", "") != seen:
                raise Refused(DECIDED_MEANWHILE)
            acts.confirm(
                get_people(),
                person,
                number,
                reason=form.cleaned_data["reason"],
                decision=decision,
                decides=True,
                expected_position=position,
                **writer(request),
            )
        except Refused as refused:
            _tell(form, refused.faults)
        except Overtaken:
            _tell(form, ["Somebody else wrote in this file meanwhile. Look at what is new."])
        else:
            messages.success(
                request, f"Certificate {number} holds on; your reason stands in the file."
            )
            return redirect("people:person", person)
    now = lines(held, get_people().entries(person), basis_today(held, identity), today(), {}, ())
    context = {
        "form": form,
        "issued": issued,
        "doubts": next(line.doubts for line in now if line.number == number),
        "seen": seen,
        "unfit": decision is not None and decision.outcome == "not_fit",
        "reference": person,
        "position": held.entries,
        "name": identity.name if identity else "",
    }
    return render(request, "certificates/confirm.html", context, status=422 if form.errors else 200)


@never_cache
@needs("view_people", "certify_clearance")
@require_GET
def pdf(request: HttpRequest, person: str, number: str) -> HttpResponse:
    """The paper, the same each time. One that is withdrawn or does not hold at present is not printed."""
    held, _ = found(request, person, "certificate")
    issued = _one(held, number)
    paper = DjangoPapers().paper(number)
    worth = issued.worth(today(), decision_today(person))
    if paper is None or worth in {Worth.WITHDRAWN, Worth.NOT_AT_PRESENT}:
        raise Http404("this certificate does not hold, or its paper is not kept")
    log.event("printed_certificate", case=person, account=account_of(request).pk)
    return one_file([printed(issued, paper, account_names())], f"certificate-{number}")


def one_file(papers: Sequence[Printed], name: str) -> HttpResponse:
    """Some certificates as one PDF."""
    site = get_site()
    data = certificates(papers, site, check_address())
    latest = max(each.issued.at for each in papers)
    document = compose(Template.CLEARANCE_CERTIFICATE, data.to_data(), at=latest)
    response = HttpResponse(document, content_type="application/pdf")
    response["Content-Disposition"] = f'inline; filename="{name}.pdf"'
    return response


def _one(person: Person, number: str) -> Issued:
    found_ = next((each for each in person.certificates if each.number == number), None)
    if found_ is None:
        raise Http404("there is no such certificate in this file")
    return found_


def _tell(form: IssueForm | ReasonForm, faults: Iterable[str]) -> None:
    for fault in faults:
        form.add_error(None, f"{fault.rstrip('.')}.")
