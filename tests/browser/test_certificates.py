"""A certificate of clearance, from the register to the school that scans it: everybody can use it."""

from __future__ import annotations

import re
import sqlite3
from contextlib import closing

import pytest
from playwright.sync_api import Page, expect

from browser.conftest import DESKTOP, PHONE, Hospital, Opens
from browser.test_access import Screen, look


@pytest.fixture(autouse=True)
def _a_fault_is_foreseen(watch: object) -> None:
    watch.expected.append("422")  # type: ignore[attr-defined]


def issued(page: Page) -> str:
    """Issue one for the first person of the list, as a physician; its number."""
    page.locator("table.people th a").first.click()
    page.get_by_role("link", name="Issue a certificate").click()
    page.get_by_label("No restriction").check()
    page.get_by_label("Valid until").fill("2026-03-10")
    page.get_by_label("Why").fill("Seen the card, starts under supervision")
    page.get_by_role("button", name="Issue it").click()
    said = page.get_by_text(re.compile(r"Certificate C-.{9} is issued")).inner_text()
    return said.split()[1]


def paper(hospital: Hospital, number: str) -> tuple[str, str]:
    """The code and the square code of a paper."""
    with closing(sqlite3.connect(hospital.folder / "thimble.sqlite3")) as database:
        code, proof, salt = database.execute(
            "SELECT code, proof, salt FROM web_certificatepaper WHERE number = ?", [number]
        ).fetchone()
    import base64

    salted = base64.urlsafe_b64encode(bytes.fromhex(salt)).rstrip(b"=").decode()
    return code, f"{proof}.{salted}"


@pytest.mark.parametrize("width", [PHONE, DESKTOP], ids=["phone", "desk"])
def test_from_the_register_to_the_school_and_back(
    hospital: Hospital, opens: Opens, width: dict[str, int]
) -> None:
    found: list[str] = []
    page = opens("/people/?show=starting", sign_in="physician", viewport=width)
    number = issued(page)
    found += look(page, Screen("a person with a certificate", ""))
    code, square = paper(hospital, number)

    school = opens(f"/certificate/{number}#{square}", viewport=width)
    expect(school.get_by_role("heading", level=1)).to_have_text("This certificate holds today")
    # What the square code holds stands in no address any more.
    assert "#" not in school.url
    assert square not in school.url
    found += look(school, Screen("a certificate that holds", ""))
    school.get_by_role("link", name="Check another").click()
    school.get_by_label("Number").fill(number)
    school.get_by_label("Code").fill(code[:-1])
    school.get_by_role("button", name="Check it").click()
    expect(school.get_by_role("alert")).to_contain_text("Look at the code again")
    found += look(school, Screen("a code mistyped", ""))

    page.get_by_role("link", name=f"Withdraw {number}").click()
    found += look(page, Screen("withdraw a certificate", ""))
    page.get_by_label("Why").fill("Other work")
    page.get_by_role("button", name="Withdraw it").click()
    expect(page.locator(f"#{number}")).to_contain_text("Withdrawn by")
    school.get_by_label("Code").fill(code)
    school.get_by_role("button", name="Check it").click()
    expect(school.get_by_role("heading", level=1)).to_contain_text("does not hold any more")
    found += look(school, Screen("a certificate withdrawn", ""))
    forged = opens(f"/certificate/{number}#{square[:-4]}", viewport=width)
    expect(forged.get_by_role("heading", level=1)).to_have_text("Do not accept this certificate")
    found += look(forged, Screen("a certificate forged", ""))
    assert found == []


def test_a_certificate_is_checked_without_scripts(hospital: Hospital, opens: Opens) -> None:
    number = issued(opens("/people/?show=starting", sign_in="physician"))
    code, square = paper(hospital, number)
    school = opens(f"/certificate/{number}#{square}", java_script_enabled=False)
    expect(school.get_by_label("Number")).to_have_value(number)
    school.get_by_label("Code").fill(code.lower())
    school.get_by_role("button", name="Check it").click()
    expect(school.get_by_role("heading", level=1)).to_have_text("This certificate holds today")
