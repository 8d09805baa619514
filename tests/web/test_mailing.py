"""Mail to workers: only who agreed, nothing clinical in it, once, and failures on record."""

from __future__ import annotations

import smtplib
from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from django.core import mail
from django.test import Client
from django.urls import reverse

from thimble import actions
from thimble.actions.identity import WorkerIdentity
from thimble.clinical.neutral import Telling
from thimble.clinical.serology.analytes import Analyte, name_of
from thimble.clinical.site import SiteError, load_site
from thimble.clinical.vocabulary import VOCABULARY
from thimble.ledger.entries import Kind
from thimble.ledger.follow_up.record import AgreedVisit
from thimble.web import clock, context
from thimble.web.context import get_identities, get_site, get_store
from thimble.web.mailing.claims import GIVEN_UP
from thimble.web.mailing.message import MISSED, REMINDER, message
from thimble.web.mailing.sending import Sent, due_mails, send_due
from thimble.web.models import LedgerEntry
from thimble.web.roles import Role

from .conftest import NIGHT, SITE

pytestmark = pytest.mark.django_db
SignIn = Callable[[Role], Client]
NURSE = {"by": "u-nurse", "role": "occupational_nurse"}
ADDRESS = "zoe.private@home.example"
VISIT = date(2026, 3, 24)
MESSAGES = """
[messages]
appointment = "Appointment, occupational medicine"
place = "House C, ground floor"
sender = "visits@lindenfels.example"
days_ahead = 2
"""
DRUGS = (
    "tenofovir", "emtricitabine", "lamivudine", "dolutegravir", "bictegravir", "raltegravir",
    "immunoglobulin", "HBIG", "Td", "Tdap", "zidovudine", "darunavir", "rifampicin", "metformin",
)  # fmt: skip


@pytest.fixture(autouse=True)
def _mail_is_set_up(settings: Any, _site: None) -> Iterator[None]:
    settings.MAIL = "file"
    (settings.DATA / "site.toml").write_text(SITE + MESSAGES, encoding="utf-8")
    context.forget()
    yield
    context.forget()


@pytest.fixture
def case() -> str:
    made = actions.report(
        get_store(), facts={"route": "percutaneous", "fluid": "blood"}, occurred_at=NIGHT,
        occurred_at_precision="minute", vocabulary=VOCABULARY, now=NIGHT,
        identities=get_identities(), worker=WorkerIdentity(name="Zoë Sampleworth", email=ADDRESS),
    ).case  # fmt: skip
    visit = AgreedVisit(VISIT, ("follow_up_hcv_rna",))
    actions.agree_visits(get_store(), made, [visit], now=NIGHT, **NURSE)
    actions.worker_agrees(get_store(), made, "email", agreed=True, now=NIGHT, **NURSE)
    return made


def on(days: int, hour: int = 8) -> datetime:
    """An hour of the day counted from the visit."""
    return datetime(2026, 3, 24, hour, tzinfo=UTC) + timedelta(days=days)


def test_a_reminder_goes_out_within_the_days_ahead_and_once(case: str):
    assert send_due(on(-3)) == Sent()
    assert send_due(on(-2)) == Sent(sent=1)
    assert send_due(on(-2, 17)) == Sent()
    assert send_due(on(-1)) == Sent()
    [sent] = mail.outbox
    assert sent.to == [ADDRESS]
    entry = get_store().entries(case)[-1]
    assert entry.body == {
        "how": "email", "outcome": "sent", "text": "", "about": "reminder", "visit": "2026-03-24",
    }  # fmt: skip


def test_the_address_is_in_no_entry(case: str):
    send_due(on(-2))
    kept = " ".join(body for row in LedgerEntry.objects.all() for body in (row.body, row.by))
    assert ADDRESS not in kept
    assert "home.example" not in kept


def test_a_date_that_moves_is_reminded_of_anew(case: str):
    send_due(on(-2))
    later = AgreedVisit(VISIT + timedelta(days=6), ("follow_up_hcv_rna",))
    actions.agree_visits(get_store(), case, [later], now=on(-1), **NURSE)
    assert send_due(on(3)) == Sent()
    assert send_due(on(4)) == Sent(sent=1)
    assert "Mon 30 Mar 2026" in mail.outbox[-1].body


