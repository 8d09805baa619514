"""What the house asks for, and one certificate issued by the account that is signed in."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date

from django.conf import settings
from django.http import HttpRequest
from django.urls import reverse

from thimble.actions import certificates as acts
from thimble.actions.certificate_papers import Paper
from thimble.documents.clearance_certificate.data import Printed
from thimble.ledger.fitness import FitnessDecision
from thimble.people.certificates.basis import Basis, basis_of
from thimble.people.certificates.issued import Issued
from thimble.people.certificates.payload import square_text
from thimble.people.certificates.stating import Statement
from thimble.people.fold import Person
from thimble.people.identity import PersonIdentity
from thimble.web import clock
from thimble.web.access import account_of, can
from thimble.web.certificates.keys import CertificateKeys
from thimble.web.certificates.papers import DjangoPapers
from thimble.web.cohort.standings import asked_of
from thimble.web.context import get_people, get_site, today
from thimble.web.fitness.joined import of_people, of_person
from thimble.web.roles import LABELS, Role

DECIDES = "decide_fitness"
"""The capability without which nobody certifies otherwise than the tables say: a physician's."""


def keys() -> CertificateKeys:
    """The keys of this data folder."""
    return CertificateKeys(settings.DATA)


def basis_today(
    person: Person,
    identity: PersonIdentity | None,
    decisions: Mapping[str, FitnessDecision] | None = None,
) -> Basis:
    """What a certificate of somebody would rest on today.

    `decisions` are those about fitness that are in force, by person, where many are asked about at once.
    """
    site, born = get_site(), identity.birth_date if identity else None
    reference = person.reference
    decision = decision_today(reference) if decisions is None else decisions.get(reference)
    return basis_of(person, born, today(), asked_of(site), site.certificates_hold, decision)


def decision_today(person: str) -> FitnessDecision | None:
    """The decision about somebody's fitness in force, wherever it was made; None without any."""
    return of_person(person, clock.now()).holds


def decisions_today(people: Iterable[str]) -> dict[str, FitnessDecision]:
    """The decision about fitness in force of each of these people who has one."""
    found = of_people(people, clock.now()).items()
    return {person: each.holds for person, each in found if each.holds is not None}


def issue(
    request: HttpRequest,
    person: Person,
    identity: PersonIdentity | None,
    statement: Statement,
    *,
    valid_until: date | None = None,
    reason: str = "",
    expected_position: int | None = None,
    decisions: Mapping[str, FitnessDecision] | None = None,
) -> Paper:
    """Issue one certificate, all or nothing. `decisions` as in `basis_today`.

    Raises:
        Refused, Overtaken: see `actions.certificates.issue`.
        NotSigned: the key is missing.
    """
    account, now, site = account_of(request), clock.now(), get_site()
    with get_people().transaction():
        return acts.issue(
            get_people(),
            DjangoPapers(),
            lambda payload: keys().sign(payload, now),
            person.reference,
            identity,
            statement,
            basis_today(person, identity, decisions),
            issuer=site.name,
            protocol=site.protocol,
            valid_until=valid_until,
            reason=reason,
            decides=can(request, DECIDES),
            today=today(),
            now=now,
            by=account.pk,
            role=account.role,
            expected_position=expected_position,
        )


def check_address(number: str = "") -> str:
    """Where anybody checks a certificate, as browsers reach it."""
    path = (
        reverse("certificates:check_number", args=[number])
        if number
        else reverse("certificates:check")
    )
    return get_site().base_url + path


def printed(issued: Issued, paper: Paper, names: Mapping[str, str]) -> Printed:
    """A certificate as its paper has it; `names` are the display names of accounts."""
    role = LABELS[Role(issued.role)] if issued.role in set(Role) else ""
    return Printed(
        issued=issued,
        name=paper.name,
        born=paper.born,
        issued_by=", ".join(part for part in (names.get(issued.by, issued.by), role) if part),
        code=paper.code,
        square=square_text(check_address(issued.number), paper.proof, paper.salt),
    )
