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
from thimble.web import clock
from thimble.web.context import get_identities, get_store
from thimble.web.desk.handling import read
from thimble.web.roles import GRANTED, Role
from thimble.web.source.steps import STEPS

from .conftest import NIGHT

SignIn = Callable[[Role], Client]
DOCTOR = Role.EMERGENCY_CLINICIAN
DECIDED = {"ground": "best_interests", "decided_by": "consultant on call"}
"""What a decision to test needs; other steps leave it aside."""


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


def _learn(case: str, facts: dict[str, Any]) -> None:
    actions.learn_facts(
        get_store(), case, facts, said_by="clinician", vocabulary=VOCABULARY, now=NIGHT,
        by="u-x", role="nurse",
    )  # fmt: skip


def test_what_is_recorded_of_the_source_stays_when_the_source_refuses(signed_in: SignIn, case: str):
    _learn(case, {"source_hiv": "positive", "source_hbsag": "positive", "source_hcv_rna":
                  "not_tested", "source_hiv_load": "unknown"})  # fmt: skip
    client = signed_in(DOCTOR)

    response = client.post(url("step", case), {"step": "refused", "position": 2}, follow=True)

    page = text_of(response)
    assert "What is already recorded of the source stays" in page
    assert [r.now for r in response.context["page"].stays] == ["HIV positive", "HBsAg positive"]
    assert "Only what is not known is treated as not known" in page
    # And so it is: the facts still stand.
    facts = read(case).situation.facts
    assert (facts["source_hiv"].value, facts["source_hbsag"].value) == ("positive", "positive")


def test_a_refusal_with_nothing_recorded_leaves_everything_not_known(signed_in: SignIn, case: str):
    client = signed_in(DOCTOR)
    page = text_of(client.post(url("step", case), {"step": "refused", "position": 1}, follow=True))

    assert "No result of the source is recorded" in page
    assert "already recorded of the source" not in page


def test_a_refusal_by_mistake_is_taken_back_whole_at_once_or_later(signed_in: SignIn, case: str):
    client = signed_in(DOCTOR)
    page = client.post(url("step", case), {"step": "refused", "position": 1}, follow=True)
    offered = page.context["page"].take_back
    assert (offered.entry, offered.label) == (2, "Refused")
    assert url("take_back", case) in text_of(page)
    assert client.get(url("source", case)).context["page"].take_back == offered

    after = client.post(url("take_back", case), {"entry": 2, "position": 3}, follow=True)

    situation = read(case).situation
    # What had been answered before stands again.
    assert situation.facts["source_access"].value == "testable"
    assert "refused" not in situation.source_steps
    assert kinds(case)[2:] == [Kind.CORRECTED] * 2
    assert after.context["page"].take_back is None
    assert "A refusal is no evidence" not in text_of(after)


@pytest.mark.parametrize("step", [s for s in STEPS if s != "sampled"])
def test_each_step_may_be_taken_back_right_after_it_and_leaves_nothing(
    step: str, signed_in: SignIn, case: str
):
    client = signed_in(DOCTOR)
    before = read(case)
    page = client.post(url("step", case), {"step": step, "position": 1, **DECIDED}, follow=True)
    offered = page.context["page"].take_back
    client.post(url("take_back", case), {"entry": offered.entry, "position": read(case).position})

    after = read(case)
    assert after.situation.facts == before.situation.facts
    assert after.situation.source_steps == {}
    assert after.plan.actions == before.plan.actions


def test_blood_taken_back_is_taken_back_for_each_test(signed_in: SignIn, case: str):
    _learn(case, {"source_hiv": "unknown", "source_hbsag": "unknown"})
    client = signed_in(DOCTOR)
    data = {"step": "sampled", "test": ["source_hiv_test", "source_hbsag_test"], "position": 2}
    page = client.post(url("step", case), data, follow=True)

    client.post(
        url("take_back", case),
        {"entry": page.context["page"].take_back.entry, "position": read(case).position},
    )
    assert "sampled" not in read(case).situation.source_steps
    assert kinds(case)[-2:] == [Kind.CORRECTED] * 2


