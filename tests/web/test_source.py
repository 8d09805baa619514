"""The source patient's pages: steps, results, and an identity that few see and every look records."""

from __future__ import annotations

import logging
import re
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from thimble import actions
from thimble.clinical.vocabulary import VOCABULARY
from thimble.ledger.entries import Kind
from thimble.web.context import get_identities, get_store
from thimble.web.roles import GRANTED, Role

from .conftest import NIGHT

SignIn = Callable[[Role], Client]
DOCTOR = Role.EMERGENCY_CLINICIAN


@pytest.fixture
def case(db: None) -> str:
    case = actions.report(
        get_store(),
        facts={"route": "percutaneous", "fluid": "blood", "source_access": "testable"},
        occurred_at=NIGHT - timedelta(hours=1),
        occurred_at_precision="minute",
        vocabulary=VOCABULARY,
        now=NIGHT - timedelta(minutes=50),
    ).case
    get_identities().save_source(
        case,
        actions.SourceIdentity(name="Wendel Osterloh", date_of_birth=date(1951, 4, 2)),
        by="u-x",
        now=NIGHT,
    )
    return case


def url(name: str, case: str) -> str:
    return reverse(f"source:{name}", args=[case])


def text_of(response: Any) -> str:
    return re.sub(r"\s+", " ", response.content.decode())


def kinds(case: str) -> list[Kind]:
    return [entry.kind for entry in get_store().entries(case)][1:]


def test_the_page_names_nobody(signed_in: SignIn, case: str):
    page = text_of(signed_in(DOCTOR).get(url("source", case)))

    assert "Osterloh" not in page
    assert "1951" not in page
    assert "Asked for consent" in page


@pytest.mark.parametrize("role", [Role.SAFETY_OFFICER, Role.ADMINISTRATOR])
@pytest.mark.parametrize("name", ["source", "identity"])
def test_who_treats_nobody_sees_no_source(role: Role, name: str, signed_in: SignIn, case: str):
    response = signed_in(role).get(url(name, case))

    assert response.status_code == 403
    assert "Osterloh" not in text_of(response)


def test_a_role_without_the_permission_sees_no_identity(
    signed_in: SignIn, case: str, monkeypatch: pytest.MonkeyPatch
):
    """The permission is separate: a role may follow the steps and still not see who it is."""
    monkeypatch.setitem(GRANTED, DOCTOR, GRANTED[DOCTOR] - {"see_source_identity"})  # type: ignore[arg-type]
    client = signed_in(DOCTOR)

    assert url("identity", case) not in text_of(client.get(url("source", case)))
    refused = client.get(url("identity", case))
    assert refused.status_code == 403
    assert "Osterloh" not in text_of(refused)


class _Kept(logging.Handler):
    def __init__(self) -> None:
        super().__init__()
        self.records: list[logging.LogRecord] = []

    def emit(self, record: logging.LogRecord) -> None:
        self.records.append(record)


def test_each_look_at_the_identity_is_logged_without_the_name(signed_in: SignIn, case: str):
    client, kept = signed_in(DOCTOR), _Kept()
    events = logging.getLogger("thimble.events")
    events.addHandler(kept)
    try:
        pages = [text_of(client.get(url("identity", case))) for _ in range(2)]
    finally:
        events.removeHandler(kept)

    assert all("Wendel Osterloh" in page for page in pages)
    looks = [vars(r) for r in kept.records if r.getMessage() == "source_identity_viewed"]
    assert [(r["case"], bool(r["account"])) for r in looks] == [(case, True)] * 2
    assert "Osterloh" not in str([vars(r) for r in kept.records])
    assert kinds(case) == []


def test_a_saved_identity_never_reaches_the_ledger(signed_in: SignIn, case: str):
    response = signed_in(DOCTOR).post(
        url("identity", case), {"name": "Gesa Immendorf", "date_of_birth": "1960-02-03"}
    )

    assert response.status_code == 302
    assert "Immendorf" not in response["Location"]
    saved = get_identities().source(case)
    assert saved is not None
    assert (saved.name, saved.date_of_birth) == ("Gesa Immendorf", date(1960, 2, 3))
    assert kinds(case) == []


