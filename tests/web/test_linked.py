"""Was the patient exposed too: the question, the one click, and who sees what of it."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse

from thimble import actions
from thimble.actions.identity import SourceIdentity, WorkerIdentity
from thimble.actions.linking import TOUCHED
from thimble.clinical.vocabulary import VOCABULARY
from thimble.ledger.entries import Kind
from thimble.web.context import get_identities, get_store
from thimble.web.models import LedgerEntry
from thimble.web.roles import Role

from .conftest import NIGHT

pytestmark = pytest.mark.django_db
SignIn = Callable[[Role], Client]


@pytest.fixture
def case() -> str:
    return actions.report(
        get_store(), facts={"route": "percutaneous", "fluid": "blood", "device": "blade"},
        occurred_at=NIGHT, occurred_at_precision="minute", vocabulary=VOCABULARY, now=NIGHT,
        identities=get_identities(), worker=WorkerIdentity(name="Zoë Sampleworth"),
        source=SourceIdentity(name="A. Nonesuch"),
    ).case  # fmt: skip


def at(case: str) -> dict[str, str]:
    return {"position": str(len(get_store().entries(case)))}


def opened(client: Client, case: str) -> str:
    """Answer that the patient was touched, open the patient's case, and give its reference."""
    client.post(reverse("linked:answer", args=[case]), {**at(case), "touched": "yes"})
    response = client.post(reverse("linked:open", args=[case]), at(case))
    assert response.status_code == 302
    return str(get_store().entries(case)[-1].body["case"])


def test_the_case_leads_to_the_question_and_one_click_opens_the_patients_case(
    case: str, signed_in: SignIn
):
    client = signed_in(Role.EMERGENCY_CLINICIAN)
    assert "Patient exposed too?" in client.get(reverse("desk:case", args=[case])).text
    question = client.get(reverse("linked:patient", args=[case])).text
    assert VOCABULARY[TOUCHED].question.replace("'", "&#x27;") in question
    assert "Open the patient" not in question

    other = opened(client, case)
    page = client.get(reverse("desk:case", args=[other])).text
    assert "The exposed person of this case is a patient" in page
    assert "A. Nonesuch" in page
    assert "Sampleworth" not in page
    assert other in client.get(reverse("desk:case", args=[case])).text


def test_both_stand_on_the_worklist_with_the_link(case: str, signed_in: SignIn):
    client = signed_in(Role.EMERGENCY_CLINICIAN)
    other = opened(client, case)
    listed = client.get(reverse("worklist:worklist")).text
    assert f"the patient is followed too: case {other}" in listed
    assert (
        f"the exposed person is a patient; the source is the injured worker of case {case}"
        in listed
    )


def test_a_second_click_opens_no_second_case(case: str, signed_in: SignIn):
    client = signed_in(Role.EMERGENCY_CLINICIAN)
    client.post(reverse("linked:answer", args=[case]), {**at(case), "touched": "yes"})
    form = at(case)
    first = client.post(reverse("linked:open", args=[case]), form)
    second = client.post(reverse("linked:open", args=[case]), form)
    assert (first.status_code, second.status_code) == (302, 302)
    assert second["Location"] == reverse("linked:patient", args=[case])
    assert LedgerEntry.objects.values("case").distinct().count() == 2


def test_nothing_is_opened_without_the_answer(case: str, signed_in: SignIn):
    client = signed_in(Role.EMERGENCY_CLINICIAN)
    refused = client.post(reverse("linked:open", args=[case]), at(case))
    assert (refused.status_code, "answer first" in refused.text) == (422, True)
    empty = client.post(reverse("linked:answer", args=[case]), {**at(case), "touched": "perhaps"})
    assert (empty.status_code, "Choose an answer" in empty.text) == (422, True)
    assert [e.kind for e in get_store().entries(case)] == [Kind.REPORTED]


def test_who_wrote_first_is_told_and_nothing_is_half_linked(case: str, signed_in: SignIn):
    client = signed_in(Role.EMERGENCY_CLINICIAN)
    client.post(reverse("linked:answer", args=[case]), {**at(case), "touched": "unknown"})
    old = at(case)
    actions.note(get_store(), case, "seen", now=NIGHT, by="u-2", role="occupational_nurse")
    late = client.post(reverse("linked:open", args=[case]), old)
    assert late.status_code == 409
    assert LedgerEntry.objects.values("case").distinct().count() == 1
