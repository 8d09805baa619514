"""What somebody sends who means harm, or whose device is broken: never an error 500."""

from __future__ import annotations

import io
import json
import logging
from collections.abc import Callable
from datetime import time, timedelta
from pathlib import Path
from typing import Any

import pytest
from axes.models import AccessAttempt
from django.conf import settings as django_settings
from django.contrib.auth.password_validation import validate_password
from django.core.cache import caches
from django.core.exceptions import ValidationError
from django.db import DatabaseError, IntegrityError, connection, transaction
from django.test import Client, RequestFactory
from django.urls import reverse
from hypothesis import HealthCheck, given
from hypothesis import settings as examples
from hypothesis import strategies as st
from tests.web.conftest import NIGHT, PASSWORD, SITE, only_sqlite

from thimble.actions import SourceIdentity, WorkerIdentity, report
from thimble.clinical.vocabulary import VOCABULARY
from thimble.demo.hospital import PASSWORD as DEMO_PASSWORD
from thimble.ledger.entries import Draft, Kind
from thimble.web import clock, context, log
from thimble.web.client import address, address_key
from thimble.web.limits import over_limit
from thimble.web.models import Account, ClinicSession, LastLook
from thimble.web.passwords import PUBLISHED, opens_nothing_here
from thimble.web.roles import Role
from thimble.web.settings import _private
from thimble.web.store import DjangoIdentities, DjangoStore
from web.test_people import enrolled

FORM = "application/x-www-form-urlencoded"
REPORT = {"when": "0", "fluid": "blood", "contact_lens": "yes"}


@pytest.fixture
def client() -> Client:
    """A client that answers with the error page, as the server does."""
    return Client(raise_request_exception=False)


@pytest.mark.parametrize("number", ["9" * 5000, "²", "-1", ""])
@pytest.mark.parametrize(
    ("path", "typed"),
    [
        ("/people/{person}/verify", {"entry": "{}", "seen": "original"}),
        ("/people/{person}/card", {"position": "{}", "document": "{}", "product-1": "43"}),
        ("/clinic/1/scan", {"scan": "", "open": "{person}", "shown": "{}"}),
        ("/clinic/for/{person}", {"time": "1-0900", "instead": "{}"}),
        ("/laboratory/of/{person}/seen", {"entry": "{}", "text": "Seen."}),
    ],
    ids=["verify", "card", "sheet", "book", "results"],
)
@pytest.mark.django_db
def test_a_number_that_nobody_typed_is_no_error_500(
    path: str, typed: dict[str, str], number: str, signed_in: Callable[[Role], Client]
) -> None:
    physician = signed_in(Role.OCCUPATIONAL_PHYSICIAN)
    person = enrolled(physician)
    ClinicSession.objects.create(
        pk=1, day=NIGHT.date() + timedelta(days=1), opens=time(9), closes=time(12), place="House C",
        purpose="vaccination", capacity=2, slot_minutes=10, made_at=NIGHT, made_by="u-x",
    )  # fmt: skip
    physician.raise_request_exception = False
    said = {name: text.format(number, person=person) for name, text in typed.items()}

    assert physician.post(path.format(person=person), said).status_code < 500


# --- every field of the open pages ----------------------------------------------------------------

ODD = st.one_of(
    st.text(max_size=40),
    st.sampled_from(
        ["\x00", "a\x00b", "x" * 3000, "9" * 5000, "-1", "1e309", "NaN", "\u202e", "\U0010ffff"]
    ),
    st.dates().map(str),
    st.times().map(str),
    st.sampled_from(["0001-01-01", "9999-12-31", "10000-01-01", "0000-00-00", "24:00"]),
)


@pytest.mark.django_db
@examples(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))
@given(
    fields=st.dictionaries(
        st.sampled_from(
            [
                "when",
                "day",
                "clock",
                "repeated",
                "fluid",
                "contact_lens",
                "place",
                "name",
                "phone",
                "account",
                "once",
                "waited",
            ]
        ),
        ODD,
    )
)
def test_no_field_of_the_report_can_break_it(fields: dict[str, str]) -> None:
    django_settings.REPORTS_PER_WINDOW, before = 10**6, django_settings.REPORTS_PER_WINDOW
    try:
        answer = Client(raise_request_exception=False).post("/now/eye", REPORT | fields)
    finally:
        django_settings.REPORTS_PER_WINDOW = before

    assert answer.status_code in (302, 422)