@pytest.mark.parametrize("agreed", [None, False])
def test_who_did_not_agree_or_took_it_back_gets_none(case: str, agreed: bool | None):
    if agreed is None:
        other = actions.report(
            get_store(), facts={}, occurred_at=NIGHT, occurred_at_precision="minute",
            vocabulary=VOCABULARY, now=NIGHT, identities=get_identities(),
            worker=WorkerIdentity(name="A", email="a@b.example"),
        ).case  # fmt: skip
        visit = AgreedVisit(VISIT, ("follow_up_hiv_12w",))
        actions.agree_visits(get_store(), other, [visit], now=NIGHT, **NURSE)
    actions.worker_agrees(get_store(), case, "email", agreed=False, now=NIGHT, **NURSE)
    assert send_due(on(-2)) == Sent()
    assert mail.outbox == []


def test_a_closed_case_gets_none(case: str):
    from thimble.web.context import get_protocol

    actions.close(
        get_store(), case, reason="worker_withdrew", text="asked to stop", protocol=get_protocol(),
        site=get_site(), now=NIGHT, may_leave=True, **NURSE,
    )  # fmt: skip
    assert send_due(on(-2)) == Sent()


def test_after_a_missed_visit_one_mail_goes_out_when_the_step_to_write_is_due(case: str):
    with clock.standing_at(on(0, 16)):
        actions.miss_visit(get_store(), case, VISIT, today=VISIT, now=on(0, 16), **NURSE)
    actions.contact(
        get_store(), case, how="telephone", outcome="no_answer", now=on(0, 17), **NURSE
    )  # fmt: skip
    assert send_due(on(2)) == Sent()
    assert send_due(on(3)) == Sent(sent=1)
    assert send_due(on(4)) == Sent()
    assert "We expected you on Tue 24 Mar 2026" in mail.outbox[0].body
    assert get_store().entries(case)[-1].body["about"] == "missed"


class Refusing:
    """A server that repeats the address in what it says."""

    def __init__(self, *_: Any, **__: Any) -> None:
        pass

    def open(self) -> None:
        pass

    def close(self) -> None:
        pass

    def send_messages(self, _messages: Any) -> int:
        raise smtplib.SMTPRecipientsRefused({ADDRESS: (550, b"no such user")})


def test_a_failure_is_on_record_shown_and_tried_again_on_another_day(
    case: str, signed_in: SignIn, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
):
    monkeypatch.setattr("django.core.mail.backends.locmem.EmailBackend", Refusing)
    assert send_due(on(-2)) == Sent(failed=1)
    assert send_due(on(-2, 12)) == Sent()
    monkeypatch.undo()
    assert get_store().entries(case)[-1].body["outcome"] == "not_sent"
    assert ADDRESS not in caplog.text
    with clock.standing_at(on(-1)):
        client = signed_in(Role.OCCUPATIONAL_NURSE)
        page = client.get(reverse("visits:visits", args=[case])).text
        assert "by e-mail: could not be sent" in page
        assert send_due(on(-1)) == Sent(sent=1)


class Fails:
    """A mail server that opens and then fails in one way."""

    def __init__(self, error: Exception | None, opens: bool = True) -> None:
        self.error, self.opens = error, opens

    def open(self) -> bool:
        if not self.opens:
            raise ConnectionRefusedError
        return True

    def close(self) -> None:
        raise smtplib.SMTPServerDisconnected

    def send_messages(self, messages: list[Any]) -> int:
        if self.error is not None:
            raise self.error
        return len(messages)


@pytest.mark.parametrize(
    ("server", "outcome"),
    [
        (Fails(None), "sent"),
        (Fails(None, opens=False), "not_sent"),
        (Fails(smtplib.SMTPDataError(554, b"no")), "not_sent"),
        (Fails(smtplib.SMTPRecipientsRefused({})), "not_sent"),
        (Fails(smtplib.SMTPServerDisconnected()), "not_known"),
        (Fails(TimeoutError()), "not_known"),
    ],
)
def test_a_server_that_falls_silent_leaves_it_unknown_and_one_that_refuses_does_not(
    case: str, monkeypatch: pytest.MonkeyPatch, server: Fails, outcome: str
):
    monkeypatch.setattr("django.core.mail.message.EmailMessage.get_connection", lambda *_: server)
    send_due(on(-2))
    assert get_store().entries(case)[-1].body["outcome"] == outcome
    # Only what certainly was not sent is tried again.
    assert [due.about for due in due_mails(on(-1))] == (
        ["reminder"] if outcome == "not_sent" else []
    )


