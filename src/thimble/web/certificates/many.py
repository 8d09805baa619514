"""Certificates for many at once: who can have one and who cannot is shown before any is issued."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import timedelta

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET, require_POST

from thimble.actions import Refused
from thimble.actions import certificates as acts
from thimble.documents.clearance_certificate.data import on
from thimble.ledger.fitness import FitnessDecision
from thimble.ledger.store import Overtaken
from thimble.people.certificates.basis import doubts
from thimble.people.certificates.checking import Worth
from thimble.people.certificates.issued import Issued
from thimble.people.certificates.stating import NUMBER, Statement
from thimble.people.fold import Person
from thimble.people.identity import PersonIdentity
from thimble.web import clock, log
from thimble.web.access import account_of, needs
from thimble.web.certificates.house import basis_today, decisions_today, issue, printed
from thimble.web.certificates.issuing import one_file
from thimble.web.certificates.keys import NotSigned
from thimble.web.certificates.page import lines
from thimble.web.certificates.papers import DjangoPapers
from thimble.web.context import get_people, get_people_identities, looked, today, zone
from thimble.web.people.found import account_names
from thimble.web.people.roster import roster

MOST = 200
"""People, or certificates in one file."""

SOON = timedelta(days=30)
STANDARD = Statement()
LOOK_FIRST = "One holds already, but something new was written down: look whether it still does."
WITHDRAWN_BEFORE = (
    "The last one was withdrawn: look why; another is issued from the page of the person."
)


@dataclass(frozen=True, slots=True)
class Row:
    """One person of the list. `number` is the certificate that they have; `why` the reason for none;
    `unverified` how much of the evidence nobody verified."""

    reference: str
    name: str
    born: str
    until: str = ""
    number: str = ""
    why: tuple[str, ...] = ()
    unverified: int = 0


@dataclass(frozen=True, slots=True)
class Sorted:
    """Everybody of a list: who can have one, who has one, who cannot."""

    can: tuple[Row, ...]
    have: tuple[Row, ...]
    cannot: tuple[Row, ...]

    @property
    def unverified(self) -> int:
        """Of those who can have one, how many have evidence that nobody verified."""
        return sum(row.unverified > 0 for row in self.can)


@never_cache
@needs("view_people", "certify_clearance")
@require_POST
def many(request: HttpRequest) -> HttpResponse:
    """Look at a list of people (`people`: references, or one `person` each), then issue with `issue`.

    Only the standard certificate is issued here, whoever issues it, and to nobody who has one already: sent
    twice, nothing is issued twice. Where
    nobody verified evidence of some, how many they are (`unverified`) is confirmed first.
    """
    references = _references(request.POST.getlist("person"), request.POST.get("people", ""))
    if len(references) > MOST:
        fault = f"At most {MOST} people at once; this list has {len(references)}. Choose fewer."
        return render(request, "certificates/many.html", {"fault": fault}, status=422)
    people = {p.reference: p for p in roster().people(clock.now())}
    known = [people[reference] for reference in references if reference in people]
    looked(request, (p.reference for p in known), whose="worker", where="certificates")
    identities = get_people_identities().some_identities(p.reference for p in known)
    decisions = decisions_today(p.reference for p in known)
    parts = _sorted(known, identities, decisions)
    context = {
        "parts": parts,
        "unknown": [reference for reference in references if reference not in people],
        "people": " ".join(references),
        "most": MOST,
    }
    if "issue" not in request.POST:
        return render(request, "certificates/many.html", context)
    # The count that was shown: one that grew since then was confirmed by nobody.
    if parts.unverified and request.POST.get("unverified") != str(parts.unverified):
        context["not_confirmed"] = True
        return render(request, "certificates/many.html", context, status=422)
    issued, failed = _issue_all(request, parts.can, people, identities, decisions)
    log.event("certificates_issued", account=account_of(request).pk, count=len(issued))
    told = {
        "issued": issued,
        "have": parts.have,
        "cannot": (*failed, *parts.cannot),
        "numbers": " ".join(row.number for row in (*issued, *parts.have)),
    }
    return render(request, "certificates/many_issued.html", told)


@never_cache
@needs("view_people", "certify_clearance")
@require_POST
def print_many(request: HttpRequest) -> HttpResponse:
    """Certificates as one file, by their numbers; one that does not hold today is left out."""
    numbers = [n for n in request.POST.get("numbers", "").split() if NUMBER.fullmatch(n)][:MOST]
    papers = DjangoPapers().papers(numbers)
    people = {p.reference: p for p in roster().people(clock.now())}
    held = {
        each.number: each
        for paper in papers.values()
        if paper.person in people
        for each in people[paper.person].certificates
    }
    decisions = decisions_today({papers[n].person for n in held})
    chosen = [
        n
        for n in dict.fromkeys(numbers)
        if n in held and held[n].worth(today(), decisions.get(papers[n].person)) is Worth.HOLDS
    ]
    if not chosen:
        fault = "None of these certificates holds today, so there is nothing to print."
        return render(request, "certificates/many.html", {"fault": fault}, status=422)
    looked(request, (papers[n].person for n in chosen), whose="worker", where="certificates")
    names = account_names()
    log.event("printed_certificates", account=account_of(request).pk, count=len(chosen))
    return one_file([printed(held[n], papers[n], names) for n in chosen], "certificates")


@never_cache
@needs("view_people", "certify_clearance")
@require_GET
def overview(request: HttpRequest) -> HttpResponse:
    """Certificates that somebody should look at, and those that run out soon."""
    day, names = today(), account_names()
    holders = [
        p
        for p in roster().people(clock.now())
        if any(each.worth(day, None) is Worth.HOLDS for each in p.certificates)
    ]
    decisions = decisions_today(p.reference for p in holders)
    news = [p.reference for p in holders if _news(p) or p.reference in decisions]
    entries = get_people().entries_of(news)
    identities = get_people_identities().some_identities(p.reference for p in holders)
    doubted, ending, standing = [], [], 0
    for person in holders:
        who = identities.get(person.reference)
        name = who.name if who else "Name erased"
        if person.reference in entries:
            shown = lines(
                person,
                entries[person.reference],
                basis_today(person, who, decisions),
                day,
                names,
                (),
            )
            doubted += [(person.reference, name, line) for line in shown if line.doubts]
        decision = decisions.get(person.reference)
        held = [each for each in person.certificates if each.worth(day, decision) is Worth.HOLDS]
        standing += bool(held)
        ending += [
            (each.valid_until, person.reference, name, each.number)
            for each in held
            if each.valid_until <= day + SOON
        ]
    shown_people = {row[0] for row in doubted} | {row[1] for row in ending}
    looked(request, sorted(shown_people), whose="worker", where="certificates")
    context = {
        "doubted": doubted,
        "ending": [(on(until), *rest) for until, *rest in sorted(ending)],
        "days": SOON.days,
        "standing": standing,
    }
    return render(request, "certificates/overview.html", context)


def _news(person: Person) -> bool:
    """Whether anything was written since somebody looked last at one that may hold."""
    return any(person.entries > each.looked for each in person.certificates)


def _references(each: Sequence[str], together: str) -> list[str]:
    texts = (*each, *together.replace(",", " ").split())
    return list(dict.fromkeys(text.strip()[:20] for text in texts if text.strip()))


def _sorted(
    people: Sequence[Person],
    identities: dict[str, PersonIdentity],
    decisions: dict[str, FitnessDecision],
) -> Sorted:
    can, have, cannot = [], [], []
    entries = get_people().entries_of([p.reference for p in people if p.certificates and _news(p)])
    for person in people:
        who = identities.get(person.reference)
        row = Row(
            person.reference,
            who.name if who else "Name erased",
            on(who.birth_date) if who and who.birth_date else "",
        )
        basis = basis_today(person, who, decisions)
        standing = _standard(person)
        written = entries.get(person.reference, [])
        if standing is not None and doubts(standing, written, basis, zone()):
            cannot.append(Row(row.reference, row.name, row.born, why=(LOOK_FIRST,)))
            continue
        if standing is not None:
            have.append(_with(row, standing))
            continue
        if person.certificates and person.certificates[-1].withdrawn is not None:
            cannot.append(Row(row.reference, row.name, row.born, why=(WITHDRAWN_BEFORE,)))
            continue
        faults = acts.why_not(who, basis, STANDARD, decides=False, reason="")
        if faults:
            cannot.append(Row(row.reference, row.name, row.born, why=tuple(faults)))
        else:
            can.append(replace(row, until=on(basis.limit.until), unverified=person.unverified))
    return Sorted(tuple(can), tuple(have), tuple(cannot))


def _standard(person: Person) -> Issued | None:
    """The standard certificate of somebody that is neither withdrawn nor over, the newest."""
    for each in reversed(person.certificates):
        if each.worth(today(), None) is Worth.HOLDS and each.statement == STANDARD:
            return each
    return None


def _with(row: Row, issued: Issued) -> Row:
    return Row(row.reference, row.name, row.born, on(issued.valid_until), issued.number)


def _issue_all(
    request: HttpRequest,
    rows: Iterable[Row],
    people: dict[str, Person],
    identities: dict[str, PersonIdentity],
    decisions: dict[str, FitnessDecision],
) -> tuple[list[Row], list[Row]]:
    issued, failed = [], []
    for row in rows:
        person = people[row.reference]
        try:
            paper = issue(
                request,
                person,
                identities.get(row.reference),
                STANDARD,
                expected_position=person.entries,
                decisions=decisions,
            )
        except Refused as refused:
            failed.append(Row(row.reference, row.name, row.born, why=refused.faults))
        except Overtaken:
            why = "Somebody wrote in the file meanwhile. Look at what is new."
            failed.append(Row(row.reference, row.name, row.born, why=(why,)))
        except NotSigned as missing:
            failed.append(Row(row.reference, row.name, row.born, why=(str(missing),)))
        else:
            issued.append(Row(row.reference, row.name, row.born, row.until, paper.number))
    return issued, failed
