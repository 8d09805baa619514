"""Letters to many: who gets one and how, each person once, also over a stop; mail tells nothing."""

from __future__ import annotations

import json
import re
import secrets
import smtplib
from collections.abc import Callable
from datetime import date, time, timedelta
from io import BytesIO
from itertools import count
from typing import Any

import pikepdf
import pytest
from django.core import mail
from django.db import IntegrityError
from django.test import Client
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from thimble.actions import people as acts
from thimble.clinical.neutral import telling_words
from thimble.people.identity import PersonIdentity
from thimble.people.sessions import Session
from thimble.web import clock, context
from thimble.web.clinic.store import get_clinic
from thimble.web.cohort import sending
from thimble.web.context import get_people, get_people_identities
from thimble.web.models import IdentityLook, LetterRun, LetterTo, PersonLink
from thimble.web.own_page.links import state_of_link
from thimble.web.roles import Role
from thimble.web.secret_links import add_link, link_of, make_link
from web.conftest import NIGHT, SITE
from web.test_cohort import WORK, WRITER

GET_CONNECTION = "django.core.mail.message.EmailMessage.get_connection"
pytestmark = pytest.mark.django_db

ASK = "/cohorts/letters?cohort=Spring&show=not_ready"


def session(place: str = "House C", day: date = date(2026, 3, 16)) -> dict[str, str]:
    """The form's answer for a session planned just now."""
    planned = Session(0, day, time(9), time(12), place, "vaccination", 40, 0)
    (id_,) = get_clinic().add_sessions([planned], by="u-nurse", now=clock.now())
    return {"session": str(id_)}


@pytest.fixture(autouse=True)
def _site_with_mail(settings: Any) -> None:
    site = SITE.replace("invented = true", 'invented = true\nevidence_asked = ["hepatitis_b"]')
    site += '[messages]\nappointment = "Appointment"\nsender = "visits@lindenfels.example"\n'
    (settings.DATA / "site.toml").write_text(site, encoding="utf-8")
    settings.MAIL = "smtp"
    settings.EMAIL_BACKEND = "django.core.mail.backends.locmem.EmailBackend"
    context.forget()


@pytest.fixture(autouse=True)
def _work_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """The worker's thread would not see the test's transaction; what it does is done in the request."""
    monkeypatch.setattr(sending, "start", sending.work)


def enrolled(family: str, email: str = "", born: date | None = date(2001, 5, 6)) -> str:
    who = PersonIdentity("", family, "Ada", born, email)
    identities = get_people_identities()
    known = identities.all_identities()
    return acts.enrol(
        get_people(), identities, who, WORK, not_the_same_as=known, now=clock.now(), **WRITER
    )


def cohort() -> dict[str, str]:
    return {
        "mail": enrolled("Mailed", "mailed@example.invalid"),
        "paper": enrolled("Papered"),
        "odd": enrolled("Oddly", "no address"),
        "unborn": enrolled("Unborn", "unborn@example.invalid", born=None),
    }


def made(client: Client, **more: str) -> LetterRun:
    told = {"about": "missing", "way": "mail", **more}
    page = client.post(ASK, {**told, "look": "1"}).content.decode()
    token = re.search(r'name="token" value="([0-9a-f]{16})"', page)
    count = re.search(r'name="count" value="(\d+)"', page)
    assert token, page
    assert count, page
    answer = client.post(ASK, {**told, "make": "1", "token": token[1], "count": count[1]})
    assert answer.status_code == 302
    return LetterRun.objects.get(pk=f"l{token[1]}")


def states(run: LetterRun) -> dict[str, tuple[str, str]]:
    return {each.person: (each.how, each.state) for each in LetterTo.objects.filter(run=run)}


def kinds(person: str) -> list[str]:
    return [entry.kind.value for entry in get_people().entries(person)]


def test_looking_makes_nothing_and_names_whoever_gets_neither(nurse: Client) -> None:
    cohort()
    page = nurse.post(ASK, {"about": "missing", "way": "mail_only", "look": "1"}).content.decode()

    assert "<b>1 by e-mail</b>" in page
    assert "<b>0 on paper</b>" in page
    assert "<b>3 neither</b>" in page
    for name, why in (("Papered", "no mail address"), ("Oddly", "no mail address"),
                      ("Unborn", "no birth date, which the own page asks for")):  # fmt: skip
        assert f"{name}, Ada</a> ({why})" in page
    assert not LetterRun.objects.exists()
    assert not mail.outbox
    assert not PersonLink.objects.exists()