def test_a_run_that_stopped_between_claim_and_record_is_told_and_never_sent_again(
    case: str, monkeypatch: pytest.MonkeyPatch, signed_in: SignIn
):
    def stops(*_: Any) -> str:
        raise KeyboardInterrupt

    with monkeypatch.context() as stopped:
        stopped.setattr("thimble.web.mailing.sending.hand_over", stops)
        with pytest.raises(KeyboardInterrupt):
            send_due(on(-2))
    assert mail.outbox == []
    kinds = [entry.kind for entry in get_store().entries(case)]
    assert Kind.CONTACTED not in kinds
    page = signed_in(Role.OCCUPATIONAL_NURSE).get(reverse("visits:visits", args=[case])).text
    assert "by e-mail: not known whether it was sent" in page

    soon = on(-2) + GIVEN_UP - timedelta(seconds=1)
    assert send_due(soon) == Sent()
    assert send_due(on(-2) + GIVEN_UP) == Sent(not_known=1)
    entry = get_store().entries(case)[-1]
    assert (entry.body["outcome"], entry.happened_at) == ("not_known", on(-2))
    assert send_due(on(-1)) == send_due(on(0)) == Sent()
    assert mail.outbox == []


def test_a_run_that_was_given_up_and_sent_it_after_all_says_so(
    case: str, monkeypatch: pytest.MonkeyPatch
):
    def slow(*_: Any) -> str:
        assert send_due(on(-2) + GIVEN_UP) == Sent(not_known=1)
        return "sent"

    monkeypatch.setattr("thimble.web.mailing.sending.hand_over", slow)
    assert send_due(on(-2)) == Sent(sent=1)
    told = [e.body["outcome"] for e in get_store().entries(case) if e.kind is Kind.CONTACTED]
    assert told == ["not_known", "sent"]


def test_without_an_address_nothing_is_sent_and_it_is_counted(case: str):
    get_identities().save_worker(case, WorkerIdentity(name="Z"), by="u-1", now=NIGHT)
    assert send_due(on(-2)) == Sent(no_address=1)
    assert get_store().entries(case)[-1].kind is Kind.WORKER_AGREED


@pytest.mark.parametrize("missing", ["backend", "sender"])
def test_where_mail_is_not_set_up_nothing_is_said_to_be_sent(
    case: str, settings: Any, missing: str
):
    if missing == "backend":
        settings.MAIL = ""
    else:
        (settings.DATA / "site.toml").write_text(SITE, encoding="utf-8")
        context.forget()
    with pytest.raises(ValueError, match="Mail is not set up"):
        send_due(on(-2))
    assert get_store().entries(case)[-1].kind is Kind.WORKER_AGREED


# -- nothing clinical -------------------------------------------------------------------------------


@pytest.mark.parametrize("about", [REMINDER, MISSED])
def test_no_fact_no_analyte_and_no_drug_is_anywhere_in_a_mail(about: str):
    """Headers and subject included. Labels that are everyday words are looked for as whole words, and
    left out where they are nothing but a yes, a no or a number."""
    whole = message(about, VISIT, get_site(), "a@b.example").message().as_string().lower()
    words = f" {' '.join(whole.replace(',', ' ').replace('.', ' ').replace(':', ' ').split())} "
    everyday = {"yes", "no", "none", "not known", "unknown", "no answer", "other", "no dose"}
    for fact in VOCABULARY.values():
        assert f" {fact.id.replace('_', ' ')} " not in words
        assert fact.id not in whole
        assert fact.question.lower() not in whole
        for label in fact.labels.values():
            if label.lower() not in everyday:
                assert f" {label.lower()} " not in words, label
    for name in (*(name_of(analyte) for analyte in Analyte), *(a.value for a in Analyte), *DRUGS):
        assert f" {name.lower()} " not in words, name
    for word in (
        "hiv",
        "hepatitis",
        "blood",
        "needle",
        "exposure",
        "infect",
        "virus",
        "test",
        "dose",
    ):
        assert word not in whole, word


