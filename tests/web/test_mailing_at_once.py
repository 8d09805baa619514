"""Many who send at one moment: one mail goes out. On SQLite, and on PostgreSQL by its own suite."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from typing import Any

import pytest
from django.core import mail
from django.db import connection

from thimble.ledger.entries import Kind
from thimble.web import context
from thimble.web.context import get_store
from thimble.web.mailing import sending
from thimble.web.mailing.sending import send_due
from thimble.web.models import MailClaim

from . import test_mailing
from .test_mailing import on

pytestmark = pytest.mark.django_db
case = test_mailing.case
MANY = 6


@pytest.fixture(autouse=True)
def _mail_is_set_up(settings: Any, _site: None) -> Iterator[None]:
    settings.MAIL = "file"
    site = test_mailing.SITE + test_mailing.MESSAGES
    (settings.DATA / "site.toml").write_text(site, encoding="utf-8")
    context.forget()
    yield
    context.forget()


@pytest.mark.usefixtures("append_only_db")
def test_threads_that_all_found_the_mail_due_send_it_once(
    case: str, monkeypatch: pytest.MonkeyPatch
):
    """All have looked before any has claimed: what the list says no longer protects anybody."""
    looked = threading.Barrier(MANY, timeout=30)
    due = list(sending.due_mails(on(-2)))
    assert len(due) == 1

    def found_by_all(*_: Any) -> list[sending.Due]:
        looked.wait()
        return due

    monkeypatch.setattr(sending, "due_mails", found_by_all)
    results: list[sending.Sent] = []
    broken: list[BaseException] = []

    def run() -> None:
        try:
            results.append(send_due(on(-2)))
        except BaseException as error:
            broken.append(error)
        finally:
            connection.close()

    threads = [threading.Thread(target=run) for _ in range(MANY)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)

    assert broken == []
    assert sorted(each.sent for each in results) == [0] * (MANY - 1) + [1]
    assert len(mail.outbox) == 1
    assert [claimed.state for claimed in MailClaim.objects.all()] == ["sent"]
    kinds = [entry.kind for entry in get_store().entries(case)]
    assert kinds.count(Kind.CONTACTED) == 1