def test_asking_is_recorded_and_completes_what_the_plan_asks(signed_in: SignIn, case: str):
    signed_in(DOCTOR).post(url("step", case), {"step": "asked", "position": 1})

    entry = get_store().entries(case)[-1]
    assert (entry.kind, entry.body["action"]) == (Kind.SOURCE_ASKED, "ask_source")


def test_a_refusal_is_never_evidence_of_infection(signed_in: SignIn, case: str):
    client = signed_in(DOCTOR)

    page = text_of(client.post(url("step", case), {"step": "refused", "position": 1}, follow=True))

    entries = get_store().entries(case)
    assert kinds(case) == [Kind.SOURCE_REFUSED, Kind.FACT_LEARNED]
    assert entries[-1].body["facts"] == {"source_access": "refuses"}
    assert not any("source_hiv" in e.body.get("facts", {}) for e in entries)
    assert "A refusal is no evidence of infection" in page


def test_blood_is_recorded_for_each_test_that_was_ticked(signed_in: SignIn, case: str):
    client = signed_in(DOCTOR)
    actions.learn_facts(
        get_store(), case, {"source_hiv": "unknown", "source_hbsag": "unknown"},
        said_by="clinician", vocabulary=VOCABULARY, now=NIGHT, by="u-x", role="nurse",
    )  # fmt: skip
    data = {"step": "sampled", "test": ["source_hiv_test", "source_hbsag_test"], "position": 2}

    assert client.post(url("step", case), data).status_code == 302

    taken = [e for e in get_store().entries(case) if e.kind is Kind.SOURCE_SAMPLED]
    assert [e.body["action"] for e in taken] == ["source_hiv_test", "source_hbsag_test"]


def test_blood_for_nothing_is_asked_again(signed_in: SignIn, case: str):
    response = signed_in(DOCTOR).post(
        url("step", case), {"step": "sampled", "note": "left arm", "position": 1}
    )

    assert response.status_code == 422
    assert 'value="left arm"' in text_of(response)
    assert kinds(case) == []


def test_a_result_is_what_the_laboratory_said_and_shows_what_it_changed(
    signed_in: SignIn, case: str
):
    data = {"source_hiv": "negative", "source_hbsag": "", "when": "then", "day": "2026-03-03",
            "clock": "02:30", "position": 1}  # fmt: skip

    page = text_of(signed_in(DOCTOR).post(url("result", case), data, follow=True))

    entry = get_store().entries(case)[-1]
    assert entry.kind is Kind.RESULT_RECEIVED
    # A test that was left as it is stays unasked.
    assert entry.body["facts"] == {"source_hiv": "negative"}
    assert entry.happened_at == datetime(2026, 3, 3, 1, 30, tzinfo=UTC)
    assert "What this changed" in page
    assert "HIV prophylaxis" in page


@pytest.mark.parametrize(
    "data",
    [{}, {"source_hiv": "unknown"}, {"source_hcv_rna": "not_tested"}, {"source_hiv": "maybe"}],
)
def test_what_is_no_result_is_not_recorded_as_one(
    data: dict[str, str], signed_in: SignIn, case: str
):
    response = signed_in(DOCTOR).post(url("result", case), {**data, "position": 1})

    assert response.status_code == 422
    assert kinds(case) == []


def test_a_result_that_was_overtaken_is_kept(signed_in: SignIn, make_account: Any, case: str):
    client = signed_in(DOCTOR)
    actions.note(
        get_store(), case, "Waiting for the laboratory.", now=NIGHT,
        by=make_account(Role.OCCUPATIONAL_NURSE).pk, role="occupational_nurse",
    )  # fmt: skip

    response = client.post(url("result", case), {"source_hiv": "negative", "position": 1})

    page = text_of(response)
    assert response.status_code == 409
    assert "Waiting for the laboratory." in page
    assert '<input type="hidden" name="source_hiv" value="negative">' in page
    assert kinds(case) == [Kind.NOTED]
