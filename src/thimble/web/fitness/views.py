"""Fitness for work: for the physician alone, as its facts are a worker's own diagnoses."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_GET, require_http_methods

from thimble import actions
from thimble.actions import Refused
from thimble.clinical.fitness.offering import Offered
from thimble.clinical.saying import calendar_day
from thimble.documents.letters.fitness_letter import fitness_letter
from thimble.documents.render import Template
from thimble.documents.render import render as compose
from thimble.ledger.bodies import FITNESS_OUTCOMES as OUTCOMES
from thimble.ledger.bodies import FITNESS_RESTRICTIONS as RESTRICTIONS
from thimble.ledger.entries import Entry, Kind
from thimble.ledger.fitness import FitnessDecision
from thimble.people.to_see import to_see
from thimble.web import clock, log
from thimble.web.access import can, needs
from thimble.web.certificates.contradicted import warn_of_certificates
from thimble.web.context import (
    get_people_identities,
    get_protocol,
    get_site,
    get_store,
    looked,
)
from thimble.web.desk.handling import (
    go,
    overtaken_response,
    position_of,
    read,
    who,
    worker_of,
    workers_case,
    write,
)
from thimble.web.desk.questions import BadAnswer
from thimble.web.desk.reading import Reading
from thimble.web.desk.responding import sentence
from thimble.web.fitness.deciding import KEPT, read_decision
from thimble.web.fitness.evidence import offers, rows, taken
from thimble.web.fitness.followed import Followed, already, followed, rows_of, taken_from
from thimble.web.fitness.joined import of_case
from thimble.web.fitness.links import tells
from thimble.web.fitness.monitoring import REVIEW, Monitored, monitored
from thimble.web.fitness.page import fitness_page, read_facts
from thimble.web.fitness.told import SHOWN
from thimble.web.models import FitnessLink
from thimble.web.on_record.finding import cases_of_person, on_record
from thimble.web.papers.views import pdf
from thimble.web.people.roster import roster
from thimble.web.secret_links import standing_link


@sensitive_post_parameters()
@never_cache
@needs("view_case", "decide_fitness")
@require_http_methods(["GET", "POST"])
def fitness(request: HttpRequest, ref: str) -> HttpResponse:
    """What the rules say now; a form that asks on, and one that decides. Looking records nothing."""
    reading = workers_case(ref)
    typed = {name: str(value) for name, value in request.POST.items()}
    joined = of_case(reading.case, reading.plan.now)
    decisions = joined.decisions
    if request.method == "GET":
        facts = _kept(decisions)
        if rule_set := get_site().fitness_rule_set:
            facts["rule_set"] = rule_set
        facts |= already(_followed(request, reading))
        return _show(request, reading, decisions, facts, {}, typed)
    try:
        facts, days = read_facts(typed)
    except BadAnswer as fault:
        return _show(request, reading, decisions, {}, {}, typed, fault=str(fault))
    if wanted := typed.get("take", ""):
        more, more_days = taken(wanted, _offers(request, reading)[0])
        more |= taken_from(wanted, _followed(request, reading))
        return _show(request, reading, decisions, facts | more, days | more_days, typed)
    if typed.get("do") != "decide":
        return _show(request, reading, decisions, facts, days, typed)
    return _decide(request, reading, decisions, facts, days, typed)


def _offers(request: HttpRequest, reading: Reading) -> tuple[tuple[Offered, ...], str]:
    """The worker's results on record, and why those of a file are left out ("" where none are)."""
    found = on_record(reading.case) if can(request, "see_immunity") else None
    offered = offers(reading.situation, found, reading.plan.now, get_site().zone)
    return offered, found.doubt if found else ""


def _followed(request: HttpRequest, reading: Reading) -> tuple[Followed, ...]:
    """What this case, and every other of the same worker, says of follow-up."""
    of_worker = cases_of_person(reading.case) if can(request, "see_immunity") else (reading.case,)
    others = (read(case, reading.plan.now) for case in of_worker if case != reading.case)
    return followed((reading, *others), get_protocol(), get_site().zone)


def _kept(decisions: tuple[FitnessDecision, ...]) -> dict[str, object]:
    """What still holds of the decision before: its rule set and the work. Results are asked anew."""
    last = decisions[-1].facts if decisions else {}
    return {fact: last[fact] for fact in KEPT if fact in last}


