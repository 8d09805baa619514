"""The list of what comes up again, and what the tables say on a person's page, as they are used."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from datetime import UTC, date, datetime
from typing import Any

import pytest
from django.test import Client

from thimble.people.rechecks import Recheck, Topic
from thimble.web import clock
from thimble.web.rechecks import page
from thimble.web.roles import Role
from web.test_people import enrolled

pytestmark = pytest.mark.django_db

NOW = datetime(2026, 3, 30, 9, 0, tzinfo=UTC)
STARTED = {"starts_on": "2026-03-02", "department": "Surgery"}


@pytest.fixture
def nurse(signed_in: Callable[[Role], Client], monkeypatch: pytest.MonkeyPatch) -> Client:
    monkeypatch.setattr(clock, "now", lambda: NOW)
    return signed_in(Role.OCCUPATIONAL_NURSE)


def shown(client: Client, query: str = "") -> str:
    answer = client.get(f"/rechecks/{query}")
    assert answer.status_code == 200
    return answer.content.decode()


def result(client: Client, person: str, test: str, word: str, when: str) -> None:
    answer = client.post(
        f"/people/{person}/add/result",
        {"test": test, "word": word, "when": when, "comparator": "=", "number": "", "unit": "",
         "identified": "yes", "drawn_here": "yes", "direct": "yes"},
    )  # fmt: skip
    assert answer.status_code == 302, answer.content.decode()


def test_who_was_not_offered_the_vaccine_in_time_stands_first(nurse: Client) -> None:
    person = enrolled(nurse, **STARTED)
    text = shown(nurse)
    assert "Overdue since Mon 16 Mar 2026" in text
    assert "Brindle, Inés" in text
    assert f"/people/{person}/" in text
    assert "29 CFR 1910.1030(f)(2)(i)" in text
    nurse.post(
        f"/people/{person}/add/offered",
        {"disease": "hepatitis_b", "on": "2026-03-30", "informed": "yes"},
    )
    assert "Overdue since" not in shown(nurse)


def test_filters_show_a_part_and_keep_to_it_in_the_file(nurse: Client) -> None:
    enrolled(nurse, **STARTED)
    enrolled(nurse, family_name="=Garrow", number="00422", starts_on="2026-03-25",
             department="Laboratory")  # fmt: skip
    late = shown(nurse, "?late=1")
    assert "Brindle" in late
    assert "Garrow" not in late
    assert "Brindle" not in shown(nurse, "?department=Laboratory")
    season = shown(nurse, "?topic=season")
    assert "influenza vaccine of this season" in season
    assert "Offer hepatitis B vaccine" not in season
    answer = nurse.get("/rechecks/export.csv?topic=season")
    rows = list(csv.reader(io.StringIO(answer.content.decode("utf-8-sig"))))
    assert len(rows) == 3
    assert {row[3] for row in rows[1:]} == {"Influenza this season"}
    assert "'=Garrow, Inés" in {row[1] for row in rows[1:]}
    assert nurse.get("/rechecks/export.xlsx").content.startswith(b"PK")


def test_nothing_stands_there_for_who_has_not_begun(nurse: Client) -> None:
    enrolled(nurse, starts_on="2026-03-31")
    assert "Nothing comes up" in shown(nurse)


@pytest.mark.parametrize(
    "role", [Role.EMERGENCY_CLINICIAN, Role.SAFETY_OFFICER, Role.ADMINISTRATOR]
)
def test_nobody_else_sees_it(signed_in: Callable[[Role], Client], role: Role) -> None:
    client = signed_in(role)
    assert client.get("/rechecks/").status_code == 403
    assert client.get("/rechecks/export.csv").status_code == 403


def test_monitored_lines_are_for_who_decides_fitness_alone() -> None:
    on = date(2026, 3, 30)
    lines = [
        Recheck("P-1", topic, "what", "why", None, late=False)
        for topic in (Topic.MONITORED, Topic.REFUSED)
    ]
    assert [x.topic for x in page.seen(lines, on, monitored=False)] == [Topic.REFUSED]
    assert len(page.seen(lines, on, monitored=True)) == 2


@pytest.mark.parametrize(("days", "there"), [(60, True), (61, False)])
def test_what_is_due_later_waits_but_a_seasons_vaccine_does_not(days: int, there: bool) -> None:
    on = date(2026, 3, 30)
    due = date.fromordinal(on.toordinal() + days)
    runs_out = Recheck("P-1", Topic.RUNS_OUT, "what", "why", due, late=False)
    season = Recheck("P-1", Topic.SEASON, "what", "why", due, late=False)
    assert (runs_out in page.seen([runs_out, season], on, monitored=False)) is there
    assert season in page.seen([runs_out, season], on, monitored=False)


def test_a_persons_page_says_what_the_tables_make_of_it_and_why(nurse: Client) -> None:
    person = enrolled(nurse, **STARTED)
    result(nurse, person, "measles_igg", "positive", "2026-02-01")
    result(nurse, person, "tb_symptoms", "negative", "2026-02-02")
    text = nurse.get(f"/people/{person}/").content.decode()
    assert "Evidence is satisfactory" in text
    assert "USI-02 (IMM: MMR for healthcare personnel; read in the source)" in text
    assert '<p class="small">Measles IgG: positive, 1 Feb 2026.</p>' in text
    assert "nothing found" in text
    assert "Not immune" not in text
    assert "the site has not chosen by which rules it decides" in text
    other = enrolled(nurse, family_name="Garrow", number="00422", exposure_prone="no")
    assert "not chosen by which rules" not in nurse.get(f"/people/{other}/").content.decode()


def test_with_a_rule_set_the_page_says_what_is_missing_before_exposure_prone_work(
    nurse: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    from dataclasses import replace

    from thimble.web.people import views

    site: Any = views.get_site()
    monkeypatch.setattr(views, "get_site", lambda: replace(site, fitness_rule_set="uk_2023"))
    person = enrolled(nurse, **STARTED)
    result(nurse, person, "hbsag", "negative", "2026-03-01")
    text = nurse.get(f"/people/{person}/").content.decode()
    assert "Not yet: results are missing" in text
    assert "Shown not to be infectious" in text
    assert "HBsAg: negative, 1 Mar 2026: identified and validated sample." in text
    assert text.count("Test from an identified and validated sample") == 2
    assert "says nothing about infection" in text


def test_the_register_with_its_evidence_is_a_file_of_its_own(nurse: Client) -> None:
    person = enrolled(nurse, **STARTED)
    enrolled(nurse, family_name="Garrow", number="00422", birth_date="")
    result(nurse, person, "measles_igg", "positive", "2026-02-01")
    text = nurse.get("/people-import/evidence.csv").content.decode("utf-8-sig")
    rows = list(csv.DictReader(io.StringIO(text)))
    first = next(row for row in rows if row["Family name"] == "Brindle")
    assert first["Measles"] == "Evidence is satisfactory"
    assert first["Mumps: next"] == "First dose of MMR, now"
    assert first["Hepatitis B"] == "Not known"
    other = next(row for row in rows if row["Family name"] == "Garrow")
    assert other["Hepatitis B"] == "No answer"
    assert other["Measles: next"] == "Enter the birth date: the rule asks for it"
    assert nurse.get("/people-import/evidence.xlsx").content.startswith(b"PK")
    # The plain export, which goes to others, holds none of it.
    assert "Measles" not in nurse.get("/people-import/export.csv").content.decode()
