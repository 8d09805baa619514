"""Fitness on its page: who may see it, what is recorded, and what a manager's paper does not tell."""

from __future__ import annotations

import re
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest
from django.test import Client
from django.urls import reverse

from thimble import actions
from thimble.clinical.fitness import tables, vocabulary
from thimble.clinical.serology import measures
from thimble.clinical.vocabulary import VOCABULARY
from thimble.ledger.entries import Kind
from thimble.web.context import get_store
from thimble.web.roles import GRANTED, Role

from .conftest import NIGHT

pytestmark = pytest.mark.django_db
SignIn = Callable[[Role], Client]
PHYSICIAN = Role.OCCUPATIONAL_PHYSICIAN
SURGEON = {
    "rule_set": "uk_2023", "occasion": "clearance", "exposure_prone": "yes", "hbsag": "positive",
    "hbv_dna_reported": "number", "hbv_dna": "640", "hbv_treatment": "on", "anti_hcv": "negative",
    "hiv": "negative",
}  # fmt: skip
DECISION = {"do": "decide", "outcome": "fit_with_restriction", "restriction": "no_exposure_prone",
            "review_on": "2099-09-01", "reason": "", "position": "1"}  # fmt: skip
SECRET = "tenofovir since spring"


@pytest.fixture
def case() -> str:
    return actions.report(
        get_store(), facts={"route": "percutaneous", "fluid": "blood"}, occurred_at=NIGHT,
        occurred_at_precision="minute", vocabulary=VOCABULARY, now=NIGHT,
    ).case  # fmt: skip


def address(case: str, name: str = "fitness:fitness") -> str:
    return reverse(name, args=[case])


@pytest.mark.parametrize("role", Role)
def test_the_physician_alone_sees_and_decides(role: Role, signed_in: SignIn, case: str) -> None:
    allowed = role is PHYSICIAN
    assert ("decide_fitness" in GRANTED[role]) is allowed
    client = signed_in(role)
    assert client.get(address(case)).status_code == (200 if allowed else 403)
    assert client.post(address(case), SURGEON | DECISION).status_code == (302 if allowed else 403)
    assert client.get(reverse("fitness:reviews")).status_code == (200 if allowed else 403)
    decided = [e for e in get_store().entries(case) if e.kind is Kind.FITNESS_DECIDED]
    assert bool(decided) is allowed


def test_looking_tells_the_answer_with_its_rule_set_and_records_nothing(
    signed_in: SignIn, case: str
) -> None:
    client = signed_in(PHYSICIAN)
    page = client.post(address(case), SURGEON | {"do": "look"}).text
    assert "No exposure-prone procedures" in page
    assert "UK integrated guidance, November 2023 edition" in page
    assert tables().digest[:16] in page
    assert [e.kind for e in get_store().entries(case)] == [Kind.REPORTED]
    (rule,) = re.findall(r'href="(/protocol/hbv_clearance/[^"]+)"', page)
    assert rule == "/protocol/hbv_clearance/?of=fitness&amp;rule=HBV-04#HBV-04"
    assert "HBV-04" in client.get(rule.replace("&amp;", "&")).text
    us = SURGEON | {"do": "look", "rule_set": "us_shea_2020", "panel": "agreed",
                    "hbv_sample": "2026-03-01"}  # fmt: skip
    assert "<b>Fit</b>" in client.post(address(case), us).text


def test_a_decision_keeps_what_it_rested_on(signed_in: SignIn, case: str) -> None:
    client = signed_in(PHYSICIAN)
    assert client.post(address(case), SURGEON | DECISION).status_code == 302
    body = get_store().entries(case)[-1].body
    assert body["rule_set"] == "uk_2023"
    assert body["protocol"]["digest"] == tables().digest
    assert body["fitness_facts"]["hbv_dna"] == 640
    assert any(rule.startswith("HBV-") for rule in body["rules"])
    assert case in client.get(reverse("fitness:reviews")).text


def test_the_list_tells_a_test_that_is_overdue(signed_in: SignIn, case: str) -> None:
    client = signed_in(PHYSICIAN)
    assert client.post(address(case), SURGEON | DECISION).status_code == 302
    assert "overdue" not in client.get(reverse("fitness:reviews")).text
    late = SURGEON | DECISION | {"position": "2", "hbv_sample": "2020-01-06", "hbv_dna": "150",
                                 "restriction": "no_exposure_prone_for_now", "reason": "late"}  # fmt: skip
    assert client.post(address(case), late).status_code == 302
    page = client.get(reverse("fitness:reviews")).text
    assert "Hepatitis B, Mon 6 Jul 2020 <strong>overdue</strong>" in page
    again = client.get(address(case)).text
    assert '<option value="uk_2023" selected>' in again
    assert 'value="640"' not in again


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"restriction": "no_exposure_prone_for_now"}, "Reason must say why"),
        ({"rule_set": ""}, "hoose the rule set"),
        ({"outcome": ""}, "Say what you decide"),
        ({"review_on": "soon"}, "found “soon”"),
        ({"review_on": ""}, "Give the day of review"),
        ({"outcome": "fit_with_restriction", "restriction": "none"}, "choose which restriction"),
        ({"outcome": "fit", "restriction": "no_exposure_prone"}, "goes with “Fit with a"),
        ({"review_on": "2020-01-01"}, "day of review lies after"),
        ({"hbv_dna": "many"}, "found “many”"),
        ({"hbsag": "perhaps"}, "Choose one of the answers"),
    ],
)
def test_what_does_not_fit_is_refused_whole(
    change: dict[str, str], said: str, signed_in: SignIn, case: str
) -> None:
    sent = signed_in(PHYSICIAN).post(address(case), SURGEON | DECISION | change)
    assert sent.status_code == 422
    assert said in sent.text
    assert [e.kind for e in get_store().entries(case)] == [Kind.REPORTED]