@pytest.mark.django_db
@pytest.mark.usefixtures("_fresh_limits")
@pytest.mark.parametrize("zone", ["America/New_York", "Europe/Zurich", "Pacific/Auckland"])
@pytest.mark.parametrize("clock_", ["", "00:00", "23:59", "23:59:59.999999"])
@pytest.mark.parametrize("day", ["0001-01-01", "9999-12-31"])
def test_a_day_at_either_end_of_the_calendar_is_looked_at_again(
    day: str, clock_: str, zone: str, settings: Any, client: Client
) -> None:
    (settings.DATA / "site.toml").write_text(SITE.replace("Europe/Zurich", zone))
    context.forget()

    answer = client.post("/now/eye", REPORT | {"when": "other", "day": day, "clock": clock_})

    assert answer.status_code == 422
    assert "Look at the year again." in answer.content.decode()


# --- every address and form of a case -------------------------------------------------------------

ENDS = ("0001-01-01", "9999-12-31")


@pytest.fixture
def case(db: None) -> str:
    """Reported an hour ago."""
    return report(
        DjangoStore(),
        facts={"route": "percutaneous"},
        occurred_at=NIGHT - timedelta(hours=1),
        occurred_at_precision="minute",
        vocabulary=VOCABULARY,
        now=NIGHT - timedelta(hours=1),
    ).case


@pytest.mark.parametrize("zone", ["America/New_York", "Pacific/Auckland"])
@pytest.mark.parametrize("clock_", ["00:00", "23:59"])
@pytest.mark.parametrize("day", ENDS)
def test_no_screen_breaks_on_a_day_at_either_end_of_the_calendar(
    day: str,
    clock_: str,
    zone: str,
    settings: Any,
    case: str,
    signed_in: Callable[[Role], Client],
) -> None:
    (settings.DATA / "site.toml").write_text(SITE.replace("Europe/Zurich", zone))
    context.forget()
    desk = signed_in(Role.EMERGENCY_CLINICIAN)
    typed = {"day": day, "clock": clock_, "position": "1"}
    new = {"route": "percutaneous", "day": day}

    answers = [
        desk.get(f"/case/{case}/history/", typed),
        desk.post(f"/case/{case}/answer", typed | {"fact": "hours_since_exposure"}),
        desk.post(f"/case/{case}/source/step", typed | {"step": "asked", "when": "then"}),
        desk.post(reverse("desk:new"), new | {"precision": "minute", "clock": clock_}),
        desk.post(reverse("desk:new"), new | {"precision": "date"}),
    ]

    assert [answer.status_code for answer in answers] == [422] * len(answers)
    assert all("Look at the year" in answer.text for answer in answers)
    assert len(DjangoStore().entries(case)) == len(DjangoStore().cases()) == 1


@pytest.mark.parametrize(("year", "read"), [(1925, False), (1926, True), (2026, True)])
def test_a_lifetime_ago_is_the_furthest_that_is_read(
    year: int, read: bool, case: str, signed_in: Callable[[Role], Client]
) -> None:
    """A hundred years: common sense, no published source."""
    new = {"route": "percutaneous", "precision": "date", "day": f"{year}-01-01"}
    answer = signed_in(Role.EMERGENCY_CLINICIAN).post(reverse("desk:new"), new)
    assert (answer.status_code == 302) is read


@pytest.mark.parametrize(
    ("position", "kept"),
    [("-5", 0), ("0", 0), ("1", 1), ("2", 1), ("9" * 40, 1), ("9" * 5000, 1), ("x", 1), ("", 1)],
)
def test_a_case_is_seen_from_its_beginning_to_its_end_and_no_further(
    position: str, kept: int, case: str, signed_in: Callable[[Role], Client]
) -> None:
    answer = signed_in(Role.EMERGENCY_CLINICIAN).post(f"/case/{case}/seen", {"position": position})

    assert answer.status_code == 302
    assert LastLook.objects.get().position == kept


