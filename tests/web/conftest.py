"""A site, a database on disk with its triggers, and one account for each role."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings as django_settings
from django.core.cache import caches
from django.db import connection
from django.test import Client

from thimble.exchange.inbox import Inbox
from thimble.web import append_only, clock, context
from thimble.web.models import Account
from thimble.web.roles import Role

# A file, not memory: write-ahead logging, durable commits and writers that wait need a real one.
if not django_settings.DATABASE:
    django_settings.DATABASES["default"]["TEST"]["NAME"] = str(
        Path(tempfile.mkdtemp(prefix="thimble-trial-")) / "trial.sqlite3"
    )

only_sqlite = pytest.mark.skipif(
    bool(django_settings.DATABASE), reason="about SQLite; the settings name another database"
)

SITE = """
name = "Lindenfels General Hospital"
short_name = "Lindenfels"
address_lines = ["1 Orchard Road", "0000 Lindenfels"]
base_url = "https://thimble.example"
zone = "Europe/Zurich"
holidays_country = "CH"
protocol = "us"
invented = true
laboratory_phone = "0100"
emergency_phone = "0144"
consent_wording = ""
first_aid_notes = []
[occupational_medicine]
name = "Occupational Medicine"
where = "House C"
phone = "0123"
[occupational_medicine.hours]
monday = ["08:00-16:30"]
tuesday = ["08:00-16:30"]
[emergency_department]
name = "Emergency Department"
where = "House A"
phone = "0911"
[expert_phone]
name = "Infectious diseases on call"
number = "0177"
"""

NIGHT = datetime(2026, 3, 3, 1, 40, tzinfo=UTC)
"""02:40 on a Tuesday in Lindenfels."""

PASSWORD = "orchard-lantern-velvet"
BACKEND = "django.contrib.auth.backends.ModelBackend"


@pytest.fixture(autouse=True)
def _site(tmp_path: Path, settings: Any) -> Iterator[None]:
    (tmp_path / "site.toml").write_text(SITE, encoding="utf-8")
    settings.DATA = tmp_path
    context.forget()
    yield
    context.forget()


@pytest.fixture(autouse=True)
def _night() -> Iterator[None]:
    with clock.standing_at(NIGHT):
        yield


@pytest.fixture
def _fresh_limits(db: None) -> None:
    caches["limits"].clear()


@pytest.fixture
def append_only_db(transactional_db: None) -> Iterator[None]:
    """A database whose commits are real. The clean-up has to delete, so the triggers go first; the
    signal after the clean-up puts them back."""
    append_only.install(connection)
    yield
    append_only.remove(connection)


@pytest.fixture
def make_account(db: None) -> Callable[..., Account]:
    def make(role: Role, sign_in: str = "", *, password: str | None = None) -> Account:
        account = Account(sign_in=sign_in or role.value.replace("_", "-"), role=role.value)
        account.display_name = "Colleague"
        if password is None:
            account.set_unusable_password()
        else:
            account.set_password(password)
        account.save()
        return account

    return make


@pytest.fixture
def signed_in(make_account: Callable[..., Account]) -> Callable[[Role], Client]:
    def sign_in(role: Role) -> Client:
        client = Client()
        client.force_login(make_account(role), backend=BACKEND)
        return client

    return sign_in


@pytest.fixture
def nurse(signed_in: Callable[[Role], Client]) -> Client:
    return signed_in(Role.OCCUPATIONAL_NURSE)


@pytest.fixture
def inbox() -> Iterator[Inbox]:
    with Inbox(Path(django_settings.DATA)) as opened:
        yield opened
