"""Certificates, letters and offers that several hands write at one moment: each once. On SQLite, and on
PostgreSQL by its own suite."""

from __future__ import annotations

import threading
from collections.abc import Callable
from datetime import date
from typing import Any

import pytest
from django.core import mail
from django.db import connection
from django.test import Client

from thimble.people.entries import Kind
from thimble.web import clock
from thimble.web.cohort import sending
from thimble.web.cohort.offering import hand_out
from thimble.web.context import get_people
from thimble.web.models import CertificatePaper, LetterRun, PersonLink
from thimble.web.roles import Role
from thimble.web.secret_links import add_link
from web.conftest import NIGHT
from web.test_certificates import TITRE, doses, held
from web.test_letters_many import _site_with_mail, begun, kinds  # noqa: F401
from web.test_people import enrolled

pytestmark = pytest.mark.usefixtures("append_only_db", "_fresh_limits")
MANY = 4


@pytest.fixture
def nurse(append_only_db: None, signed_in: Callable[[Role], Client]) -> Client:
    return signed_in(Role.OCCUPATIONAL_NURSE)


def together(*calls: Callable[[], Any]) -> list[Any]:
    """What each of these answers, begun at one moment in a thread of its own."""
    start = threading.Barrier(len(calls), timeout=30)
    answers: list[Any] = [None] * len(calls)

    def run(number: int) -> None:
        try:
            start.wait()
            answers[number] = calls[number]()
        except BaseException as error:
            answers[number] = error
        finally:
            connection.close()

    threads = [threading.Thread(target=run, args=(number,)) for number in range(len(calls))]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
    assert [each for each in answers if each is None or isinstance(each, BaseException)] == []
    return answers


def test_of_many_who_issue_from_one_page_one_does(nurse: Client) -> None:
    person = enrolled(nurse)
    doses(nurse, person, "2018-01-10", "2018-02-20", "2018-08-01")
    assert nurse.post(f"/people/{person}/add/result", TITRE).status_code == 302
    position = str(len(get_people().entries(person)))
    form = {"valid_until": "2027-03-03", "position": position}

    def issue() -> int:
        client = Client()
        client.cookies = nurse.cookies
        return client.post(f"/people/{person}/certificate", form).status_code

    assert sorted(together(*[issue] * MANY)) == [302] + [422] * (MANY - 1)
    (issued,) = held(person)
    # Whoever came late left no paper behind.
    assert list(CertificatePaper.objects.values_list("number", flat=True)) == [issued.number]


def test_of_many_workers_at_one_run_one_writes_to_everybody_once(nurse: Client) -> None:
    run, people = begun("mail", "paper", "mail")
    together(*[lambda: sending.work(run.pk) or True] * MANY)
    assert [kinds(person).count("invited") for person in people] == [1, 1, 1]
    assert sorted(each.to[0] for each in mail.outbox) == [
        "p0@example.invalid",
        "p2@example.invalid",
    ]
    run.refresh_from_db()
    assert (run.in_file, run.held_until) == (1, None)


def offered(person: str) -> list[str]:
    entries = get_people().entries(person)
    return [each.body["how"] for each in entries if each.kind is Kind.OFFERED]


def test_an_offer_that_is_handed_out_and_read_at_once_is_on_record_once(nurse: Client) -> None:
    run, people = begun("paper", "paper")
    LetterRun.objects.update(about="offer")
    sending.work(run.pk)
    run.refresh_from_db()
    now = clock.now()
    secret = add_link(PersonLink, people[0], by="u1", now=now, until=now.replace(year=2027))
    readers = [Client(), Client()]
    for reader in readers:
        reader.get(f"/own/open/{secret}")
        assert reader.post("/own/birth-date", {"born": "6 May 2001"}).status_code == 302
    assert [offered(person) for person in people] == [[], []]

    def hand() -> int:
        return hand_out(run, date(2026, 3, 3), NIGHT, "u1", "occupational_nurse")

    answers = together(hand, hand, *[lambda r=r: r.get("/own/").status_code for r in readers])
    assert answers[2:] == [200, 200]
    assert [len(offered(person)) for person in people] == [1, 1]
    assert offered(people[1]) == ["paper"]
    assert sum(answers[:2]) == offered(people[0]).count("paper") + 1
