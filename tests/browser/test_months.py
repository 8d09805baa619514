"""The months after, in a real browser: results over MLLP, visits, prophylaxis, and how a case ends."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from browser.conftest import Hospital, open_hospital
from browser.laboratory import Laboratory, open_laboratory
from browser.walking import sign_in_again_if_asked

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


@pytest.fixture(scope="module")
def months(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Hospital]:
    """A hospital of its own: its clock runs on for half a year."""
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