def _decide(
    request: HttpRequest,
    reading: Reading,
    decisions: tuple[FitnessDecision, ...],
    facts: Mapping[str, object],
    days: Mapping[str, date],
    typed: Mapping[str, str],
) -> HttpResponse:
    now, by = clock.now(), str(request.user.pk)
    try:
        decision = read_decision(typed)
    except BadAnswer as fault:
        return _show(request, reading, decisions, facts, days, typed, fault=str(fault))

    def mine(entry: Entry) -> bool:
        body = entry.body
        return entry.kind is Kind.FITNESS_DECIDED and (body["outcome"], body["restriction"]) == (
            decision.outcome,
            decision.restriction,
        )

    try:
        position = position_of(request)
        came_first = write(
            lambda: actions.decide_fitness(
                get_store(), reading.case, decision, facts=facts, days=days,
                elsewhere=[d for d in decisions if d.of != reading.case],
                today=now.astimezone(get_site().zone).date(), now=now,
                expected_position=position, **who(request),
            ),
            mine=mine, by=by,
        )  # fmt: skip
    except (Refused, BadAnswer) as refused:
        return _show(request, reading, decisions, facts, days, typed, fault=sentence(refused))
    if came_first:
        decided = [
            ("Fitness", OUTCOMES[decision.outcome]),
            ("Restriction", RESTRICTIONS[decision.restriction]),
        ]
        return overtaken_response(request, read(reading.case), came_first, decided)
    log.event(Kind.FITNESS_DECIDED.value, case=reading.case, account=by)
    warn_of_certificates(request, of_case(reading.case, now).person)
    return go(request, reverse("fitness:fitness", args=[reading.case]))


def _show(
    request: HttpRequest,
    reading: Reading,
    decisions: tuple[FitnessDecision, ...],
    facts: Mapping[str, object],
    days: Mapping[str, date],
    typed: Mapping[str, str],
    *,
    fault: str = "",
) -> HttpResponse:
    offered, doubt = _offers(request, reading)
    page = fitness_page(
        reading.case, reading.position, decisions, facts, days, reading.plan.now,
        get_site().zone, typed=typed, fault=fault,
        on_record=(
            *rows_of(_followed(request, reading), reading.case, facts), *rows(offered, facts, days)
        ),
        record_doubt=doubt, link=_link(reading, decisions),
    )  # fmt: skip
    return render(request, "fitness/fitness.html", {"page": page}, status=422 if fault else 200)


def _link(reading: Reading, decisions: tuple[FitnessDecision, ...]) -> str:
    """The manager's address in use, in a sentence; "" where none tells the decision that holds."""
    link = standing_link(FitnessLink, reading.case)
    if link is None or not decisions or not tells(link, decisions[-1]):
        return ""
    made = calendar_day(link.made_at.astimezone(get_site().zone).date())
    return f"One of {made} is in use; it shows {SHOWN[link.shown]}."


@never_cache
@needs("view_case", "decide_fitness", "print_documents")
@require_GET
def letter_pdf(request: HttpRequest, ref: str) -> HttpResponse:
    """The letter for the line manager about the decision that holds.

    Raises:
        Http404: nothing is decided.
    """
    reading = workers_case(ref)
    decisions = of_case(reading.case, reading.plan.now).decisions
    if not decisions:
        raise Http404("nothing is decided about fitness")
    worker = worker_of(request, reading.case, where="letter")
    letter = fitness_letter(
        decisions[-1], get_site(), reading.plan.now, name=worker.name if worker else ""
    )
    document = compose(Template.LETTER, letter.to_data(), at=reading.plan.now)
    # Without the reference of the case: the file goes to somebody who must not have it.
    return pdf(request, document, "fitness-letter")


@dataclass(frozen=True, slots=True)
class Row:
    """A worker whose decision holds: when it is reviewed, and the tests that it counts on."""

    href: str
    who: str
    words: str
    review: str
    due: bool
    tests: tuple[tuple[str, bool], ...]


@never_cache
@needs("view_worklist", "decide_fitness")
@require_GET
def reviews(request: HttpRequest) -> HttpResponse:
    """Every worker whose decision has a day of review or a test to come, the earliest day first."""
    now = clock.now()
    today = now.astimezone(get_site().zone).date()
    together: dict[tuple[str, str], list[Monitored]] = {}
    for one in monitored(now):
        together.setdefault((one.person, one.decision.of), []).append(one)
    identities = get_people_identities()
    named = [person for person, _ in together if person]
    looked(request, named, whose="worker", where="fitness reviews")
    rows = []
    for (person, of), due in together.items():
        decision = due[0].decision
        identity = identities.identity(person) if person else None
        rows.append(
            Row(
                href=reverse("fitness:person", args=[person])
                if person
                else reverse("fitness:fitness", args=[of]),
                who=(identity.name if identity else "Name erased") if person else f"Case {of}",
                words=decision.words,
                review=calendar_day(decision.review_on) if decision.review_on else "",
                due=decision.due(today),
                tests=tuple(
                    (f"{one.what}, {calendar_day(one.due)}", one.overdue(today))
                    for one in due
                    if one.what != REVIEW
                ),
            )
        )
    waiting = sum(bool(to_see(person)) for person in roster().people(now))
    return render(request, "fitness/reviews.html", {"rows": rows, "waiting": waiting})
