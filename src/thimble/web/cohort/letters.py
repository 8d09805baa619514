"""Letters to everybody whom a cohort's filters leave: choose, look, make; then how far they are."""

from __future__ import annotations

import secrets
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from django.conf import settings
from django.contrib import messages
from django.db import IntegrityError, transaction
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from thimble.clinical.saying import calendar_day
from thimble.documents.letters.starter_letters import TITLES
from thimble.people.choices import LETTERS
from thimble.people.identity import PersonIdentity
from thimble.web import clock, log
from thimble.web.access import account_of, needs
from thimble.web.clinic.store import get_clinic
from thimble.web.cohort import mail as mails
from thimble.web.cohort import page, sending
from thimble.web.cohort.choosing import Chosen, chosen
from thimble.web.cohort.letter_form import LetterForm
from thimble.web.cohort.offering import hand_out, law_of
from thimble.web.cohort.recipients import Recipients, recipients
from thimble.web.context import get_people_identities, get_site, looked, today, zone
from thimble.web.mailing.sending import why_no_mail
from thimble.web.models import LetterRun, LetterTo
from thimble.web.vault import Damaged, Vault
from thimble.web.words import moment

SHOWN_RUNS = 12


@dataclass(frozen=True, slots=True)
class Progress:
    """How far a run is."""

    total: int
    done: int
    sent: Mapping[str, int]
    waiting: int
    failed: int
    at_work: bool

    @property
    def finished(self) -> bool:
        return not self.waiting and not self.at_work


@never_cache
@needs("view_people", "edit_people")
@require_http_methods(["GET", "POST"])
def write(request: HttpRequest) -> HttpResponse:
    """Choose a kind, look at one letter and at who gets it, then make them all."""
    found = chosen(request.GET)
    planned = [each for each in get_clinic().between(found.today) if not each.called_off]
    form = LetterForm(request.POST or None, sessions=planned)
    context = {
        "form": form,
        "found": found,
        "query": request.GET.urlencode(),
        "part": page.SHOWS[found.filters["show"]],
        "no_mail": why_no_mail(get_site()),
        "runs": [_line(run) for run in LetterRun.objects.all()[:SHOWN_RUNS]],
    }
    if request.method == "POST" and form.is_valid():
        told = form.cleaned_data
        booked = _booked_already(form.session_id, found)
        whom = recipients(
            told["about"],
            told["way"],
            [m for m in found.shown if told["booked_too"] or m.reference not in booked],
            found.identities,
            mail_works=not why_no_mail(get_site()),
        )
        count = len(whom.everybody)
        if "make" in request.POST and request.POST.get("count") == str(count) and count:
            return _make(request, found, form, whom)
        context |= _preview(request, found, form, whom) | {
            "whom": whom,
            "booked": len(booked),
            "count": count,
            "changed": "make" in request.POST,
        }
    return render(request, "cohort/letters.html", context, status=422 if form.errors else 200)


def _booked_already(session: int | None, found: Chosen) -> frozenset[str]:
    """Of those whom the filters leave, who is booked in a session already."""
    if session is None:
        return frozenset()
    booked = {each.person for each in get_clinic().of_session(session)}
    return frozenset(booked & {member.reference for member in found.shown})


def _preview(
    request: HttpRequest, found: Chosen, form: LetterForm, whom: Recipients
) -> dict[str, object]:
    """One letter as it will be, without an address that opens anything."""
    named = [ref for ref, _ in whom.neither]
    first = (whom.paper or whom.mail)[:1]
    looked(request, (*named, *first), whose="worker", where="cohort letters")
    about, said = form.cleaned_data["about"], form.said()
    names = {ref: who.name for ref, who in found.identities.items() if ref in {*named, *first}}
    letter = None
    if first:
        who = found.identities[first[0]]
        letter = sending.letter_data(about, said, first[0], who, clock.now(), "")
    token = request.POST.get("token", "")
    return {
        "letter": letter,
        "subject": mails.SUBJECTS[about],
        "mail_words": mails.words(about, sending.session_of(said)),
        "neither": [(ref, names.get(ref, "Name erased"), why) for ref, why in whom.neither],
        "token": token if _is_token(token) else secrets.token_hex(8),
    }


def _is_token(text: str) -> bool:
    return len(text) == 16 and all(c in "0123456789abcdef" for c in text)


def _make(request: HttpRequest, found: Chosen, form: LetterForm, whom: Recipients) -> HttpResponse:
    """One run with one row a person. Sent twice, the same form makes one run."""
    token, account = request.POST.get("token", ""), account_of(request)
    if not _is_token(token):
        raise Http404("this form was not made here")
    run = LetterRun(
        id=f"l{token}",
        about=form.cleaned_data["about"],
        cohort=found.cohort[:200],
        said=form.said(),
        by=account.pk,
        role=account.role,
        at=clock.now(),
    )
    try:
        with transaction.atomic():
            run.save(force_insert=True)
            LetterTo.objects.bulk_create(
                LetterTo(run=run, person=ref, how=how) for ref, how in whom.everybody
            )
    except IntegrityError:
        return redirect("cohort:run", run.pk)
    log.event("letters_begun", case=run.pk, account=account.pk, count=len(whom.everybody))
    sending.start(run.pk)
    return redirect("cohort:run", run.pk)


