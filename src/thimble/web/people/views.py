"""The register, a person's page, and everything that is written down on it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from django.conf import settings
from django.contrib import messages
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from thimble.actions import Refused, brought
from thimble.actions import people as acts
from thimble.actions.stock import settle
from thimble.clinical.diseases import DISEASES
from thimble.clinical.saying import sentence
from thimble.ledger.store import Overtaken
from thimble.people import choices
from thimble.people.alike import alike
from thimble.people.entries import Kind
from thimble.people.fold import Person, as_body
from thimble.people.identity import PersonIdentity
from thimble.web import clock, log
from thimble.web.access import account_of, can, needs
from thimble.web.certificates.section import certificates_of
from thimble.web.cohort.page import Row, followed, row
from thimble.web.cohort.standings import standings
from thimble.web.context import (
    get_people,
    get_people_identities,
    get_site,
    get_stock,
    looked,
    zone,
)
from thimble.web.context import today as _today
from thimble.web.digits import whole
from thimble.web.fitness.joined import of_person
from thimble.web.laboratory.recorded import number_of
from thimble.web.limits import carries
from thimble.web.own_page.links import state_of_link
from thimble.web.people import card as cards
from thimble.web.people import hepatitis, judged, page, words
from thimble.web.people import register as lists
from thimble.web.people.by_laboratory import by_laboratory
from thimble.web.people.forms import (
    KINDS,
    ORDERS,
    EvidenceForm,
    PersonForm,
    ScanForm,
    clean_text,
    content_of,
)
from thimble.web.people.found import account_names as _accounts
from thimble.web.people.found import found as _found
from thimble.web.people.found import writer as _writer
from thimble.web.people.roster import roster
from thimble.web.people.scans import FORM_AND_SCAN, sealed, served
from thimble.web.vault import Damaged, NotKept, Vault

MOVED_ON = "Somebody else wrote in this file meanwhile. Look at what is new, then send it again."


@needs("view_people")
@require_http_methods(["GET", "POST"])
def register(request: HttpRequest) -> HttpResponse:
    """Who is here, who comes, who left. A search is sent as a form: no name stands in an address."""
    today = _today()
    asked = get_site().evidence_asked
    everybody = roster().people(clock.now())
    identities = get_people_identities().all_identities()
    typed = request.POST.get("q", "").strip()[:80] if request.method == "POST" else ""
    show = request.GET.get("show", "here")
    show = show if show in lists.SHOWS else "here"
    cohort, department = request.GET.get("cohort", ""), request.GET.get("department", "")
    if typed:
        chosen = [p for p in everybody if lists.matches(typed, identities.get(p.reference))]
    else:
        chosen = [
            p
            for p in everybody
            if lists.passes(p, show, today, asked)
            and (not cohort or p.employment.cohort == cohort)
            and (not department or p.employment.department == department)
        ]
    shown = Paginator(lists.ordered(chosen, identities), lists.PAGE).get_page(
        request.GET.get("page")
    )
    looked(request, (p.reference for p in shown), whose="worker", where="people")
    context = {
        "rows": [lists.row(p, identities.get(p.reference), today, asked) for p in shown],
        "found": len(chosen),
        "everybody": len(everybody),
        "typed": typed,
        "searched": request.method == "POST",
        "shown": shown,
        "show": show,
        "cohort": cohort,
        "department": department,
        "cohorts": _values(p.employment.cohort for p in everybody),
        "departments": _values(p.employment.department for p in everybody),
        "filters": [
            (id_, label, sum(lists.passes(p, id_, today, asked) for p in everybody), id_ == show)
            for id_, label in lists.SHOWS.items()
        ],
        "may_edit": can(request, "edit_people"),
        "may_import": can(request, "import_people"),
        "may_certify": can(request, "certify_clearance"),
    }
    return render(request, "people/register.html", context)


def _values(texts: Iterable[str]) -> list[str]:
    return sorted({text for text in texts if text})


@needs("view_people", "edit_people")
@require_http_methods(["GET", "POST"])
def new(request: HttpRequest) -> HttpResponse:
    """Enrol one person."""
    form = PersonForm(request.POST or None, initial={"today": _today(), "works_as": "staff",
                                                     "exposure_prone": "not_known"})  # fmt: skip
    namesakes: list[tuple[str, str, str]] = []
    if request.method == "POST" and form.is_valid():
        identity = form.identity()
        known = get_people_identities().all_identities()
        same = [ref for ref, who in known.items() if alike(identity, who)]
        # The tick is about those who were shown beside it, not about others whom a name typed anew is like.
        ticked = request.POST.get("another") == "yes"
        another = set(request.POST.getlist("looked_at")) if ticked else set()
        try:
            with get_people().alone():
                person = acts.enrol(
                    get_people(),
                    get_people_identities(),
                    identity,
                    form.employment(),
                    not_the_same_as=another,
                    **_writer(request),
                )
        except Refused as refused:
            _tell(form, refused.faults)
            namesakes = [(ref, known[ref].name, known[ref].number) for ref in same]
            looked(request, same, whose="worker", where="people")
        else:
            log.event("person_enrolled", case=person, account=account_of(request).pk)
            messages.success(request, "Enrolled. The vaccination card comes next.")
            return redirect("people:person", person)
    context = {"form": form, "namesakes": namesakes}
    return render(request, "people/new.html", context, status=422 if form.errors else 200)


@needs("view_people")
@require_GET
def person(request: HttpRequest, person: str) -> HttpResponse:
    """Who somebody is, and everything that is documented of them."""
    found, identity = _found(request, person, "person")
    site, born = get_site(), identity.birth_date if identity else None
    context = {
        "page": page.page_of(
            found,
            identity,
            names=_accounts(),
            asked=site.evidence_asked,
            today=_today(),
            zone=zone(),
        ),
        "state": hepatitis.state_of(found, born, _today(), site.protocol),
        "infections": judged.infections_of(
            found, born, _today(), site.protocol, site.evidence_asked
        ),
        "unsaid": hepatitis.unsaid(found, identity.birth_date if identity else None, _today()),
        "standing": _standing(found, identity),
        "clearance": judged.clearance_of(found, _today(), site.fitness_rule_set),
        "rule_set_missing": found.employment.exposure_prone == "yes" and not site.fitness_rule_set,
        "kinds": [(name, heading) for name, (_, heading, _) in KINDS.items()],
        "seen": list(choices.SEEN.items()),
        "scan_form": ScanForm(),
        "own_link": state_of_link(found.reference),
        **certificates_of(request, found, identity),
        "laboratory": by_laboratory(found, get_people().entries(found.reference), zone()),
        "may_edit": can(request, "edit_people"),
        "fitness": of_person(found.reference, clock.now()).holds,
        "fitness_due": _today(),
        "may_decide": can(request, "decide_fitness"),
    }
    return render(request, "people/person.html", context)


@needs("view_people", "edit_people")
@require_http_methods(["GET", "POST"])
def details(request: HttpRequest, person: str) -> HttpResponse:
    """Change who somebody is or how they work; a leaver comes back by an empty last day."""
    found, identity = _found(request, person, "person details")
    who = identity or PersonIdentity()
    held = as_body(found)
    initial = {
        **{key: value for key, value in held.items() if key != "categories"},
        **{f"category_{scheme}": category for scheme, category in held["categories"].items()},
        **{name: getattr(who, name) for name in ("family_name", "given_name", "number", "email")},
        "birth_date": who.birth_date,
        "today": _today(),
    }
    form = PersonForm(request.POST or None, initial=initial)
    position = _number(request.POST.get("position"), found.entries)
    if request.method == "POST" and form.is_valid():
        try:
            with get_people().alone():
                written = acts.change(
                    get_people(),
                    get_people_identities(),
                    person,
                    form.employment(),
                    identity=form.identity(),
                    moved_on=_today(),
                    # The form holds everything: sent late it would put back what somebody just changed.
                    expected_position=position,
                    **_writer(request),
                )
        except Refused as refused:
            _tell(form, refused.faults)
        except Overtaken as late:
            _tell(form, _moved_on(late))
            position = late.new_entries[-1].position
        else:
            messages.success(request, "Saved." if written else "Nothing was different.")
            return redirect("people:person", person)
    context = {"form": form, "reference": person, "name": who.name, "position": position}
    return render(request, "people/details.html", context, status=422 if form.errors else 200)


@needs("view_people", "edit_people")
@carries(FORM_AND_SCAN)
@require_http_methods(["GET", "POST"])
def card(request: HttpRequest, person: str) -> HttpResponse:
    """A whole vaccination card, with its scan if there is one."""
    found, identity = _found(request, person, "person card")
    rows = _rows(request)
    order = request.POST.get("order")
    lines, bodies = cards.read_card(
        request.POST,
        rows,
        today=_today(),
        order=order if order in ORDERS else None,  # type: ignore[arg-type]
    )
    faults: list[str] = []
    position = _number(request.POST.get("position"), found.entries)
    if request.method == "POST" and "more" not in request.POST:
        if not bodies:
            faults.append("Nothing is filled in yet.")
        faults += [f"Row {line.number}: {said}" for line in lines for _, said in line.faults]
        if not faults:
            try:
                _write_card(request, found, identity, bodies, position)
            except NotKept as refused:
                faults.append(str(refused))
            except Refused as refused:
                faults += [sentence(fault) for fault in refused.faults]
            except Overtaken as late:
                faults += _moved_on(late)
                position = late.new_entries[-1].position
        if not faults:
            count = len(bodies)
            messages.success(request, f"{count} {'dose' if count == 1 else 'doses'} written down.")
            return redirect("people:person", person)
    context = {
        "lines": lines,
        "faults": faults,
        "rows": rows,
        "may_grow": rows < cards.MOST_ROWS,
        "products": cards.suggestions(),
        "diseases": _asked_first(),
        "orders": [(id_, words_, id_ == order) for id_, words_ in ORDERS.items()],
        "name": identity.name if identity else "",
        "reference": person,
        "position": position,
        "scan": page.scan_of(found, _beside(request), zone()),
        "seen": [
            ("", "Not now", not request.POST.get("seen")),
            *(
                (id_, words_, request.POST.get("seen") == id_)
                for id_, words_ in choices.SEEN.items()
            ),
        ],
    }
    return render(request, "people/card.html", context, status=422 if faults else 200)


def _beside(request: HttpRequest) -> int:
    """The position of the scan that is typed from, 0 where there is none."""
    return _number(request.POST.get("document", request.GET.get("document")), 0)


def _rows(request: HttpRequest) -> int:
    try:
        rows = int(request.POST.get("rows", cards.FIRST_ROWS))
    except ValueError:
        rows = cards.FIRST_ROWS
    rows += cards.MORE_ROWS if "more" in request.POST else 0
    return max(1, min(rows, cards.MOST_ROWS))


def _asked_first() -> list[tuple[str, str]]:
    asked = get_site().evidence_asked
    return [(d, DISEASES[d]) for d in (*asked, *(d for d in DISEASES if d not in asked))]


def _write_card(
    request: HttpRequest,
    found: Person,
    identity: PersonIdentity | None,
    bodies: Sequence[dict[str, Any]],
    position: int,
) -> None:
    """Write the doses and the scan, all or nothing.

    Raises:
        NotKept, Refused, Overtaken: nothing was written, and the scan is gone again.
    """
    drafts: list[tuple[Kind, Mapping[str, Any]]] = []
    vault, kept = Vault(settings.DATA), ""
    upload = request.FILES.get("scan")
    if upload is not None:
        attached = sealed(vault, content_of(upload), "card", "")
        drafts.append((Kind.DOCUMENT_ATTACHED, attached))
        kept = str(attached["name"])
        bodies = [{**body, "document": position + 1} for body in bodies]
    elif (beside := _beside(request)) in {document.entry for document in found.documents}:
        bodies = [{**body, "document": beside} for body in bodies]
    drafts += [(Kind.DOSE_RECORDED, body) for body in bodies]
    try:
        with get_people().transaction():
            written = acts.record_evidence(
                get_people(),
                found.reference,
                drafts,
                born=identity.birth_date if identity else None,
                today=_today(),
                expected_position=position,
                **_writer(request),
            )
            if (seen := request.POST.get("seen", "")) in choices.SEEN:
                doses = [e.position for e in written if e.kind is Kind.DOSE_RECORDED]
                acts.verify_evidence(
                    get_people(), found.reference, doses, seen=seen, **_writer(request)
                )
    except BaseException:
        vault.delete(kept)
        raise


@needs("view_people", "edit_people")
@require_http_methods(["GET", "POST"])
def add(request: HttpRequest, person: str, what: str) -> HttpResponse:
    """One result, past disease, refusal, contraindication or offer."""
    if what not in KINDS:
        raise Http404("there is no such form")
    found, identity = _found(request, person, f"person {what}")
    initial = {"today": _today(), "identity": identity or PersonIdentity(), "on": _today(),
               "protocol": get_site().protocol}  # fmt: skip
    form = EvidenceForm(what, request.POST or None, initial=initial)
    if request.method == "POST" and form.is_valid():
        try:
            acts.record_evidence(
                get_people(),
                found.reference,
                [(form.kind, form.body() | _from_scan(request, found, form.kind))],
                born=identity.birth_date if identity else None,
                today=_today(),
                **_writer(request),
            )
        except Refused as refused:
            _tell(form, refused.faults)
        else:
            messages.success(request, f"{page.KIND_WORDS[form.kind]}.")
            if request.POST.get("then") == "another":
                again = reverse("people:add", args=[person, what])
                beside = _beside(request)
                return redirect(f"{again}?document={beside}" if beside else again)
            return redirect("people:person", person)
    _, heading, text = KINDS[what]
    context = {
        "form": form,
        "heading": heading,
        "text": text,
        "reference": person,
        "name": identity.name if identity else "",
        "scan": page.scan_of(found, _beside(request), zone()),
    }
    return render(request, "people/add.html", context, status=422 if form.errors else 200)


def _from_scan(request: HttpRequest, found: Person, kind: Kind) -> dict[str, int]:
    """Which scan a piece of evidence was typed from; an offer comes from none."""
    beside = _beside(request)
    known = kind is not Kind.OFFERED and beside in {document.entry for document in found.documents}
    return {"document": beside} if known else {}


@needs("view_people", "edit_people")
@require_POST
def verify(request: HttpRequest, person: str) -> HttpResponse:
    """Put on record what somebody has seen with their own eyes."""
    chosen = [n for text in request.POST.getlist("entry") if (n := whole(text)) is not None]
    seen = request.POST.get("seen", "")
    try:
        if seen not in choices.SEEN:
            raise Refused("Say what you have seen: the original, a copy, or a register")
        acts.verify_evidence(get_people(), person, chosen, seen=seen, **_writer(request))
    except acts.NoSuchPerson as missing:
        raise Http404(str(missing)) from missing
    except Refused as refused:
        messages.error(request, f"Not verified: {'; '.join(refused.faults)}.")
    else:
        messages.success(request, "Verified, with your name and the time.")
    return redirect("people:person", person)


@needs("view_people", "edit_people")
@require_http_methods(["GET", "POST"])
def withdraw(request: HttpRequest, person: str, entry: int) -> HttpResponse:
    """Withdraw a piece of evidence that was written down wrongly, or a scan; the scan is deleted."""
    found, identity = _found(request, person, "person correction")
    evidence = {e.entry: e for e in found.evidence}.get(entry)
    document = {d.entry: d for d in found.documents}.get(entry)
    if evidence is not None:
        title = words.title(evidence)
        when = words.day(evidence.body.get("when") or evidence.body.get("on"))
    elif document is not None:
        title, when = choices.DOCUMENTS[document.shows], document.text
    else:
        raise Http404("this is neither evidence nor a scan that stands")
    fault = ""
    if request.method == "POST":
        reason = clean_text(request.POST.get("reason", ""))[:500]
        if reason:
            try:
                _withdraw(request, person, entry, reason, scan=document is not None)
            except Refused as refused:  # another browser was quicker
                messages.error(request, f"Not withdrawn: {'; '.join(refused.faults)}.")
            else:
                messages.success(request, "Withdrawn. It stays in the history.")
                if can(request, "resolve_results") and evidence is not None:
                    # Perhaps it was somebody else's: where it came from, it can be placed anew.
                    came_with = number_of(str(evidence.body.get("message", "")))
                    if came_with is not None:
                        return redirect("laboratory:message", came_with)
            return redirect("people:person", person)
        fault = "Say why it is withdrawn: it stands in the history."
    context = {
        "title": title,
        "when": when,
        "scan": document is not None,
        "fault": fault,
        "reference": person,
        "name": identity.name if identity else "",
    }
    return render(request, "people/withdraw.html", context, status=422 if fault else 200)


def _withdraw(request: HttpRequest, person: str, entry: int, reason: str, *, scan: bool) -> None:
    writer = _writer(request)
    if scan:
        gone = acts.withdraw_scan(get_people(), person, entry, reason=reason, **writer)
        Vault(settings.DATA).delete(gone.name)
        log.event("scan_withdrawn", case=person, entry=entry, account=writer["by"])
    else:
        with get_people().transaction():
            acts.correct_evidence(get_people(), person, entry, reason=reason, **writer)
            # What a session took off a shelf for a dose that was not given lies there again.
            settle(get_stock(), person, entry, None, by=writer["by"], now=writer["now"])


@needs("view_people", "edit_people")
@carries(FORM_AND_SCAN)
@require_POST
def attach(request: HttpRequest, person: str) -> HttpResponse:
    """Attach a scan."""
    form = ScanForm(request.POST, request.FILES)
    found, identity = _found(request, person, "person scan")
    if form.is_valid():
        vault = Vault(settings.DATA)
        try:
            content = content_of(form.cleaned_data["scan"])
            body = sealed(vault, content, form.cleaned_data["shows"], form.cleaned_data["text"])
            try:
                draft = (Kind.DOCUMENT_ATTACHED, body)
                acts.record_evidence(
                    get_people(), person, [draft], today=_today(), **_writer(request)
                )
            except BaseException:
                vault.delete(body["name"])
                raise
        except NotKept as refused:
            form.add_error("scan", str(refused))
        else:
            messages.success(request, "Attached.")
            return redirect("people:person", person)
    context = {"form": form, "reference": person, "name": identity.name if identity else ""}
    return render(request, "people/attach.html", {**context, "found": found}, status=422)


@needs("view_people")
@require_GET
def scan(request: HttpRequest, person: str, entry: int) -> HttpResponseBase:
    """A scan as it was attached. It is shown in no frame, runs nothing and is kept by no cache."""
    found, _ = _found(request, person, "scan")
    document = {d.entry: d for d in found.documents}.get(entry)
    if document is None:
        raise Http404("there is no such scan")
    try:
        return served(document)
    except Damaged as damaged:
        log.event("scan_damaged", case=person, entry=entry)
        raise Http404(str(damaged)) from damaged


@needs("view_people", "edit_people")
@require_POST
def look_at(request: HttpRequest, person: str, entry: int) -> HttpResponse:
    """Put on record that a scan which the person brought was looked at, and nothing was typed from it."""
    text = clean_text(request.POST.get("text", ""))[:200]
    try:
        brought.look_at(get_people(), person, entry, text=text, **_writer(request))
    except acts.NoSuchPerson as missing:
        raise Http404(str(missing)) from missing
    except Refused as refused:
        messages.error(request, f"{'. '.join(refused.faults)}.")
    else:
        messages.success(request, "Looked at. It stays with the scans.")
    return redirect("people:person", person)


@needs("view_people")
@require_GET
def history(request: HttpRequest, person: str) -> HttpResponse:
    """Everything that was written in the file, by whom and when."""
    _, identity = _found(request, person, "person history")
    context = {
        "lines": page.lines_of(get_people().entries(person), _accounts(), zone()),
        "reference": person,
        "name": identity.name if identity else "",
    }
    return render(request, "people/history.html", context)


# --- what the views above share -------------------------------------------------------------------


def _moved_on(late: Overtaken) -> list[str]:
    """That the file has moved on, and by what: sent again, the form goes over it."""
    news = page.lines_of(late.new_entries, _accounts(), zone())
    return [
        MOVED_ON,
        *(f"New, {line.when}: {line.what}, {line.told}, by {line.by}" for line in news),
    ]


def _standing(person: Person, identity: PersonIdentity | None) -> Row | None:
    """Where somebody stands towards the first day; None once that lies long behind."""
    today = _today()
    if not followed(person, today):
        return None
    known = {} if identity is None else {person.reference: identity}
    (member,) = standings().of([person], known, today, get_site())
    return row(member, identity, today, zone())


def _number(text: str | None, other: int) -> int:
    found = whole(text)
    return other if found is None else found


def _tell(form: Any, faults: Iterable[str]) -> None:
    for fault in faults:
        form.add_error(None, sentence(fault))
