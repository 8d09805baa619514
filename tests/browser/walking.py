"""What every walk through the hospital does: report on a phone, answer, open a document."""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from playwright.sync_api import Page, expect

from browser.conftest import PHONE, sign_in_as


def report(page: Page, name: str) -> str:
    """On the phone: what happened, first aid, the report. Returns the reference."""
    expect(page.get_by_role("heading", name="What happened?")).to_be_visible()
    page.get_by_role("link", name="Needle or other sharp").click()
    # First aid before any form, and where to go at this hour with its number.
    first = page.get_by_role("heading", name="First aid, now")
    expect(first).to_be_visible()
    expect(page.locator("ol.steps")).to_contain_text("Wash it with soap and water")
    top = page.locator("ol.steps").bounding_box()
    form = page.locator("form.form").bounding_box()
    assert top is not None
    assert form is not None
    bottom = top["y"] + top["height"]
    assert bottom < PHONE["height"]
    assert bottom < form["y"]
    expect(page.locator(".go")).to_contain_text("Emergency department")
    expect(page.locator(".go").get_by_role("link", name="555-0101")).to_have_attribute(
        "href", re.compile("^tel:")
    )
    page.get_by_label("15 min ago").check()
    page.get_by_label("What was it?").select_option("blood")
    page.get_by_label("Where in the hospital?").fill("Ward 9 South")
    page.get_by_label("Your name").fill(name)
    page.get_by_role("button", name="Send the report").click()
    expect(page.get_by_role("heading", name="Show this at the desk")).to_be_visible()
    expect(page.get_by_role("img", name=re.compile("QR code"))).to_be_visible()
    return page.locator(".reference").inner_text().strip()


def answer_everything(page: Page, known: Mapping[str, Any]) -> list[str]:
    """Answer the one next question until none is left; returns the facts in the order asked."""
    asked: list[str] = []
    while (form := page.locator("form.ask--big")).count():
        fact = form.locator("input[name=fact]").get_attribute("value") or ""
        position = form.locator("input[name=position]").get_attribute("value")
        assert fact not in asked, f"{fact} is asked twice"
        assert fact in known, f"{fact} is asked, and this night knows nothing of it"
        asked.append(fact)
        value = known[fact]
        if isinstance(value, list):
            form.get_by_label("None of these").check()
            form.get_by_role("button", name="Record").click()
        elif value == "unknown":
            form.locator(".answer--unknown").click()
        elif form.locator("button[name=value]").count():
            form.locator(f'button[name=value][value="{value}"]').click()
        else:
            form.locator("input[name=value]").fill(str(value))
            form.get_by_role("button", name="Record").click()
        page.locator(f'#work [data-position]:not([data-position="{position}"])').wait_for()
    return asked


def downloaded(page: Page, label: str, to: Path) -> bytes:
    """The document behind a link of the print page, as the browser gets it."""
    link = page.get_by_role("link", name=label)
    answer = page.request.get(page.url.split("/case/")[0] + (link.get_attribute("href") or ""))
    assert answer.status == 200
    assert answer.headers["content-type"] == "application/pdf"
    to.write_bytes(answer.body())
    return answer.body()


def sign_in_again_if_asked(page: Page, path: str, name: str) -> None:
    """A session ends after thirty minutes without use; the next page asks for the password."""
    page.goto(path)
    if "/sign-in" in page.url:
        sign_in_as(page, name)
        page.goto(path)
