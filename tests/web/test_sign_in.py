"""Signing in, being locked out, and sessions that end."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client

from thimble.web import clock
from thimble.web.models import Account
from thimble.web.roles import Role

from .conftest import BACKEND, NIGHT, PASSWORD

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("_fresh_limits")]


def _sign_in(client: Client, name: str, password: str, **extra: str) -> int:
    return client.post("/sign-in", {"username": name, "password": password, **extra}).status_code


def test_the_right_password_opens_and_small_or_large_letters_do_not_matter(
    make_account: Callable[..., Account],
) -> None:
    make_account(Role.ADMINISTRATOR, "n-keller", password=PASSWORD)
    client = Client()

    answer = client.post("/sign-in", {"username": "N-Keller", "password": PASSWORD})

    assert answer["Location"] == "/home"
    assert client.get("/home")["Location"] == "/administration/accounts"


def test_passwords_are_kept_as_argon2(make_account: Callable[..., Account]) -> None:
    account = make_account(Role.ADMINISTRATOR, password=PASSWORD)
    assert account.password.startswith("argon2$argon2id$")


def test_after_five_wrong_tries_even_the_right_password_waits(
    make_account: Callable[..., Account],
) -> None:
    make_account(Role.ADMINISTRATOR, "n-keller", password=PASSWORD)
    client = Client()

    tries = [_sign_in(client, "n-keller", "wrong") for _ in range(5)]
    locked = client.post("/sign-in", {"username": "n-keller", "password": PASSWORD})

    assert tries[:4] == [200] * 4
    assert locked.status_code == 429
    assert "Locked for 15 minutes" in locked.text
    assert "0911" in locked.text  # where to go, with the phone number


def test_a_lock_holds_neither_a_colleague_at_that_place_nor_the_name_elsewhere(
    make_account: Callable[..., Account],
) -> None:
    make_account(Role.ADMINISTRATOR, "n-keller", password=PASSWORD)
    make_account(Role.ADMINISTRATOR, "b-odermatt", password=PASSWORD)
    for _ in range(6):
        _sign_in(Client(), "n-keller", "wrong")

    assert _sign_in(Client(), "b-odermatt", PASSWORD) == 302
    assert _sign_in(Client(REMOTE_ADDR="10.9.8.7"), "n-keller", PASSWORD) == 302


def test_a_forged_forwarded_address_escapes_no_lock(make_account: Callable[..., Account]) -> None:
    make_account(Role.ADMINISTRATOR, "n-keller", password=PASSWORD)
    for turn in range(6):
        forged = Client(headers={"X-Forwarded-For": f"10.0.0.{turn}"})
        _sign_in(forged, "n-keller", "wrong")

    assert _sign_in(Client(), "n-keller", PASSWORD) == 429


@pytest.mark.parametrize(("wrong", "opens"), [(3, True), (4, False), (6, False)])
def test_one_password_tried_on_many_names_is_stopped_at_its_place(
    wrong: int, opens: bool, make_account: Callable[..., Account], settings: Any
) -> None:
    settings.WRONG_SIGN_INS_PER_WINDOW = 4
    make_account(Role.ADMINISTRATOR, "n-keller", password=PASSWORD)
    tries = [_sign_in(Client(), f"name-{turn}", "autumn-2026!") for turn in range(wrong)]
    here = Client().post("/sign-in", {"username": "n-keller", "password": PASSWORD})

    assert tries == [200] * min(wrong, 4) + [429] * (wrong - 4)
    assert here.status_code == (302 if opens else 429)
    if not opens:
        assert "Too many wrong tries from this place" in here.text
        assert "0911" in here.text
    assert _sign_in(Client(REMOTE_ADDR="10.9.8.7"), "n-keller", PASSWORD) == 302
    with clock.standing_at(NIGHT + timedelta(minutes=15)):
        assert _sign_in(Client(), "n-keller", PASSWORD) == 302


def test_right_passwords_and_empty_forms_use_up_no_tries(
    make_account: Callable[..., Account], settings: Any
) -> None:
    settings.WRONG_SIGN_INS_PER_WINDOW = 2
    make_account(Role.ADMINISTRATOR, "n-keller", password=PASSWORD)
    for _ in range(4):
        assert _sign_in(Client(), "n-keller", PASSWORD) == 302
        assert _sign_in(Client(), "", "") == _sign_in(Client(), "n-keller", "") == 200

    assert [_sign_in(Client(), f"name-{turn}", "wrong") for turn in range(3)] == [200, 200, 429]


def test_whoever_is_signed_in_goes_on_while_a_place_is_stopped(
    make_account: Callable[..., Account], settings: Any
) -> None:
    settings.WRONG_SIGN_INS_PER_WINDOW = 1
    client = Client()
    client.force_login(make_account(Role.ADMINISTRATOR), backend=BACKEND)
    assert [_sign_in(Client(), f"name-{turn}", "wrong") for turn in range(2)] == [200, 429]

    assert client.get("/administration/accounts").status_code == 200
    report = {"when": "15", "fluid": "blood"}
    assert Client().post("/now/bite", report)["Location"] == "/reported"


def test_a_closed_account_stays_out(make_account: Callable[..., Account]) -> None:
    account = make_account(Role.ADMINISTRATOR, "n-keller", password=PASSWORD)
    account.is_active = False
    account.save()

    assert _sign_in(Client(), "n-keller", PASSWORD) == 200


@pytest.mark.parametrize(
    "away", ["https://evil.example/", "//evil.example/", "javascript:alert(1)"]
)
def test_after_sign_in_nobody_is_sent_to_another_site(
    away: str, make_account: Callable[..., Account]
) -> None:
    make_account(Role.ADMINISTRATOR, "n-keller", password=PASSWORD)
    answer = Client().post("/sign-in", {"username": "n-keller", "password": PASSWORD, "next": away})
    assert answer["Location"] == "/home"


@pytest.mark.parametrize(
    ("minutes", "stays"), [(0, True), (29, True), (30, True), (30.01, False), (31, False)]
)
def test_half_an_hour_without_use_ends_the_session(
    minutes: float, stays: bool, make_account: Callable[..., Account]
) -> None:
    client = Client()
    client.force_login(make_account(Role.ADMINISTRATOR), backend=BACKEND)

    with clock.standing_at(NIGHT + timedelta(minutes=minutes)):
        answer = client.get("/administration/accounts")

    if stays:
        assert answer.status_code == 200
    else:
        assert answer["Location"] == "/sign-in?ended=1&next=%2Fadministration%2Faccounts"


@pytest.mark.parametrize(("hours", "stays"), [(12, True), (12.01, False)])
def test_twelve_hours_end_the_session_however_busy(
    hours: float, stays: bool, make_account: Callable[..., Account]
) -> None:
    client = Client()
    client.force_login(make_account(Role.ADMINISTRATOR), backend=BACKEND)
    for quarter in range(1, 48):
        with clock.standing_at(NIGHT + timedelta(minutes=15 * quarter)):
            assert client.get("/administration/accounts").status_code == 200

    with clock.standing_at(NIGHT + timedelta(hours=hours)):
        answer = client.get("/administration/accounts")
        assert (answer.status_code == 200) is stays
        assert (client.get("/administration/accounts").status_code == 200) is stays


def test_an_ended_session_is_told_to_a_page_that_asks_in_the_background(
    make_account: Callable[..., Account],
) -> None:
    client = Client()
    client.force_login(make_account(Role.ADMINISTRATOR), backend=BACKEND)

    with clock.standing_at(NIGHT + timedelta(hours=1)):
        answer = client.get("/administration/accounts", headers={"HX-Request": "true"})

    assert answer["HX-Redirect"].startswith("/sign-in?ended=1")


def test_an_account_is_made_with_a_password_shown_once_that_must_be_changed(
    signed_in: Callable[[Role], Client],
) -> None:
    administrator = signed_in(Role.ADMINISTRATOR)
    form = {"sign_in": "New-Nurse", "display_name": "New Nurse", "role": "occupational_nurse"}

    page = administrator.post("/administration/accounts/new", form)
    password = page.context["password"]

    assert password in page.text
    newcomer = Client()
    assert _sign_in(newcomer, "new-nurse", password) == 302
    assert newcomer.get("/home")["Location"] == "/password"
    own = "harbour-candle-mosaic"
    newcomer.post(
        "/password", {"old_password": password, "new_password1": own, "new_password2": own}
    )
    assert not Account.objects.get(sign_in="new-nurse").must_change_password
    assert _sign_in(Client(), "new-nurse", own) == 302


@pytest.mark.parametrize("weak", ["short-one", "1234567890123", "password12345", "new-nurse-nurse"])
def test_a_weak_password_is_refused(weak: str, make_account: Callable[..., Account]) -> None:
    account = make_account(Role.OCCUPATIONAL_NURSE, "new-nurse", password=PASSWORD)
    client = Client()
    client.force_login(account, backend=BACKEND)

    client.post(
        "/password", {"old_password": PASSWORD, "new_password1": weak, "new_password2": weak}
    )

    account.refresh_from_db()
    assert account.check_password(PASSWORD)


def test_closing_an_account_signs_it_out_everywhere_and_nobody_closes_their_own(
    make_account: Callable[..., Account], signed_in: Callable[[Role], Client]
) -> None:
    nurse = make_account(Role.OCCUPATIONAL_NURSE, "new-nurse")
    theirs = Client()
    theirs.force_login(nurse, backend=BACKEND)
    administrator = signed_in(Role.ADMINISTRATOR)
    own = Account.objects.get(role="administrator")

    administrator.post(f"/administration/accounts/{nurse.pk}", {"act": "close"})
    administrator.post(f"/administration/accounts/{own.pk}", {"act": "close"})

    nurse.refresh_from_db()
    own.refresh_from_db()
    assert not nurse.is_active
    assert own.is_active
    assert theirs.get("/home")["Location"].startswith("/sign-in")