@pytest.mark.parametrize("since", ["-1", "x", "", "9" * 7, "9" * 5000, "٣", "1"])
@pytest.mark.parametrize("page", ["", "source/"])
def test_a_position_in_an_address_that_cannot_be_is_passed_over(
    page: str, since: str, case: str, signed_in: Callable[[Role], Client]
) -> None:
    clinician = signed_in(Role.EMERGENCY_CLINICIAN)
    answer = clinician.get(f"/case/{case}/{page}", {"since": since})
    assert answer.status_code == 200


@pytest.mark.django_db
@pytest.mark.parametrize(
    "wanted",
    ["-1", "worklist:worklist", "https:x", "//x.example", "/\\x.example", "\x00", "🩸", "x"],
)
def test_where_to_go_after_sign_in_is_a_path_of_ours_or_nothing(
    wanted: str, client: Client, make_account: Callable[..., Account]
) -> None:
    make_account(Role.OCCUPATIONAL_NURSE, "n-keller", password=PASSWORD)

    answer = client.post("/sign-in", {"username": "n-keller", "password": PASSWORD, "next": wanted})

    assert (answer.status_code, answer.headers.get("Location")) == (302, "/home")


# --- bodies that cannot be read -------------------------------------------------------------------


@pytest.mark.django_db
@pytest.mark.parametrize("path", ["/now/eye", "/sign-in", "/none"])
@pytest.mark.parametrize("content_type", [f"{FORM}; charset=utf-16", "multipart/form-data"])
def test_a_body_that_cannot_be_read_gets_the_page_that_says_so(
    path: str, content_type: str
) -> None:
    client = Client(raise_request_exception=False, enforce_csrf_checks=True)
    client.get("/sign-in")  # with its cookie the proof of origin is looked for in the body

    answer = client.post(path, b"a=1", content_type=content_type)

    assert answer.status_code == (404 if path == "/none" else 400)
    assert "Exposed to blood just now?" in answer.content.decode()


@pytest.mark.django_db
def test_a_body_is_refused_by_its_length_before_it_is_read(client: Client) -> None:
    most = django_settings.DATA_UPLOAD_MAX_MEMORY_SIZE
    head = b'--x\r\nContent-Disposition: form-data; name="f"; filename="a"\r\n\r\n'
    tail = b"\r\n--x--\r\n"
    fits = head + b"A" * (most - len(head) - len(tail)) + tail

    def status(body: bytes) -> int:
        return client.post(
            "/now/eye", body, content_type="multipart/form-data; boundary=x"
        ).status_code

    assert len(fits) == most
    assert status(fits) == 422  # read, and found not to be a report
    assert status(fits[:-9] + b"A" + tail) == 413


@pytest.mark.django_db
def test_without_its_database_a_page_still_says_where_to_go(
    client: Client, signed_in: Callable[[Role], Client], monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: object, **__: object) -> None:
        raise DatabaseError("no disk for Jane Roe")

    staff = signed_in(Role.OCCUPATIONAL_NURSE)
    staff.raise_request_exception = False
    monkeypatch.setattr("django.contrib.sessions.backends.db.SessionStore.load", broken)
    answer = staff.get("/worklist/")

    assert answer.status_code == 500
    said = answer.content.decode()
    assert "Emergency Department" in said
    assert "0911" in said
    assert "Jane Roe" not in said


# --- counting -------------------------------------------------------------------------------------


def _from(where: str, **headers: str) -> Any:
    return RequestFactory().get("/", REMOTE_ADDR=where, headers=headers)


@pytest.mark.parametrize(
    ("one", "other", "same"),
    [
        ("2001:db8:1:2::1", "2001:db8:1:2:ffff:ffff:ffff:ffff", True),  # one network of 64 bits
        ("2001:db8:1:2::1", "2001:db8:1:3::1", False),
        ("192.0.2.1", "::ffff:192.0.2.1", True),
        ("192.0.2.1", "192.0.2.2", False),
        ("192.0.2.1", "192.0.2.1:50123", True),
        ("2001:db8::1", "[2001:db8::1]:50123", True),
    ],
)
def test_a_network_of_one_machine_counts_as_one_address(one: str, other: str, same: bool) -> None:
    assert (address_key(_from(one)) == address_key(_from(other))) is same