def test_taking_back_takes_no_other_step_and_nothing_that_others_said_since(
    signed_in: SignIn, case: str
):
    client = signed_in(DOCTOR)
    client.post(url("step", case), {"step": "asked", "position": 1})
    client.post(url("step", case), {"step": "refused", "position": 2})
    _learn(case, {"source_access": "unidentified"})

    client.post(url("take_back", case), {"entry": 3, "position": 5})

    situation = read(case).situation
    assert set(situation.source_steps) == {"asked"}
    assert situation.facts["source_access"].value == "unidentified"


def test_taking_back_that_it_was_asked_leaves_the_answer_of_the_same_moment(
    signed_in: SignIn, case: str
):
    client = signed_in(DOCTOR)
    client.post(url("step", case), {"step": "asked", "position": 1})
    client.post(url("step", case), {"step": "refused", "position": 2})

    client.post(url("take_back", case), {"entry": 2, "position": 4})

    situation = read(case).situation
    assert set(situation.source_steps) == {"refused"}
    assert situation.facts["source_access"].value == "refuses"


def test_a_second_tap_takes_back_nothing_more_and_what_is_no_step_is_refused(
    signed_in: SignIn, case: str
):
    client = signed_in(DOCTOR)
    client.post(url("step", case), {"step": "refused", "position": 1})
    for _ in range(2):
        answer = client.post(url("take_back", case), {"entry": 2, "position": 3})
        assert answer.status_code == 302
    assert len(kinds(case)) == 4
    for entry in ("1", "3", "99", "x", ""):
        found = client.post(url("take_back", case), {"entry": entry, "position": 5})
        assert found.status_code == 404
    assert len(kinds(case)) == 4


def test_a_take_back_that_was_overtaken_waits_for_its_reader(
    signed_in: SignIn, make_account: Any, case: str
):
    client = signed_in(DOCTOR)
    client.post(url("step", case), {"step": "refused", "position": 1})
    actions.note(
        get_store(), case, "Asked again by the ward.", now=NIGHT,
        by=make_account(Role.OCCUPATIONAL_NURSE).pk, role="occupational_nurse",
    )  # fmt: skip

    response = client.post(url("take_back", case), {"entry": 2, "position": 3})

    assert response.status_code == 409
    assert "Asked again by the ward." in text_of(response)
    assert Kind.CORRECTED not in kinds(case)


