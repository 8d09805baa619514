"""A person books on a phone by themself; a session is worked through by keyboard alone."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from browser.conftest import DESKTOP, PHONE, Hospital, Opens
from browser.test_access import Screen, look
from web.test_vault import PNG

VACCINE = "010506091751001117281231" + "10A12"


@pytest.fixture(autouse=True)
def _a_fault_is_foreseen(watch: object) -> None:
    watch.expected.append("422")  # type: ignore[attr-defined]


def a_session(page: Page) -> str:
    """A session of tomorrow; returns its path."""
    page.goto("/clinic/new")
    page.get_by_label("Place").fill("House C, room 4")
    page.get_by_label("Day", exact=True).fill("2026-03-04")
    page.get_by_label("From", exact=True).fill("09:00")
    page.get_by_label("To", exact=True).fill("10:00")
    page.get_by_label("Minutes for each time").fill("20")
    page.get_by_role("button", name="Make it").click()
    expect(page.get_by_text("1 session made.")).to_be_visible()
    return str(
        page.get_by_role("link", name="Wed 4 Mar 2026, 09:00 to 10:00").get_attribute("href")
    )


def a_person(page: Page) -> str:
    """Somebody new; returns their reference."""
    page.goto("/people/new")
    page.get_by_label("Family name").fill("Quillon")
    page.get_by_label("Given names").fill("Ottoline")
    page.get_by_label("Birth date").fill("2001-05-04")
    page.get_by_label("Staff or student number").fill("77001")
    page.get_by_label("Staff", exact=True).check()
    page.get_by_role("button", name=re.compile("Enrol")).click()
    return page.url.split("/")[-2]


def on_a_phone(phone: Page, card: Path) -> list[str]:
    """Give the birth date, send a card, book a time, close; what axe found on the way."""
    found: list[str] = []
    found += look(phone, Screen("birth date asked", ""))
    expect(phone.get_by_text("Ottoline")).to_have_count(0)
    phone.get_by_label("Your birth date").fill("4.5.2001")
    phone.get_by_role("button", name="Open my page").click()
    expect(phone.get_by_text("can be read in two ways").first).to_be_visible()
    found += look(phone, Screen("birth date asked again", ""))
    phone.get_by_label("Your birth date").fill("4 May 2001")
    phone.get_by_role("button", name="Open my page").click()
    expect(phone.get_by_role("heading", name="Hello Ottoline")).to_be_visible()
    found += look(phone, Screen("own page", ""))

    phone.set_input_files("#id_scan", str(card))
    phone.get_by_role("button", name="Send", exact=True).click()
    expect(phone.get_by_text("nobody has looked at it yet")).to_be_visible()
    phone.get_by_role("link", name="Book a time").click()
    found += look(phone, Screen("times to book", ""))
    mine = phone.get_by_role("group", name="Wed 4 Mar 2026, 09:00 to 10:00")
    mine.get_by_label("09:20").check()
    phone.get_by_role("button", name="Book this time").click()
    expect(phone.get_by_text("Wed 4 Mar 2026, 09:20").first).to_be_visible()
    found += look(phone, Screen("own page with a booking and a scan", ""))
    phone.get_by_role("button", name="Close this page").click()
    phone.goto("/own/")
    expect(phone.get_by_role("heading", name="Open your address again")).to_be_visible()
    found += look(phone, Screen("own page closed", ""))
    return found


def at_the_desk(nurse: Page, session: str, person: str) -> list[str]:
    """Type from the card; then scan, scan, Enter; what axe found on the way."""
    found: list[str] = []
    nurse.goto("/people/?show=brought")
    nurse.get_by_role("link", name="Quillon, Ottoline").click()
    nurse.get_by_role("link", name="Type from it").click()
    expect(nurse.locator(".beside-scan img")).to_be_visible()
    found += look(nurse, Screen("a card typed from a scan", ""))

    nurse.set_viewport_size(DESKTOP)
    nurse.goto(session)
    # The box has the focus each time: nobody touches the mouse.
    nurse.keyboard.type(VACCINE)
    nurse.keyboard.press("Enter")
    nurse.get_by_label("Which product is").fill("43")
    nurse.keyboard.press("Enter")
    expect(nurse.get_by_text("Hepatitis B, adult · lot A12")).to_be_visible()
    nurse.keyboard.type(person)
    nurse.keyboard.press("Enter")
    expect(nurse.get_by_text("First dose of hepatitis B that counts.")).to_be_visible()
    found += look(nurse, Screen("a session with somebody open", ""))
    # An Enter that comes at once may be the second one of a scanner.
    nurse.wait_for_timeout(1100)
    nurse.get_by_label("Lot A12 is the one that is given").press("Space")
    nurse.keyboard.press("Enter")
    expect(nurse.get_by_text("Quillon, Ottoline: Hepatitis B, adult, lot A12")).to_be_visible()
    found += look(nurse, Screen("a session with a dose", ""))
    nurse.keyboard.type("77001")
    nurse.keyboard.press("Enter")
    expect(nurse.get_by_role("heading", name="Stop: something speaks against it")).to_be_visible()
    nurse.wait_for_timeout(1100)
    nurse.keyboard.press("Enter")
    expect(nurse.locator("#reason")).to_be_focused()
    found += look(nurse, Screen("a session stopped", ""))
    nurse.get_by_role("button", name="Undo Hepatitis B, adult, lot A12").click()
    expect(nurse.get_by_text("The dose is taken back.")).to_be_visible()
    return found


def test_a_person_sends_a_card_and_books_on_a_phone_and_is_vaccinated_by_keyboard(
    hospital: Hospital, opens: Opens, tmp_path: Path
) -> None:
    (tmp_path / "card.png").write_bytes(PNG)
    nurse = opens("/people/", sign_in="nurse")
    person = a_person(nurse)
    session = a_session(nurse)
    nurse.goto(f"/people/{person}/")
    nurse.get_by_role("button", name="Make an address").click()
    found = look(nurse, Screen("address of an own page", ""))
    secret = nurse.locator("#address").input_value().rsplit("/", 1)[1]

    phone = opens(f"/own/open/{secret}", viewport=PHONE)
    # The secret stays in no history and no bar.
    assert secret not in phone.url
    found += on_a_phone(phone, tmp_path / "card.png")
    found += at_the_desk(nurse, session, person)
    assert found == []


@pytest.fixture(autouse=True)
def _closed_is_foreseen(watch: object) -> None:
    watch.expected.append("403")  # type: ignore[attr-defined]