@pytest.mark.parametrize(
    ("proxies", "sent", "counted"),
    [
        (0, "203.0.113.9", "192.0.2.1"),
        (1, "203.0.113.9", "203.0.113.9"),
        (1, "198.51.100.1, 203.0.113.9", "203.0.113.9"),
        (2, "198.51.100.1, 203.0.113.9, 203.0.113.8", "203.0.113.9"),
        (2, "203.0.113.9", "192.0.2.1"),
        (1, "'; DROP TABLE web_account; --", "192.0.2.1"),
    ],
)
def test_only_what_our_own_proxies_saw_counts(
    proxies: int, sent: str, counted: str, settings: Any
) -> None:
    settings.PROXIES = proxies

    assert address(_from("192.0.2.1", X_Forwarded_For=sent)) == counted


@pytest.mark.django_db
@pytest.mark.usefixtures("_fresh_limits")
def test_a_count_lasts_as_long_as_its_window() -> None:
    def over(seconds: float) -> bool:
        with clock.standing_at(NIGHT + timedelta(seconds=seconds)):
            return over_limit(_from("192.0.2.1"), event="e", most=2, seconds=600)

    assert [over(0), over(1), over(2), over(599), over(600)] == [False, False, True, True, False]


@pytest.mark.django_db
@pytest.mark.usefixtures("_fresh_limits")
def test_a_count_is_kept_for_the_whole_window_at_every_step(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    kept: list[float] = []
    cache = caches["limits"]
    put = cache.set
    monkeypatch.setattr(
        cache, "set", lambda key, value, timeout=0: (kept.append(timeout), put(key, value, timeout))
    )
    for _ in range(3):
        over_limit(_from("192.0.2.1"), event="e", most=2, seconds=600)

    assert kept == [600, 600, 600]


@pytest.mark.django_db
def test_what_is_kept_of_a_wrong_password_names_nobody_and_goes_at_the_next_sign_in(
    client: Client, make_account: Callable[..., Account]
) -> None:
    make_account(Role.OCCUPATIONAL_NURSE, "n-keller", password=PASSWORD)
    for name in ("n-keller", PASSWORD):
        client.post("/sign-in?next=/case/K7QM-2F49/", {"username": name, "password": "x"})

    kept = str(list(AccessAttempt.objects.values()))
    assert AccessAttempt.objects.count() == 2
    for word in ("keller", PASSWORD, "K7QM"):
        assert word not in kept

    AccessAttempt.objects.update(attempt_time=NIGHT - timedelta(days=365))
    client.post("/sign-in", {"username": "n-keller", "password": PASSWORD})
    assert AccessAttempt.objects.count() == 0


@pytest.mark.django_db
def test_other_letters_of_a_name_escape_no_lock(
    client: Client, make_account: Callable[..., Account]
) -> None:
    make_account(Role.OCCUPATIONAL_NURSE, "n-keller", password=PASSWORD)
    said = [
        client.post("/sign-in", {"username": name, "password": "x"}).status_code
        for name in ("n-keller", "N-KELLER", " n-keller", "n-\uff4beller", "n-\u212aeller ")
    ]

    assert said == [200, 200, 200, 200, 429]


# --- the ledger against SQL that replaces ---------------------------------------------------------

COLUMNS = [
    "number", '"case"', "position", "kind", "happened_at", "recorded_at", '"by"', "role", "body",
    "previous", "digest",
]  # fmt: skip


@only_sqlite
@pytest.mark.parametrize("verb", ["REPLACE INTO", "INSERT OR REPLACE INTO"])
@pytest.mark.parametrize(
    "kept", [("number",), ("digest",), ("previous",), ('"case"', "position")], ids=str
)
def test_no_entry_is_replaced_by_way_of_anything_unique(
    verb: str, kept: tuple[str, ...], append_only_db: None
) -> None:
    store = DjangoStore()
    draft = Draft(Kind.NOTED, NIGHT, {"text": "as it was"})
    store.append("K7QM-2F49", [draft], expected_position=0, by="u-1", role="r", now=NIGHT)
    before = store.entries("K7QM-2F49")
    other = {
        "number": "77", '"case"': "'XXXX'", "position": "9", "body": "'{}'",
        "previous": "'p'", "digest": "'d'",
    }  # fmt: skip
    chosen = ",".join(c if c in kept else other.get(c, c) for c in COLUMNS)

    with pytest.raises(IntegrityError, match="append only"), transaction.atomic():
        connection.cursor().execute(
            f"{verb} web_ledgerentry ({','.join(COLUMNS)}) "  # noqa: S608 - no input
            f"SELECT {chosen} FROM web_ledgerentry"
        )
    assert store.entries("K7QM-2F49") == before


@only_sqlite
@pytest.mark.parametrize("table", ["web_workeridentity", "web_sourceidentity"])
def test_no_identity_is_replaced(table: str, append_only_db: None) -> None:
    who = DjangoIdentities()
    who.save_worker("K7QM-2F49", WorkerIdentity("Jane Roe"), by="u-1", now=NIGHT)
    who.save_source("K7QM-2F49", SourceIdentity("John Doe"), by="u-1", now=NIGHT)

    with pytest.raises(IntegrityError, match="append only"), transaction.atomic():
        connection.cursor().execute(
            f"REPLACE INTO {table} SELECT id, \"case\", recorded_at, 'u-2', body FROM {table}"  # noqa: S608
        )


# --- the published password -----------------------------------------------------------------------


def test_the_published_password_is_the_demos_and_nobody_chooses_it() -> None:
    assert PUBLISHED == DEMO_PASSWORD
    for typed in (PUBLISHED, f" {PUBLISHED.upper()}"):
        with pytest.raises(ValidationError, match="stands in the documentation"):
            validate_password(typed)


@pytest.mark.django_db
@pytest.mark.parametrize(("invented", "status"), [("true", 302), ("false", 200)])
def test_the_published_password_opens_nothing_at_a_real_site(
    invented: str, status: int, settings: Any, make_account: Callable[..., Account]
) -> None:
    make_account(Role.OCCUPATIONAL_NURSE, "nurse", password=PUBLISHED)
    (settings.DATA / "site.toml").write_text(
        SITE.replace("invented = true", f"invented = {invented}")
    )
    context.forget()

    answer = Client().post("/sign-in", {"username": "nurse", "password": PUBLISHED})

    assert answer.status_code == status


def test_without_readable_settings_the_published_password_opens_nothing(settings: Any) -> None:
    (settings.DATA / "site.toml").unlink()
    context.forget()

    assert opens_nothing_here(PUBLISHED)
    assert not opens_nothing_here(PASSWORD)


# --- files and the log of the server --------------------------------------------------------------


def test_a_file_that_a_restore_left_open_is_shut(tmp_path: Path) -> None:
    path = tmp_path / "thimble.sqlite3"
    assert _private(path) == str(path)
    assert not path.exists()
    path.write_bytes(b"kept")
    path.chmod(0o644)

    _private(path)

    assert path.stat().st_mode & 0o777 == 0o600
    assert path.read_bytes() == b"kept"


def test_what_the_server_says_of_a_request_names_no_path_address_or_value() -> None:
    out = io.StringIO()
    handler = logging.StreamHandler(out)
    handler.setFormatter(log.Line())
    handler.addFilter(log.NoIdentities())
    logger = logging.Logger("gunicorn.error")
    logger.addHandler(handler)

    try:
        raise ValueError("Jane Roe")
    except ValueError:
        logger.exception("Error handling request %s %s", "GET", "/case/Jane-Roe")
    logger.warning("Invalid request from ip=192.0.2.77: Invalid HTTP request line: 'Jane'")
    logger.error("Worker (pid:%s) was sent SIGKILL! Perhaps out of memory?", 7)

    lines = [json.loads(line)["event"] for line in out.getvalue().splitlines()]
    assert "Jane" not in out.getvalue()
    assert "192.0.2.77" not in out.getvalue()
    assert lines[0].startswith("gunicorn.error error handling request ValueError at test_what")
    assert lines[1:] == [
        "gunicorn.error invalid request",
        "Worker (pid:7) was sent SIGKILL! Perhaps out of memory?",
    ]
    assert django_settings.LOGGING["loggers"]["gunicorn.error"] == {"filters": ["safe"]}
