"""The months after, in a real browser: results over MLLP, visits, prophylaxis, and how a case ends."""

from __future__ import annotations

import re
import subprocess
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from browser.conftest import NIGHT, PHONE, Hospital, Opens, open_hospital
from browser.laboratory import Laboratory, open_laboratory
from browser.walking import answer_everything, downloaded, report, sign_in_again_if_asked

KNOWN: dict[str, Any] = {
    "source_hiv": "unknown",
    "source_access": "testable",
    "source_hiv_acute_illness": "no",
    "source_hbsag": "unknown",
    "source_hcv_rna": "not_tested",
    "source_anti_hcv": "not_tested",
    "source_hcv_recent_risk": "no",
    "source_hiv_risk": "ordinary",
    "source_hbv_risk": "ordinary",
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
    "worker_years_since_tetanus_dose": "2",
    "worker_weight": 64,
}
"""What is known at 02:50: of the source patient, nothing."""


@pytest.fixture
def months(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Hospital]:
    """A hospital of its own for each story: its clock only runs on."""
    with open_hospital(tmp_path_factory.mktemp("months")) as hospital:
        yield hospital


@pytest.fixture
def hospital(months: Hospital) -> Hospital:
    """In place of the one that the other tests share."""
    return months


@pytest.fixture
def laboratory(months: Hospital) -> Iterator[Laboratory]:
    with open_laboratory(months.folder) as laboratory:
        yield laboratory


@dataclass
class Desk:
    """Somebody at a desk, with one case."""

    hospital: Hospital
    page: Page
    case: str
    user: str

    def at(self, moment: datetime) -> None:
        self.hospital.set_clock(moment)

    def open(self, part: str = "") -> Page:
        sign_in_again_if_asked(self.page, f"/case/{self.case}/{part}", self.user)
        return self.page

    def left(self) -> list[str]:
        """The actions that can be recorded as done on the case page, in its order."""
        ids = self.open().locator("[id^=action-]").evaluate_all("all => all.map(one => one.id)")
        return [id_.removeprefix("action-") for id_ in ids]

    def do(self, action: str, **typed: str) -> None:
        """Record an action as done now, with what is typed (`specimen`, `days`, …)."""
        box = self.open().locator(f"#action-{action}")
        if typed:
            box.locator("details.do > summary").click()
            for name, value in typed.items():
                box.locator(f'details.do input[name="{name}"]').fill(value)
            box.get_by_role("button", name=re.compile("^Record as")).click()
        else:
            box.get_by_role("button", name=re.compile("^Done now")).click()
        expect(self.page.locator("#recorded")).to_be_visible()

    def plan(self) -> str:
        return self.open().locator("#plan").inner_text()

    def agree(self) -> list[date]:
        """The dates that the page proposes are told to the worker; returns their days."""
        page = self.open("visits/")
        page.get_by_role("button", name="The worker was told these dates").click()
        expect(page.get_by_text("The worker knows these dates.")).to_be_visible()
        days = page.locator(".visit-day").all_inner_texts()
        return [
            datetime.strptime(f"{day[:15].strip()} +0000", "%a %d %b %Y %z").date() for day in days
        ]

    def on_course(self, form: str, button: str, choices: Sequence[str] = (), **typed: str) -> None:
        """Fill a form of the course page: choices by their label, the rest by field."""
        box = self.open("course/").locator(f"#{form}")
        box.locator("summary").first.click()
        for label in choices:
            box.get_by_label(label, exact=True).check()
        for name, value in typed.items():
            box.locator(f'[name="{name}"]').fill(value)
        box.get_by_role("button", name=button).click()
        expect(self.page.get_by_role("alert")).to_have_count(0)

    def give_from_the_shelf(self, action: str) -> None:
        """Record a dose from the first lot that the page offers."""
        box = self.open().locator(f"#action-{action}")
        box.locator("details.do > summary").first.click()
        box.locator('input[name="from"]').first.check()
        box.get_by_role("button", name=re.compile("^Record as given")).click()
        expect(self.page.locator("#recorded")).to_be_visible()

    def shows(self, words: str) -> None:
        """The page of the case says so, once the laboratory's message is worked through."""
        for _ in range(40):
            if words in self.open().locator("main").inner_text():
                return
            self.page.wait_for_timeout(100)
        pytest.fail(f"{words!r} does not stand on {self.page.url}")


