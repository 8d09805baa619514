"""Calendars out of the house: who may make them, what they say, and what a wrong address learns."""

from __future__ import annotations

import logging
import re
from collections.abc import Callable
from datetime import date

import pytest
import vobject
from django.conf import settings as django_settings
from django.test import Client
from django.urls import reverse

from thimble import actions
from thimble.actions.identity import WorkerIdentity
from thimble.clinical.vocabulary import VOCABULARY
from thimble.ledger.follow_up.record import AgreedVisit
from thimble.web.calendars.views import FETCHES_PER_WINDOW
from thimble.web.context import get_identities, get_store
from thimble.web.models import CalendarLink
from thimble.web.roles import Role

from .conftest import NIGHT
from .test_people import enrolled

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("_fresh_limits")]
SignIn = Callable[[Role], Client]
NURSE = {"by": "u-nurse", "role": "occupational_nurse"}
FIRST, SECOND = date(2026, 3, 24), date(2026, 4, 14)


def agree(case: str, *days: date) -> None:
    things = ("follow_up_hcv_rna", "follow_up_hiv_6w")
    visits = [AgreedVisit(day, (things[index],)) for index, day in enumerate(days)]
    actions.agree_visits(get_store(), case, visits, now=NIGHT, **NURSE)


@pytest.fixture
def case() -> str:
    made = actions.report(
        get_store(), facts={"route": "percutaneous", "fluid": "blood"}, occurred_at=NIGHT,
        occurred_at_precision="minute", vocabulary=VOCABULARY, now=NIGHT,
        identities=get_identities(), worker=WorkerIdentity(name="Zoë Sampleworth"),
    ).case  # fmt: skip
    agree(made, FIRST, SECOND)
    return made


def make(client: Client, case: str) -> str:
    """The path of a new link."""
    response = client.post(reverse("calendars:make", args=[case]))
    assert response.status_code == 200
    found = re.search(r'value="https://thimble\.example(/calendar/[^"]+)"', response.text)
    assert found is not None
    return found[1]


def test_the_link_opens_the_agreed_days_without_sign_in_and_with_no_identity(
    case: str, signed_in: SignIn
):
    path = make(signed_in(Role.OCCUPATIONAL_NURSE), case)
    answer = Client().get(path)

    assert answer.status_code == 200
    assert answer["Content-Type"] == "text/calendar; charset=utf-8"
    events = vobject.readOne(answer.text).vevent_list
    assert [event.dtstart.value for event in events] == [FIRST, SECOND]
    assert path.replace(path.split("/")[2], "SECRET") == "/calendar/SECRET/visits.ics"
    assert path.split("/")[2] not in answer.text
    for word in (case, "Sampleworth", "hcv", "hiv", "blood", "exposure"):
        assert word.lower() not in answer.text.lower()


def test_the_secret_is_kept_as_a_digest_alone(case: str, signed_in: SignIn):
    path = make(signed_in(Role.OCCUPATIONAL_NURSE), case)
    secret = path.split("/")[2]
    row = CalendarLink.objects.get(case=case)
    assert len(secret) >= 43
    assert secret not in "".join(str(value) for value in vars(row).values())


def test_it_is_asked_with_the_tag_and_answered_not_modified_until_a_date_moves(
    case: str, signed_in: SignIn
):
    path = make(signed_in(Role.OCCUPATIONAL_NURSE), case)
    tag = Client().get(path)["ETag"]
    again = Client().get(path, headers={"If-None-Match": tag})
    assert (again.status_code, again.content, again["ETag"]) == (304, b"", tag)
    assert "no-store" not in again["Cache-Control"]

    agree(case, date(2026, 3, 30), SECOND)
    moved = Client().get(path, headers={"If-None-Match": tag})
    assert moved.status_code == 200
    first = vobject.readOne(moved.text).vevent_list[0]
    assert (first.dtstart.value, first.sequence.value) == (date(2026, 3, 30), "1")


def test_a_new_link_stops_the_old_one_and_an_ended_one_opens_nothing(case: str, signed_in: SignIn):
    client = signed_in(Role.OCCUPATIONAL_NURSE)
    old = make(client, case)
    new = make(client, case)
    assert Client().get(old).status_code == 404
    assert Client().get(new).status_code == 200

    client.post(reverse("calendars:end", args=[case]))
    ended = Client().get(new)
    assert ended.status_code == 404
    assert ended.content == Client().get("/calendar/never-made/visits.ics").content


@pytest.mark.parametrize("secret", ["x", "%00", "é", "a" * 5000, "..", "' or 1=1"])
def test_any_other_secret_is_a_plain_refusal(secret: str):
    answer = Client().get(f"/calendar/{secret}/visits.ics")
    assert answer.status_code == 404
    assert len(answer.content) < 100 or "calendar" not in answer.text


