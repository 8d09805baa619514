"""Certificates for many: shown before, issued once, one file; and the list of those to look at."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import timedelta
from io import BytesIO
from pathlib import Path
from typing import Any

import pikepdf
import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from thimble.people.certificates.checking import Worth
from thimble.web import clock, models
from thimble.web.roles import Role

from .conftest import NIGHT, SITE
from .test_certificates import TITRE, doses, held, issue, text_of
from .test_people import enrolled

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("_fresh_limits")]
MANY, PRINT = "/people/certificates/many", "/people/certificates/print"


@pytest.fixture(autouse=True)
def _hepatitis_b_alone(_site: None, tmp_path: Path) -> None:
    (tmp_path / "site.toml").write_text(
        'evidence_asked = ["hepatitis_b"]\n' + SITE, encoding="utf-8"
    )


@pytest.fixture
def people(nurse: Client) -> dict[str, str]:
    """Two who meet everything, one who does not, one without a birth date."""
    found = {}
    for number, name in enumerate(("Ashby", "Birch", "Cedar", "Dale")):
        born = "" if name == "Dale" else f"1999-02-1{number}"
        found[name] = enrolled(nurse, family_name=name, number=f"7{number}", birth_date=born)
    for name in ("Ashby", "Birch", "Dale"):
        doses(nurse, found[name], "2018-01-10", "2018-02-20", "2018-08-01")
        assert nurse.post(f"/people/{found[name]}/add/result", TITRE).status_code == 302
    return found


def post(client: Client, people: dict[str, str], **more: Any) -> str:
    return client.post(MANY, {"people": " ".join(people.values()), **more}).content.decode()


CONFIRMED = {"issue": "yes", "unverified": "2"}
"""Two of the people can have one, on evidence that nobody verified."""


def test_evidence_that_nobody_verified_is_confirmed_by_its_count_before_any_is_issued(
    nurse: Client, people: dict[str, str]
) -> None:
    shown = post(nurse, people)
    assert "For 2 of 2 people some of the evidence was verified by nobody." in shown
    assert re.search(r'<input type="checkbox" id="unverified"[^>]* required', shown)
    for told in ({}, {"unverified": "1"}, {"unverified": "on"}):
        page = post(nurse, people, issue="yes", **told)
        assert "Nothing was issued." in page
        assert not any(numbers(people).values())
    post(nurse, people, **CONFIRMED)
    assert [len(held) for held in numbers(people).values()] == [1, 1, 0, 0]
    # Everybody has one: there is nothing to confirm any more.
    assert "verified by nobody" not in post(nurse, people)


def numbers(people: dict[str, str]) -> dict[str, list[str]]:
    return {name: [each.number for each in held(ref)] for name, ref in people.items()}


def test_who_can_and_who_cannot_is_shown_before_anything_is_issued(
    nurse: Client, people: dict[str, str]
) -> None:
    page = post(nurse, {**people, "gone": "P-AAAA-AAAA"})
    assert "2 can have one" in page
    assert "2 cannot" in page
    assert "Issue 2" in page
    # Four each: three doses and a titre. Whoever issues it answers for what nobody compared.
    assert page.count("nobody verified 4 pieces of evidence") == 2
    cannot = page.partition("2 cannot")[2]
    assert "Cedar" in cannot
    assert cannot.count("A physician decides.") == 1
    assert "The birth date is missing" in cannot
    assert "Not in the register:</b> P-AAAA-AAAA" in page
    assert not any(numbers(people).values())


def test_each_is_issued_once_however_often_it_is_sent(
    nurse: Client, people: dict[str, str], tmp_path: Path
) -> None:
    page = post(nurse, people, **CONFIRMED)
    first = numbers(people)
    assert "2 certificates issued" in page
    assert [len(first[name]) for name in ("Ashby", "Birch", "Cedar", "Dale")] == [1, 1, 0, 0]
    again = post(nurse, people, **CONFIRMED)
    assert "No further certificate issued" in again
    assert numbers(people) == first

    for shown in (page, again):
        told = re.search(r'name="numbers" value="([^"]+)"', shown)
        assert told is not None
        assert set(told[1].split()) == {first["Ashby"][0], first["Birch"][0]}
    answer = nurse.post(PRINT, {"numbers": told[1]})
    assert answer["Content-Type"] == "application/pdf"
    with pikepdf.open(BytesIO(answer.content)) as pdf:
        assert len(pdf.pages) == 2
    text = text_of(answer.content, tmp_path)
    for name in ("Ashby", "Birch"):
        assert text.count(name) == 1
        assert first[name][0] in text
    assert "Cedar" not in text
    assert models.IdentityLook.objects.filter(where="certificates").exists()


def test_decisions_about_fitness_are_read_once_however_many_are_issued(
    nurse: Client, people: dict[str, str]
) -> None:
    with CaptureQueriesContext(connection) as asked:
        post(nurse, people, **CONFIRMED)
    assert sum(len(found) for found in numbers(people).values()) == 2
    decided = [q["sql"] for q in asked if "DISTINCT" in q["sql"] and "fitness_decided" in q["sql"]]
    assert len(decided) == 2  # of cases, and of files


def test_even_a_physician_issues_only_the_standard_to_many(
    signed_in: Callable[[Role], Client], people: dict[str, str]
) -> None:
    post(signed_in(Role.OCCUPATIONAL_PHYSICIAN), people, **CONFIRMED, reason="x")
    assert numbers(people)["Cedar"] == []
    assert held(people["Ashby"])[0].statement.standard


def test_only_what_holds_today_is_printed(nurse: Client, people: dict[str, str]) -> None:
    post(nurse, people, **CONFIRMED)
    one, other = numbers(people)["Ashby"][0], numbers(people)["Birch"][0]
    nurse.post(f"/people/{people['Ashby']}/certificate/{one}/withdraw", {"reason": "x"})
    answer = nurse.post(PRINT, {"numbers": f"{one} {other} {other} C-AAAA-AAAA nonsense"})
    with pikepdf.open(BytesIO(answer.content)) as pdf:
        assert len(pdf.pages) == 1
    assert nurse.post(PRINT, {"numbers": one}).status_code == 422
    assert nurse.post(PRINT, {}).status_code == 422


def test_what_somebody_withdrew_is_not_issued_again_by_a_list(
    nurse: Client, people: dict[str, str]
) -> None:
    post(nurse, people, **CONFIRMED)
    (one,) = numbers(people)["Ashby"]
    nurse.post(f"/people/{people['Ashby']}/certificate/{one}/withdraw", {"reason": "x"})

    seen = post(nurse, people)
    assert "can have one" not in seen
    assert "The last one was withdrawn: look why" in seen
    post(nurse, people, **CONFIRMED)
    assert numbers(people)["Ashby"] == [one]

    # From the page of the person, where the reason stands, another is issued; then a list prints it.
    issue(nurse, people["Ashby"])
    assert "2 have one already" in post(nurse, people)


def test_a_list_that_is_too_long_is_refused_whole(nurse: Client) -> None:
    answer = nurse.post(MANY, {"people": " ".join(f"P-{n}" for n in range(201)), "issue": "yes"})
    assert answer.status_code == 422
    assert "At most 200 people at once; this list has 201" in answer.content.decode()


def test_the_list_names_those_to_look_at_and_those_that_run_out(
    nurse: Client, people: dict[str, str], signed_in: Callable[[Role], Client]
) -> None:
    page = nurse.get("/people/certificates").content.decode()
    assert "0 people have one" in page
    post(nurse, people, **CONFIRMED)
    page = nurse.get("/people/certificates").content.decode()
    assert "2 people have one" in page
    assert "Nothing new speaks against any of them" in page
    later = {
        **TITRE,
        "test": "hbsag",
        "word": "positive",
        "number": "",
        "unit": "",
        "when": "2026-03-01",
    }
    assert nurse.post(f"/people/{people['Birch']}/add/result", later).status_code == 302
    page = nurse.get("/people/certificates").content.decode()
    told = page.partition("To look at")[2]
    assert "Birch" in told
    assert "Ashby" not in told
    assert held(people["Birch"])[0].worth(NIGHT.date(), None) is Worth.HOLDS
    # To whom that happened no other is issued in passing, nor is theirs printed with the rest.
    page = post(nurse, people, **CONFIRMED)
    assert "look whether it still does" in page
    assert len(held(people["Birch"])) == 1
    assert numbers(people)["Birch"][0] not in page.partition('name="numbers"')[2].partition(">")[0]
    with clock.standing_at(NIGHT + timedelta(days=340)):
        page = signed_in(Role.OCCUPATIONAL_PHYSICIAN).get("/people/certificates").content.decode()
    ending = page.partition("Running out within 30 days")[2]
    assert "Ashby" in ending
    assert "3 Mar 2027" in ending


@pytest.mark.parametrize(
    "role", [Role.EMERGENCY_CLINICIAN, Role.SAFETY_OFFICER, Role.ADMINISTRATOR]
)
def test_nobody_else_issues_or_prints(
    signed_in: Callable[[Role], Client], people: dict[str, str], role: Role
) -> None:
    client = signed_in(role)
    for path in (MANY, PRINT):
        assert (
            client.post(path, {"people": " ".join(people.values()), "issue": "yes"}).status_code
            == 403
        )
    assert client.get("/people/certificates").status_code == 403
    assert not any(numbers(people).values())
