"""A person's own page: the link alone shows nothing, the birth date opens it, leaving ends it."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import timedelta

import pytest
from django.conf import settings as django_settings
from django.test import Client

from thimble.web import clock
from thimble.web.models import PersonLink
from thimble.web.own_page.page import _vaccine
from thimble.web.own_page.views import CLOSED, OPENED_PER_WINDOW, TRIES_PER_WINDOW, WRONG
from thimble.web.own_page.visitor import MOST_WRONG, STANDS_FOR
from thimble.web.roles import Role

from .conftest import NIGHT
from .test_people import FORM, enrolled

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("_fresh_limits")]
BORN = "28.2.1999"


@pytest.fixture
def person(nurse: Client) -> str:
    return enrolled(nurse)


def make(nurse: Client, person: str) -> str:
    answer = nurse.post(f"/people/{person}/own-page")
    assert answer.status_code == 200, answer
    found = re.search(r'value="https://thimble\.example(/own/open/[^"]+)"', answer.text)
    assert found is not None
    return found[1]


def opened(path: str, born: str = BORN, **more: str) -> Client:
    client = Client(**more)
    assert client.get(path)["Location"] == "/own/"
    client.post("/own/birth-date", {"born": born})
    return client


def secret_of(path: str) -> str:
    return path.rpartition("/")[2]


def test_the_address_can_be_copied_and_a_vaccine_has_the_name_of_its_table(
    nurse: Client, person: str
) -> None:
    page = nurse.post(f"/people/{person}/own-page").text
    assert re.search(r'<input id="address"[^>]* readonly[^>]* data-copy>', page)
    # Nothing that does nothing stands there without the script.
    assert re.search(r'<button[^>]* data-copies="address" hidden>', page)
    assert "thimble/copy" in page
    assert (_vaccine("Tdap"), _vaccine("MMR")) == ("Tdap", "MMR")
    assert _vaccine("Hepatitis B vaccine") == "hepatitis B vaccine"


def test_the_birth_date_opens_it_and_says_what_is_missing(nurse: Client, person: str) -> None:
    visitor = Client()
    step = visitor.get(make(nurse, person), follow=True)
    assert step.redirect_chain[-1] == ("/own/birth-date", 302)
    for told in ("Brindle", "Inés", "Measles", person, "1999-02-28"):
        assert told not in step.text
    answer = visitor.post("/own/birth-date", {"born": BORN}, follow=True)
    assert "Hello Inés" in answer.text
    assert "Your first day is Wed 1 Apr 2026." in answer.text
    assert "<li>Measles</li>" in answer.text
    # Neither the family name nor the reference, nor anything of how the department files somebody.
    for told in ("Brindle", person, "Spring 2026", "00421", "Surgery"):
        assert told not in answer.text


def test_what_the_department_knows_alone_is_not_shown(nurse: Client, person: str) -> None:
    nurse.post(
        f"/people/{person}/add/contraindicated",
        {"disease": "measles", "when": "2019", "reason": "Anaphylaxis to gelatine", "until": ""},
    )
    result = {"test": "hbsag", "when": "14.3.2019", "word": "positive", "comparator": "=",
              "identified": "yes", "drawn_here": "yes", "direct": "yes"}  # fmt: skip
    assert nurse.post(f"/people/{person}/add/result", result).status_code == 302
    text = opened(make(nurse, person)).get("/own/").text
    for told in ("gelatine", "HBsAg", "positive", "infect", "immun"):
        assert told not in text
    assert "would like to talk with you" in text


def test_a_wrong_birth_date_gets_no_hint_and_shows_nothing(nurse: Client, person: str) -> None:
    path = make(nurse, person)
    for born in ("1 March 1999", "28.2.1998"):
        client = Client()
        client.get(path)
        answer = client.post("/own/birth-date", {"born": born})
        assert answer.status_code == 422
        assert WRONG in answer.text
        assert "Inés" not in answer.text
        assert client.get("/own/")["Location"] == "/own/birth-date"


@pytest.mark.parametrize("born", ["", "1999", "4.5.1999", "yesterday", "31.2.1999"])
def test_what_is_no_birth_date_is_asked_again_and_counts_as_no_try(
    nurse: Client, person: str, born: str
) -> None:
    client = Client()
    client.get(make(nurse, person))
    answer = client.post("/own/birth-date", {"born": born})
    assert answer.status_code == 422
    assert PersonLink.objects.get(case=person).wrong == 0


def test_tries_are_limited_for_an_address_and_end_the_link_for_everybody(
    nurse: Client, person: str
) -> None:
    path = make(nurse, person)
    client = Client()
    client.get(path)
    codes = [
        client.post("/own/birth-date", {"born": "1.1.1990"}).status_code
        for _ in range(TRIES_PER_WINDOW + 1)
    ]
    assert codes == [422] * TRIES_PER_WINDOW + [429]
    # What is refused for being too often is not compared either.
    assert client.post("/own/birth-date", {"born": BORN}).status_code == 429
    for number in range(MOST_WRONG - TRIES_PER_WINDOW):
        other = Client(REMOTE_ADDR=f"203.0.113.{number + 1}")
        assert other.get(path).status_code == 302, number
        other.post("/own/birth-date", {"born": "1.1.1990"})
    late = Client(REMOTE_ADDR="203.0.113.99")
    assert late.get(path).status_code == 404
    assert "too many wrong birth dates" in nurse.get(f"/people/{person}/").text


def test_a_right_birth_date_forgives_the_wrong_ones_before(nurse: Client, person: str) -> None:
    path = make(nurse, person)
    opened(path, "1.1.1990")
    assert PersonLink.objects.get(case=person).wrong == 1
    assert "Hello" in opened(path).get("/own/").text
    assert PersonLink.objects.get(case=person).wrong == 0


def test_revoking_and_replacing_stop_pages_that_are_open(nurse: Client, person: str) -> None:
    first = make(nurse, person)
    there = opened(first)
    assert there.get("/own/").status_code == 200
    second = make(nurse, person)
    assert there.get("/own/").status_code == 403
    assert Client().get(first).status_code == 404
    there = opened(second)
    nurse.post(f"/people/{person}/own-page/end")
    assert there.get("/own/").status_code == 403
    assert Client().get(second).status_code == 404


def test_it_expires(nurse: Client, person: str) -> None:
    path = make(nurse, person)
    with clock.standing_at(NIGHT + STANDS_FOR - timedelta(seconds=1)):
        assert Client().get(path).status_code == 302
    with clock.standing_at(NIGHT + STANDS_FOR):
        assert Client().get(path).status_code == 404


def test_leaving_ends_it_and_coming_back_does_not_revive_it(nurse: Client, person: str) -> None:
    path = make(nurse, person)
    there = opened(path)
    left = {**FORM, "starts_on": "2026-01-01", "ends_on": "2026-03-02"}
    nurse.post(f"/people/{person}/details", left)
    assert there.get("/own/").status_code == 403
    assert Client().get(path).status_code == 404
    assert nurse.post(f"/people/{person}/own-page")["Location"] == f"/people/{person}/"
    with clock.standing_at(NIGHT + timedelta(minutes=20)):
        nurse.post(f"/people/{person}/details", {**FORM, "ends_on": ""})
        assert Client().get(path).status_code == 404
        assert Client().get(make(nurse, person)).status_code == 302


def test_a_page_left_alone_closes(nurse: Client, person: str) -> None:
    there = opened(make(nurse, person))
    with clock.standing_at(NIGHT + timedelta(minutes=django_settings.SESSION_IDLE_MINUTES + 1)):
        assert there.get("/own/").status_code == 403
    assert there.get("/own/").status_code == 403


def test_it_is_closed_by_hand(nurse: Client, person: str) -> None:
    there = opened(make(nurse, person))
    assert "Closed on this device" in there.post("/own/leave").text
    assert there.get("/own/").status_code == 403


def test_without_a_birth_date_there_is_no_link(nurse: Client) -> None:
    person = enrolled(nurse, birth_date="", number="7")
    answer = nurse.post(f"/people/{person}/own-page", follow=True)
    assert "enter the birth date first" in answer.text
    assert not PersonLink.objects.exists()


@pytest.mark.parametrize("role", Role)
def test_only_who_edits_people_makes_or_ends_one(
    role: Role, signed_in: Callable[[Role], Client], nurse: Client, person: str
) -> None:
    keeps = role in {Role.OCCUPATIONAL_NURSE, Role.OCCUPATIONAL_PHYSICIAN}
    client = nurse if role is Role.OCCUPATIONAL_NURSE else signed_in(role)
    for path in ("own-page", "own-page/end"):
        refused = client.post(f"/people/{person}/{path}").status_code == 403
        assert refused is not keeps


@pytest.mark.parametrize("secret", ["x", "%00", "é", "a" * 5000, "' or 1=1"])
def test_any_other_secret_is_the_same_refusal(secret: str) -> None:
    answer = Client().get(f"/own/open/{secret}")
    assert answer.status_code == 404
    assert CLOSED in answer.text
    # A page of the house, and the same one whatever the address was.
    assert 'rel="stylesheet"' in answer.text
    assert "tel:" in answer.text
    assert answer.text == Client().get("/own/open/no-such-address").text


def test_no_cache_no_referrer_no_index_and_no_secret_in_row_page_or_log(
    nurse: Client, person: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    from thimble.web import log

    lines: list[str] = []
    monkeypatch.setattr(log, "event", lambda name, **more: lines.append(f"{name} {more}"))
    path = make(nurse, person)
    secret = path.rsplit("/", 1)[1]
    client = Client()
    first = client.get(path)
    assert first["Referrer-Policy"] == "no-referrer"
    client.post("/own/birth-date", {"born": "1.1.1990"})
    client.post("/own/birth-date", {"born": BORN})
    page = client.get("/own/")
    for answer in (first, page, Client().get("/own/")):
        assert "no-store" in answer["Cache-Control"]
        assert "noindex" in answer["X-Robots-Tag"]
        assert secret not in answer.text + str(answer.headers) + str(answer.cookies)
    row = PersonLink.objects.get(case=person)
    assert secret not in "".join(str(value) for value in vars(row).values())
    assert [line.split()[0] for line in lines] == [
        "own_page_link_made", "own_page_opened", "own_page_wrong_birth_date", "own_page_shown",
    ]  # fmt: skip
    for told in (secret, "Inés", "Brindle", "1999"):
        assert told not in "".join(lines)


def test_one_visitor_never_sees_another_file(nurse: Client, person: str) -> None:
    other = enrolled(nurse, number="8", given_name="Oda", birth_date="1999-02-27")
    both = opened(make(nurse, person))
    path = make(nurse, other)
    # Another link in the same browser asks for the birth date anew.
    both.get(path)
    assert both.get("/own/")["Location"] == "/own/birth-date"
    both.post("/own/birth-date", {"born": BORN})
    assert both.get("/own/")["Location"] == "/own/birth-date"


def test_an_address_that_opens_too_often_is_told_to_wait(nurse: Client, person: str) -> None:
    path = make(nurse, person)
    codes = [Client().get(path).status_code for _ in range(OPENED_PER_WINDOW + 1)]
    assert codes == [302] * OPENED_PER_WINDOW + [429]
    answer = Client().get(path)
    assert answer["Retry-After"] == "900"
    assert "Wait a quarter of an hour" in answer.text
    assert secret_of(path) not in answer.text
