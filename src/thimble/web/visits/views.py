"""The visits of a case: to plan, to agree, to record what became of them."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import date

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET, require_POST

from thimble import actions
from thimble.actions import Refused
from thimble.ledger.bodies import REACHING_DECISIONS
from thimble.ledger.entries import Entry, Kind
from thimble.ledger.exposed import say
from thimble.ledger.follow_up.reaching import next_rung
from thimble.ledger.follow_up.visiting import to_agree, visiting
from thimble.web import clock, log
from thimble.web.access import can, needs
from thimble.web.context import (
    get_ladder,
    get_protocol,
    get_site,
    get_store,
)
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
from thimble.web.mailing.claims import open_claims
from thimble.web.mailing.sending import due_mails, why_no_mail
from thimble.web.models import CalendarLink
from thimble.web.on_record.finding import cases_of_person
from thimble.web.secret_links import standing_link_of_any
from thimble.web.visits import page
from thimble.web.visits.reaching import NextStep
from thimble.web.visits.typed import agreed_hours, chosen_days, stretch, typed_away, typed_doses


@never_cache
@needs("view_case")
@require_GET
def visits(request: HttpRequest, ref: str) -> HttpResponse:
    """The fewest visits, why they are where they are, and what was agreed."""
    reading = read(canonical(ref))
    fault, away = "", list(reading.situation.follow_up.unavailable)
    try:
        if "planned" in request.GET:
            away = list(typed_away(request.GET.getlist("away")))
        if request.GET.get("first"):
            away.append(stretch(request.GET["first"], request.GET.get("last", "")))
    except ValueError as bad:
        fault = str(bad)
    return _show(request, reading, away, fault=fault)


def _show(
    request: HttpRequest,
    reading: Reading,
    away: Sequence[tuple[date, date]],
    *,
    chosen: dict[str, date] | None = None,
    fault: str = "",
    typed_doses: str | None = None,
    hours: Mapping[str, str] | None = None,
) -> HttpResponse:
    site = get_site()
    found = visiting(reading.plan, reading.situation, site, unavailable=away, chosen=chosen)
    link = standing_link_of_any(CalendarLink, cases_of_person(reading.case))
    rung = next_rung(reading.situation, found.expected, get_ladder(), site.zone)
    shown = page.VisitsPage.of(
        found,
        reading.situation,
        site.zone,
        away=away,
        capabilities=capabilities_of(request),
        mail_due=not why_no_mail(site) and any(due_mails(reading.plan.now, [reading.case])),
        hours=hours,
        claimed=[each.claimed_at for each in open_claims([reading.case])],
        link_since=None if link is None else link.made_at,
        next_step=None
        if rung is None
        else NextStep.of(
            rung, reading.situation, get_ladder(), reading.plan.now, capabilities_of(request)
        ),
        fault=fault,
        doses=page.EarlierDoses.of(reading.plan, reading.situation, site.zone, typed_doses),
    )
    status = 422 if fault or (chosen and found.planned.refused) else 200
    # What was typed stays in the form that it was typed in, by the name of that form's address.
    of = request.resolver_match
    kept = {of.url_name: request.POST.dict()} if of is not None and request.POST else {}
    return render(request, "visits/visits.html", {"page": shown, "kept": kept}, status=status)


@never_cache
@needs("view_case", "record_facts")
@require_POST
def agree(request: HttpRequest, ref: str) -> HttpResponse:
    """These dates were told to the worker."""
    reading = read(canonical(ref))
    away: tuple[tuple[date, date], ...] = ()
    try:
        away = typed_away(request.POST.getlist("away"))
        free = visiting(reading.plan, reading.situation, get_site(), unavailable=away)
        chosen = chosen_days(free.planned, request.POST.dict())
    except ValueError as bad:
        return _show(request, reading, away, fault=str(bad))
    found = visiting(reading.plan, reading.situation, get_site(), unavailable=away, chosen=chosen)
    typed = request.POST.dict()
    if found.planned.refused:
        return _show(
            request, reading, away, chosen=chosen, hours=typed,
            fault="A day cannot be taken: see why.",
        )  # fmt: skip
    try:
        hours = agreed_hours(free.planned, found, typed, get_site())
    except ValueError as bad:
        return _show(request, reading, away, chosen=chosen, hours=typed, fault=str(bad))
    told = to_agree(found.planned, found.expected, hours)
    text = request.POST.get("text", "").strip()
    return _record(
        request, reading,
        lambda position: actions.agree_visits(
            get_store(), reading.case, told, unavailable=away, text=text, now=clock.now(),
            expected_position=position, **who(request),
        ),
        Kind.VISITS_AGREED, away, [("Visits", "; ".join(v.words for v in told)), ("Note", text)],
    )  # fmt: skip


@never_cache
@needs("view_case", "record_facts")
@require_POST
def earlier_doses(request: HttpRequest, ref: str) -> HttpResponse:
    """The doses of hepatitis B vaccine from before the exposure, in place of those on record."""
    reading = read(canonical(ref))
    site, now = get_site(), clock.now()
    away = reading.situation.follow_up.unavailable
    typed = request.POST.get("doses", "")
    try:
        doses = typed_doses(typed)
    except ValueError as bad:
        return _show(request, reading, away, fault=str(bad), typed_doses=typed)
    return _record(
        request, reading,
        lambda position: actions.doses_on_record(
            get_store(), reading.case, doses, today=now.astimezone(site.zone).date(), now=now,
            expected_position=position, **who(request),
        ),
        Kind.DOSES_ON_RECORD, away, [("Doses", typed)],
    )  # fmt: skip


@never_cache
@needs("view_case", "record_facts")
@require_POST
def missed(request: HttpRequest, ref: str) -> HttpResponse:
    """The worker was expected and did not come."""
    reading = read(canonical(ref))
    site, now = get_site(), clock.now()
    text = request.POST.get("text", "").strip()
    away = reading.situation.follow_up.unavailable
    try:
        day = date.fromisoformat(request.POST.get("day", ""))
    except ValueError:
        return _show(request, reading, away, fault="Say which visit was missed.")
    return _record(
        request, reading,
        lambda position: actions.miss_visit(
            get_store(), reading.case, day, today=now.astimezone(site.zone).date(), text=text,
            now=now, expected_position=position, **who(request),
        ),
        Kind.VISIT_MISSED, away, [("Missed", day.isoformat()), ("Note", text)],
    )  # fmt: skip


@never_cache
@needs("view_case", "record_facts")
@require_POST
def contacted(request: HttpRequest, ref: str) -> HttpResponse:
    """An attempt to reach the worker."""
    reading = read(canonical(ref))
    how, outcome = request.POST.get("how", ""), request.POST.get("outcome", "")
    text = request.POST.get("text", "").strip()
    away = reading.situation.follow_up.unavailable
    if not how or not outcome:
        return _show(
            request, reading, away, fault="Say how they were contacted and what came of it."
        )
    return _record(
        request, reading,
        lambda position: actions.contact(
            get_store(), reading.case, how=how, outcome=outcome, text=text, now=clock.now(),
            expected_position=position, **who(request),
        ),
        Kind.CONTACTED, away, [("How", how), ("What came of it", outcome), ("Note", text)],
    )  # fmt: skip


@never_cache
@needs("view_case", "decide_reaching")
@require_POST
def decided(request: HttpRequest, ref: str) -> HttpResponse:
    """What a physician decides about a worker who cannot be reached; closing goes on to its page."""
    reading = read(canonical(ref))
    site, now = get_site(), clock.now()
    away = reading.situation.follow_up.unavailable
    decision = request.POST.get("decision", "")
    reason, typed = request.POST.get("text", "").strip(), request.POST.get("until", "")
    fault, until = "", None
    if decision not in REACHING_DECISIONS:
        fault = "Say what you decide."
    elif not reason:
        fault = "Say why. The reason is kept with the decision."
    elif decision != "close":
        try:
            until = date.fromisoformat(typed)
        except ValueError:
            fault = "Say on which day it is decided anew."
    if fault:
        return _show(request, reading, away, fault=fault)
    response = _record(
        request, reading,
        lambda position: actions.decide_reaching(
            get_store(), reading.case, decision, until=until, reason=reason,
            vocabulary=get_protocol().vocabulary, today=now.astimezone(site.zone).date(),
            now=now, expected_position=position, **who(request),
        ),
        Kind.REACHING_DECIDED, away,
        [
            ("Decision", say(REACHING_DECISIONS[decision], reading.situation)),
            ("Until", typed), ("Reason", reason),
        ],
    )  # fmt: skip
    if decision == "close" and response.status_code == 302 and can(request, "close_case"):
        return go(request, reverse("closing:closing", args=[reading.case]))
    return response


def _record(
    request: HttpRequest,
    reading: Reading,
    act: Callable[[int], object],
    kind: Kind,
    away: Sequence[tuple[date, date]],
    said: Sequence[tuple[str, str]],
) -> HttpResponse:
    by = str(request.user.pk)

    def mine(entry: Entry) -> bool:
        return entry.kind is kind

    try:
        position = position_of(request)
        came_first = write(lambda: act(position), mine=mine, by=by)
    except (Refused, BadAnswer) as refused:
        return _show(request, read(reading.case), away, fault=say(str(refused), reading.situation))
    if came_first:
        return overtaken_response(request, read(reading.case), came_first, said)
    log.event(kind.value, case=reading.case, account=by)
    return go(request, reverse("visits:visits", args=[reading.case]))
