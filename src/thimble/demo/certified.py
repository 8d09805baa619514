"""Certificates of invented people: one holds, one was withdrawn, one does not hold at present."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any

from thimble import actions
from thimble.actions import certificates as acts
from thimble.actions import people as people_acts
from thimble.actions.certificate_papers import CertificatePapers, Paper
from thimble.actions.people_identity import PeopleIdentities
from thimble.clinical.site import Site
from thimble.people.certificates.basis import Basis, basis_of
from thimble.people.certificates.stating import Statement
from thimble.people.readiness import Asked

RUNS_OUT_IN = timedelta(days=21)
REVIEW_IN = timedelta(days=90)


def build(
    store: people_acts.People,
    identities: PeopleIdentities,
    papers: CertificatePapers,
    signs: acts.Signs,
    who: Sequence[str],
    site: Site,
    asked: Asked,
    nurse: tuple[str, str],
    physician: tuple[str, str],
    now: datetime,
) -> None:
    """Certify two of those of whom everything asked for is met, on behalf of the nurse; then a physician
    restricts the second. `nurse` and `physician` are an account and its role."""
    today = now.astimezone(site.zone).date()
    known = identities.all_identities()

    def basis(person: str) -> Basis:
        held = people_acts.person_of(store, person, now)
        return basis_of(held, known[person].birth_date, today, asked)

    def issue(person: str, **more: Any) -> Paper:
        return acts.issue(
            store, papers, signs, person, known[person], Statement(), basis(person), issuer=site.name,
            protocol=site.protocol, decides=False, today=today, now=now, by=nurse[0], role=nurse[1], **more,
        )  # fmt: skip

    first, second = [person for person in who if basis(person).met][:2]
    misspelt = issue(first)
    acts.withdraw(
        store, first, misspelt.number, reason="the name was misspelt", now=now, by=nurse[0],
        role=nurse[1],
    )  # fmt: skip
    issue(first, valid_until=today + RUNS_OUT_IN)
    issue(second)
    verdict = actions.FitnessVerdict(
        "fit_with_restriction",
        "no_exposure_prone_for_now",
        today + REVIEW_IN,
        "the samples before exposure-prone procedures are not back",
    )
    actions.decide_fitness_of_person(
        store, second, verdict, facts={"rule_set": "us_shea_2020", "occasion": "clearance"}, days={},
        today=today, now=now, by=physician[0], role=physician[1],
    )  # fmt: skip