def first_hour(
    hospital: Hospital, opens: Opens, name: str, known: dict[str, Any], source: str
) -> str:
    """The night: reported, assessed, signed, blood drawn, the first dose given. Returns the case."""
    case = report(opens("/", viewport=PHONE, has_touch=True, is_mobile=True), name)
    hospital.set_clock(NIGHT + timedelta(minutes=10))
    night = Desk(hospital, opens("/worklist/", sign_in="night"), case, "night")
    answer_everything(night.open(), known)
    page = night.open("otherwise/hiv_pep")
    page.get_by_label("Recommended: give the first dose now").check()
    page.locator("[name=reason]").fill("Deep wound, source not known")
    page.get_by_role("button", name="Record my decision").click()
    night.open("sign").get_by_role("button", name="Sign this plan").click()
    page = night.open()
    first_aid = page.locator("form", has=page.get_by_role("button", name="Record what was done"))
    first_aid.get_by_role("checkbox").first.check()
    first_aid.get_by_role("button", name="Record what was done").click()
    expect(page.locator("#recorded")).to_be_visible()
    for action in ("baseline_hiv", "baseline_hcv", "baseline_pep_bloods"):
        night.do(action, specimen=f"W-{source}")
    for action in ("source_hiv_test", "source_hbsag_test", "source_hcv_test"):
        night.do(action, specimen=f"S-{source}")
    night.give_from_the_shelf("hiv_pep_first_dose")
    for action in ("ask_source", "hiv_expert_advice", "counsel_precautions", "sharps_injury_log"):
        night.do(action)
    return case


def words_of(document: Path) -> str:
    """The words on the pages, by poppler."""
    found = subprocess.run(
        ["pdftotext", "-layout", str(document), "-"], capture_output=True, check=True
    )
    return re.sub(r"\s+", " ", found.stdout.decode())


def at_nine(day: date) -> datetime:
    """Half past nine on a day, in the hospital's zone."""
    return datetime(day.year, day.month, day.day, 9, 30, tzinfo=NIGHT.tzinfo)


