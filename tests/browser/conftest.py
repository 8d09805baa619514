"""A real Chromium and a real server. Every page opened here is watched: no error, no other host."""

from __future__ import annotations

import json
import os
import shutil
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit
from zoneinfo import ZoneInfo

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright

from commands.data_folders import environment
from thimble.demo.hospital import PASSWORD

ZONE = ZoneInfo("America/New_York")
NIGHT = datetime(2026, 3, 3, 2, 40, tzinfo=ZONE)
"""02:40 on a Tuesday: occupational medicine is closed, the emergency department decides."""
PHONE = {"width": 390, "height": 844}
DESKTOP = {"width": 1280, "height": 900}
PATIENCE = 60.0
NIGHT_SERVER = Path(__file__).with_name("night_server.py")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    here = Path(__file__).parent
    for item in items:
        if here in item.path.parents:
            item.add_marker(pytest.mark.browser)


def _chromium() -> str | None:
    if named := os.environ.get("THIMBLE_CHROMIUM"):
        return named
    names = ("chromium", "chromium-browser", "google-chrome-stable", "google-chrome")
    return next((path for name in names if (path := shutil.which(name))), None)


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """One browser a module: its event loop must not outlive it, or Django refuses its database."""
    path = _chromium()
    if path is None:
        reason = "no Chromium on the PATH, and THIMBLE_CHROMIUM names none"
        if os.environ.get("THIMBLE_REQUIRE_BROWSER") == "1":
            pytest.fail(reason)
        pytest.skip(reason)
    with sync_playwright() as playwright:
        launched = playwright.chromium.launch(
            executable_path=path,
            args=["--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage"],
        )
        yield launched
        launched.close()


@dataclass(frozen=True)
class Hospital:
    """A running server with the demo in it. `cases` are references by story id."""

    folder: Path
    address: str
    cases: dict[str, str]

    def set_clock(self, moment: datetime) -> None:
        """Replace the file at once: a request never reads half an instant."""
        new = self.folder / "clock.new"
        new.write_text(moment.isoformat(), encoding="ascii")
        new.replace(self.folder / "clock")


@contextmanager
def open_hospital(folder: Path, **settings: str) -> Iterator[Hospital]:
    """The invented hospital, served from a folder; its clock stands at `NIGHT` until it is set.

    `settings` are variables of the server's environment, such as THIMBLE_MAIL.
    """
    (folder / "clock").write_text(NIGHT.isoformat(), encoding="ascii")
    with closing(socket.socket()) as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    address = f"http://127.0.0.1:{port}"
    with running(
        [str(NIGHT_SERVER), str(folder), str(port)], folder / "server.log", **settings
    ) as server:
        server.until(lambda: _answers(address))
        cases = json.loads((folder / "cases.json").read_text(encoding="utf-8"))
        yield Hospital(folder, address, cases)
    # Nothing that happened in these tests was a fault of the server.
    told = server.told()
    assert '"level": "error"' not in told
    assert "Traceback" not in told


@dataclass(frozen=True)
class Running:
    """A process of its own, as a site runs it."""

    process: subprocess.Popen[bytes]
    log: Path

    def told(self) -> str:
        return self.log.read_text(encoding="utf-8")

    def until(self, ready: Callable[[], bool]) -> None:
        """Wait until it is ready, or fail with what it said."""
        end = time.monotonic() + PATIENCE
        while not ready():
            if self.process.poll() is not None or time.monotonic() > end:
                pytest.fail(f"{self.process.args} did not start:\n{self.told()}")
            time.sleep(0.05)


@contextmanager
def running(arguments: list[str], log: Path, **settings: str) -> Iterator[Running]:
    """A Python program with the product at hand, stopped at the end."""
    with log.open("wb") as out:
        process = subprocess.Popen(
            [sys.executable, *arguments], env=environment(**settings), stdout=out, stderr=out
        )
    try:
        yield Running(process, log)
    finally:
        process.terminate()
        process.wait(PATIENCE)


@pytest.fixture(scope="session")
def _served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Hospital]:
    with open_hospital(tmp_path_factory.mktemp("night")) as hospital:
        yield hospital


def _answers(address: str) -> bool:
    with suppress(OSError), urllib.request.urlopen(f"{address}/alive", timeout=5) as answer:  # noqa: S310
        return bool(answer.status == 200)
    return False


@pytest.fixture
def hospital(_served: Hospital) -> Hospital:
    """The server, with its clock at 02:40."""
    _served.set_clock(NIGHT)
    return _served


@dataclass
class Watch:
    """What a page must not do. `expected` are sentences of the console that a test foresees."""

    address: str
    faults: list[str] = field(default_factory=list)
    expected: list[str] = field(default_factory=list)

    def over(self, page: Page) -> None:
        page.on("pageerror", lambda error: self.faults.append(f"{page.url}: {error}"))
        page.on("console", lambda message: self._console(page, message.type, message.text))
        page.on("request", lambda request: self._request(page, request.url))

    def _console(self, page: Page, kind: str, text: str) -> None:
        if kind in {"error", "warning"} and not any(words in text for words in self.expected):
            self.faults.append(f"{page.url}: console {kind}: {text}")

    def _request(self, page: Page, url: str) -> None:
        parts = urlsplit(url)
        if parts.scheme in {"data", "blob"}:
            return
        if f"{parts.scheme}://{parts.netloc}" != self.address:
            self.faults.append(f"{page.url}: asked another host: {url}")


@pytest.fixture
def watch(hospital: Hospital) -> Iterator[Watch]:
    watching = Watch(hospital.address)
    yield watching
    assert watching.faults == []


Opens = Callable[..., Page]


@pytest.fixture
def opens(browser: Browser, hospital: Hospital, watch: Watch) -> Iterator[Opens]:
    """Open a page of the site in a fresh browser, signed in or not, on a phone or a desk."""
    contexts: list[BrowserContext] = []

    def open_(path: str = "/", *, sign_in: str = "", **options: Any) -> Page:
        context = browser.new_context(
            base_url=hospital.address, **{"viewport": DESKTOP, "accept_downloads": True, **options}
        )
        context.set_default_timeout(15_000)
        contexts.append(context)
        page = context.new_page()
        watch.over(page)
        if sign_in:
            sign_in_as(page, sign_in)
        page.goto(path)
        return page

    yield open_
    for context in contexts:
        context.close()


def sign_in_as(page: Page, name: str) -> None:
    page.goto("/sign-in")
    page.get_by_label("Sign-in name").fill(name)
    page.get_by_label("Password", exact=True).fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url(lambda url: "/sign-in" not in url)
