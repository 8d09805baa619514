"""Fitness: results on record are offered with their day, and are facts only after a click."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta

import pytest
from django.test import Client
from django.urls import reverse

from thimble import actions
from thimble.actions import WorkerIdentity
from thimble.clinical.serology import Analyte, Quantity, Result, Status, Word
from thimble.clinical.vocabulary import VOCABULARY
from thimble.ledger.entries import Draft, Kind
from thimble.web import context
from thimble.web.context import get_identities, get_protocol, get_site, get_store
from thimble.web.fitness import views
from thimble.web.roles import Role

from .conftest import NIGHT
from .test_people import RESULT, enrolled

pytestmark = pytest.mark.django_db
SignIn = Callable[[Role], Client]
LOOK = {"rule_set": "uk_2023", "occasion": "clearance", "exposure_prone": "yes", "do": "look"}
TAKEN = NIGHT - timedelta(days=30)


@pytest.fixture
def case() -> str:
    case = actions.report(
        get_store(), facts={"route": "percutaneous", "fluid": "blood"}, occurred_at=NIGHT,
        occurred_at_precision="minute", vocabulary=VOCABULARY, now=NIGHT,
        identities=get_identities(),
        worker=WorkerIdentity(name="Ines Brindle", staff_number="00421"),
    ).case  # fmt: skip
    dna = Result(
        Analyte.HBV_DNA, "worker", Status.FINAL, TAKEN, NIGHT, None, Quantity(640, "[IU]/mL")
    )
    hbsag = Result(Analyte.HBSAG, "worker", Status.FINAL, TAKEN, NIGHT, Word.POSITIVE)
    for result in (hbsag, dna):
        actions.record_results(
            get_store(), case, [result], protocol=get_protocol(), site=get_site(), now=NIGHT,
            by="u-nurse", role="occupational_nurse", drawn_for="baseline",
            looked_at="Known before.", doubts_shown=True,
        )  # fmt: skip
    return case


def page(client: Client, case: str, **typed: str) -> str:
    answer = client.post(reverse("fitness:fitness", args=[case]), LOOK | typed)
    assert answer.status_code == 200
    return answer.text


def test_a_result_is_offered_with_its_day_and_is_no_fact_until_it_is_taken_over(
    signed_in: SignIn, case: str
) -> None:
    client = signed_in(Role.OCCUPATIONAL_PHYSICIAN)
    before = len(get_store().entries(case))
    text = page(client, case)
    assert "HBV DNA: 640 IU/mL" in text
    assert "taken 1 Feb 2026" in text
    assert 'value="640"' not in text
    assert "<b>No exposure-prone procedures</b>" not in text

    text = page(client, case, take="hbv_dna", anti_hcv="negative", reason="as typed")
    assert 'name="hbv_dna" value="640"' in text
    assert '<option value="negative" selected>' in text
    assert "as typed" in text
    assert "Taken over." in text
    assert 'name="take" value="hbsag"' in text
    text = page(client, case, take="hbsag", hbv_dna="640", hbv_dna_reported="number",
                hbv_sample="2026-02-01", hbv_treatment="on")  # fmt: skip
    assert "<b>No exposure-prone procedures</b>" in text
    assert 'name="hbv_sample" value="2026-02-01"' in text
    assert len(get_store().entries(case)) == before


def test_the_file_of_the_worker_adds_its_results_unless_it_may_be_somebody_elses(
    signed_in: SignIn, case: str
) -> None:
    nurse = signed_in(Role.OCCUPATIONAL_NURSE)
    rna = RESULT | {"test": "hcv_rna", "number": "3200", "unit": "{copies}/mL", "comparator": "=",
                    "word": "", "when": "2.2.2026"}  # fmt: skip
    kept = nurse.post(f"/people/{enrolled(nurse)}/add/result", rna)
    assert kept.status_code == 302
    client = signed_in(Role.OCCUPATIONAL_PHYSICIAN)
    text = page(client, case)
    assert "HCV RNA: 3200 copies/mL" in text
    assert "not verified" in text

    get_identities().save_worker(
        case, WorkerIdentity(name="Otto Other", staff_number="00421"), by="u-x", now=NIGHT
    )
    text = page(client, case)
    assert "somebody of another name" in text
    assert "HCV RNA: 3200" not in text


def test_the_rule_set_of_the_site_stands_in_the_form_and_another_may_be_chosen(
    signed_in: SignIn, case: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    client = signed_in(Role.OCCUPATIONAL_PHYSICIAN)
    address = reverse("fitness:fitness", args=[case])
    assert "No rule set chosen" in client.get(address).text
    site = replace(context.get_site(), fitness_rule_set="us_shea_2020")
    monkeypatch.setattr(views, "get_site", lambda: site)
    assert '<option value="us_shea_2020" selected>' in client.get(address).text
    assert '<option value="uk_2023" selected>' in page(client, case)
    assert "No rule set chosen" in page(client, case, rule_set="")


# -- whether follow-up is open ------------------------------------------------------------------------


CLEAR = {
    "source_hiv": "negative", "source_hiv_acute_illness": "no", "source_hbsag": "negative",
    "worker_hiv": "negative",
}  # fmt: skip


def exposed(staff_number: str = "00421", **facts: object) -> str:
    return actions.report(
        get_store(),
        facts={"route": "percutaneous", "fluid": "blood", "device": "hollow_bore_needle", **facts},
        occurred_at=NIGHT - timedelta(days=40), occurred_at_precision="minute",
        vocabulary=VOCABULARY, now=NIGHT, identities=get_identities(),
        worker=WorkerIdentity(name="Ines Brindle", staff_number=staff_number),
    ).case  # fmt: skip


def form(client: Client, case: str) -> str:
    return client.get(reverse("fitness:fitness", args=[case])).text


def answer_of(page: str, name: str) -> str:
    chosen = re.search(rf'name="{name}".*?</select>', page, re.DOTALL)
    picked = re.findall(r'value="(\w+)" selected', chosen[0]) if chosen else []
    return picked[0] if picked else ""


def test_open_follow_up_is_answered_with_the_day_of_the_exposure(signed_in: SignIn) -> None:
    case = exposed(source_hiv="positive", source_hiv_load="detectable", worker_hiv="negative")
    page = form(signed_in(Role.OCCUPATIONAL_PHYSICIAN), case)

    assert "Follow-up for HIV is open: " in page
    assert "exposed on Thu 22 Jan 2026" in page
    assert answer_of(page, "exposed_to_hiv") == "yes"


def test_that_none_is_open_is_offered_and_never_assumed(signed_in: SignIn) -> None:
    case = exposed(**CLEAR)
    client = signed_in(Role.OCCUPATIONAL_PHYSICIAN)
    page = form(client, case)

    assert "No follow-up for HIV" in page
    assert answer_of(page, "exposed_to_hiv") == ""
    look = {"rule_set": "uk_2023", "occasion": "after_exposure", "exposure_prone": "yes"}
    taken = client.post(
        reverse("fitness:fitness", args=[case]), {**look, "take": f"exposed_to_hiv:{case}"}
    ).text
    assert answer_of(taken, "exposed_to_hiv") == "no"
    assert answer_of(taken, "exposed_to_hbv") == ""


def test_a_plan_that_is_not_settled_says_neither(signed_in: SignIn) -> None:
    page = form(signed_in(Role.OCCUPATIONAL_PHYSICIAN), exposed(worker_hiv="negative"))

    assert "No follow-up for HIV" not in page
    assert answer_of(page, "exposed_to_hiv") == ""


def test_another_case_of_the_same_worker_counts_and_a_closed_one_does_not(
    signed_in: SignIn,
) -> None:
    client = signed_in(Role.OCCUPATIONAL_PHYSICIAN)
    enrolled(client, number="00421", family_name="Brindle", given_name="Ines")
    here = exposed(**CLEAR)
    other = exposed(source_hiv="positive", source_hiv_load="detectable", worker_hiv="negative")

    page = form(client, here)
    assert f"case {other}" in page
    assert answer_of(page, "exposed_to_hiv") == "yes"
    assert "No follow-up for HIV" not in page

    draft = Draft(Kind.CLOSED, NIGHT, {"reason": "source_negative", "text": ""})
    get_store().append(other, [draft], expected_position=None, by="u-x", role="x", now=NIGHT)
    page = form(client, here)
    assert f"case {other}" not in page
    assert answer_of(page, "exposed_to_hiv") == ""
