"""Fitness of somebody of the register without any exposure: their monitoring, decided on their own file.

A worker who lives with hepatitis B, hepatitis C or HIV and does exposure-prone procedures is monitored by
the same tables as decide in a case. Only those who decide about fitness see the page; the file itself tells
others the outcome, the restriction and the day of review, in terms of work.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_GET, require_http_methods

from thimble import actions
from thimble.actions import Refused
from thimble.actions import people as acts
from thimble.documents.letters.fitness_letter import fitness_letter
from thimble.documents.render import Template
from thimble.documents.render import render as compose
from thimble.ledger.store import Overtaken
from thimble.people.fold import Person
from thimble.people.identity import PersonIdentity
from thimble.web import clock, log
from thimble.web.access import account_of, needs
from thimble.web.certificates.contradicted import warn_of_certificates
from thimble.web.context import get_people, get_people_identities, get_site, looked
from thimble.web.desk.handling import position_of, who
from thimble.web.desk.questions import BadAnswer
from thimble.web.desk.responding import sentence
from thimble.web.fitness.deciding import KEPT, read_decision
from thimble.web.fitness.evidence import offers_of_file, rows, taken
from thimble.web.fitness.joined import Joined, of_person
from thimble.web.fitness.page import fitness_page, read_facts
from thimble.web.papers.views import pdf

WORKS = {"yes": "yes", "no": "no"}
"""What the file says of exposure-prone procedures → the answer of the tables; not known is none."""

MOVED_ON = "Somebody else wrote in this file meanwhile. Load the page anew, look, and decide again."


@sensitive_post_parameters()
@never_cache
@needs("view_people", "decide_fitness")
@require_http_methods(["GET", "POST"])
def person(request: HttpRequest, person: str) -> HttpResponse:
    """What the rules say of somebody now; a form that asks on, and one that decides.

    Looking records nothing but that the name was seen.
    """
    found, _ = _found(request, person, "fitness")
    joined = of_person(person, clock.now())
    typed = {name: str(value) for name, value in request.POST.items()}
    if request.method == "GET":
        return _show(request, found, joined, _held(found, joined), {}, typed)
    try:
        facts, days = read_facts(typed)
        if wanted := typed.get("take", ""):
            more, more_days = taken(wanted, offers_of_file(found, get_site().zone))
            facts, days = facts | more, days | more_days
        elif typed.get("do") == "decide":
            return _decide(request, person, joined, facts, days, typed)
    except (Refused, BadAnswer, Overtaken) as fault:
        said = MOVED_ON if isinstance(fault, Overtaken) else sentence(fault)
        facts, days = _readable(typed)
        return _show(request, found, joined, facts, days, typed, fault=said)
    return _show(request, found, joined, facts, days, typed)


def _found(request: HttpRequest, person: str, where: str) -> tuple[Person, PersonIdentity | None]:
    """The person and who they are; that the name is shown is put on record first."""
    try:
        found = acts.person_of(get_people(), person, clock.now())
    except acts.NoSuchPerson as missing:
        raise Http404(str(missing)) from missing
    looked(request, [person], whose="worker", where=where)
    return found, get_people_identities().identity(person)


def _held(found: Person, joined: Joined) -> dict[str, object]:
    """What holds of the decision before, of the file and of the site. Results are asked anew."""
    last = joined.holds.facts if joined.holds else {}
    facts: dict[str, object] = {fact: last[fact] for fact in KEPT if fact in last}
    if works := WORKS.get(found.employment.exposure_prone):
        facts["exposure_prone"] = works
    if rule_set := get_site().fitness_rule_set:
        facts["rule_set"] = rule_set
    return {"occasion": "clearance", **facts}


def _readable(typed: Mapping[str, str]) -> tuple[dict[str, object], dict[str, date]]:
    try:
        return read_facts(typed)
    except BadAnswer:
        return {}, {}


def _decide(
    request: HttpRequest,
    person: str,
    joined: Joined,
    facts: Mapping[str, object],
    days: Mapping[str, date],
    typed: Mapping[str, str],
) -> HttpResponse:
    decision, now = read_decision(typed), clock.now()
    try:
        actions.decide_fitness_of_person(
            get_people(), person, decision, facts=facts, days=days,
            today=now.astimezone(get_site().zone).date(), now=now, before=joined.decisions,
            expected_position=position_of(request), **who(request),
        )  # fmt: skip
    except Overtaken as overtaken:
        mine = {entry.by for entry in overtaken.new_entries} == {str(request.user.pk)}
        last = overtaken.new_entries[-1].body
        if not mine or (last.get("outcome"), last.get("restriction")) != (
            decision.outcome,
            decision.restriction,
        ):
            raise
    log.event("person_fitness_decided", case=person, account=account_of(request).pk)
    warn_of_certificates(request, person)
    return redirect("fitness:person", person)


def _show(
    request: HttpRequest,
    found: Person,
    joined: Joined,
    facts: Mapping[str, object],
    days: Mapping[str, date],
    typed: Mapping[str, str],
    *,
    fault: str = "",
) -> HttpResponse:
    site = get_site()
    identity = get_people_identities().identity(found.reference)
    page = fitness_page(
        "", found.entries, joined.decisions, facts, days, clock.now(), site.zone,
        typed=typed, fault=fault, person=found.reference,
        name=identity.name if identity else "Name erased",
        on_record=rows(offers_of_file(found, site.zone), facts, days),
    )  # fmt: skip
    return render(request, "fitness/fitness.html", {"page": page}, status=422 if fault else 200)


@never_cache
@needs("view_people", "decide_fitness", "print_documents")
@require_GET
def letter(request: HttpRequest, person: str) -> HttpResponse:
    """The letter for the line manager about the decision that holds.

    Raises:
        Http404: nothing is decided.
    """
    _, identity = _found(request, person, "fitness letter")
    now = clock.now()
    holds = of_person(person, now).holds
    if holds is None:
        raise Http404("nothing is decided about fitness")
    made = fitness_letter(holds, get_site(), now, name=identity.name if identity else "")
    # Without any reference: the file goes to somebody who must not have it.
    return pdf(request, compose(Template.LETTER, made.to_data(), at=now), "fitness-letter")
