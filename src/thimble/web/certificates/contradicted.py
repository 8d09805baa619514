"""Whoever decides about fitness is told which certificates still say otherwise, and hold."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest

from thimble.actions.people import NoSuchPerson, person_of
from thimble.people.certificates.checking import Worth
from thimble.web import clock
from thimble.web.certificates.house import basis_today
from thimble.web.context import get_people, get_people_identities, today


def warn_of_certificates(request: HttpRequest, person: str) -> None:
    """Say on the next page which certificates of somebody disagree with what was just decided.

    Args:
        person: the reference of their file; "" where there is none for certain.
    """
    try:
        found = person_of(get_people(), person, clock.now())
    except NoSuchPerson:
        return
    standing = [each for each in found.certificates if each.worth(today(), None) is Worth.HOLDS]
    if not standing:
        return
    basis = basis_today(found, get_people_identities().identity(person))
    less = [each.number for each in standing if each.decided_less(basis.decided)]
    if less:
        messages.warning(
            request,
            f"Still out, and says more: certificate {', '.join(less)}. Whoever checks it is told that it "
            f"does not hold at present, and not why. Withdraw or confirm it in the file {person}.",
        )
    others = [each.number for each in standing if not basis.agrees(each.statement)]
    if others := [number for number in others if number not in less]:
        messages.warning(
            request,
            f"Still out, and says otherwise: certificate {', '.join(others)}. Whoever checks it is told "
            f"that it holds until it is withdrawn: do that in the file {person}.",
        )