def test_half_a_year_from_a_corrected_result_to_the_certificate(  # noqa: PLR0915 (one case, told through)
    months: Hospital, opens: Opens, laboratory: Laboratory, tmp_path: Path
) -> None:
    case = first_hour(months, opens, "Nadezhda Invented", KNOWN, "71")
    nurse = Desk(months, opens("/worklist/", sign_in="nurse"), case, "nurse")
    drawn = NIGHT + timedelta(minutes=15)

    # Ten in the morning: the source has no HIV, but hepatitis C; the worker has neither.
    morning = NIGHT.replace(hour=10)
    nurse.at(morning)
    sent = {"hiv_ag_ab": "Negative", "hbsag": "Negative", "hcv_rna": "Detected"}
    assert laboratory.report("S-71", sent, taken=drawn, now=morning) == "AA"
    sent = {"hiv_ag_ab": "Negative", "hbsag": "Negative", "anti_hcv": "Negative", "alt": "22 U/L"}
    assert laboratory.report("W-71", sent, taken=drawn, now=morning) == "AA"
    nurse.shows("Is acute HIV infection suspected in the source patient?")
    answer_everything(nurse.open(), {"source_hiv_acute_illness": "no"})
    assert "Stop HIV prophylaxis" in nurse.plan()

    # The next day the laboratory corrects it: positive. The plan turns, and says so.
    next_day = morning + timedelta(days=1)
    nurse.at(next_day)
    sent = {"hiv_ag_ab": "Positive"}
    assert laboratory.report("S-71", sent, taken=drawn, now=next_day, status="C") == "AA"
    nurse.shows("HIV antigen/antibody: positive (corrected)")
    expect(nurse.page.locator(".news")).to_contain_text("HIV prophylaxis")
    answer_everything(
        nurse.open(),
        {"source_hiv_load": "detectable", "source_hiv_resistance": "no"},
    )
    assert "Recommended" in nurse.plan()
    assert "Stop HIV prophylaxis" not in nurse.plan()
    days = nurse.agree()
    assert [str(day) for day in days] == [
        "2026-03-05", "2026-03-17", "2026-03-31", "2026-05-26", "2026-07-06",
    ]  # fmt: skip

    # The visits one by one. On the fifth of March more tablets; on the seventeenth a missed dose is told.
    nurse.at(at_nine(days[0]))
    nurse.on_course(
        "review",
        "Record the review",
        (
            "Every dose taken",
            "Not back, or not looked at",
            "In, and looked at",
            "Go on with the course",
        ),
    )
    nurse.on_course("hand_out", "Record", product="Bictegravir tablets", days="23")
    nurse.at(at_nine(days[1]))
    nurse.on_course("missed", "Record missed doses", count="1")
    assert "missed doses" in nurse.plan()
    nurse.do("pep_missed_advice", of="HIV physician on call", text="Go on with the tablets")
    nurse.do("pep_bloods_2w", specimen="W-72")
    sent = {"alt": "25 U/L"}
    assert laboratory.report("W-72", sent, taken=at_nine(days[1]), now=at_nine(days[1])) == "AA"

    # The last of March: the course ends; the first test for hepatitis C.
    nurse.at(at_nine(days[2]))
    nurse.on_course("stop", "Record the end", ("Course completed",))
    nurse.do("follow_up_hcv_rna", specimen="W-73")
    evening = at_nine(days[2]) + timedelta(hours=8)
    nurse.at(evening)
    sent = {"hcv_rna": "Not detected"}
    assert laboratory.report("W-73", sent, taken=at_nine(days[2]), now=evening) == "AA"

    # In May nobody comes. The recall list says so, the worker is reached, another day is agreed.
    nurse.at(at_nine(days[3] + timedelta(days=1)))
    nurse.open("visits/").get_by_role("button", name=re.compile("^Did not come")).click()
    sign_in_again_if_asked(nurse.page, "/recall/", "nurse")
    row = nurse.page.locator("main li, main tr").filter(has_text=case).first
    expect(row).to_contain_text("26 May")
    page = nurse.open("visits/")
    expect(page.locator("main")).to_contain_text("Telephone the worker")
    page.get_by_text("Record an attempt", exact=True).last.click()
    page.get_by_label("By telephone").check()
    page.get_by_label("Reached", exact=True).check()
    page.get_by_role("button", name="Record it").click()
    nurse.agree()
    nurse.at(at_nine(days[3] + timedelta(days=3)))
    nurse.do("follow_up_hiv_12w", specimen="W-74")
    evening = at_nine(days[3] + timedelta(days=3)) + timedelta(hours=8)
    nurse.at(evening)
    sent = {"hiv_ag_ab": "Negative", "hiv_rna": "Not detected"}
    assert laboratory.report("W-74", sent, taken=evening - timedelta(hours=8), now=evening) == "AA"

    # July: the last test. Nobody is told all clear before its result is in.
    nurse.at(at_nine(days[4]))
    nurse.do("follow_up_hcv_antibody", specimen="W-75")
    nurse.do("written_opinion")
    expect(nurse.open("closing/").locator("main")).to_contain_text("Result awaited")
    expect(nurse.page.get_by_label("Follow-up complete, all clear")).to_be_disabled()
    evening = at_nine(days[4]) + timedelta(hours=8)
    nurse.at(evening)
    sent = {"anti_hcv": "Negative"}
    assert laboratory.report("W-75", sent, taken=evening - timedelta(hours=8), now=evening) == "AA"
    # Antibody may fail to appear in somebody with weak immunity: that is asked before anybody is told.
    page = nurse.open("closing/")
    expect(page.locator("main")).to_contain_text("Has the worker weak immunity or liver disease?")
    while (asked := page.get_by_role("link", name="Answer it")).count():
        asked.first.click()
        page.locator('form.ask--big button[name=value][value="no"]').click()
        page.locator("#recorded").wait_for()
        page = nurse.open("closing/")
    page.get_by_label("Follow-up complete, all clear").check()
    page.get_by_role("button", name="Close the case").click()
    expect(page.locator(".desk-state").first).to_contain_text("ollow-up complete, all clear")
    page = nurse.open("papers/")
    certificate = downloaded(page, "All-clear certificate (PDF)", tmp_path / "clear.pdf")
    assert certificate.startswith(b"%PDF-")
    told = words_of(tmp_path / "clear.pdf")
    assert "Nadezhda Invented" in told
    for infection in ("HIV", "hepatitis B", "hepatitis C"):
        assert (f"no infection with {infection}" in told) == (infection != "hepatitis B")
    assert "S-71" not in told
    downloaded(page, "Closing statement (PDF)", tmp_path / "statement.pdf")
    statement = words_of(tmp_path / "statement.pdf")
    for sample in ("anti-HCV", "HCV RNA", "HIV RNA"):
        assert sample in statement
    assert "Expected and did not come: Tue 26 May 2026" in statement