def test_each_person_is_written_to_once_by_mail_or_on_paper_and_it_stands_in_the_file(
    nurse: Client,
) -> None:
    people = cohort()
    run = made(nurse)

    assert states(run) == {
        people["mail"]: ("mail", "sent"),
        people["paper"]: ("paper", "sent"),
        people["odd"]: ("paper", "sent"),
        people["unborn"]: ("paper", "sent"),
    }
    assert [each.to for each in mail.outbox] == [["mailed@example.invalid"]]
    assert {kinds(person)[-1] for person in people.values()} == {"invited"}
    assert all(kinds(person).count("invited") == 1 for person in people.values())
    entry = get_people().entries(people["mail"])[-1]
    assert dict(entry.body) == {
        "about": "missing", "how": "mail", "on": "2026-03-03", "letters": run.pk,
    }  # fmt: skip


@pytest.mark.parametrize("about", ["missing", "invitation", "offer"])
def test_a_mail_tells_nothing_clinical_no_name_and_opens_that_person_s_page(
    nurse: Client, about: str
) -> None:
    people = cohort()
    made(nurse, about=about, **(session() if about == "invitation" else {}))
    (sent,) = mail.outbox
    address = re.search(r"https://\S+", sent.body)
    assert address
    link = link_of(PersonLink, address[0].rpartition("/")[2])

    told = sent.body.replace(address[0], "").replace("Lindenfels General Hospital", "")
    assert telling_words(f"{sent.subject} {told}") == ()
    assert "Mailed" not in sent.body + sent.subject
    assert link is not None
    assert link.case == people["mail"]
    assert ("Mon 16 Mar 2026, between 09:00 and 12:00" in sent.body) == (about == "invitation")


def test_the_letters_on_paper_are_one_file_that_only_some_may_take_and_that_can_be_deleted(
    nurse: Client, signed_in: Callable[[Role], Client]
) -> None:
    people = cohort()
    run = made(nurse)
    where = f"/cohorts/letters/{run.pk}/file"
    with pikepdf.open(BytesIO(nurse.get(where).content)) as pdf:
        assert len(pdf.pages) == 3
    looks = set(IdentityLook.objects.filter(where="cohort letters").values_list("case", flat=True))
    assert {people["paper"], people["odd"], people["unborn"]} <= looks

    assert signed_in(Role.EMERGENCY_CLINICIAN).get(where).status_code == 403
    nurse.force_login(nurse_account())
    nurse.post(f"/cohorts/letters/{run.pk}/delete")
    assert nurse.get(where).status_code == 404
    assert kinds(people["paper"])[-1] == "invited"


def nurse_account() -> Any:
    from thimble.web.models import Account

    return Account.objects.get(role=Role.OCCUPATIONAL_NURSE.value)


def test_a_form_that_is_sent_twice_makes_one_run(nurse: Client) -> None:
    cohort()
    run = made(nurse)
    again = {"about": "missing", "way": "mail", "make": "1", "token": run.pk[1:], "count": "4"}

    assert nurse.post(ASK, again).status_code == 302
    assert LetterRun.objects.count() == 1
    assert len(mail.outbox) == 1


def test_a_list_that_changed_since_it_was_looked_at_makes_nothing(nurse: Client) -> None:
    cohort()
    told = {"about": "missing", "way": "mail", "make": "1", "token": "0" * 16, "count": "3"}
    page = nurse.post(ASK, told).content.decode()

    assert "The list changed since you looked, so nothing was made." in page
    assert not LetterRun.objects.exists()


def test_whoever_is_booked_in_the_session_already_is_invited_only_if_that_is_wanted(
    nurse: Client,
) -> None:
    people, planned, other = cohort(), session(), session(day=date(2026, 3, 17))
    clinic = get_clinic()
    for chosen, who in (
        (planned, people["mail"]),
        (planned, "P-0000-0000"),
        (other, people["odd"]),
    ):
        meant = clinic.session(int(chosen["session"]))
        assert meant is not None
        clinic.add(meant, who, time(9), len(clinic.of_session(meant.id)) + 1, uid=None,
                   sequence=0, by="u-nurse", now=clock.now())  # fmt: skip
    told = {"about": "invitation", "way": "mail", **planned}
    page = nurse.post(ASK, {**told, "look": "1"}).text
    # The one who is booked in another session, or is not of the list, changes nothing.
    assert "1 is booked already</b>, left out" in page
    assert set(states(made(nurse, about="invitation", **planned))) == {
        people["paper"], people["odd"], people["unborn"],
    }  # fmt: skip
    page = nurse.post(ASK, {**told, "booked_too": "on", "look": "1"}).text
    assert "1 is booked already</b> and invited all the same" in page
    assert people["mail"] in states(made(nurse, about="invitation", booked_too="on", **planned))
    assert "booked already<" not in nurse.post(ASK, {"about": "missing", "way": "mail"}).text


