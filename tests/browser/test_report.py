"""The report in a real browser: nothing typed is lost, and nothing is left behind."""

from __future__ import annotations

import json
import os
import socket
import sqlite3
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page

from web.conftest import SITE


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The server's data folder."""
    return tmp_path_factory.mktemp("data")


@pytest.fixture(scope="module")
def address(folder: Path) -> Iterator[str]:
    """A server of its own with an empty ledger."""
    (folder / "site.toml").write_text(SITE, encoding="utf-8")
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    environment = os.environ | {
        "THIMBLE_DATA": str(folder),
        "DJANGO_SETTINGS_MODULE": "thimble.web.settings",
        "PYTHONPATH": os.pathsep.join(sys.path),
    }
    subprocess.run(
        [sys.executable, "-m", "django", "migrate", "--verbosity", "0"], env=environment, check=True
    )
    command = [sys.executable, "-m", "gunicorn", "thimble.web.wsgi:application"]
    with Path(folder / "server.log").open("w") as log:
        server = subprocess.Popen(
            [*command, "--bind", f"127.0.0.1:{port}", "--threads", "2", "--no-control-socket"],
            env=environment,
            stdout=log,
            stderr=log,
        )
    try:
        _wait(f"http://127.0.0.1:{port}/alive", server)
        yield f"http://127.0.0.1:{port}"
    finally:
        server.terminate()
        server.wait(timeout=10)


def _wait(url: str, server: subprocess.Popen[bytes]) -> None:
    for _ in range(150):
        assert server.poll() is None, "the server ended before it answered"
        try:
            with urllib.request.urlopen(url, timeout=1):  # noqa: S310 - our own server
                return
        except OSError:
            time.sleep(0.2)
    raise AssertionError("the server did not answer")


@pytest.fixture
def page(browser: Browser) -> Iterator[Page]:
    context = browser.new_context(viewport={"width": 390, "height": 844})
    page = context.new_page()
    broken: list[str] = []
    page.on("pageerror", lambda error: broken.append(str(error)))
    page.on("console", lambda said: broken.append(said.text) if "Security" in said.text else None)
    yield page
    context.close()
    assert broken == []


def _fill(page: Page) -> None:
    page.check("text=30 min ago")
    page.select_option("[name=fluid]", "blood")
    page.fill("[name=name]", "Rosalind Sampleworth")
    page.fill("[name=account]", "Recapping")


@pytest.mark.parametrize("slug", ["eye", "other"])
def test_first_aid_is_on_the_first_screen_of_a_phone(address: str, page: Page, slug: str) -> None:
    page.goto(f"{address}/now/{slug}")
    box = page.locator(".now").bounding_box()
    assert box is not None
    assert box["y"] + box["height"] <= 844
    assert page.evaluate("document.documentElement.scrollWidth") <= 390


def test_what_is_typed_survives_a_reload_and_a_lost_connection(address: str, page: Page) -> None:
    page.goto(f"{address}/now/needle-or-sharp")
    _fill(page)
    token = page.input_value("[name=once]")

    page.reload()
    assert page.input_value("[name=name]") == "Rosalind Sampleworth"
    assert page.input_value("[name=once]") == token

    page.context.set_offline(True)
    page.click("text=Send the report")
    page.wait_for_selector("#connection:visible")
    page.context.set_offline(False)
    page.wait_for_url("**/reported")
    assert "Show this at the desk" in page.inner_text("h1")


