"""The end of a case on its page: what is left stands in sight, and who may leave it."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse

from thimble import actions
from thimble.clinical.vocabulary import VOCABULARY
from thimble.ledger.entries import Kind
from thimble.web.context import get_store
from thimble.web.roles import GRANTED, Role

from .conftest import NIGHT

pytestmark = pytest.mark.django_db
SignIn = Callable[[Role], Client]
NURSE, PHYSICIAN = Role.OCCUPATIONAL_NURSE, Role.OCCUPATIONAL_PHYSICIAN
FIRST_AID = "Give first aid to the exposed site at once"


def reported() -> str:
    return actions.report(
        get_store(), facts={"route": "percutaneous", "fluid": "blood"}, occurred_at=NIGHT,
        occurred_at_precision="minute", vocabulary=VOCABULARY, now=NIGHT,
    ).case  # fmt: skip


@pytest.fixture
def case() -> str:
    return reported()


def address(case: str) -> str:
    return reverse("closing:closing", args=[case])


def kinds(case: str) -> list[Kind]:
    return [entry.kind for entry in get_store().entries(case)]


@pytest.mark.parametrize("role", Role)
def test_who_may_close_sees_the_page_and_nobody_else(role: Role, signed_in: SignIn, case: str):
    allowed = "close_case" in GRANTED[role]
    client = signed_in(role)
    assert client.get(address(case)).status_code == (200 if allowed else 403)
    sent = client.post(address(case), {"reason": "duplicate", "text": reported(), "position": 1})
    assert sent.status_code == (302 if allowed else 403)
    assert (Kind.CLOSED in kinds(case)) is allowed


def test_what_is_left_and_what_is_open_stand_on_the_page(signed_in: SignIn, case: str):
    page = signed_in(PHYSICIAN).get(address(case)).text
    assert "Something is left" in page
    assert FIRST_AID in page
    assert "HIV prophylaxis" in page
    assert reverse("desk:otherwise", args=[case, "first_aid"]) in page
    assert f"{reverse('desk:case', args=[case])}#action-first_aid" in page
    assert "not while something is left, open or not clear" in page


def test_a_nurse_leaves_what_is_left_to_the_physician(signed_in: SignIn, case: str):
    client = signed_in(NURSE)
    assert "a physician decides: something is left" in client.get(address(case)).text
    said = {"reason": "lost_to_follow_up", "text": "Called thrice", "position": 1}

    refused = client.post(address(case), said)
    assert refused.status_code == 422
    assert "ask a physician" in refused.text
    assert "Called thrice" in refused.text
    assert kinds(case) == [Kind.REPORTED]

    assert signed_in(PHYSICIAN).post(address(case), said).status_code == 302
    assert get_store().entries(case)[-1].body["left"]


@pytest.mark.parametrize(
    ("sent", "told"),
    [
        ({"position": 1}, "Choose why the case is closed"),
        ({"reason": "tired", "position": 1}, "Choose why the case is closed"),
        ({"reason": "all_clear", "position": 1}, "That is no all clear"),
        ({"reason": "transferred", "position": 1}, "say why they may be left"),
        ({"reason": "transferred", "text": "x"}, "Load it anew"),
    ],
)
def test_what_cannot_be_is_refused_in_a_sentence(sent, told: str, signed_in: SignIn, case: str):
    refused = signed_in(PHYSICIAN).post(address(case), sent)
    assert refused.status_code == 422
    assert told in refused.text
    assert kinds(case) == [Kind.REPORTED]


def test_who_wrote_first_is_told_before_the_case_is_closed(signed_in: SignIn, case: str):
    actions.note(get_store(), case, "Wait", now=NIGHT, by="u-1", role=NURSE.value)
    said = {"reason": "transferred", "text": "Elsewhere", "position": 1}
    overtaken = signed_in(PHYSICIAN).post(address(case), said)
    assert overtaken.status_code == 409
    assert "Elsewhere" in overtaken.text
    assert Kind.CLOSED not in kinds(case)


def test_a_closed_case_is_not_closed_again(signed_in: SignIn, case: str):
    client = signed_in(PHYSICIAN)
    said = {"reason": "transferred", "text": "Elsewhere", "position": 1}
    client.post(address(case), said)
    assert "closed already" in client.get(address(case)).text
    again = client.post(address(case), {**said, "text": "Again", "position": 2})
    assert again.status_code == 422
    assert kinds(case).count(Kind.CLOSED) == 1
