"""People before they start: a card by keyboard alone, a list from the file to the register and back."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest
from playwright.sync_api import expect

from browser.conftest import DESKTOP, PHONE, Hospital, Opens
from browser.test_access import Screen, look
from people.sheets import xlsx

LIST = xlsx(
    ["New students"],
    ["Matrikelnummer", "Nachname", "Vorname", "Geburtsdatum", "Abteilung"],
    [4100, "Ashgrove", "Aila", date(2003, 1, 1), "Medicine"],
    ["9001", "Vantongeren", "Ilka", date(2001, 5, 4), "Surgery"],
    ["9002", "", "", "4.5.2001", ""],
)


@pytest.fixture(autouse=True)
def _a_fault_is_foreseen(watch: object) -> None:
    watch.expected.append("422")  # type: ignore[attr-defined]


def test_a_vaccination_card_is_typed_without_a_mouse(hospital: Hospital, opens: Opens) -> None:
    page = opens("/people/?show=starting", sign_in="nurse")
    page.locator("table.people th a").nth(3).click()
    page.get_by_role("link", name="Enter a vaccination card").press("Enter")
    page.locator("#product-1").focus()
    for row in (("43", "", "14.3.2019", "A1", "City clinic"), ("mmr", "", "2019", "", "")):
        for typed in row:
            page.keyboard.type(typed)
            page.keyboard.press("Tab")
    # Enter in any box sends the whole card; it does not ask for more lines.
    page.locator("#when-2").press("Enter")
    expect(page.get_by_text("2 doses written down.")).to_be_visible()
    expect(page.locator(".evidence-when", has_text="14 Mar 2019").first).to_be_visible()


@pytest.mark.parametrize("width", [PHONE, DESKTOP], ids=["phone", "desk"])
def test_a_list_is_looked_at_decided_about_and_left(
    hospital: Hospital, opens: Opens, tmp_path: Path, width: dict[str, int]
) -> None:
    """Each step can be used by everybody: axe finds nothing on any of them."""
    (tmp_path / "list.xlsx").write_bytes(LIST)
    found: list[str] = []
    page = opens("/people-import/", sign_in="nurse", viewport=width, reduced_motion="reduce")
    page.set_input_files("#file", str(tmp_path / "list.xlsx"))
    page.get_by_role("button", name="Look at it").click()
    found += look(page, Screen("columns of an import", ""))
    page.select_option("#works_as", "student")
    page.get_by_role("button", name="Read it so").click()
    expect(page.get_by_text("leading zeros")).to_be_visible()
    found += look(page, Screen("an import to decide about", ""))
    page.get_by_label("The same person as").check()
    page.get_by_role("button", name="Keep these decisions").click()
    expect(page.get_by_role("heading", name="Write 2 rows")).to_be_visible()
    found += look(page, Screen("an import to write", ""))
    page.get_by_role("button", name="Leave it").click()
    expect(page.get_by_text("the file was deleted")).to_be_visible()
    assert found == []


EVIDENCE = xlsx(
    ["New students, with their vaccinations"],
    ["Matrikelnummer", "Nachname", "Vorname", "Geburtsdatum", "HepB1", "HepB2", "anti-HBs (IU/L)",
     "anti-HBs Datum", "TB test"],
    ["9101", "Vantongeren", "Ilka", date(2001, 5, 4), "2019-03-14", "2019-03-14", 145, "2020", ""],
    ["9102", "Ostrander", "Pim", date(2001, 6, 4), "immune", "", "", "", ""],
    merged="A1:I1",
)  # fmt: skip


@pytest.mark.parametrize("width", [PHONE, DESKTOP], ids=["phone", "desk"])
def test_people_and_their_evidence_are_written_shown_and_taken_back(
    hospital: Hospital, opens: Opens, tmp_path: Path, width: dict[str, int]
) -> None:
    (tmp_path / "list.xlsx").write_bytes(EVIDENCE)
    found: list[str] = []
    page = opens("/people-import/", sign_in="nurse", viewport=width, reduced_motion="reduce")
    page.set_input_files("#file", str(tmp_path / "list.xlsx"))
    page.get_by_role("button", name="Look at it").click()
    expect(page.get_by_label("E: HepB1")).to_have_value("dose:hepatitis_b")
    expect(page.get_by_label("I: TB test")).to_have_value("")
    found += look(page, Screen("columns of evidence", ""))
    page.select_option("#works_as", "student")
    page.get_by_role("button", name="Read it so").click()
    # Two columns with one day: nobody knows which of them is wrong.
    question = page.get_by_role("group", name="F3: Dose: Product not known (hepatitis B)")
    found += look(page, Screen("evidence to decide about", ""))
    question.get_by_label("The same: leave it out").check()
    page.get_by_role("button", name="Keep these decisions").click()
    expect(page.get_by_text("2 pieces of evidence are written down")).to_be_visible()
    page.get_by_role("link", name="Refused").click()
    expect(page.get_by_text("'immune' is no date")).to_be_visible()
    found += look(page, Screen("evidence to write", ""))
    page.get_by_role("button", name="Write it").click()
    expect(page.get_by_text("Written: 1 enrolled, 2 pieces of evidence.")).to_be_visible()
    page.get_by_role("link", name="Take back").first.click()
    page.get_by_role("button", name="Take it back").click()
    expect(page.get_by_role("heading", name="Taken back")).to_be_visible()
    expect(page.get_by_text("1 person is out of the register again")).to_be_visible()
    assert found == []
