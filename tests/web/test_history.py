"""The history: every entry in words, corrections linked both ways, the case as known at a moment."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from thimble import actions
from thimble.clinical.vocabulary import VOCABULARY
from thimble.web.context import get_store
from thimble.web.roles import Role

from .conftest import NIGHT

SignIn = Callable[[Role], Client]
DOCTOR = Role.EMERGENCY_CLINICIAN
BY: dict[str, Any] = {"by": "u-x", "role": "emergency_clinician"}


@pytest.fixture
def case(db: None) -> str:
    """Reported 01:40; the source said to be HIV negative at 02:00, corrected at 02:20."""
    store = get_store()
    case = actions.report(
        store, facts={"route": "percutaneous"}, occurred_at=NIGHT - timedelta(minutes=70),
        occurred_at_precision="minute", vocabulary=VOCABULARY, now=NIGHT - timedelta(minutes=60),
    ).case  # fmt: skip
    actions.learn_facts(
        store, case, {"source_hiv": "negative"}, said_by="clinician", vocabulary=VOCABULARY,
        now=NIGHT - timedelta(minutes=40), **BY,
    )  # fmt: skip
    actions.correct(
        store, case, 2, reason="Another patient's result.", withdrawn=True,
        vocabulary=VOCABULARY, now=NIGHT - timedelta(minutes=20), **BY,
    )  # fmt: skip
    actions.depart(
        store, case, subject="hiv_pep", advised="Still open", decided="Start it",
        reason="Deep needle.", now=NIGHT - timedelta(minutes=10), **BY,
    )  # fmt: skip
    return case


def page_of(client: Client, case: str, **query: str) -> str:
    response = client.get(reverse("history:history", args=[case]), query)
    return re.sub(r"\s+", " ", response.content.decode())


def numbers(page: str) -> list[int]:
    return [int(n) for n in re.findall(r'id="entry-(\d+)"', page)]


def test_the_newest_entry_stands_first_unless_asked_otherwise(signed_in: SignIn, case: str):
    client = signed_in(DOCTOR)

    assert numbers(page_of(client, case)) == [4, 3, 2, 1]
    assert numbers(page_of(client, case, order="oldest")) == [1, 2, 3, 4]


def test_a_correction_and_what_it_corrects_lead_to_each_other(signed_in: SignIn, case: str):
    page = page_of(signed_in(DOCTOR), case)

    assert '<a href="#entry-2">Corrects entry 2</a>' in page
    assert '<a href="#entry-3">Corrected by entry 3</a>' in page
    assert "withdrawn" in page


def test_a_departure_is_visible_with_its_reason(signed_in: SignIn, case: str):
    page = page_of(signed_in(DOCTOR), case)

    assert "Decided: Start it" in page
    assert "Reason: Deep needle." in page
    assert "entry--departure" in page


def test_each_entry_shows_who_and_its_digest(signed_in: SignIn, case: str):
    page = page_of(signed_in(DOCTOR), case)

    for entry in get_store().entries(case):
        assert entry.digest[:12] in page
    assert "The worker" in page


def test_as_known_then_shows_the_facts_and_entries_of_then(signed_in: SignIn, case: str):
    client = signed_in(DOCTOR)

    before = page_of(client, case, day="2026-03-03", clock="01:50")
    wrong = page_of(client, case, day="2026-03-03", clock="02:10")
    after = page_of(client, case, day="2026-03-03", clock="02:20")

    assert numbers(before) == [1]
    assert numbers(wrong) == [2, 1]
    assert numbers(after) == [3, 2, 1]
    assert "<b>Tested negative</b>" in wrong
    assert "<b>Tested negative</b>" not in before
    # Taken back: not known again, and never read as the opposite.
    assert "<b>Tested negative</b>" not in after
    assert "<b>HIV positive</b>" not in after


def test_a_plan_of_then_offers_nothing_to_record(signed_in: SignIn, case: str):
    page = page_of(signed_in(DOCTOR), case, day="2026-03-03", clock="02:10")

    assert "As known at" in page
    assert 'method="post" action="/case/' not in page
    assert "Decide otherwise" not in page


@pytest.mark.parametrize(
    ("day", "at", "words"),
    [
        ("2026-03-03", "01:00", "Nothing was recorded by then"),
        ("2026-03-03", "02:41", "not come yet"),
        ("yesterday", "02:10", "Enter the day"),
        ("2026-03-03", "25:00", "Enter the time"),
    ],
)
def test_a_moment_that_cannot_be_shown_is_said(
    day: str, at: str, words: str, signed_in: SignIn, case: str
):
    page = page_of(signed_in(DOCTOR), case, day=day, clock=at)

    assert words in page
    assert numbers(page) == [4, 3, 2, 1]


@pytest.mark.parametrize("role", [Role.SAFETY_OFFICER, Role.ADMINISTRATOR])
def test_who_treats_nobody_reads_no_history(role: Role, signed_in: SignIn, case: str):
    client = signed_in(role)

    assert client.get(reverse("history:history", args=[case])).status_code == 403
