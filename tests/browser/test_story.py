"""A whole night in a real browser: a phone at 02:40, the emergency department, the morning after."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import expect

from browser.conftest import DESKTOP, NIGHT, PHONE, Hospital, Opens, Watch
from browser.walking import answer_everything, downloaded, report, sign_in_again_if_asked

KNOWN: dict[str, Any] = {
    "source_hiv": "positive",
    "source_hiv_load": "unknown",
    "source_hiv_acute_illness": "no",
    "source_hiv_resistance": "no",
    "source_access": "testable",
    "source_hbsag": "unknown",
    "source_hcv_rna": "not_tested",
    "source_anti_hcv": "not_tested",
    "source_hcv_recent_risk": "unknown",
    "worker_hiv": "negative",
    "worker_on_prep": "no",
    "worker_pregnancy": "no",
    "worker_breastfeeding": "no",
    "worker_kidney_disease": "no",
    "worker_creatinine_clearance": 96,
    "worker_medicines": [],
    "worker_hbv_infection": "none_known",
    "worker_hbv_series": "one_complete",
    "worker_hbv_response": "responder",
    "worker_anti_hcv": "negative",
    "wound_contaminated": "no",
    "worker_tetanus_doses": "three_or_more",
    "worker_years_since_tetanus_dose": "2,5",
    "worker_weight": 64,
}
"""What the emergency clinician knows at 02:50: the ward says that the source has HIV."""


@pytest.fixture
def night(hospital: Hospital) -> Hospital:
    return hospital


def test_a_night_from_the_phone_to_the_changed_plan(  # noqa: PLR0915 (one night, told through)
    night: Hospital, opens: Opens, watch: Watch, tmp_path: Path
) -> None:
    # 02:40, a phone with one hand.
    phone = opens("/", viewport=PHONE, has_touch=True, is_mobile=True)
    reference = report(phone, "Nadezhda Invented")

    # 02:50, the emergency department: the case is on the worklist, the clinician answers.
    night.set_clock(NIGHT + timedelta(minutes=10))
    desk = opens("/worklist/", sign_in="night")
    desk.get_by_role("link", name=reference).click()
    expect(desk.get_by_role("heading", level=1)).to_contain_text("25 min since the exposure")
    expect(desk.locator("#question-title")).to_have_text(
        "What is known of the source patient's HIV status?"
    )
    desk.locator("#action-assess").get_by_role("button", name="Done now").click()
    expect(desk.locator("#recorded")).to_be_visible()
    asked = answer_everything(desk, KNOWN)
    assert asked[0] == "source_hiv"
    expect(desk.locator("#question-title")).to_contain_text("No question is left")
    plan = desk.locator("#plan")
    expect(plan).to_contain_text("Recommended: give the first dose now")
    # US25: re-evaluate within 72 hours; 02:25 on Friday.
    expect(plan).to_contain_text("Review the worker")

    # Reads and signs.
    desk.get_by_role("link", name="Review and sign").first.click()
    expect(desk.locator("main")).to_contain_text("Recommended: give the first dose now")
    desk.get_by_role("button", name="Sign this plan").click()
    expect(desk.locator(".desk-state")).to_contain_text("Plan signed by Dr. Odile Farrant")

    # Gives the first dose and prints the sheet for the worker.
    dose = desk.locator("#action-hiv_pep_first_dose")
    dose.get_by_text("Given", exact=False).first.click()
    dose.locator('input[name="from"]').first.check()
    dose.get_by_role("button", name="Record as given").click()
    expect(desk.locator("#recorded")).to_be_visible()
    desk.goto(f"/case/{reference}/papers/")
    papers = desk.locator("ul.papers").first.get_by_role("link").all_inner_texts()
    for label in [label for label in papers if label.endswith("(PDF)")]:
        body = downloaded(desk, label, tmp_path / "sheet.pdf")
        assert body.startswith(b"%PDF-")
        assert body.rstrip().endswith(b"%%EOF")

    # 08:05, the nurse's worklist.
    night.set_clock(NIGHT.replace(hour=8, minute=5))
    nurse = opens("/worklist/", sign_in="nurse")
    row = nurse.locator("li.case", has=nurse.get_by_role("link", name=reference))
    expect(row).to_contain_text("Ward 9 South")
    row.get_by_role("link", name=reference).click()
    expect(nurse.locator(".desk-worker")).to_contain_text("Nadezhda Invented")
    expect(nurse.locator(".desk-state")).to_contain_text("Plan signed by Dr. Odile Farrant")

    # 11:30, the laboratory: the source is negative. The plan changes and says what changed.
    night.set_clock(NIGHT.replace(hour=11, minute=30))
    sign_in_again_if_asked(nurse, f"/case/{reference}/source/", "nurse")
    for fact in ("source_hiv", "source_hbsag", "source_hcv_rna"):
        nurse.locator(f'input[name={fact}][value="negative"]').check()
    nurse.get_by_role("button", name="Record the result").click()
    recorded = nurse.locator("#recorded")
    expect(recorded).to_contain_text("HIV prophylaxis: open (before: Recommended")
    # A negative test may be too early: that is asked now, and only then does prophylaxis end.
    nurse.goto(f"/case/{reference}/")
    form = nurse.locator("form.ask--big")
    expect(form.locator("input[name=fact]")).to_have_value("source_hiv_acute_illness")
    form.locator('button[name=value][value="no"]').click()
    expect(recorded).to_contain_text("HIV prophylaxis: Not indicated (before: open)")
    expect(nurse.locator("#plan")).to_contain_text("Stop HIV prophylaxis")

    # The clinician who signed sees on coming back what others wrote and what it changed.
    night.set_clock(NIGHT.replace(hour=11, minute=40))
    physician = opens(f"/case/{reference}/", sign_in="night")
    expect(physician.locator(".news")).to_contain_text("Written by others since your last look")
    expect(physician.locator(".news")).to_contain_text("Not indicated")
    expect(physician.locator(".desk-state")).to_contain_text("It has changed since then")
    expect(physician.locator("#plan")).to_contain_text("Stop")

    # The history tells all of it, and what was known at 02:50 can be seen again.
    physician.goto(f"/case/{reference}/history/")
    history = physician.locator("main")
    for words in ("Exposure reported", "Plan signed", "Dose given", "Result received"):
        expect(history).to_contain_text(words)


def test_a_session_ends_after_half_an_hour_and_says_so(night: Hospital, opens: Opens) -> None:
    page = opens("/worklist/", sign_in="night")
    night.set_clock(NIGHT + timedelta(minutes=29))
    page.reload()
    assert "/worklist/" in page.url
    night.set_clock(NIGHT + timedelta(minutes=60))
    page.reload()

    assert "/sign-in" in page.url
    expect(page.get_by_role("heading", name="You were signed out")).to_be_visible()


def test_two_clinicians_at_once_the_second_is_told_and_loses_nothing(
    night: Hospital, opens: Opens, watch: Watch
) -> None:
    # An answer that came too late is a conflict, and browsers note that in their console.
    watch.expected.append("409")
    reference = night.cases["just-now"]
    first = opens(f"/case/{reference}/", sign_in="night")
    second = opens(f"/case/{reference}/", sign_in="physician")
    first.locator('form.ask--big button[name=value][value="negative"]').click()
    first.locator("#recorded").wait_for()
    second.locator('form.ask--big button[name=value][value="positive"]').click()

    notice = second.get_by_role("alert")
    expect(notice).to_contain_text("Somebody wrote to this case while you were answering")
    expect(notice).to_contain_text("HIV positive")
    second.get_by_role("button", name="Record mine still").click()
    expect(second.locator("#facts")).to_contain_text("HIV positive")


def test_a_lost_connection_loses_nothing_and_the_report_goes_when_it_is_back(
    night: Hospital, opens: Opens, watch: Watch
) -> None:
    watch.expected.append("ERR_INTERNET_DISCONNECTED")
    phone = opens("/now/needle-or-sharp", viewport=PHONE, is_mobile=True, has_touch=True)
    phone.get_by_label("30 min ago").check()
    phone.get_by_label("What was it?").select_option("bloody_fluid")
    phone.get_by_label("Anything that helps").fill("In the lift, where there is no signal.")
    phone.context.set_offline(True)
    phone.get_by_role("button", name="Send the report").click()
    expect(phone.get_by_role("heading", name="No connection")).to_be_visible()
    # First aid and where to go are still on the page, and so is what was typed.
    expect(phone.locator("ol.steps")).to_be_visible()
    expect(phone.get_by_label("Anything that helps")).to_have_value(
        "In the lift, where there is no signal."
    )
    phone.context.set_offline(False)
    phone.wait_for_url("**/reported")
    reference = phone.locator(".reference").inner_text().strip()

    desk = opens(f"/case/{reference}/", sign_in="night", viewport=DESKTOP)
    expect(desk.locator("main")).to_contain_text("Any fluid with visible blood")


def test_what_was_typed_is_there_again_when_the_page_is_opened_anew(
    night: Hospital, opens: Opens
) -> None:
    phone = opens("/", viewport=PHONE)
    phone.locator("ul.doors a").nth(1).click()
    phone.wait_for_load_state()
    place = phone.get_by_label("Where in the hospital?")
    place.fill("Dialysis, bay 3")
    phone.reload()

    expect(place).to_have_value("Dialysis, bay 3")


def test_without_javascript_the_whole_way_works(night: Hospital, opens: Opens) -> None:
    phone = opens("/", viewport=PHONE, java_script_enabled=False)
    reference = report(phone, "Plain Invented")
    desk = opens(f"/case/{reference}/", sign_in="night", java_script_enabled=False)
    desk.locator('form.ask--big button[name=value][value="negative"]').click()
    expect(desk.locator("#recorded")).to_be_visible()
    expect(desk.locator("#facts")).to_contain_text("Tested negative")
    desk.locator("#action-assess").get_by_role("button", name="Done now").click()
    expect(desk.locator("#recorded")).to_be_visible()
    desk.get_by_role("link", name="Review and sign").first.click()
    desk.get_by_role("button", name="Sign this plan").click()

    expect(desk.locator(".desk-state")).to_contain_text("Plan signed by Dr. Odile Farrant")
