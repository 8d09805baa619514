"""At night: the case offers what the register documents of the worker, and takes it over with one click."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

import pytest
from django.test import Client

from thimble import actions
from thimble.actions import WorkerIdentity
from thimble.actions import people as acts
from thimble.clinical.vocabulary import vocabulary
from thimble.ledger.fold import fold
from thimble.people.entries import Kind as PersonKind
from thimble.web import clock, models
from thimble.web.context import get_identities, get_people, get_store, zone
from thimble.web.desk.words import value_words
from thimble.web.roles import GRANTED, Role
from web.conftest import NIGHT
from web.test_people import FORM, enrolled, rows_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def night(signed_in: Callable[[Role], Client]) -> Client:
    return signed_in(Role.EMERGENCY_CLINICIAN)


def case_of(**worker: Any) -> str:
    told = {"name": "Ines Brindle", "staff_number": "00421", **worker}
    return actions.report(
        get_store(),
        facts={"route": "percutaneous", "fluid": "blood"},
        occurred_at=NIGHT,
        occurred_at_precision="minute",
        vocabulary=vocabulary(),
        now=NIGHT,
        identities=get_identities(),
        worker=WorkerIdentity(**told),
    ).case


def with_card(nurse: Client) -> str:
    person = enrolled(nurse)
    rows = [{"product": "115", "when": when} for when in ("1.2001", "2005", "14.3.2019")]
    nurse.post(f"/people/{person}/card", rows_of(*rows, {"product": "43", "when": "2019"}))
    nurse.post(f"/people/{person}/card", rows_of({"product": "03", "when": "2004"}))
    return person


def facts(case: str) -> dict[str, Any]:
    return dict(fold(get_store().entries(case), clock.now(), vocabulary()).facts)


def position(case: str) -> str:
    return str(get_store().entries(case)[-1].position)


def test_what_is_documented_is_shown_with_dates_and_nothing_is_a_fact_until_it_is_taken_over(
    nurse: Client, night: Client
) -> None:
    person = with_card(nurse)
    case = case_of()
    assert "worker_tetanus_doses" not in facts(case)
    assert f'href="/case/{case}/on-record/"' in night.get(f"/case/{case}/").content.decode()

    page = night.get(f"/case/{case}/on-record/").content.decode()
    for said in (
        "Brindle, Inés",
        "14 Mar 2019",
        "Three or more",
        "nobody has verified it".capitalize(),
    ):
        assert said in page
    assert "mumps" not in page
    assert models.IdentityLook.objects.filter(case=person, where="on record").exists()

    taken = ["worker_tetanus_doses", "worker_years_since_tetanus_dose"]
    answer = night.post(f"/case/{case}/on-record/take", {"fact": taken, "position": position(case)})
    assert answer.status_code == 302
    found = facts(case)
    assert found["worker_tetanus_doses"].value == "three_or_more"
    assert {found[name].said_by for name in taken} == {"record"}
    # From 14 March 2019 to 3 March 2026: six whole years and 354 of 365 days.
    assert found["worker_years_since_tetanus_dose"].value == 6.96
    assert "worker_hbv_last_dose_over_1_year" not in found
    note = get_store().entries(case)[-1].body["text"]
    assert note == f"Taken over from the register of people, file {person}: entries 2, 3, 4."
    page = night.get(f"/case/{case}/on-record/").content.decode()
    assert "worker_tetanus_doses" not in page
    assert "worker_hbv_last_dose_over_1_year" in page


@pytest.mark.parametrize(
    ("years", "words"),
    [
        (0.99, "less than a year"),
        (1.0, "1 year"),
        (5.23, "5 years"),
        (9.99, "9 years"),
        (10.0, "10 years"),
    ],
)
def test_years_are_said_whole_and_never_rounded_up(years: float, words: str) -> None:
    """The tables ask for ten years: whoever reads 10 must not have 9.99."""
    fact = vocabulary()["worker_years_since_tetanus_dose"]
    assert value_words(fact, years) == words
    assert value_words(vocabulary()["worker_tetanus_doses"], "fewer") == "Fewer than three"


def test_the_page_of_the_case_writes_a_birth_date_as_other_pages_do(night: Client) -> None:
    page = night.get(f"/case/{case_of(date_of_birth=date(2006, 1, 1))}/").text
    assert "born 1 Jan 2006" in page
    assert "2006-01-01" not in page


def line_of(client: Client, case: str) -> str:
    """The line near the top of the page of a case, without its marks."""
    page = client.get(f"/case/{case}/").text
    found = re.search(r'<p class="desk-record">(.*?)</p>', page, re.DOTALL)
    assert found is None or page.index("desk-record") < page.index('class="desk-nav')
    return re.sub(r"<[^>]+>", "", found[1]) if found else ""


def responder(nurse: Client) -> str:
    person = enrolled(nurse)
    rows = [{"product": "43", "when": when} for when in ("14.3.2019", "16.4.2019", "20.9.2019")]
    nurse.post(f"/people/{person}/card", rows_of(*rows))
    sample = {"identified": "yes", "drawn_here": "yes", "direct": "yes"}
    result = {"test": "anti_hbs", "when": "2019-11-02", "number": 214.0, "unit": "m[IU]/mL",
              "word": None, "comparator": "=", "laboratory": "", "as_written": "",
              "sample": sample}  # fmt: skip
    wrote(person, PersonKind.RESULT_RECORDED, result)
    return person


def wrote(person: str, kind: PersonKind, body: dict[str, Any]) -> None:
    acts.record_evidence(
        get_people(), person, [(kind, body)], today=clock.now().astimezone(zone()).date(),
        now=clock.now(), by="u1", role="occupational_nurse",
    )  # fmt: skip


def test_the_page_of_the_case_says_near_its_top_what_is_on_record_until_it_was_taken_over(
    nurse: Client, night: Client
) -> None:
    person = responder(nurse)
    case = case_of()
    line = line_of(night, case)
    assert line == (
        "On record: 3 doses of hepatitis B vaccine (the last 20 Sep 2019), anti-HBs 214 mIU/mL "
        "(2 Nov 2019) (verified by nobody). Look and take over"
    )
    assert models.IdentityLook.objects.filter(case=person, where="on record").exists()

    taken = ["worker_hbv_series", "worker_hbv_response", "worker_hbv_last_dose_over_1_year"]
    sent = {"fact": taken, "doses": "yes", "position": position(case)}
    assert night.post(f"/case/{case}/on-record/take", sent).status_code == 302
    assert facts(case)["worker_hbv_response"].value == "responder"
    assert line_of(night, case) == ""


def test_what_was_set_aside_comes_back_when_something_new_is_written_in_the_file(
    nurse: Client, night: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    person = responder(nurse)
    case = case_of()
    assert "Set aside" in night.get(f"/case/{case}/on-record/").text
    assert night.post(f"/case/{case}/on-record/aside").status_code == 302
    assert line_of(night, case) == ""
    assert f'href="/case/{case}/on-record/"' in night.get(f"/case/{case}/").text
    assert "Set aside" not in night.get(f"/case/{case}/on-record/").text

    later = clock.now() + timedelta(minutes=5)
    monkeypatch.setattr(clock, "now", lambda: later)
    nurse.post(f"/people/{person}/card", rows_of({"product": "115", "when": "2001"}))
    assert "1 dose of tetanus vaccine (2001)" in line_of(night, case)


@pytest.mark.parametrize(
    ("worker", "says"),
    [
        ({"date_of_birth": date(1999, 3, 28)}, "of another birth date in the register. Compare"),
        ({"staff_number": "421"}, ""),
    ],
)
def test_without_a_certain_match_the_line_says_perhaps_or_nothing(
    nurse: Client, night: Client, worker: dict[str, Any], says: str
) -> None:
    responder(nurse)
    line = line_of(night, case_of(**worker))
    assert line.startswith("Perhaps on record:") == bool(says)
    assert says in line
    assert "214" not in line


def test_the_line_counts_no_dose_twice_names_immunoglobulin_and_is_not_for_everybody(
    nurse: Client, night: Client, signed_in: Callable[[Role], Client]
) -> None:
    person = enrolled(nurse)
    case = case_of()
    assert line_of(night, case) == ""
    rows = [{"product": "43", "when": "2019"}, {"product": "43", "when": "14.3.2019"}]
    nurse.post(f"/people/{person}/card", rows_of(*rows))
    passive = {"product": "30", "diseases": ["hepatitis_b"], "when": "2026-02-01", "lot": "G-1",
               "where": "After an exposure"}  # fmt: skip
    wrote(person, PersonKind.DOSE_RECORDED, passive)
    line = line_of(night, case)
    assert "at least 1 dose of hepatitis B vaccine" in line
    assert "Hepatitis B immunoglobulin (1 Feb 2026)" in line
    for role in Role:
        if not {"see_immunity", "see_worker_identity"} <= GRANTED[role]:
            assert line_of(signed_in(role), case) == ""


HBIG = {"action": "hbig_first_dose", "product": "Immunoglobulin", "batch": "G-1", "when": "now"}


def exposed(**worker: Any) -> str:
    """A case in which immunoglobulin is due: never vaccinated, the source has hepatitis B."""
    case = case_of(**worker)
    facts = {"source_hbsag": "positive", "worker_hbv_series": "none",
             "worker_hbv_infection": "none_known", "device": "hollow_bore_needle"}  # fmt: skip
    actions.learn_facts(
        get_store(), case, facts, said_by="worker", vocabulary=vocabulary(), now=NIGHT, by="u1",
        role="emergency_clinician",
    )  # fmt: skip
    return case


def test_immunoglobulin_of_a_case_keeps_a_titre_from_being_read_as_a_response(
    nurse: Client, night: Client
) -> None:
    """Passive antibody for six months: a file without it would call the person immune."""
    person = enrolled(nurse)
    case = exposed()
    answer = night.post(f"/case/{case}/done", {**HBIG, "position": position(case)})
    assert answer.status_code == 302
    (dose,) = acts.person_of(get_people(), person, clock.now()).of(PersonKind.DOSE_RECORDED)
    today = clock.now().astimezone(zone()).date()
    assert (dose.body["product"], dose.body["when"]) == ("30", today.isoformat())
    assert (dose.body["lot"], dose.body["where"]) == ("G-1", "After an exposure")
    # A second tap, or a nurse who typed it before, makes no second record.
    night.post(f"/case/{case}/done", {**HBIG, "position": position(case)})
    assert len(acts.person_of(get_people(), person, clock.now()).evidence) == 1


@pytest.mark.parametrize("worker", [{"name": "Odo Farthing"}, {"staff_number": "99999"}])
def test_immunoglobulin_is_written_in_no_file_that_may_be_of_somebody_else(
    nurse: Client, night: Client, worker: dict[str, str]
) -> None:
    person = enrolled(nurse)
    case = exposed(**worker)
    night.post(f"/case/{case}/done", {**HBIG, "position": position(case)})
    assert get_store().entries(case)[-1].body["action"] == "hbig_first_dose"
    assert acts.person_of(get_people(), person, clock.now()).evidence == ()


def test_vaccine_of_a_case_stays_in_the_case(nurse: Client, night: Client) -> None:
    person = enrolled(nurse)
    case = exposed()
    vaccine = {**HBIG, "action": "hbv_vaccine_dose", "position": position(case)}
    assert night.post(f"/case/{case}/done", vaccine).status_code == 302
    assert acts.person_of(get_people(), person, clock.now()).evidence == ()


def test_an_answer_that_the_case_has_is_replaced_only_by_whoever_ticks_it(
    nurse: Client, night: Client
) -> None:
    with_card(nurse)
    case = case_of()
    actions.learn_facts(
        get_store(), case, {"worker_years_since_tetanus_dose": 3.0}, said_by="worker",
        vocabulary=vocabulary(), now=NIGHT, by="u1", role="emergency_clinician",
    )  # fmt: skip
    page = night.get(f"/case/{case}/on-record/").content.decode()
    assert "The case says now: 3 years" in page
    assert 'value="worker_years_since_tetanus_dose">' in page
    assert 'value="worker_tetanus_doses" checked>' in page


@pytest.mark.parametrize(
    ("worker", "says"),
    [
        ({"name": "Oskar Corvane"}, "of another name"),
        ({"date_of_birth": date(1999, 3, 28)}, "of another birth date"),
        ({"name": "Ines Corvane"}, "another name, and a birth date is missing"),
        ({"name": "Ines"}, "another name, and a birth date is missing"),
    ],
)
def test_a_number_of_somebody_else_shows_nothing_of_their_file(
    nurse: Client, night: Client, worker: dict[str, Any], says: str
) -> None:
    with_card(nurse)
    case = case_of(**worker)
    page = night.get(f"/case/{case}/on-record/").content.decode()
    assert says in page
    assert "2019" not in page
    sent = {"fact": ["worker_tetanus_doses"], "position": position(case)}
    assert night.post(f"/case/{case}/on-record/take", sent).status_code == 404
    assert "worker_tetanus_doses" not in facts(case)


@pytest.mark.parametrize("number", ["", "421", "999"])
def test_without_the_very_number_the_case_offers_nothing(
    nurse: Client, night: Client, number: str
) -> None:
    with_card(nurse)
    case = case_of(staff_number=number)
    assert "/on-record/" not in night.get(f"/case/{case}/").content.decode()
    assert night.get(f"/case/{case}/on-record/").status_code == 404


def test_only_what_is_offered_is_taken_and_a_case_that_moved_on_is_not_written_over(
    nurse: Client, night: Client
) -> None:
    with_card(nurse)
    case = case_of()
    for chosen in ([], ["worker_hbv_response"], ["worker_tetanus_doses", "route"]):
        sent = {"fact": chosen, "position": position(case)}
        assert night.post(f"/case/{case}/on-record/take", sent).status_code == 422
    before = position(case)
    actions.note(get_store(), case, "seen", now=NIGHT, by="u1", role="occupational_nurse")
    late = {"fact": ["worker_tetanus_doses"], "position": before}
    assert night.post(f"/case/{case}/on-record/take", late).status_code == 409
    assert "worker_tetanus_doses" not in facts(case)


def test_the_number_that_holds_now_finds_the_file(nurse: Client, night: Client) -> None:
    person = with_card(nurse)
    nurse.post(f"/people/{person}/details", {**FORM, "number": "77"})
    assert night.get(f"/case/{case_of()}/on-record/").status_code == 404
    assert night.get(f"/case/{case_of(staff_number='77')}/on-record/").status_code == 200


def test_administrator_and_safety_officer_see_none_of_it(
    nurse: Client, signed_in: Callable[[Role], Client]
) -> None:
    with_card(nurse)
    case = case_of()
    for role in (Role.ADMINISTRATOR, Role.SAFETY_OFFICER):
        assert signed_in(role).get(f"/case/{case}/on-record/").status_code == 403


def test_the_doses_that_count_are_taken_over_with_their_dates(nurse: Client, night: Client) -> None:
    person = enrolled(nurse)
    rows = [{"product": "43", "when": when} for when in ("14.3.2019", "16.3.2019", "4.2020")]
    nurse.post(f"/people/{person}/card", rows_of(*rows))
    case = case_of()
    page = night.get(f"/case/{case}/on-record/").text
    assert "Thu 14 Mar 2019, Apr 2020" in page

    taken = night.post(f"/case/{case}/on-record/take", {"position": position(case), "doses": "yes"})
    assert taken.status_code == 302, taken.text
    entry = get_store().entries(case)[-1]
    # The dose of two days later came too early and does not count.
    assert [dose["when"] for dose in entry.body["doses"]] == ["2019-03-14", "2020-04"]
    assert {dose["product"] for dose in entry.body["doses"]} == {"43"}
    assert "Thu 14 Mar 2019, Apr 2020" not in night.get(f"/case/{case}/on-record/").text