def test_who_may_not_correct_is_offered_nothing_to_take_back(
    signed_in: SignIn, case: str, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setitem(GRANTED, DOCTOR, GRANTED[DOCTOR] - {"correct_entry"})  # type: ignore[arg-type]
    client = signed_in(DOCTOR)
    page = client.post(url("step", case), {"step": "refused", "position": 1}, follow=True)

    assert page.context["page"].take_back is None
    assert client.post(url("take_back", case), {"entry": 2, "position": 3}).status_code == 403
    assert Kind.CORRECTED not in kinds(case)


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


def test_the_page_says_first_what_comes_next_and_that_the_law_is_not_confirmed(
    signed_in: SignIn, case: str
):
    page = text_of(signed_in(DOCTOR).get(url("source", case)))

    assert "Ask the source patient for consent" in page
    assert "this site has not chosen its law" in page
    assert "rule not yet confirmed against its source" in page
    assert "Infectious diseases on call" in page


def test_who_asked_whom_is_kept_with_the_step(signed_in: SignIn, case: str):
    said = {"whom": "representative", "asker": "other_doctor", "blood_held": "yes"}
    signed_in(DOCTOR).post(url("step", case), {"step": "asked", "position": 1, **said})

    step = read(case).situation.source.steps[-1]
    assert {key: getattr(step, key) for key in said} == said
    assert "source_access" in read(case).situation.facts


def test_the_word_of_a_representative_alone_does_not_make_the_source_testable(
    signed_in: SignIn, db: None
):
    case = actions.report(
        get_store(),
        facts={"route": "percutaneous", "fluid": "blood"},
        occurred_at=NIGHT - timedelta(hours=1),
        occurred_at_precision="minute",
        vocabulary=VOCABULARY,
        now=NIGHT - timedelta(minutes=50),
    ).case
    signed_in(DOCTOR).post(
        url("step", case), {"step": "consented", "position": 1, "whom": "representative"}
    )

    assert "source_access" not in read(case).situation.facts


def test_a_decision_without_who_made_it_is_refused_and_keeps_what_was_typed(
    signed_in: SignIn, case: str
):
    given = {"step": "authorised", "position": 1, "ground": "court", "note": "by telephone"}
    response = signed_in(DOCTOR).post(url("step", case), given)

    assert response.status_code == 422
    assert "Write who decided" in text_of(response)
    assert "by telephone" in text_of(response)
    assert kinds(case) == []


def test_a_call_is_kept_with_whom_when_and_what_they_answered(signed_in: SignIn, case: str):
    client = signed_in(DOCTOR)
    client.post(url("step", case), {"step": "asked", "position": 1})
    given = {"to": "registrar", "outcome": "reached", "answer": "goes to the ward"}
    client.post(url("call", case), {**given, "position": read(case).position})

    [call] = read(case).situation.source.escalations
    assert (call.about, call.to, call.outcome) == ("await_answer", "registrar", "reached")
    assert "goes to the ward" in text_of(client.get(url("source", case)))


def test_a_call_without_what_came_of_it_is_refused_whole(signed_in: SignIn, case: str):
    given = {"to": "registrar", "answer": "goes to the ward", "position": 1}
    response = signed_in(DOCTOR).post(url("call", case), given)

    assert response.status_code == 422
    assert "goes to the ward" in text_of(response)
    assert kinds(case) == []


@pytest.mark.parametrize(("status", "settles"), [("positive", True), ("negative", False)])
def test_a_chart_settles_a_positive_and_no_negative(
    status: str, settles: bool, signed_in: SignIn, case: str
):
    given = {
        "infection": "hiv",
        "status": status,
        "evidence": "virology report",
        "evidence_on": "2025-12-01",
        "position": 1,
    }
    page = text_of(signed_in(DOCTOR).post(url("chart", case), given, follow=True))

    assert ("source_hiv" in read(case).situation.facts) is settles
    assert ("is no negative now" in page) is not settles


def test_a_chart_of_a_day_to_come_is_refused(signed_in: SignIn, case: str):
    given = {"infection": "hiv", "status": "negative", "evidence": "x", "evidence_on": "2026-03-09"}
    response = signed_in(DOCTOR).post(url("chart", case), {**given, "position": 1})

    assert response.status_code == 422
    assert kinds(case) == []


@pytest.mark.parametrize(("day", "status"), [("2026-03-04", 302), ("2026-03-05", 422)])
def test_after_midnight_a_chart_of_today_is_taken_though_it_is_yesterday_in_the_universal_calendar(
    day: str, status: int, signed_in: SignIn, case: str
):
    with clock.standing_at(datetime(2026, 3, 3, 23, 30, tzinfo=UTC)):
        given = {"infection": "hiv", "status": "negative", "evidence": "x", "evidence_on": day}
        response = signed_in(DOCTOR).post(url("chart", case), {**given, "position": 1})

    assert response.status_code == status


def test_the_desk_sends_to_the_page_of_the_source_and_records_no_step_itself(
    signed_in: SignIn, case: str
):
    client = signed_in(DOCTOR)
    client.post(url("step", case), {"step": "asked", "position": 1})
    before = kinds(case)
    done = {"action": "chase_await_answer", "position": read(case).position}
    client.post(reverse("desk:done", args=[case]), done)

    assert kinds(case) == before


def test_a_physician_settles_a_result_that_will_not_come_and_a_nurse_does_not(
    signed_in: SignIn, case: str
):
    actions.sample_source(get_store(), case, now=NIGHT, by="u-x", role="emergency_clinician")
    position = str(len(get_store().entries(case)))
    nurse = signed_in(Role.OCCUPATIONAL_NURSE)
    form = {"position": position, "reason": "sample lost"}
    assert nurse.post(url("settle", case), form).status_code == 403

    client = signed_in(DOCTOR)
    empty = client.post(url("settle", case), {**form, "reason": " "})
    assert empty.status_code == 422
    assert "Say why no result will come" in text_of(empty)
    assert "Get the source&#x27;s result" in text_of(client.get(url("source", case)))

    assert client.post(url("settle", case), form).status_code == 302
    page = text_of(client.get(url("source", case)))
    assert "Settle the plan without a result" not in page
    assert read(case).situation.facts["source_access"].value == "testable"
    history = text_of(client.get(reverse("history:history", args=[case])))
    assert "The plan is settled without the source&#x27;s result." in history


def test_the_page_says_how_long_each_step_took(signed_in: SignIn, case: str):
    begun = NIGHT - timedelta(minutes=50)
    who = {"by": "u-x", "role": "emergency_clinician"}
    actions.ask_source(get_store(), case, now=begun + timedelta(minutes=20), **who)
    actions.source_consents(get_store(), case, now=begun + timedelta(minutes=32), **who)
    page = text_of(signed_in(DOCTOR).get(url("source", case)))

    assert 'Asked 20 min after the report; <span class="quiet">target 1 hour</span></li>' in page
    assert (
        'Consented 12 min after being asked; <span class="quiet">target 1 hour</span></li>' in page
    )
    assert "<b>18 min since consent: take the source patient's blood</b>" in page.replace(
        "&#x27;", "'"
    )
    assert "common practice, not yet confirmed" in page
    assert "not known to the minute" not in page


def test_where_the_hour_of_the_exposure_is_not_known_nothing_is_called_within(
    signed_in: SignIn, db: None
):
    case = actions.report(
        get_store(), facts={"route": "percutaneous", "fluid": "blood"},
        occurred_at=NIGHT - timedelta(hours=2), occurred_at_precision="date",
        vocabulary=VOCABULARY, now=NIGHT - timedelta(minutes=5),
    ).case  # fmt: skip
    actions.ask_source(get_store(), case, now=NIGHT, by="u-x", role="emergency_clinician")
    page = text_of(signed_in(DOCTOR).get(url("source", case)))

    assert "The time of the exposure is not known to the minute" in page
    assert "Asked 5 min after the report" in page


def test_a_step_that_was_refused_comes_back_as_it_was_chosen(signed_in: SignIn, case: str):
    data = {
        "step": "asked", "whom": "representative", "asker": "", "blood_held": "unknown",
        "note": "ward 4", "when": "then", "day": "2099-01-01", "clock": "03:00", "position": 1,
    }  # fmt: skip
    response = signed_in(DOCTOR).post(url("step", case), data)
    page = text_of(response)

    assert response.status_code == 422
    assert re.findall(r'type="radio" name="whom" value="(\w+)" checked', page) == ["representative"]
    assert re.findall(r'type="radio" name="blood_held" value="(\w+)" checked', page) == ["unknown"]
    # The form of no other step shows what was typed in this one.
    assert page.count('value="2099-01-01"') == 1
    assert page.count('value="ward 4"') == 1


@pytest.mark.parametrize(
    ("name", "data", "said", "kept"),
    [
        ("call", {"answer": "at eight"}, "Choose what came of the call", 'value="at eight"'),
        (
            "chart",
            {"evidence": "virology report"},
            "Choose the infection",
            'value="virology report"',
        ),
        (
            "chart",
            {"infection": "hiv", "status": "negative", "evidence_on": "2026-01-02"},
            "Write what in the chart says so",
            'value="2026-01-02"',
        ),
        (
            "chart",
            {"infection": "hiv", "status": "negative", "evidence": "report"},
            "Enter the day of the evidence",
            'name="status" value="negative" checked',
        ),
    ],
)
def test_what_is_missing_on_the_other_forms_is_said_in_a_sentence(
    signed_in: SignIn, case: str, name: str, data: dict[str, str], said: str, kept: str
):
    actions.ask_source(get_store(), case, now=NIGHT, by="u-x", role="emergency_clinician")
    response = signed_in(DOCTOR).post(url(name, case), {**data, "position": 2})
    page = text_of(response)

    assert response.status_code == 422
    assert said in page
    assert kept in page
