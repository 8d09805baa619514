"""Letters on the screen: who may print them, that nothing of a recipient is kept, and what is refused."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date

import pytest
from django.test import Client
from django.urls import reverse

from thimble import actions
from thimble.actions.identity import WorkerIdentity
from thimble.clinical.vocabulary import VOCABULARY
from thimble.ledger.follow_up.record import AgreedVisit
from thimble.web.context import get_identities, get_store
from thimble.web.models import IdentityLook
from thimble.web.roles import Role

from .conftest import NIGHT

pytestmark = pytest.mark.django_db
SignIn = Callable[[Role], Client]
NURSE = {"by": "u-nurse", "role": "occupational_nurse"}
REFERRAL = {
    "letter": "referral", "specialty": "hepatology", "question": "confirm",
    "recipient": "Dr. Ida Invented", "address": "House 2",
}  # fmt: skip


@pytest.fixture
def case() -> str:
    return actions.report(
        get_store(), facts={"route": "percutaneous", "fluid": "blood"}, occurred_at=NIGHT,
        occurred_at_precision="minute", vocabulary=VOCABULARY, now=NIGHT,
        identities=get_identities(), worker=WorkerIdentity(name="Zoë Sampleworth"),
    ).case  # fmt: skip


def test_the_dates_are_printed_once_some_are_agreed(case: str, signed_in: SignIn):
    client = signed_in(Role.OCCUPATIONAL_NURSE)
    url = reverse("papers:visit_dates", args=[case])
    refused = client.get(url)
    assert (refused.status_code, "Agree the visits first" in refused.text) == (409, True)
    assert not IdentityLook.objects.filter(case=case, where="letter").exists()

    visit = AgreedVisit(date(2026, 3, 24), ("follow_up_hcv_rna",))
    actions.agree_visits(get_store(), case, [visit], now=NIGHT, **NURSE)
    printed = client.get(url)
    assert (printed.status_code, printed.content[:5]) == (200, b"%PDF-")
    assert IdentityLook.objects.filter(case=case, where="letter").exists()


def test_a_missed_visit_is_written_about_once_it_is_recorded(case: str, signed_in: SignIn):
    client = signed_in(Role.OCCUPATIONAL_NURSE)
    url = reverse("papers:missed_visit", args=[case])
    assert client.get(url).status_code == 409
    day = date(2026, 3, 3)
    visit = AgreedVisit(day, ("follow_up_hcv_rna", "follow_up_hiv_12w"))
    actions.agree_visits(get_store(), case, [visit], now=NIGHT, **NURSE)
    actions.miss_visit(get_store(), case, day, today=day, now=NIGHT, **NURSE)
    assert client.get(url).content[:5] == b"%PDF-"
    assert "We expected you" in client.get(reverse("papers:papers", args=[case])).text


def test_without_a_result_none_is_explained_and_the_page_says_why(case: str, signed_in: SignIn):
    client = signed_in(Role.OCCUPATIONAL_NURSE)
    answer = client.get(reverse("papers:results_explained", args=[case]))
    assert (answer.status_code, "No result of the worker" in answer.text) == (409, True)
    papers = client.get(reverse("papers:papers", args=[case])).text
    assert "No letter “Results explained”. No result of the worker is on record." in papers


def test_a_referral_is_printed_and_its_recipient_kept_nowhere(case: str, signed_in: SignIn):
    client = signed_in(Role.OCCUPATIONAL_PHYSICIAN)
    before = len(get_store().entries(case))
    printed = client.post(reverse("papers:letters", args=[case]), REFERRAL)
    assert (printed.status_code, printed.content[:5]) == (200, b"%PDF-")
    assert "Invented" not in printed["Content-Disposition"]
    assert len(get_store().entries(case)) == before


@pytest.mark.parametrize(
    ("changes", "said"),
    [({"recipient": ""}, "to whom the letter goes"), ({"question": ""}, "with which question"),
     ({"specialty": "cooking"}, "with which question"), ({"letter": "love"}, "was not complete"),
     ({"letter": "general_practitioner"}, "has not agreed"), ({"address": "x" * 100}, "at most 80")],
)  # fmt: skip
def test_what_is_missing_is_said_and_what_was_typed_stays(
    case: str, signed_in: SignIn, changes: dict[str, str], said: str
):
    client = signed_in(Role.OCCUPATIONAL_PHYSICIAN)
    answer = client.post(reverse("papers:letters", args=[case]), {**REFERRAL, **changes})
    assert (answer.status_code, said in answer.text) == (422, True)
    if changes.get("letter") is None and "recipient" not in changes:
        assert "Dr. Ida Invented" in answer.text
    assert not IdentityLook.objects.filter(case=case, where="letter").exists()


def test_the_practitioner_is_written_to_once_the_worker_agreed_and_no_more_when_taken_back(
    case: str, signed_in: SignIn
):
    client = signed_in(Role.OCCUPATIONAL_PHYSICIAN)
    url = reverse("papers:letters", args=[case])
    form = {"letter": "general_practitioner", "recipient": "Dr. Otto Invented"}
    actions.worker_agrees(get_store(), case, "gp_letter", agreed=True, now=NIGHT, **NURSE)
    assert client.post(url, form).content[:5] == b"%PDF-"
    actions.worker_agrees(get_store(), case, "gp_letter", agreed=False, now=NIGHT, **NURSE)
    assert client.post(url, form).status_code == 422