def test_an_early_hepatitis_c_is_found_at_the_first_visit_and_referred(
    months: Hospital, opens: Opens, laboratory: Laboratory, tmp_path: Path
) -> None:
    case = first_hour(months, opens, "Anselm Invented", KNOWN, "81")
    nurse = Desk(months, opens("/worklist/", sign_in="nurse"), case, "nurse")
    drawn = NIGHT + timedelta(minutes=15)
    morning = NIGHT.replace(hour=10)
    nurse.at(morning)
    sent = {"hiv_ag_ab": "Negative", "hbsag": "Negative", "hcv_rna": "Detected"}
    assert laboratory.report("S-81", sent, taken=drawn, now=morning) == "AA"
    sent = {"hiv_ag_ab": "Negative", "hbsag": "Negative", "anti_hcv": "Negative", "alt": "22 U/L"}
    assert laboratory.report("W-81", sent, taken=drawn, now=morning) == "AA"
    nurse.shows("Is acute HIV infection suspected in the source patient?")
    answer_everything(nurse.open(), {"source_hiv_acute_illness": "no"})
    nurse.on_course("stop", "Record the end", ("Source patient negative",))
    assert date(2026, 3, 24) in nurse.agree()
    first = at_nine(date(2026, 3, 24))
    nurse.at(first)
    nurse.do("follow_up_hcv_rna", specimen="W-82")
    evening = first + timedelta(hours=8)
    nurse.at(evening)
    sent = {"hcv_rna": "Detected", "alt": "184 U/L"}
    assert laboratory.report("W-82", sent, taken=first, now=evening) == "AA"
    nurse.shows("HCV RNA: positive")
    nurse.shows("Act on the hepatitis C result of the worker")
    worklist = nurse.page
    sign_in_again_if_asked(worklist, "/worklist/", "nurse")
    row = worklist.locator("li.case", has=worklist.get_by_role("link", name=case))
    expect(row).to_contain_text("Act on the hepatitis C result of the worker")
    expect(nurse.open("closing/").locator("main")).to_contain_text("is not negative")

    # The physician tells the worker, writes to hepatology, and records it. No letter tells the worker.
    physician = Desk(months, opens("/worklist/", sign_in="physician"), case, "physician")
    page = physician.open("papers/")
    expect(page.get_by_role("link", name="Results explained")).to_have_count(0)
    page = physician.open("papers/letters/")
    page.get_by_label("Hepatology").check()
    page.get_by_label("Please assess for treatment, and take over care.").check()
    page.get_by_label("To whom, by name").first.fill("Dr. Invented Reader")
    form = page.locator("form", has=page.get_by_role("button", name="Print the referral (PDF)"))
    answer = page.request.post(
        page.url,
        form={
            field.get_attribute("name") or "": field.input_value()
            for field in form.locator(
                "input:checked, input[type=hidden], textarea, input[id]"
            ).all()
            if (field.get_attribute("type") != "radio" or field.is_checked())
        },
        headers={"Referer": page.url},
    )
    assert answer.headers["content-type"] == "application/pdf"
    (tmp_path / "referral.pdf").write_bytes(answer.body())
    referral = words_of(tmp_path / "referral.pdf")
    for told in ("Referral: hepatology", "HCV RNA", "positive", "Tue 24 Mar 2026"):
        assert told in referral
    assert "S-81" not in referral
    physician.do("found_hcv_infection", text="Told in person, referred to hepatology")
    page = physician.open("closing/")
    expect(page.get_by_label("Follow-up complete, all clear")).to_be_disabled()
    page.get_by_label("Followed elsewhere").check()
    page.locator("[name=text]").fill("Hepatology has taken over; early hepatitis C.")
    page.get_by_role("button", name="Close the case").click()
    expect(page.locator(".desk-state").first).to_contain_text("followed elsewhere")
    expect(physician.open("papers/").get_by_role("link", name="All-clear")).to_have_count(0)
