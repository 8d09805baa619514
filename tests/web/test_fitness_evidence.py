"""Fitness: results on record are offered with their day, and are facts only after a click."""

from __future__ import annotations

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
