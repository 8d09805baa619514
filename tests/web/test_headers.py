"""What browsers are told, and that no page asks for what the policy forbids."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from django.conf import settings
from django.test import Client

from thimble.web.settings import _secret_key

PAGES = ["/", "/now/eye", "/sign-in", "/none", "/static/thimble/none.css"]
HERE = Path(settings.HERE)


@pytest.mark.django_db
@pytest.mark.parametrize("path", PAGES)
def test_the_policy_allows_this_site_alone_and_nothing_inline(path: str) -> None:
    answer = Client().get(path)
    directives = dict(
        part.strip().split(" ", 1) for part in answer["Content-Security-Policy"].split(";")
    )

    assert directives["default-src"] == "'none'"
    for name in ("script-src", "style-src", "img-src", "font-src", "connect-src", "form-action"):
        assert directives[name] == "'self'"
    for name in ("frame-ancestors", "base-uri", "object-src"):
        assert directives[name] == "'none'"
    assert "unsafe" not in answer["Content-Security-Policy"]
    assert answer["X-Content-Type-Options"] == "nosniff"
    assert answer["Referrer-Policy"] == "same-origin"
    assert answer["X-Frame-Options"] == "DENY"
    assert "no-store" in answer["Cache-Control"]


def test_no_template_has_inline_script_or_style_or_a_resource_of_another_host() -> None:
    found = []
    for path in HERE.rglob("*.html"):
        text = path.read_text(encoding="utf-8")
        for fault in (
            r"<script(?![^>]*\bsrc=)",
            r"<style",
            r"\sstyle=",
            r"\son[a-z]+=",
            r"https?://",
        ):
            found += [f"{path.name}: {m[0]}" for m in re.finditer(fault, text)]
        found += [f"{path.name}: {m[0]}" for m in re.finditer(r"hx-(on|vars)|js:", text)]
    assert found == []


def test_style_and_script_name_no_other_host() -> None:
    for name in ("thimble.css", "report.js"):
        text = (HERE / "static/thimble" / name).read_text(encoding="utf-8")
        assert not re.search(r"https?://|//[a-z]|@import|eval\(", re.sub(r"//.*", "", text)), name


def test_debug_is_off_and_cookies_are_shut_to_script() -> None:
    assert settings.DEBUG is False
    assert settings.SESSION_COOKIE_HTTPONLY
    assert settings.CSRF_COOKIE_HTTPONLY
    assert settings.SESSION_COOKIE_SAMESITE == "Lax"


def test_an_unknown_host_name_is_refused() -> None:
    assert Client(headers={"host": "evil.example"}).get("/alive").status_code == 400


def test_the_secret_key_is_made_once_and_readable_by_its_owner_alone(tmp_path: Path) -> None:
    key = _secret_key(tmp_path)

    assert len(key) >= 64
    assert _secret_key(tmp_path) == key
    assert (tmp_path / "secret_key").stat().st_mode & 0o777 == 0o600
    assert _secret_key(tmp_path / "none") != _secret_key(tmp_path / "none")
    assert not (tmp_path / "none").exists()


@pytest.mark.django_db
def test_files_are_named_with_a_digest_so_that_a_new_version_is_fetched() -> None:
    page = Client().get("/").text
    assert re.search(r'href="/static/thimble/thimble\.css\?v=[0-9a-f]{10}"', page)


def test_fonts_come_with_their_licences() -> None:
    fonts = HERE / "static/thimble/fonts"
    for font in fonts.glob("*.woff2"):
        licence = fonts / f"{font.stem.removesuffix('-italic')}.LICENSE.txt"
        assert "SIL Open Font License" in licence.read_text(encoding="utf-8").replace(
            "OPEN FONT LICENSE", "Open Font License"
        )