@never_cache
@needs("view_people", "edit_people")
@require_GET
def run(request: HttpRequest, run: str) -> HttpResponse:
    """How far a run is, what failed and why, and the file of the letters on paper."""
    row = get_object_or_404(LetterRun, pk=run)
    failed = list(sending.letters_of(row).filter(state=LetterTo.FAILED))
    looked(request, (each.person for each in failed), whose="worker", where="cohort letters")
    who = get_people_identities().some_identities(each.person for each in failed)
    context = {
        "run": row,
        "title": TITLES[row.about][0],
        "kind": LETTERS[row.about],
        "made": moment(row.at, None, zone()),
        "progress": progress_of(row),
        "law": law_of(row),
        "handed_on": calendar_day(row.handed_on) if row.handed_on else "",
        "today": today().isoformat(),
        "failed": [
            (each.person, who.get(each.person, PersonIdentity()).name or "Name erased", each.reason)
            for each in failed
        ],
    }
    name = "cohort/_run.html" if request.headers.get("HX-Request") else "cohort/run.html"
    return render(request, name, context)


def progress_of(row: LetterRun) -> Progress:
    """The counts of a run."""
    states = list(sending.letters_of(row).values_list("state", "how"))
    open_ = sum(state in {LetterTo.WAITING, LetterTo.SENDING} for state, _ in states)
    return Progress(
        total=len(states),
        done=len(states) - open_,
        sent={how: states.count((LetterTo.SENT, how)) for how in ("mail", "paper")},
        waiting=open_,
        failed=sum(state == LetterTo.FAILED for state, _ in states),
        at_work=sending.held(row, clock.now()),
    )


@needs("view_people", "edit_people")
@require_POST
def resume(request: HttpRequest, run: str) -> HttpResponse:
    """Go on with what waits; with `again`, try what failed once more."""
    row = get_object_or_404(LetterRun, pk=run)
    if "again" in request.POST:
        failed = sending.letters_of(row).filter(state=LetterTo.FAILED)
        failed.update(state=LetterTo.WAITING, reason="")
        # What is made now is handed out later.
        LetterRun.objects.filter(pk=row.pk).update(handed_on=None)
    log.event("letters_resumed", case=row.pk, account=account_of(request).pk)
    sending.start(row.pk)
    return redirect("cohort:run", row.pk)


@needs("view_people", "edit_people")
@require_POST
def handed(request: HttpRequest, run: str) -> HttpResponse:
    """Say on which day the letters on paper were posted or handed out: the offers in them are made then."""
    row = get_object_or_404(LetterRun, pk=run)
    account, now = account_of(request), clock.now()
    try:
        on = date.fromisoformat(request.POST.get("on", ""))
    except ValueError:
        on = date.min
    if not row.at.astimezone(zone()).date() <= on <= today():
        messages.error(request, "Give a day between that on which they were made and today.")
        return redirect("cohort:run", row.pk)
    count = hand_out(row, on, now, account.pk, account.role)
    log.event("letters_handed_out", case=row.pk, account=account.pk, count=count)
    messages.success(request, f"On record: {count} {'offer' if count == 1 else 'offers'} made.")
    return redirect("cohort:run", row.pk)


@never_cache
@needs("view_people", "edit_people", "print_documents")
@require_GET
def file(request: HttpRequest, run: str) -> HttpResponse:
    """The letters on paper in one PDF."""
    row = get_object_or_404(LetterRun, pk=run)
    if not row.file:
        raise Http404("there is no file of these letters")
    people = sending.letters_of(row).exclude(letter="").values_list("person", flat=True)
    looked(request, people, whose="worker", where="cohort letters")
    try:
        content = Vault(settings.DATA).get(row.file)
    except Damaged as damaged:
        log.event("letters_damaged", case=row.pk)
        raise Http404(str(damaged)) from damaged
    response = HttpResponse(content, content_type="application/pdf")
    response.headers["Content-Disposition"] = 'attachment; filename="letters.pdf"'
    return response


@needs("view_people", "edit_people")
@require_POST
def forget(request: HttpRequest, run: str) -> HttpResponse:
    """Delete the letters on paper from here, once they are printed."""
    row = get_object_or_404(LetterRun, pk=run)
    sending.forget_file(row)
    log.event("letters_file_deleted", case=row.pk, account=account_of(request).pk)
    messages.success(request, "Deleted. What was made stands in each person's file.")
    return redirect("cohort:run", row.pk)


def _line(row: LetterRun) -> tuple[str, str, str, int, bool]:
    done = progress_of(row)
    return row.pk, LETTERS[row.about], moment(row.at, None, zone()), done.total, done.finished