def test_a_mail_says_that_it_was_sent_by_itself_and_not_from_which_machine():
    sent = message(REMINDER, VISIT, get_site(), "a@b.example").message()
    assert sent["Subject"] == "Appointment, occupational medicine"
    assert sent["Auto-Submitted"] == "auto-generated"
    assert sent["Message-ID"].endswith("@lindenfels.example>")
    assert set(sent.keys()) <= {
        "Content-Type", "MIME-Version", "Content-Transfer-Encoding", "Subject", "From", "To", "Date",
        "Message-ID", "Auto-Submitted",
    }  # fmt: skip


@pytest.mark.parametrize(
    ("key", "text"),
    [("appointment", "HIV clinic"), ("place", "Hepatitis centre"), ("sender", "hiv@x.example"),
     ("sender", "nobody"), ("days_ahead", "0"), ("days_ahead", "15")],
)  # fmt: skip
def test_words_of_the_site_that_tell_too_much_are_refused_when_it_is_read(
    settings: Any, key: str, text: str
):
    lines = dict(line.split(" = ", 1) for line in MESSAGES.strip().splitlines()[1:])
    lines[key] = text if key == "days_ahead" else f'"{text}"'
    changed = "[messages]\n" + "\n".join(f"{k} = {v}" for k, v in lines.items())
    (settings.DATA / "site.toml").write_text(f"{SITE}\n{changed}\n", encoding="utf-8")
    with pytest.raises(SiteError, match=rf"messages\.{key}"):
        load_site(settings.DATA / "site.toml")


def test_a_mail_that_would_tell_too_much_is_not_sent(case: str, monkeypatch: pytest.MonkeyPatch):
    """Whatever way such words got in: the last look is at the message itself."""
    monkeypatch.setattr("thimble.web.mailing.message.calendar_day", lambda _: "your HIV test")
    with pytest.raises(Telling):
        send_due(on(-2))
    assert mail.outbox == []


# -- on the screen ----------------------------------------------------------------------------------


def test_the_address_is_kept_with_the_name_and_the_agreement_in_the_case(
    case: str, signed_in: SignIn
):
    client = signed_in(Role.OCCUPATIONAL_NURSE)
    url = reverse("mailing:reach", args=[case])
    assert ADDRESS in client.get(url).text
    done = client.post(
        url, {"phone": "555-1", "email": "new@home.example", "agree_gp_letter": "yes"}
    )
    assert done.status_code == 302
    worker = get_identities().worker(case)
    assert worker is not None
    assert (worker.name, worker.phone, worker.email) == (
        "Zoë Sampleworth", "555-1", "new@home.example",
    )  # fmt: skip
    said = [e.body for e in get_store().entries(case) if e.kind is Kind.WORKER_AGREED]
    assert [(b["to"], b["agreed"]) for b in said[1:]] == [("email", False), ("gp_letter", True)]
    assert "Agrees to a letter to the general practitioner" in client.get(done["Location"]).text


@pytest.mark.parametrize(
    ("email", "said"),
    [("nobody", "That is no mail address"), ("", "leave mail off"),
     ("a@b\r\nBcc: c@d", "That is no mail address")],
)  # fmt: skip
def test_an_address_that_is_none_is_refused_and_what_was_typed_stays(
    case: str, signed_in: SignIn, email: str, said: str
):
    client = signed_in(Role.OCCUPATIONAL_NURSE)
    form = {"phone": "555-7", "email": email, "agree_email": "yes"}
    answer = client.post(reverse("mailing:reach", args=[case]), form)
    assert (answer.status_code, said in answer.text) == (422, True)
    assert "555-7" in answer.text


def test_sending_now_sends_what_is_due_to_this_worker_alone(case: str, signed_in: SignIn):
    url = reverse("mailing:send", args=[case])
    with clock.standing_at(on(-2)):
        client = signed_in(Role.OCCUPATIONAL_NURSE)
        assert "Send the mail that is due now" in client.get(
            reverse("visits:visits", args=[case])
        ).text  # fmt: skip
        assert client.post(url).status_code == 302
        assert len(mail.outbox) == 1
        again = client.post(url)
        assert (again.status_code, "No mail is due now" in again.text) == (409, True)
    assert not list(due_mails(on(-2)))
