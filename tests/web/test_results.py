"""Results are entered, read and listed; what cannot be right comes back with the reason."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import datetime, timedelta

import pytest
from django.test import Client
from django.urls import reverse

from thimble import actions
from thimble.clinical.vocabulary import VOCABULARY
from thimble.ledger.entries import Kind
from thimble.web.context import get_store
from thimble.web.roles import Role

from .conftest import NIGHT
from .test_exposed import visible

pytestmark = pytest.mark.django_db
SignIn = Callable[[Role], Client]
OCCURRED = NIGHT - timedelta(hours=5)


@pytest.fixture
def case() -> str:
    return actions.report(
        get_store(), facts={"route": "percutaneous", "fluid": "blood"}, occurred_at=OCCURRED,
        occurred_at_precision="minute", vocabulary=VOCABULARY, now=OCCURRED,
    ).case  # fmt: skip


def page(client: Client, case: str) -> str:
    response = client.get(reverse("results:results", args=[case]))
    assert response.status_code == 200
    return response.text


def enter(client: Client, case: str, **typed: str):
    found = re.search(r'name="position" value="(\d+)"', page(client, case))
    assert found is not None
    given = {"position": found[1], "whose": "source", "status": "final", **typed}
    given = {key.replace("__", "-"): value for key, value in given.items()}
    return client.post(reverse("results:enter", args=[case]), given)


def last(case: str):
    return get_store().entries(case)[-1]


def test_who_treats_sees_the_results_and_nobody_else(case: str, signed_in: SignIn):
    for role in Role:
        treats = role not in (Role.SAFETY_OFFICER, Role.ADMINISTRATOR)
        client = signed_in(role)
        status = client.get(reverse("results:results", args=[case])).status_code
        assert status == (200 if treats else 403), role


def test_a_result_of_the_source_is_recorded_read_and_answers_the_question(
    case: str, signed_in: SignIn
):
    client = signed_in(Role.OCCUPATIONAL_NURSE)
    response = enter(
        client, case, word__hbsag="negative", day="2026-03-03", clock="01:00", specimen="S-17",
        laboratory="Central",
    )  # fmt: skip
    assert response.status_code == 302
    assert "Recorded." in client.get(response["Location"]).text
    assert "Recorded." not in page(client, case)

    body = last(case).body
    assert body["facts"]["source_hbsag"] == "negative"
    assert (body["of"], body["specimen"], body["laboratory"]) == ("source", "S-17", "Central")
    text = page(client, case)
    assert "Of the source patient" in text
    assert "specimen S-17" in text


def test_a_titre_with_a_comma_and_a_sign_is_read_as_typed(case: str, signed_in: SignIn):
    client = signed_in(Role.OCCUPATIONAL_NURSE)
    enter(client, case, whose="baseline", number__anti_hbs="7,9", sign__anti_hbs="=",
          day="2026-03-03", clock="02:00")  # fmt: skip

    (one,) = last(case).body["results"]
    assert (one["number"], one["unit"], one["comparator"]) == (7.9, "m[IU]/mL", "=")
    assert last(case).body["facts"]["worker_anti_hbs_now"] == 7.9
    assert last(case).body["drawn_for"] == "baseline"


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ({"word__hbsag": "negative", "whose": ""}, "whose blood"),
        ({}, "at least one test"),
        ({"word__hbsag": "certainly"}, "one of the words offered"),
        ({"number__anti_hbs": "ten"}, "write a number"),
        ({"number__anti_hbs": "1,000.5"}, "write a number"),
        ({"number__anti_hbs": "1,000"}, "can be read in two ways. Write 1000, or 1.000."),
        ({"number__anti_hbs": "1e3"}, "write a number"),
        ({"number__anti_hbs": "-12"}, "write a number"),
        ({"number__anti_hbs": "7", "unit__anti_hbs": "furlong"}, "choose its sign and unit"),
        ({"word__hbsag": "negative", "status": "rumour"}, "is final"),
    ],
)
def test_what_is_no_result_comes_back_with_all_that_was_typed(
    case: str, signed_in: SignIn, typed: dict[str, str], said: str
):
    client = signed_in(Role.OCCUPATIONAL_NURSE)
    response = enter(client, case, specimen="S-99", **typed)

    assert response.status_code == 422
    assert said in response.text
    assert 'value="S-99"' in response.text
    assert last(case).kind is Kind.REPORTED


def test_a_result_that_contradicts_the_record_is_recorded_only_after_somebody_looked(
    case: str, signed_in: SignIn
):
    client = signed_in(Role.OCCUPATIONAL_PHYSICIAN)
    actions.learn_facts(
        get_store(), case, {"source_hiv": "positive"}, said_by="record", vocabulary=VOCABULARY,
        now=OCCURRED, by="u", role="nurse",
    )  # fmt: skip
    typed = {"word__hiv_ag_ab": "negative", "day": "2026-03-03", "clock": "01:00"}
    doubted = enter(client, case, **typed)
    assert doubted.status_code == 422
    assert "cannot be right as it stands" in doubted.text
    assert "whose blood it was" in doubted.text
    assert last(case).kind is Kind.FACT_LEARNED

    assert enter(client, case, **typed, looked_at="Rang the laboratory.").status_code == 302
    assert last(case).body["looked_at"] == "Rang the laboratory."


def test_a_result_in_follow_up_is_read_against_the_baseline(case: str, signed_in: SignIn):
    client = signed_in(Role.OCCUPATIONAL_NURSE)
    enter(
        client, case, whose="baseline", word__anti_hcv="negative", day="2026-03-03", clock="01:00"
    )
    text = page(client, case)
    assert "At the exposure" in text
    assert "Hepatitis C" in text or "anti-HCV" in text
    enter(
        client, case, whose="follow_up", word__hcv_rna="positive", day="2026-03-03", clock="02:00"
    )

    text = page(client, case)
    assert "Since the exposure" in text
    assert "Next:" in text


def test_a_double_tap_records_once(case: str, signed_in: SignIn):
    client = signed_in(Role.OCCUPATIONAL_NURSE)
    position = re.search(r'name="position" value="(\d+)"', page(client, case))
    assert position is not None
    typed = {
        "position": position[1],
        "whose": "source",
        "status": "final",
        "word-hbsag": "negative",
    }
    for _ in range(2):
        assert client.post(reverse("results:enter", args=[case]), typed).status_code == 302

    kinds = [entry.kind for entry in get_store().entries(case)]
    assert kinds.count(Kind.RESULT_RECEIVED) == 1


def test_what_is_typed_is_escaped(case: str, signed_in: SignIn):
    client = signed_in(Role.OCCUPATIONAL_NURSE)
    enter(client, case, word__hbsag="negative", specimen="<b>S</b>")

    assert "<b>S</b>" not in page(client, case)


def test_nobody_makes_a_result_final_without_choosing_so(case: str, signed_in: SignIn) -> None:
    client = signed_in(Role.OCCUPATIONAL_NURSE)
    page = client.get(reverse("results:results", args=[case])).text
    statuses = re.findall(r'<input type="radio" name="status"[^>]*>', page)
    assert len(statuses) == 3
    assert not any("checked" in status for status in statuses)
    refused = enter(client, case, **{"word-hbsag": "negative", "status": ""})
    assert refused.status_code == 422
    assert "Say whether the result is final" in refused.text


def test_a_result_offers_to_record_the_drawing_that_nobody_wrote_down(case: str, signed_in: SignIn):
    client = signed_in(Role.OCCUPATIONAL_NURSE)
    enter(client, case, whose="baseline", word__anti_hcv="negative", day="2026-03-03",
          clock="01:00", specimen="S-20")  # fmt: skip
    text = page(client, case)
    (form,) = re.findall(r'<form class="undrawn".*?</form>', text, re.DOTALL)
    assert "taken Tue 3 Mar 2026, 01:00" in form
    typed = dict(re.findall(r'name="([^"]+)" value="([^"]*)"', form))
    assert typed["action"] == "baseline_hcv"

    assert client.post(reverse("desk:done", args=[case]), typed).status_code == 302
    entry = last(case)
    assert (entry.kind, entry.body["specimen"]) == (Kind.SAMPLE_TAKEN, "S-20")
    assert entry.happened_at == datetime.fromisoformat("2026-03-03T01:00:00+01:00")
    assert 'class="undrawn"' not in page(client, case)


ALT_ENTRY = {"whose": "follow_up", "day": "2026-03-03", "clock": "02:00"}


@pytest.mark.parametrize(
    ("number", "sign", "limit", "unit", "against"),
    [
        ("40", "=", "40", "U/L", "not_above"),
        ("40,1", "=", "40", "U/L", "above"),
        ("0.7", "=", "0,6", "ukat/L", "above"),
        ("40", "<", "40", "U/L", "not_above"),
        ("41", "<", "40", "U/L", None),
        ("40", ">", "40", "U/L", "above"),
        ("52", "=", "", "U/L", None),
    ],
)
def test_an_alt_typed_in_is_read_against_the_upper_limit_beside_it(
    case: str, signed_in: SignIn, number: str, sign: str, limit: str, unit: str, against: str | None
):
    response = enter(
        signed_in(Role.OCCUPATIONAL_NURSE), case, **ALT_ENTRY, number__alt=number, sign__alt=sign,
        unit__alt=unit, limit__alt=limit,
    )  # fmt: skip
    assert response.status_code == 302
    (result,) = last(case).body["results"]
    assert result.get("against_range") == against
    assert ("upper limit" in result["as_sent"]) == bool(limit)


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ({"limit__alt": "40"}, "write the number itself"),
        ({"number__alt": "52", "limit__alt": "0"}, "upper limit of the range is a number above 0"),
        ({"number__alt": "52", "limit__alt": "-4"}, "upper limit of the range"),
        ({"number__alt": "52", "limit__alt": "0-40"}, "upper limit of the range"),
        ({"number__alt": "52", "limit__alt": "1e9"}, "upper limit of the range"),
    ],
)
def test_a_range_that_is_none_comes_back_with_what_was_typed(
    case: str, signed_in: SignIn, typed: dict[str, str], says: str
):
    response = enter(signed_in(Role.OCCUPATIONAL_NURSE), case, **ALT_ENTRY, **typed)

    assert (response.status_code, says in response.text) == (422, True)
    assert f'value="{typed["limit__alt"]}"' in response.text


def test_the_upper_limit_is_asked_for_the_alt_alone(case: str, signed_in: SignIn):
    assert (
        page(signed_in(Role.OCCUPATIONAL_NURSE), case).count("Upper limit of the laboratory") == 1
    )


def test_a_raised_alt_typed_in_asks_for_something(case: str, signed_in: SignIn):
    """As one that came with a message: table `alt`."""
    client = signed_in(Role.OCCUPATIONAL_NURSE)
    enter(client, case, **ALT_ENTRY, number__alt="96", limit__alt="40")

    assert "above the laboratory" in page(client, case)


def test_nobody_reads_the_id_of_a_table_and_immunoglobulin_is_only_spoken_of_as_possible(
    case: str, signed_in: SignIn
) -> None:
    client = signed_in(Role.OCCUPATIONAL_NURSE)
    enter(client, case, whose="baseline", word__hbsag="negative", word__anti_hbc_total="negative",
          number__anti_hbs="120", word__anti_hcv="negative", day="2026-03-03", clock="02:00")  # fmt: skip
    said = visible(page(client, case))

    assert "If immunoglobulin was given: anti-HBs again, six months or more after it." in said
    assert re.findall(r"\b[a-z]+_[a-z_0-9]+", said) == []
