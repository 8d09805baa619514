"""What is to be done about stock is mailed once: not daily, again when it came back, about no person."""

from __future__ import annotations

import smtplib
import tomllib
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from django.core import mail

from thimble.clinical.site import SiteError, parse_site
from thimble.commands.stock_alerts import send_all
from thimble.ledger.stock.movements import Move
from thimble.web import clock, context
from thimble.web.models import StockAlertTold
from thimble.web.stock.mailing import Told, send

from .conftest import NIGHT, SITE
from .test_stock import SHELVES, put

pytestmark = pytest.mark.django_db
ADDRESS = "pharmacy@lindenfels.example"
SENDER = '\n[messages]\nappointment = "Appointment"\nsender = "visits@lindenfels.example"\n'


@pytest.fixture(autouse=True)
def _told_by_mail(settings: Any, _site: None, tmp_path: Path) -> None:
    settings.MAIL = "file"
    settings_of(tmp_path, f'stock_mail = "{ADDRESS}"\n')


def settings_of(folder: Path, more: str, sender: str = SENDER) -> None:
    (folder / "site.toml").write_text(more + SITE + SHELVES + sender, encoding="utf-8")
    context.forget()


def test_an_alert_is_told_once_and_again_when_it_came_back():
    put(quantity=1, lot="L1", expires=date(2027, 6, 30))
    put(Move.LEVEL, lot="", quantity=2)

    assert send(NIGHT) == Told(fresh=1, before=0, sent=True)
    assert send(NIGHT + timedelta(days=1)) == Told(fresh=0, before=1, sent=True)
    assert len(mail.outbox) == 1
    put(quantity=3, lot="L2", expires=date(2027, 6, 30))
    assert send(NIGHT + timedelta(days=2)) == Told(fresh=0, before=0, sent=True)
    put(Move.LEVEL, lot="", quantity=9)
    assert send(NIGHT + timedelta(days=3)) == Told(fresh=1, before=0, sent=True)
    assert len(mail.outbox) == 2


def test_fewer_of_the_same_lot_is_no_news_and_another_lot_is():
    put(quantity=5, lot="L1", expires=date(2026, 4, 1))
    assert send(NIGHT).fresh == 1
    put(Move.DISCARDED, lot="L1", quantity=1, reason="broken")
    assert send(NIGHT + timedelta(days=1)).fresh == 0
    put(quantity=5, lot="L2", expires=date(2026, 4, 1))
    assert send(NIGHT + timedelta(days=2)) == Told(fresh=1, before=1, sent=True)


def test_one_mail_tells_all_that_is_new_and_a_worse_one_is_new():
    put(quantity=1, lot="L1", expires=date(2026, 4, 1))
    put(Move.LEVEL, lot="", quantity=2)
    send(NIGHT)
    (sent,) = mail.outbox

    assert (sent.to, sent.subject) == ([ADDRESS], "Stock: 2 things to see to")
    assert sent.from_email == "visits@lindenfels.example"
    assert sent.extra_headers["Auto-Submitted"] == "auto-generated"
    assert "1 pack left of Starter pack; at least 2 should be there" in sent.body
    assert "lot L1, can be used until 1 Apr 2026" in sent.body
    put(Move.DISCARDED, lot="L1", quantity=1, reason="broken")
    assert send(NIGHT + timedelta(days=1)).fresh == 1
    assert "none left of Starter pack" in mail.outbox[1].body


def test_a_mail_that_could_not_be_sent_is_tried_again(monkeypatch: pytest.MonkeyPatch):
    put(quantity=1, lot="L1", expires=date(2026, 4, 1))

    def refuse(*_: object) -> int:
        raise smtplib.SMTPServerDisconnected(f"no {ADDRESS}")

    with monkeypatch.context() as broken:
        broken.setattr("django.core.mail.EmailMessage.send", refuse)
        assert send(NIGHT) == Told(fresh=1, before=0, sent=False)
    assert not StockAlertTold.objects.exists()
    assert send(NIGHT + timedelta(days=1)).sent


def test_the_mail_names_no_case_and_no_person():
    put(quantity=5, lot="L1", expires=date(2026, 4, 1))
    put(Move.GIVEN, lot="L1", quantity=1, case="N7K2-XQWM", entry=3)
    send(NIGHT)

    assert "N7K2" not in mail.outbox[0].body
    assert "N7K2" not in mail.outbox[0].subject


@pytest.mark.parametrize(
    ("more", "sender", "said"),
    [
        ("", SENDER, "site.toml has no stock_mail"),
        (f'stock_mail = "{ADDRESS}"\n', "", "names no sender"),
    ],
)
def test_a_site_that_has_nobody_told_is_content(
    more: str, sender: str, said: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
):
    settings_of(tmp_path, more, sender)

    assert send_all(tmp_path) == 0
    assert said in capsys.readouterr().out
    assert not mail.outbox


def test_the_nightly_job_says_how_many_and_no_address(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setattr(clock, "now", lambda: NIGHT)
    put(quantity=1, lot="L1", expires=date(2026, 4, 1))

    assert send_all(tmp_path) == 0
    assert capsys.readouterr().out == "1 new, 0 told before\n"


def test_an_address_that_is_none_is_refused():
    with pytest.raises(SiteError, match="stock_mail"):
        parse_site({**tomllib.loads(SITE), "stock_mail": "the pharmacy"})