def test_the_database_holds_a_second_letter_to_one_person_off(nurse: Client) -> None:
    people = cohort()
    run = made(nurse)

    with pytest.raises(IntegrityError):
        LetterTo.objects.create(run=run, person=people["mail"], how="paper")


def begun(*hows: str) -> tuple[LetterRun, list[str]]:
    """A run that was written down and that nobody has worked on."""
    run = LetterRun.objects.create(
        id="l1", about="missing", by="u-nurse", role="occupational_nurse", at=clock.now()
    )
    people = [enrolled(f"Person{n}", f"p{n}@example.invalid") for n, _ in enumerate(hows)]
    for person, how in zip(people, hows, strict=True):
        LetterTo.objects.create(run=run, person=person, how=how)
    return run, people


class Stopped(BaseException):
    """The machine stops."""


@pytest.mark.parametrize("at", range(4))
def test_a_run_that_stops_anywhere_goes_on_and_writes_to_nobody_twice(
    nurse: Client, monkeypatch: pytest.MonkeyPatch, at: int
) -> None:
    run, people = begun("mail", "paper", "mail", "paper")
    real, calls = acts.record_letter, []

    def stop(*given: Any, **more: Any) -> Any:
        if len(calls) == at:
            raise Stopped
        calls.append(given)
        return real(*given, **more)

    monkeypatch.setattr(acts, "record_letter", stop)
    with pytest.raises(Stopped):
        sending.work(run.pk)
    monkeypatch.setattr(acts, "record_letter", real)
    page = nurse.get(f"/cohorts/letters/{run.pk}").content.decode()
    assert "Stopped before the end:" in page

    nurse.post(f"/cohorts/letters/{run.pk}/go-on")

    mailed = [address for each in mail.outbox for address in each.to]
    assert len(mailed) == len(set(mailed))
    assert all(kinds(person).count("invited") <= 1 for person in people)
    found = states(run)
    stopped = people[at]
    for person, (how, state) in found.items():
        # A mail that may have gone out is not sent again by itself; a letter on paper is made anew.
        assert state == ("failed" if person == stopped and how == "mail" else "sent")
    run.refresh_from_db()
    assert run.in_file == 2
    if found[stopped][0] == "mail":
        assert "it may have gone out" in nurse.get(f"/cohorts/letters/{run.pk}").content.decode()


def test_two_workers_are_never_at_one_run(monkeypatch: pytest.MonkeyPatch) -> None:
    run, people = begun("mail", "mail")
    LetterRun.objects.filter(pk=run.pk).update(held_until=NIGHT + timedelta(seconds=30))
    sending.work(run.pk)
    with clock.standing_at(NIGHT + timedelta(seconds=30)):
        sending.work(run.pk)
    assert {state for _, state in states(run).values()} == {"waiting"}

    # Whoever held it is gone for a minute.
    with clock.standing_at(NIGHT + timedelta(seconds=31)):
        sending.work(run.pk)
    assert [state for _, state in states(run).values()] == ["sent", "sent"]
    assert len(mail.outbox) == len(people)


