"""Who is exposed in the case that a page is about: a worker, or a patient to whom the blood came back."""

from __future__ import annotations

import json

from django.http import HttpRequest

from thimble.actions import read_reference
from thimble.ledger.entries import Kind
from thimble.ledger.linking import WORKER_CASE
from thimble.web.models import LedgerEntry

CASE = "ref"
"""The part of an address that names a case."""
KEPT = "_exposed_patient"


def patient_exposed(request: HttpRequest | None) -> bool:
    """Whether the exposed person of the case in the address is a patient; asked once a request."""
    if request is None:
        return False
    if not hasattr(request, KEPT):
        match = request.resolver_match
        setattr(request, KEPT, _of_a_patient(match.kwargs.get(CASE, "") if match else ""))
    return bool(getattr(request, KEPT))


def _of_a_patient(ref: str) -> bool:
    try:
        case = read_reference(ref)
    except ValueError:
        return False
    bodies = LedgerEntry.objects.filter(case=case, kind=Kind.LINKED.value).values_list(
        "body", flat=True
    )
    return any(json.loads(body).get("is") == WORKER_CASE for body in bodies)
