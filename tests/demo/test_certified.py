"""The demo's certificates, whatever day of the year it is built on."""

from __future__ import annotations

import tomllib
from datetime import UTC, datetime

import pytest

from people.files import people
from people.test_certificate_signing import PRIVATE
from thimble.actions.certificate_papers import MemoryPapers
from thimble.actions.people import person_of
from thimble.actions.people_identity import MemoryPeopleIdentities
from thimble.clinical.site import parse_site
from thimble.demo import certified, starters
from thimble.demo.hospital import SITE
from thimble.ledger.fitness import fitness_decisions
from thimble.people.certificates.checking import Worth
from thimble.people.certificates.signing import sign
from thimble.web.cohort.standings import asked_of


@pytest.mark.parametrize("day", ["2026-01-15", "2026-04-20", "2026-07-31", "2026-10-01"])
def test_one_holds_one_was_withdrawn_and_one_does_not_hold_at_present(day: str) -> None:
    now = datetime.fromisoformat(f"{day}T15:00").replace(tzinfo=UTC)
    site = parse_site(tomllib.loads(SITE.format(base_url="http://127.0.0.1:8717")))
    store, identities, papers = people(), MemoryPeopleIdentities(), MemoryPapers()
    nurse, physician = ("u1", "occupational_nurse"), ("u2", "occupational_physician")
    who = starters.build(store, identities, *nurse, now)
    certified.build(
        store, identities, papers, lambda payload: sign(payload, PRIVATE), who, site, asked_of(site),
        nurse, physician, now,
    )  # fmt: skip
    today = now.date()
    worth = [
        issued.worth(today, (fitness_decisions(store.entries(person), now) or (None,))[-1])
        for person in who
        for issued in person_of(store, person, now).certificates
    ]
    assert worth == [Worth.WITHDRAWN, Worth.HOLDS, Worth.NOT_AT_PRESENT]
