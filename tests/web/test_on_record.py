"""Who looked at a name, and who changed an account: on record, unchangeable, and without a name."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.db import DatabaseError, connection, transaction
from django.test import Client
from django.urls import get_resolver, reverse

from thimble import actions
from thimble.clinical.vocabulary import VOCABULARY
from thimble.web import clock
from thimble.web.context import get_identities, get_store
from thimble.web.models import Account, AccountEvent, IdentityLook
from thimble.web.roles import Role

from .conftest import NIGHT, only_sqlite

pytestmark = pytest.mark.django_db

SignIn = Callable[[Role], Client]
DOCTOR = Role.EMERGENCY_CLINICIAN
WORKER, SOURCE = "Rosalind Sampleworth", "Wendel Osterloh"


@pytest.fixture
def case(db: None) -> str:
    identities = get_identities()
    case = actions.report(
        get_store(),
        facts={"route": "percutaneous"},
        occurred_at=NIGHT - timedelta(hours=1),
        occurred_at_precision="minute",
        vocabulary=VOCABULARY,
        now=NIGHT - timedelta(minutes=50),
        identities=identities,
        worker=actions.WorkerIdentity(name=WORKER),
    ).case
    identities.save_source(case, actions.SourceIdentity(name=SOURCE), by="u-x", now=NIGHT)
    return case


def looks() -> list[tuple[str, str, str]]:
    return list(IdentityLook.objects.order_by("id").values_list("case", "whose", "where"))


def _pages_of_a_case() -> list[str]:
    """The name of every page that has a case in its address, and nothing else."""
    found = []
    for app in get_resolver().namespace_dict:
        for name, ways in get_resolver().namespace_dict[app][1].reverse_dict.lists():
            if isinstance(name, str) and any(way[0][0][1] == ["ref"] for way in ways):
                found.append(f"{app}:{name}")
    return sorted(found)


def test_the_pages_of_a_case_are_found() -> None:
    assert {"desk:case", "history:history", "papers:summary", "source:identity"} <= set(
        _pages_of_a_case()
    )


@pytest.mark.parametrize("page", _pages_of_a_case())
def test_no_page_of_a_case_shows_a_name_without_a_look_on_record(
    page: str, signed_in: SignIn, case: str
) -> None:
    answer = signed_in(Role.OCCUPATIONAL_PHYSICIAN).get(reverse(page, args=[case]))
    text = answer.content.decode(errors="replace")

    if page == "papers:worker_plan":
        assert looks() == [(case, "worker", "worker_plan")]
        return
    assert [whose for _, whose, _ in looks()] == [
        *(["worker"] if WORKER in text else []),
        *(["source"] if SOURCE in text else []),
    ]


def test_the_case_page_and_the_identity_page_each_make_one_look(
    signed_in: SignIn, case: str
) -> None:
    desk = signed_in(DOCTOR)
    for _ in range(2):
        desk.get(reverse("desk:case", args=[case]))
        desk.get(reverse("source:identity", args=[case]))

    assert looks() == [(case, "worker", "case"), (case, "source", "source")]
    assert {look.account for look in IdentityLook.objects.all()} == {
        Account.objects.get(role=DOCTOR.value).pk
    }


@pytest.mark.parametrize(("minutes", "seconds", "count"), [(9, 59, 1), (10, 0, 2), (10, 1, 2)])
def test_a_look_again_counts_after_ten_minutes(
    minutes: int, seconds: int, count: int, case: str
) -> None:
    for at in (NIGHT, NIGHT + timedelta(minutes=minutes, seconds=seconds)):
        get_identities().looked([case], whose="worker", where="case", by="u-1", now=at)
    assert len(looks()) == count


@pytest.mark.parametrize("other", [{"by": "u-2"}, {"where": "worklist"}, {"whose": "source"}])
def test_another_account_screen_or_person_is_another_look(other: dict[str, Any], case: str) -> None:
    look: dict[str, Any] = {"whose": "worker", "where": "case", "by": "u-1", "now": NIGHT}
    for each in (look, look | other, look):
        get_identities().looked([case], **each)
    assert len(looks()) == 2


def test_a_clock_that_was_set_back_hides_no_look(case: str) -> None:
    for at in (NIGHT, NIGHT - timedelta(hours=1)):
        get_identities().looked([case], whose="worker", where="case", by="u-1", now=at)
    assert len(looks()) == 2


def test_the_worklist_puts_on_record_only_the_names_that_it_shows(
    signed_in: SignIn, case: str
) -> None:
    desk, address = signed_in(DOCTOR), reverse("worklist:worklist")
    desk.get(address)
    desk.post(address, {"q": "Somebody Else"})
    assert looks() == []

    assert WORKER in desk.post(address, {"q": "Sampleworth"}).text
    assert looks() == [(case, "worker", "worklist")]


def test_who_may_see_no_name_makes_no_look(signed_in: SignIn, case: str) -> None:
    client = signed_in(Role.SAFETY_OFFICER)
    for page in ("desk:case", "source:identity"):
        assert client.get(reverse(page, args=[case])).status_code == 403
    assert looks() == []


def test_a_name_that_cannot_be_put_on_record_is_not_shown(
    signed_in: SignIn, case: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(*_: Any, **__: Any) -> None:
        raise DatabaseError("the disk is full")

    desk = signed_in(DOCTOR)
    desk.raise_request_exception = False
    monkeypatch.setattr("thimble.web.store.DjangoIdentities.looked", fail)
    answer = desk.get(reverse("source:identity", args=[case]))
    assert answer.status_code == 500
    assert SOURCE not in answer.text


def test_the_history_says_who_looked_without_the_name(signed_in: SignIn, case: str) -> None:
    desk = signed_in(DOCTOR)
    before = desk.get(reverse("history:history", args=[case])).text
    desk.get(reverse("source:identity", args=[case]))
    after = re.sub(r"\s+", " ", desk.get(reverse("history:history", args=[case])).text)

    assert "Nobody has been shown a name." in before
    assert "<b>Colleague</b> saw who the source patient is, on the page of the source" in after
    assert "Tue 3 Mar 2026, 02:40" in after
    assert SOURCE not in after
    assert WORKER not in after


def test_without_the_right_to_see_the_source_no_looks_are_shown(
    signed_in: SignIn, case: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    from thimble.web import roles

    less = {DOCTOR: roles.GRANTED[DOCTOR] - {"see_source_identity"}}
    monkeypatch.setattr(roles, "GRANTED", {**roles.GRANTED, **less})
    page = signed_in(DOCTOR).get(reverse("history:history", args=[case]))
    assert page.status_code == 200
    assert "Who looked" not in page.text


# -- accounts ---------------------------------------------------------------------------------------


def events() -> list[tuple[str, str]]:
    return list(AccountEvent.objects.order_by("id").values_list("what", "role"))


def test_each_change_of_an_account_is_on_record_with_who_did_it(signed_in: SignIn) -> None:
    administrator = signed_in(Role.ADMINISTRATOR)
    new = {"sign_in": "new-nurse", "display_name": "Ida Newcomer", "role": "occupational_nurse"}
    administrator.post("/administration/accounts/new", new)
    nurse = Account.objects.get(sign_in="new-nurse")
    address = f"/administration/accounts/{nurse.pk}"
    for act in (
        {"act": "role", "role": "emergency_clinician"},
        {"act": "role", "role": "emergency_clinician"},  # no change
        {"act": "password"},
        {"act": "close"},
        {"act": "close"},  # no change
        {"act": "open"},
    ):
        administrator.post(address, act)

    assert events() == [
        ("created", "occupational_nurse"),
        ("role", "emergency_clinician"),
        ("password", "emergency_clinician"),
        ("closed", "emergency_clinician"),
        ("opened", "emergency_clinician"),
    ]
    own = Account.objects.get(role="administrator").pk
    assert set(AccountEvent.objects.values_list("account", "by")) == {(nurse.pk, own)}
    assert "Newcomer" not in str(list(AccountEvent.objects.values()))
    for page in (administrator.get(address), administrator.get("/administration/accounts")):
        assert "Role set to: Emergency clinician, by Colleague. Tue 3 Mar 2026, 02:40" in page.text


@pytest.mark.parametrize(
    "act", [{"act": "role"}, {"act": "role", "role": "king"}, {"act": "abolish"}, {}]
)
def test_what_changed_nothing_is_not_on_record(act: dict[str, str], signed_in: SignIn) -> None:
    administrator = signed_in(Role.ADMINISTRATOR)
    own = Account.objects.get().pk
    administrator.post(f"/administration/accounts/{own}", {"act": "close"})
    administrator.post(f"/administration/accounts/{own}", act)
    assert events() == []


def test_an_account_made_on_the_command_line_says_so(signed_in: SignIn) -> None:
    administrator = signed_in(Role.ADMINISTRATOR)
    AccountEvent.objects.create(
        account=Account.objects.get().pk, what="created", role="administrator", at=clock.now()
    )
    page = administrator.get("/administration/accounts").text
    assert "Created as: Administrator, by the command line." in page


# -- for good ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("table", ["web_identitylook", "web_accountevent"])
@pytest.mark.parametrize(
    "sql",
    [
        "UPDATE {} SET at = at",
        "DELETE FROM {}",
        pytest.param("REPLACE INTO {} SELECT * FROM {}", marks=only_sqlite),
    ],
)
def test_the_database_refuses_to_change_the_record(sql: str, table: str, case: str) -> None:
    get_identities().looked([case], whose="worker", where="case", by="u-1", now=NIGHT)
    AccountEvent.objects.create(account="u-1", what="created", role="administrator", at=NIGHT)

    with (
        pytest.raises(DatabaseError, match="append only"),
        transaction.atomic(),
        connection.cursor() as cursor,
    ):
        cursor.execute(sql.format(table, table))
    assert len(looks()) == len(events()) == 1