def test_a_departure_with_its_reason_is_recorded(signed_in: SignIn, case: str) -> None:
    change = {"restriction": "no_exposure_prone_for_now", "reason": "Repeat is under way"}
    sent = signed_in(PHYSICIAN).post(address(case), SURGEON | DECISION | change)
    assert sent.status_code == 302
    assert get_store().entries(case)[-1].body["proposed"]["restriction"] == "no_exposure_prone"


def test_the_managers_letter_tells_nothing_clinical(
    signed_in: SignIn, case: str, tmp_path: Path
) -> None:
    client = signed_in(PHYSICIAN)
    assert client.get(address(case, "fitness:letter")).status_code == 404
    client.post(address(case), SURGEON | DECISION | {"reason": SECRET})
    answer = client.get(address(case, "fitness:letter"))
    assert case not in answer["Content-Disposition"]
    (tmp_path / "letter.pdf").write_bytes(answer.content)
    text = subprocess.run(
        ["pdftotext", "-layout", str(tmp_path / "letter.pdf"), "-"],
        check=True, capture_output=True, text=True,
    ).stdout  # fmt: skip
    words = " ".join(text.split()).lower()
    assert "fit with a restriction: no exposure-prone procedures" in words
    assert "reviewed on" in words
    both = (*vocabulary().values(), *VOCABULARY.values())
    secret = {SECRET, case, "uk_2023", "Hepatitis", "HBV", "HCV", "HIV", "Viral", "Virus"}
    secret |= {fact.id for fact in both} | {fact.question for fact in both}
    secret |= {m.name for m in measures().values()} | {
        rule.id for t in tables().tables for rule in t.rules
    }
    secret |= set(vocabulary()["rule_set"].labels.values())
    secret |= {"tenofovir", "entecavir", "emtricitabine", "dolutegravir", "bictegravir", "antiviral",
               "treatment", "infection", "diagnosis", "blood", "IU/mL"}  # fmt: skip
    # Ids that are words of every letter's own ("place") would say nothing.
    found = {s for s in secret if re.search(rf"(?<!\w){re.escape(s.lower())}(?!\w)", words)}
    assert found == set()
    # The page is what lets a search of the letter fail: it holds what the letter must not.
    assert SECRET in client.get(address(case)).text


@pytest.mark.parametrize("role", [Role.OCCUPATIONAL_NURSE, Role.EMERGENCY_CLINICIAN])
def test_only_who_may_decide_about_fitness_sets_a_decision_right(
    role: Role, signed_in: SignIn, case: str
) -> None:
    """Neither the decision nor a correction of it: withdrawing either lifts a restriction."""
    physician, other = signed_in(PHYSICIAN), signed_in(role)
    assert physician.post(address(case), SURGEON | DECISION).status_code == 302
    wrong = {"how": "withdraw", "reason": "mistyped"}

    def set_right(client: Client, entry: int) -> int:
        path = reverse("desk:correct", args=[case, entry])
        position = len(get_store().entries(case))
        return client.post(path, {**wrong, "position": position}).status_code

    assert set_right(other, 2) == 403
    assert (
        reverse("desk:correct", args=[case, 2])
        not in other.get(reverse("history:history", args=[case])).text
    )
    assert set_right(physician, 2) == 302
    assert set_right(other, 3) == 403
    assert [e.kind for e in get_store().entries(case)][2:] == [Kind.CORRECTED]
    assert set_right(other, 1) == 422, (
        "the report is anybody's to set right, though not to withdraw"
    )


def test_an_exposure_lifts_no_restriction_from_before_it(signed_in: SignIn, case: str) -> None:
    """UK21, as remembered: the exposure alone changes no duty; the clearance before it stands."""
    client = signed_in(PHYSICIAN)
    assert client.post(address(case), SURGEON | DECISION).status_code == 302
    exposed = {
        "rule_set": "uk_2023", "occasion": "after_exposure", "exposure_prone": "yes",
        "follow_up_result": "none_positive", "seroconversion_symptoms": "no",
    }  # fmt: skip
    looked = client.post(address(case), exposed | {"do": "look"}).text
    assert "In force from before: <b>Fit with a restriction: no exposure-prone" in looked
    fit = exposed | {"do": "decide", "outcome": "fit", "restriction": "none", "position": "2"}
    answer = client.post(address(case), fit)
    assert answer.status_code == 422
    assert "lifts no restriction" in answer.text
    assert client.post(address(case), fit | {"reason": "Cleared since"}).status_code == 302
    assert "In force from before" not in client.post(address(case), exposed | {"do": "look"}).text