def test_failures_are_listed_with_their_reason_and_can_be_tried_again(
    nurse: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    run, people = begun("mail", "mail", "paper")
    acts.leave(get_people(), people[2], date(2026, 4, 7), now=clock.now(), **WRITER)
    get_people_identities().erase([people[1]])

    class Refusing:
        def open(self) -> None:
            raise OSError("mailed@example.invalid refused")

    with monkeypatch.context() as patched:
        patched.setattr(GET_CONNECTION, lambda *_: Refusing())
        sending.work(run.pk)
    page = nurse.get(f"/cohorts/letters/{run.pk}").content.decode()

    assert "The mail server did not take it." in page
    assert "The name was erased." in page
    assert "refused" not in page
    assert kinds(people[0]).count("invited") == 0
    nurse.post(f"/cohorts/letters/{run.pk}/go-on", {"again": "1"})
    assert states(run)[people[0]] == ("mail", "sent")
    assert states(run)[people[1]] == ("mail", "failed")
    assert kinds(people[0]).count("invited") == 1


def test_of_a_server_that_falls_silent_nobody_is_told_that_it_took_nothing(
    nurse: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It may have gone out: whoever tries again knows that somebody may get it twice."""
    run, _ = begun("mail")

    class Silent:
        def open(self) -> None: ...

        def close(self) -> None: ...

        def send_messages(self, _: Any) -> int:
            raise TimeoutError

    with monkeypatch.context() as patched:
        patched.setattr(GET_CONNECTION, lambda *_: Silent())
        sending.work(run.pk)
    page = nurse.get(f"/cohorts/letters/{run.pk}").content.decode()
    assert "it may have gone out" in page
    assert "did not take it" not in page


COUNT = count()


def opens(secret: str) -> bool:
    # Each time from elsewhere: one address alone opens no more than so many.
    client = Client(REMOTE_ADDR=f"2001:db8:0:{next(COUNT):x}::1")
    return client.get(f"/own/open/{secret}").status_code == 302


OUTCOMES = {
    "taken": None,
    "nobody there": OSError("open"),
    "refused": smtplib.SMTPRecipientsRefused({"mailed@example.invalid": (550, b"no")}),
    "silent": TimeoutError(),
}


@settings(
    max_examples=12,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(st.lists(st.sampled_from([*OUTCOMES, "paper"]), min_size=1, max_size=4))
@pytest.mark.usefixtures("_fresh_limits")
def test_whoever_had_an_address_that_works_has_it_whatever_becomes_of_letters(
    became: list[str],
) -> None:
    """Also of one that went out: that a server took a mail is not that anybody reads it."""
    person = enrolled(f"Addressed {next(COUNT)}", "mailed@example.invalid")
    now = clock.now()
    first = add_link(PersonLink, person, by="u-nurse", now=now, until=now + timedelta(days=90))
    mail.outbox.clear()
    for each in became:
        fails = OUTCOMES.get(each)

        class Server:
            def open(self, fails: BaseException | None = fails) -> None:
                if isinstance(fails, OSError) and fails.args == ("open",):
                    raise fails

            def close(self) -> None: ...

            def send_messages(self, mails: list[Any], fails: BaseException | None = fails) -> int:
                if fails is not None:
                    raise fails
                mail.outbox.extend(mails)
                return 1

        run = LetterRun.objects.create(
            id=secrets.token_hex(8),
            about="missing",
            by="u-nurse",
            role="occupational_nurse",
            at=now,
        )
        LetterTo.objects.create(run=run, person=person, how="paper" if each == "paper" else "mail")
        with pytest.MonkeyPatch.context() as patched:
            patched.setattr(GET_CONNECTION, lambda *_, server=Server: server())
            sending.work(run.pk)
        assert opens(first), each
    sent = [re.search(r"/own/open/(\S+)", each.body) for each in mail.outbox]
    assert [bool(found and opens(found[1])) for found in sent] == [True] * became.count("taken")
    # Of those that nobody can have, none stands.
    standing = PersonLink.objects.filter(case=person, ended_at__isnull=True).count()
    assert standing == 1 + sum(each in {"taken", "silent", "paper"} for each in became)

    # One whom somebody gives up on, or who makes a new one by hand, ends all.
    make_link(PersonLink, person, by="u-nurse", now=now, until=now + timedelta(days=90))
    assert not opens(first)
    assert PersonLink.objects.filter(case=person, ended_at__isnull=True).count() == 1


def test_a_person_s_page_counts_the_addresses_in_use_and_revokes_them_together(
    nurse: Client,
) -> None:
    person = enrolled("Addressed", "mailed@example.invalid")
    now = clock.now()
    one, other = (
        add_link(PersonLink, person, by="u-nurse", now=now, until=now + timedelta(days=days))
        for days in (90, 30)
    )
    page = nurse.get(f"/people/{person}/").content.decode()
    assert "2 are in use, the last of Tue 3 Mar 2026; one opens until Mon 1 Jun 2026." in page
    with clock.standing_at(NIGHT + timedelta(days=30)):
        assert (opens(one), opens(other)) == (True, False)
        assert state_of_link(person) == (
            True,
            "One of Tue 3 Mar 2026 is in use; it opens until Mon 1 Jun 2026.",
        )
    assert nurse.post(f"/people/{person}/own-page/end").status_code == 302
    assert not opens(one)
    assert not opens(other)


def test_a_letter_that_is_made_later_joins_the_file(nurse: Client) -> None:
    run, people = begun("paper", "paper")
    LetterTo.objects.filter(run=run, person=people[1]).update(state="failed", reason="x")
    sending.work(run.pk)
    run.refresh_from_db()
    before = run.file
    nurse.post(f"/cohorts/letters/{run.pk}/go-on", {"again": "1"})
    run.refresh_from_db()

    assert run.in_file == 2
    assert run.file != before
    with pikepdf.open(BytesIO(nurse.get(f"/cohorts/letters/{run.pk}/file").content)) as pdf:
        assert len(pdf.pages) == 2


def test_the_progress_asks_again_only_while_somebody_is_at_it(nurse: Client) -> None:
    run, _ = begun("mail")
    LetterRun.objects.filter(pk=run.pk).update(held_until=NIGHT + timedelta(seconds=30))
    page = nurse.get(f"/cohorts/letters/{run.pk}", headers={"HX-Request": "true"}).content.decode()

    assert 'hx-trigger="load delay' in page
    assert "<html" not in page
    LetterRun.objects.filter(pk=run.pk).update(held_until=None)
    assert "hx-trigger" not in nurse.get(f"/cohorts/letters/{run.pk}").content.decode()


@pytest.mark.parametrize(
    ("place", "chosen", "sentence"),
    [
        ("House C", "", "Choose the session."),
        ("", "", "Plan a session first."),
        ("Vaccination clinic", None, "this place says “Vaccination”, “clinic”."),
        ("House C", "999", "not one of the available choices"),
    ],
)
def test_an_invitation_without_a_session_or_to_a_telling_place_is_kept_and_said(
    nurse: Client, place: str, chosen: str | None, sentence: str
) -> None:
    cohort()
    planned = session(place) if place else {}
    told = {"about": "invitation", "way": "mail", **planned, "look": "1"}
    if chosen is not None:
        told["session"] = chosen
    answer = nurse.post(ASK, told)

    assert answer.status_code == 422
    assert sentence in answer.content.decode()
    assert not LetterRun.objects.exists()


def test_how_many_a_session_holds_stands_beside_it(nurse: Client) -> None:
    cohort()
    session()
    assert "House C: Vaccination, for 40 people" in nurse.get(ASK).content.decode()


def test_past_sessions_are_not_offered(nurse: Client) -> None:
    cohort()
    past, ahead = session(day=date(2026, 3, 2)), session(day=date(2026, 3, 3))
    page = nurse.get(ASK).content.decode()

    assert f'<option value="{ahead["session"]}"' in page
    assert f'<option value="{past["session"]}"' not in page


def test_without_mail_everything_goes_on_paper(nurse: Client, settings: Any) -> None:
    settings.MAIL = ""
    people = cohort()
    run = made(nurse)

    assert {how for how, _ in states(run).values()} == {"paper"}
    assert len(states(run)) == len(people)
    assert not mail.outbox


def test_what_was_sent_shows_who_has_not_answered(nurse: Client) -> None:
    cohort()
    made(nurse)
    page = nurse.get("/cohorts/one", {"cohort": "Spring", "show": "unanswered"}).content.decode()

    assert "4 shown" in page


def test_a_letter_on_paper_carries_an_address_only_where_the_page_can_be_opened(
    nurse: Client,
) -> None:
    people = cohort()
    now = clock.now()
    identity = get_people_identities().identity(people["unborn"])
    assert identity is not None
    bare = sending.letter_data("missing", "{}", people["unborn"], identity, now, "")
    full = sending.letter_data(
        "missing", "{}", people["paper"], identity, now, "https://x.example/a"
    )

    assert bare["page"]["address"] == ""
    assert full["page"]["address"] == "https://x.example/a"
    assert len(full["page"]["qr"]) >= 21
    assert json.dumps(full)
    made(nurse)
    assert not PersonLink.objects.filter(case=people["unborn"]).exists()


@pytest.mark.parametrize(
    "role", [Role.EMERGENCY_CLINICIAN, Role.SAFETY_OFFICER, Role.ADMINISTRATOR]
)
def test_nobody_else_writes_to_people(signed_in: Callable[[Role], Client], role: Role) -> None:
    client = signed_in(role)

    assert client.get("/cohorts/letters").status_code == 403
    assert client.post("/cohorts/letters/l1/go-on").status_code == 403
