"""Papers: each opens as a PDF, its name names nobody, and only those who treat may print."""

from __future__ import annotations

import io
from collections.abc import Callable
from datetime import timedelta

import pikepdf
import pytest
from django.test import Client
from django.urls import reverse

from thimble import actions
from thimble.clinical.vocabulary import VOCABULARY
from thimble.web.context import get_identities, get_store
from thimble.web.roles import GRANTED, Role

from .conftest import NIGHT

SignIn = Callable[[Role], Client]
OF_A_CASE = {"worker_plan": "worker-plan", "summary": "summary", "source_request": "source-request"}
FOR_ALL = {"ward_card": "ward-card", "downtime_pack": "downtime-pack"}


@pytest.fixture
def case(db: None) -> str:
    return actions.report(
        get_store(), facts={"route": "percutaneous", "fluid": "blood"},
        occurred_at=NIGHT - timedelta(hours=1), occurred_at_precision="minute",
        vocabulary=VOCABULARY, now=NIGHT, identities=get_identities(),
        worker=actions.WorkerIdentity(name="Tilda Brandt"),
    ).case  # fmt: skip


def opens(content: bytes) -> int:
    with pikepdf.open(io.BytesIO(content)) as document:
        return len(document.pages)


@pytest.mark.parametrize("name", OF_A_CASE)
def test_each_paper_of_a_case_opens_and_its_name_names_nobody(
    name: str, signed_in: SignIn, case: str
):
    response = signed_in(Role.OCCUPATIONAL_NURSE).get(reverse(f"papers:{name}", args=[case]))

    assert response["Content-Type"] == "application/pdf"
    assert opens(response.content) >= 1
    assert response["Content-Disposition"] == (
        f'inline; filename="thimble-{case}-{OF_A_CASE[name]}.pdf"'
    )


@pytest.mark.parametrize("name", FOR_ALL)
@pytest.mark.parametrize("role", [r for r in Role if "print_documents" in GRANTED[r]])
def test_every_clinical_role_prints_what_is_for_everybody(name: str, role: Role, signed_in: SignIn):
    response = signed_in(role).get(reverse(f"papers:{name}"))

    assert response.status_code == 200
    assert opens(response.content) >= 1
    assert f"thimble-{FOR_ALL[name]}.pdf" in response["Content-Disposition"]


@pytest.mark.parametrize("role", [Role.SAFETY_OFFICER, Role.ADMINISTRATOR])
def test_who_treats_nobody_prints_nothing(role: Role, signed_in: SignIn, case: str):
    client = signed_in(role)

    for name in OF_A_CASE:
        assert client.get(reverse(f"papers:{name}", args=[case])).status_code == 403
    for name in FOR_ALL:
        assert client.get(reverse(f"papers:{name}")).status_code == 403


def test_without_sight_of_the_source_the_request_is_not_offered(
    signed_in: SignIn, case: str, monkeypatch: pytest.MonkeyPatch
):
    role = Role.OCCUPATIONAL_NURSE
    monkeypatch.setitem(GRANTED, role, GRANTED[role] - {"see_source"})  # type: ignore[arg-type]
    client = signed_in(role)
    address = reverse("papers:source_request", args=[case])

    assert address not in client.get(reverse("papers:papers", args=[case])).content.decode()
    assert client.get(address).status_code == 403


def test_a_case_that_is_none_has_no_papers(signed_in: SignIn, db: None):
    client = signed_in(Role.EMERGENCY_CLINICIAN)

    assert client.get("/case/XXXX-XXXX/papers/summary.pdf").status_code == 404