def test_a_wrong_year_is_asked_about_once_and_nothing_typed_is_lost(
    address: str, page: Page
) -> None:
    page.goto(f"{address}/now/other")
    _fill(page)
    page.check("text=Another time")
    page.fill("[name=day]", "2019-01-01")
    page.fill("[name=clock]", "02:40")
    page.click("text=Send the report")

    page.wait_for_selector("[role=alert]")
    assert "Tue 1 Jan 2019, 02:40" in page.inner_text("[role=alert]")
    for field, typed in (("name", "Rosalind Sampleworth"), ("account", "Recapping"),
                         ("day", "2019-01-01"), ("clock", "02:40")):  # fmt: skip
        assert page.input_value(f"[name={field}]") == typed
    page.click("text=Send the report")
    page.wait_for_url("**/reported")
    assert "Tue 1 Jan 2019, 02:40" in page.inner_text("main")
    page.reload()
    assert "2019" not in page.inner_text("main")


def _told_minutes_before(folder: Path, asked: datetime) -> float:
    """How long before `asked` the exposure of the newest report is kept as."""
    with closing(sqlite3.connect(folder / "thimble.sqlite3")) as database:
        (body,) = database.execute(
            "SELECT body FROM web_ledgerentry WHERE kind = 'reported' ORDER BY number DESC LIMIT 1"
        ).fetchone()
    at = datetime.fromisoformat(json.loads(body)["occurred_at"])
    return (asked - at).total_seconds() / 60


@pytest.mark.parametrize("reloaded", [False, True], ids=["waiting", "loaded anew"])
def test_a_report_that_waits_for_its_connection_keeps_its_time(
    address: str, folder: Path, page: Page, reloaded: bool
) -> None:
    """The page's clocks are set on by 40 minutes while it waits; the server's stand still."""
    page.clock.install()
    page.goto(f"{address}/now/mouth")
    _fill(page)  # 30 minutes ago
    page.context.set_offline(True)
    page.click("text=Send the report")
    page.wait_for_selector("#connection:visible")
    if reloaded:
        page.route("**/alive", lambda route: route.abort())
        page.context.set_offline(False)
    page.clock.fast_forward(40 * 60 * 1000)
    if reloaded:
        page.reload()
        page.unroute("**/alive")
        page.click("text=Send the report")
    else:
        page.context.set_offline(False)
        page.clock.run_for(9000)
    page.wait_for_url("**/reported")

    assert 70 <= _told_minutes_before(folder, datetime.now(UTC)) < 75


def test_the_choice_made_anew_is_counted_anew(address: str, folder: Path, page: Page) -> None:
    page.clock.install()
    page.goto(f"{address}/now/nose")
    _fill(page)
    page.clock.fast_forward(40 * 60 * 1000)
    page.check("text=15 min ago")
    page.click("text=Send the report")
    page.wait_for_url("**/reported")

    assert 15 <= _told_minutes_before(folder, datetime.now(UTC)) < 20


def test_after_sending_the_back_button_shows_nothing_of_the_report(
    address: str, page: Page
) -> None:
    page.goto(f"{address}/now/bite")
    _fill(page)
    first = page.input_value("[name=once]")
    page.click("text=Send the report")
    page.wait_for_url("**/reported")

    page.go_back()
    page.wait_for_function(
        "token => document.querySelector('[name=once]')?.value !== token"
        " && document.querySelector('[name=name]')?.value === ''",
        arg=first,
    )
    kept = page.evaluate("JSON.stringify(sessionStorage)")
    assert "Sampleworth" not in kept
    assert page.input_value("[name=account]") == ""


def test_without_script_the_whole_form_is_there_and_sends(address: str, browser: Browser) -> None:
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(f"{address}/now/eye")
    assert page.is_visible("[name=day]")
    _fill(page)
    page.click("text=Send the report")
    assert page.url == f"{address}/reported"
    context.close()


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("path", ["/", "/now/eye", "/now/other", "/sign-in", "/none"])
def test_axe_finds_no_violation(path: str, scheme: str, address: str, browser: Browser) -> None:
    context = browser.new_context(color_scheme=scheme, viewport={"width": 390, "height": 844})
    page = context.new_page()
    page.goto(address + path)
    violations = Axe().run(page).response["violations"]
    context.close()
    assert [(v["id"], v["nodes"][0]["html"]) for v in violations] == []