def test_an_address_that_asks_too_often_is_told_to_wait(case: str, signed_in: SignIn):
    path = make(signed_in(Role.OCCUPATIONAL_NURSE), case)
    client = Client()
    codes = [client.get(path).status_code for _ in range(FETCHES_PER_WINDOW + 1)]
    assert set(codes[:-1]) == {200}
    assert codes[-1] == 429
    assert client.get(path)["Retry-After"] == "600"
    assert Client(REMOTE_ADDR="203.0.113.9").get(path).status_code == 200


def test_the_secret_is_in_no_line_of_the_log(
    case: str, signed_in: SignIn, monkeypatch: pytest.MonkeyPatch
):
    lines: list[str] = []

    class Catch(logging.Handler):
        def emit(self, record: logging.LogRecord) -> None:
            lines.append(self.format(record))

    configured = django_settings.LOGGING
    from thimble.web.log import Line, NoIdentities

    catch = Catch()
    catch.setFormatter(Line())
    catch.addFilter(NoIdentities())
    for name in configured["loggers"]:
        monkeypatch.setattr(logging.getLogger(name), "handlers", [catch])
    path = make(signed_in(Role.OCCUPATIONAL_NURSE), case)
    Client().get(path)
    Client().get(path + "x")
    Client().post(path)
    secret = path.split("/")[2]
    assert any("calendar_link_made" in line for line in lines)
    assert not any(secret in line for line in lines)


def test_the_file_is_for_those_who_treat_and_its_name_says_nothing(case: str, signed_in: SignIn):
    url = reverse("calendars:download", args=[case])
    answers = {role: signed_in(role).get(url) for role in Role}
    assert [role for role in Role if answers[role].status_code == 403] == [
        Role.SAFETY_OFFICER,
        Role.ADMINISTRATOR,
    ]
    nurse = answers[Role.OCCUPATIONAL_NURSE]
    assert nurse["Content-Disposition"] == 'attachment; filename="appointments.ics"'
    assert vobject.readOne(nurse.text).vevent_list[0].dtstart.value == FIRST


def test_the_visits_page_says_since_when_a_link_is_in_use(case: str, signed_in: SignIn):
    client = signed_in(Role.OCCUPATIONAL_NURSE)
    url = reverse("visits:visits", args=[case])
    assert "Make an address" in client.get(url).text
    secret = make(client, case).split("/")[2]
    text = client.get(url).text
    assert "is in use since Tue 3 Mar 2026, 02:40" in text
    assert secret not in text


def two_cases(numbers: tuple[str, str], names: tuple[str, str]) -> tuple[str, str]:
    made = []
    for number, name, day in zip(numbers, names, (FIRST, SECOND), strict=True):
        one = actions.report(
            get_store(), facts={"route": "percutaneous", "fluid": "blood"}, occurred_at=NIGHT,
            occurred_at_precision="minute", vocabulary=VOCABULARY, now=NIGHT,
            identities=get_identities(), worker=WorkerIdentity(name=name, staff_number=number),
        ).case  # fmt: skip
        agree(one, day)
        made.append(one)
    return made[0], made[1]


def days_of(path: str) -> list[date]:
    return [e.dtstart.value for e in vobject.readOne(Client().get(path).text).vevent_list]


def test_one_address_tells_all_that_the_worker_comes_for(signed_in: SignIn):
    client = signed_in(Role.OCCUPATIONAL_NURSE)
    enrolled(client)
    one, two = two_cases(("00421", "00 421"), ("Ines Brindle", "Brindle, Ines"))
    path = make(client, one)
    assert days_of(path) == [FIRST, SECOND]
    # The other case knows of the address, and a new one made there stops it.
    assert "is in use since" in client.get(reverse("visits:visits", args=[two])).text
    other = make(client, two)
    assert Client().get(path).status_code == 404
    assert days_of(other) == [FIRST, SECOND]
    client.post(reverse("calendars:end", args=[one]))
    assert Client().get(other).status_code == 404


@pytest.mark.parametrize(
    ("numbers", "names"),
    [
        (("00421", "00422"), ("Ines Brindle", "Ines Brindle")),
        (("00421", ""), ("Ines Brindle", "Ines Brindle")),
        (("00421", "00421"), ("Ines Brindle", "Somebody Else")),
        (("", ""), ("Ines Brindle", "Ines Brindle")),
    ],
)
def test_a_case_that_may_be_of_somebody_else_is_in_nobodys_calendar_but_its_own(
    signed_in: SignIn, numbers: tuple[str, str], names: tuple[str, str]
):
    client = signed_in(Role.OCCUPATIONAL_NURSE)
    enrolled(client)
    one, two = two_cases(numbers, names)
    path = make(client, one)
    assert days_of(path) == [FIRST]
    assert days_of(make(client, two)) == [SECOND]
    assert days_of(path) == [FIRST]
