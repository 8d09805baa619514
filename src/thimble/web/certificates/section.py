"""The certificates on a person's page."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest

from thimble.people.fold import Person
from thimble.people.identity import PersonIdentity
from thimble.web.access import can
from thimble.web.certificates.house import DECIDES, basis_today
from thimble.web.certificates.page import lines
from thimble.web.certificates.papers import DjangoPapers
from thimble.web.context import get_people, today
from thimble.web.people.found import account_names


def certificates_of(
    request: HttpRequest, person: Person, identity: PersonIdentity | None
) -> dict[str, Any]:
    """What the section shows, for the page's context."""
    numbers = [each.number for each in person.certificates]
    return {
        "may_certify": can(request, "certify_clearance"),
        "decides": can(request, DECIDES),
        "certificates": lines(
            person,
            get_people().entries(person.reference),
            basis_today(person, identity),
            today(),
            account_names(),
            tuple(DjangoPapers().papers(numbers)),
        )
        if numbers
        else (),
    }
