"""The month of the arrivals, in a real browser: from a messy list to certificates that are checked."""

from __future__ import annotations

import base64
import json
import re
import subprocess
from collections.abc import Iterator
from datetime import date, datetime, timedelta
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from browser.arrivals import COHORT, COUNT, STARTS, student, workbook
from browser.conftest import NIGHT, PHONE, Hospital, Opens, open_hospital
from browser.test_certificates import paper

MORNING = NIGHT + timedelta(hours=7)
SESSION = datetime(2026, 3, 10, 9, 0, tzinfo=NIGHT.tzinfo)
"""A Tuesday."""
PLACE = "House C, room 2"
VACCINE = "010506091751002817261231\x1d10F26"
"""An invented number of an influenza vaccine, its last day and lot, as its square code holds them."""
CARD = (
    ("43", "14.2.2011"), ("43", "21.3.2011"), ("43", "30.9.2011"), ("03", "20.9.2005"),
    ("03", "13.5.2008"), ("21", "20.9.2005"), ("21", "13.5.2008"), ("115", "15.8.2020"),
)  # fmt: skip
"""Hepatitis B, measles with mumps and rubella, varicella, pertussis: products by CVX number, and days."""
SLIPS = (
    ("anti_hbs", "15.11.2011", "240"),
    ("igra", "20.2.2026", "negative"),
    ("tb_risk", "20.2.2026", "negative"),
    ("tb_symptoms", "20.2.2026", "negative"),
)


@pytest.fixture
def hospital(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Hospital]:
    """A hospital of its own: four hundred more people would crowd the one that the others share."""
    folder = tmp_path_factory.mktemp("arrivals")
    with open_hospital(folder, THIMBLE_MAIL="file") as hospital:
        yield hospital


def enrol(page: Page, family: str, given: str, born: date, number: str) -> None:
    page.goto("/people/new")
    page.fill("[name=family_name]", family)
    page.fill("[name=given_name]", given)
    page.fill("[name=birth_date]", born.isoformat())
    page.fill("[name=number]", number)
    page.get_by_role("button", name="Enrol").click()
    expect(page.get_by_role("heading", name=f"{family}, {given}")).to_be_visible()


def import_the_list(page: Page, folder: Path) -> None:
    """Four hundred rows, three of which may be somebody who is here already."""
    number, family, given, born = student(107)
    enrol(page, family, given, born, "A-77")
    enrol(page, "Winther", "Poul", date(1990, 2, 2), student(200)[0])
    file = folder / "arrivals.xlsx"
    file.write_bytes(
        workbook([[4100, "Ashgrove", "Aila", date(2003, 1, 1), None, None, COHORT, STARTS, "no"]])
    )
    page.goto("/people-import/")
    page.set_input_files("#file", str(file))
    page.get_by_role("button", name="Look at it").click()
    page.select_option("#works_as", "student")
    page.get_by_role("button", name="Read it so").click()
    doubts = page.locator("main").get_by_role("row").filter(has_text="The same person as")
    expect(doubts).to_have_count(3)
    # One under another number, one whose number was given to somebody else, one without its zeros.
    doubts.filter(has_text=number).get_by_label("The same person as").check()
    doubts.filter(has_text="with another name").get_by_label("Leave this row out").check()
    doubts.filter(has_text="leading zeros").get_by_label("The same person as").check()
    page.get_by_role("button", name="Keep these decisions").click()
    page.get_by_role("button", name="Write it").click()
    expect(page.get_by_text("397 enrolled, 2 changed")).to_be_visible()


def make_a_session(page: Page) -> None:
    page.goto("/clinic/new")
    page.fill("[name=place]", PLACE)
    page.fill("[name=day]", SESSION.date().isoformat())
    page.fill("[name=opens]", "09:00")
    page.fill("[name=closes]", "12:00")
    page.fill("[name=slot_minutes]", "10")
    page.fill("[name=capacity]", "2")
    page.get_by_role("button", name="Make it").click()


def invite(page: Page, folder: Path) -> dict[str, str]:
    """Everybody of the cohort is written to at once; the own page's address in each mail, by who got it."""
    page.goto("/cohorts/")
    page.get_by_role("link", name=COHORT).click()
    expect(page.locator("main")).to_contain_text("0 of 399 ready")
    page.get_by_role("link", name="Write to 399 people").click()
    page.get_by_label("Invitation to a session").check()
    session = page.locator("[name=session] option", has_text=PLACE).get_attribute("value")
    page.select_option("[name=session]", session)
    page.get_by_role("button", name="Look at one and at who gets it").click()
    page.get_by_role("button", name="Make 399 letters").click()
    expect(page.locator("main")).to_contain_text("399 of 399", timeout=60_000)
    expect(page.get_by_role("link", name=re.compile("letters as one PDF"))).to_be_visible()
    mails = [
        mail for file in (folder / "mail").iterdir() for mail in file.read_text().split("-" * 79)
    ]
    found = {}
    for mail in mails:
        if to := re.search(r"^To: (\S+)$", mail, re.MULTILINE):
            (found[to[1]],) = re.findall(r"http://\S+/own/open/\S+", mail)
            # Whoever reads it over a shoulder learns of no vaccine, virus or result.
            said = mail.replace(found[to[1]], "")
            assert not re.search("hepatitis|HIV|vaccin|titre|measles", said, re.IGNORECASE)
    # Of one of them the address was on record before.
    assert len(found) == sum(1 for place in range(COUNT - 1) if place % 8) + 1
    return found


def book(page: Page, born: date, time: str) -> None:
    """On the telephone of who was invited."""
    page.get_by_label("Your birth date").fill(born.isoformat())
    page.get_by_role("button", name="Open my page").click()
    expect(page.get_by_text("Nothing has reached us yet about")).to_be_visible()
    page.get_by_text("Book a time").click()
    session = page.locator("fieldset").filter(has_text=PLACE)
    session.get_by_label(time).check()
    page.get_by_role("button", name="Book this time").click()
    expect(page.locator("main")).to_contain_text(f"Tue 10 Mar 2026, {time}")


def open_file(page: Page, number: str) -> str:
    """The file of who has that number; its reference."""
    page.goto("/people/")
    page.get_by_role("searchbox").fill(number)
    page.get_by_role("button", name="Find").click()
    page.locator("table.people th a").first.click()
    return page.url.rstrip("/").rsplit("/", 1)[-1]


def type_what_was_brought(page: Page, person: str) -> None:
    page.goto(f"/people/{person}/card")
    for line, (product, day) in enumerate(CARD, 1):
        page.fill(f"[name=product-{line}]", product)
        page.fill(f"[name=when-{line}]", day)
    page.get_by_role("button", name="Write it all down").last.click()
    expect(page.get_by_text("8 doses written down.")).to_be_visible()
    for test, day, said in SLIPS:
        page.goto(f"/people/{person}/add/result")
        page.select_option("[name=test]", test)
        page.fill("[name=when]", day)
        if said.isdigit():
            page.fill("[name=number]", said)
            page.select_option("[name=unit]", "m[IU]/mL")
        else:
            page.locator(f"[name=word][value={said}]").check()
        page.get_by_role("button", name="Write it down", exact=True).click()
        expect(page.get_by_text("Result written down.")).to_be_visible()


def scan(page: Page, code: str) -> None:
    """A scanner types what it reads and sends Enter."""
    page.locator("#scan").fill(code)
    page.locator("#scan").press("Enter")


def test_a_month_of_arrivals(hospital: Hospital, opens: Opens, tmp_path: Path) -> None:
    hospital.set_clock(MORNING)
    nurse = opens("/people/", sign_in="nurse")
    import_the_list(nurse, tmp_path)
    make_a_session(nurse)
    addresses = invite(nurse, hospital.folder)

    # Two of them book on their telephones and bring their cards.
    people = []
    for place, time in ((3, "09:10"), (5, "09:20")):
        number, _, _, born = student(place)
        book(opens(addresses[f"arrival{place}@example.invalid"], viewport=PHONE), born, time)
        people.append(open_file(nurse, number))
        type_what_was_brought(nurse, people[-1])
    expect(nurse.locator("main")).to_contain_text("One dose of influenza vaccine of this season")

    # On the day: the vaccine once, then each person and Enter.
    hospital.set_clock(SESSION)
    nurse = opens("/clinic/", sign_in="nurse")
    nurse.get_by_role("link").filter(has_text="Tue 10 Mar 2026").last.click()
    expect(nurse.locator("tbody tr")).to_have_count(2)
    scan(nurse, VACCINE)
    nurse.get_by_label("Which product is").fill("Influenza, unspecified")
    nurse.get_by_role("button", name="It is this product").click()
    for person in people:
        scan(nurse, person)
        # An Enter that comes at once may be the scanner's own second one.
        nurse.wait_for_timeout(1100)
        scan(nurse, "")
        expect(nurse.locator("main")).to_contain_text("lot F26, is written down")
    expect(nurse.locator("main")).to_contain_text("2 booked, 2 came")

    # They are ready, and so certified.
    nurse.goto("/cohorts/")
    nurse.get_by_role("link", name=COHORT).click()
    expect(nurse.locator("main")).to_contain_text("2 of 399 ready")
    nurse.get_by_role("link", name=re.compile("^Ready")).click()
    nurse.get_by_role("button", name="Certificates for those shown").click()
    nurse.get_by_label("I know that, and issue them all the same").check()
    nurse.get_by_role("button", name="Issue 2").click()
    expect(nurse.get_by_role("heading", name="2 certificates issued")).to_be_visible()
    # What the button asks for, without the browser's own viewer.
    sent = nurse.locator("form", has_text="Print all in one file").evaluate(
        "form => [form.action, new URLSearchParams(new FormData(form)).toString()]"
    )
    pdf = nurse.request.post(
        sent[0],
        data=sent[1],
        headers={"content-type": "application/x-www-form-urlencoded", "referer": nurse.url},
    )
    (tmp_path / "certificates.pdf").write_bytes(pdf.body())
    printed = subprocess.run(
        ["pdftotext", "-layout", tmp_path / "certificates.pdf", "-"],
        capture_output=True, encoding="utf-8", check=True,
    ).stdout  # fmt: skip
    assert printed.count("Cleared for work with patients.") == 2
    assert not re.search("hepatitis|vaccin|influenza|titre", printed, re.IGNORECASE)
    number = re.findall(r"C-\w{4}-\w{4}", printed)[0]

    # A school checks one; one on which somebody changed the day is refused.
    _, square = paper(hospital, number)
    school = opens(f"/certificate/{number}#{square}", viewport=PHONE)
    expect(school.get_by_role("heading", level=1)).to_have_text("This certificate holds today")
    head, payload, *rest = square.split(".")
    said = json.loads(base64.urlsafe_b64decode(payload + "=" * (-len(payload) % 4)))
    said["until"] = "2036-03-10"
    forged = base64.urlsafe_b64encode(json.dumps(said, separators=(",", ":")).encode()).rstrip(b"=")
    school = opens(f"/certificate/{number}#{'.'.join((head, forged.decode(), *rest))}")
    expect(school.get_by_role("heading", level=1)).to_have_text("Do not accept this certificate")
