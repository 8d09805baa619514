"""The exposed worker: first aid at once, a report that loses nothing, and nothing to read."""

from __future__ import annotations

import io
import json
import logging
import re
import tomllib
from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.test import Client
from hypothesis import given
from hypothesis import strategies as st

from thimble.actions import Refused
from thimble.clinical.durations import Duration, add
from thimble.clinical.library import protocol as load_protocol
from thimble.clinical.library import shipped
from thimble.clinical.site import Site, parse_site
from thimble.clinical.vocabulary import vocabulary
from thimble.ledger.fold import fold
from thimble.web import clock, models
from thimble.web.context import get_identities, get_store
from thimble.web.report.ago import span
from thimble.web.report.choices import BY_SLUG, CHOICES, REACHED
from thimble.web.report.page import NowPage
from thimble.web.roles import Role

from .conftest import NIGHT, SITE

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("_fresh_limits")]

NAME, PHONE, STORY = "Rosalind Sampleworth", "079 555 01 99", "Recapping beside bed 12 <b>"


def _report(**changes: str) -> dict[str, str]:
    form = {
        "when": "15",
        "fluid": "blood",
        "place": "Ward 4B",
        "name": NAME,
        "phone": PHONE,
        "account": STORY,
        "once": "token-of-this-form",
    }
    return form | changes


def _send(client: Client, slug: str = "needle-or-sharp", **changes: str) -> Any:
    return client.post(f"/now/{slug}", _report(**changes))


@pytest.mark.parametrize("choice", CHOICES, ids=[c.slug for c in CHOICES])
def test_first_aid_stands_before_any_form_for_each_choice(choice: Any) -> None:
    page = Client().get(f"/now/{choice.slug}")

    now = page.context["page"]
    assert any(re.search("wash|flush|rinse", step.lower()) for step in _all_steps(now))
    for step in _all_steps(now):
        assert 0 < page.text.index(step) < page.text.index("<form class=")


def _all_steps(now: NowPage) -> list[str]:
    return [*(step for part in now.parts for step in part.steps), *now.steps]


def _site(protocol: str) -> Site:
    return parse_site(tomllib.loads(SITE) | {"protocol": protocol})


@pytest.mark.parametrize("name", shipped())
def test_who_is_not_sure_reads_every_row_of_the_first_aid_and_each_once_for_its_place(
    name: str,
) -> None:
    """Checked against the rows of the table itself, not against what is evaluated from them."""
    protocol = load_protocol(name)
    page = NowPage.of(BY_SLUG["other"], site=_site(name), protocol=protocol, now=NIGHT)

    (table,) = (table for table in protocol.tables if table.id == "first_aid")
    said = _all_steps(page)
    for rule in table.rules:
        text = rule.outputs["text"][1:]
        assert [step for step in said if step.endswith(text)], rule.id
    for part in page.parts:
        assert len(part.steps) == len(set(part.steps))
        # What holds for everybody is not said again for each place.
        assert not set(part.steps) & set(page.steps)


def test_who_is_not_sure_finds_the_first_aid_by_what_was_reached() -> None:
    page = NowPage.of(BY_SLUG["other"], site=_site("us"), protocol=load_protocol("us"), now=NIGHT)

    parts = {part.heading: part.steps for part in page.parts}
    assert list(parts)[:2] == ["If the skin was broken", "If it went in the eye"]
    broken, eye = parts["If the skin was broken"], parts["If it went in the eye"]
    assert broken[0] == "Wash it with soap and water, now."
    # Said for a bite alone: no other row of the table names it.
    assert "Bite: look whether the skin is broken." in broken
    assert eye[0].startswith("Flush the eye")
    assert eye[1].startswith("If you wear a contact lens: ")
    assert not any("soap" in step for step in eye)


def test_places_with_the_same_first_aid_share_a_heading() -> None:
    page = NowPage.of(BY_SLUG["other"], site=_site("uk"), protocol=load_protocol("uk"), now=NIGHT)

    parts = {part.heading: part.steps for part in page.parts}
    (rinse,) = parts["If it went in the mouth or the nose"]
    assert "do not swallow" in rinse
    # The UK texts let a puncture or a bite bleed, and say nothing of it for skin broken before.
    assert parts["If the skin was broken"][0].startswith("Needle, cut, bite: let it bleed")


def test_whoever_said_what_happened_reads_no_other_first_aid() -> None:
    for choice in CHOICES:
        parts = Client().get(f"/now/{choice.slug}").context["page"].parts
        assert bool(parts) == (choice.slug == "other")
    stated = {way[1]["route"] for reached in REACHED for way in reached.ways}
    assert stated == set(vocabulary()["route"].values)
    places = {way[1].get("splash_site") for reached in REACHED for way in reached.ways} - {None}
    assert places == set(vocabulary()["splash_site"].values)


# Kuhar 2013 and the 2017 quick guide: wash skin with soap and water, flush mucous membranes.
@pytest.mark.parametrize(
    ("slug", "says", "never"),
    [
        ("needle-or-sharp", "soap and water", "Flush"),
        ("broken-skin", "soap and water", "Flush"),
        ("bite", "soap and water", "Flush"),
        ("eye", "Flush the eye", "soap"),
        ("mouth", "Rinse the mouth", "soap"),
        ("nose", "Flush the nose", "soap"),
    ],
)
def test_first_aid_is_for_exactly_what_happened(slug: str, says: str, never: str) -> None:
    steps = " ".join(Client().get(f"/now/{slug}").context["page"].steps)
    assert says in steps
    assert never not in steps


def test_a_lens_is_spoken_of_only_as_a_condition_while_nobody_has_said() -> None:
    steps = Client().get("/now/eye").context["page"].steps
    assert next(s for s in steps if "lens" in s).startswith("If you wear a contact lens: ")


@pytest.mark.parametrize(
    ("at", "place", "then"),
    [
        (
            datetime(2026, 3, 3, 6, 59, 59, tzinfo=UTC),
            "Emergency Department",
            "Occupational Medicine",
        ),
        (datetime(2026, 3, 3, 7, 0, tzinfo=UTC), "Occupational Medicine", "Emergency Department"),
        (
            datetime(2026, 3, 3, 15, 29, 59, tzinfo=UTC),
            "Occupational Medicine",
            "Emergency Department",
        ),
        (datetime(2026, 3, 3, 15, 30, tzinfo=UTC), "Emergency Department", "Occupational Medicine"),
    ],
)
def test_where_to_go_follows_the_opening_hours(at: datetime, place: str, then: str) -> None:
    with clock.standing_at(at):
        go = Client().get("/now/bite").context["page"].go
    assert go.place == place
    assert go.then.startswith(then)
    assert go.phone in ("0123", "0911")


def test_an_unknown_choice_is_no_page_and_still_helps() -> None:
    page = Client().get("/now/unicorn")
    assert page.status_code == 404
    assert "0911" in page.text


def test_a_report_is_kept_with_its_facts_and_the_name_apart_from_the_ledger() -> None:
    client = Client()
    answer = _send(client)

    assert answer["Location"] == "/reported"
    (case,) = get_store().cases()
    (entry,) = get_store().entries(case)
    assert entry.body["facts"] == {"route": "percutaneous", "fluid": "blood"}
    assert datetime.fromisoformat(entry.body["occurred_at"]) == NIGHT - timedelta(minutes=15)
    assert entry.body["contact_left"] is True
    assert entry.by == entry.role == "worker"
    worker = get_identities().worker(case)
    assert worker is not None
    assert (worker.name, worker.phone) == (NAME, PHONE)
    row = models.LedgerEntry.objects.get()
    assert NAME not in row.body
    assert PHONE not in row.body
    page = client.get("/reported").text
    assert case in page
    assert "<svg" in page
    assert NAME not in page
    assert STORY not in page


def test_what_the_worker_is_not_sure_of_is_left_unasked_and_never_a_no() -> None:
    _send(Client(), "other", fluid="not_sure", when="not_known", name="", phone="")

    (case,) = get_store().cases()
    body = get_store().entries(case)[0].body
    assert body["facts"] == {}
    assert body["occurred_at"] is None
    assert body["occurred_at_precision"] == "unknown"
    assert body["contact_left"] is False
    assert get_identities().worker(case) is None


def test_a_report_sent_twice_is_one_case() -> None:
    client = Client()
    _send(client)
    _send(client)

    (case,) = get_store().cases()
    assert len(get_store().entries(case)) == 1
    assert "one report" in client.get("/reported").text


def _occurred_at() -> datetime:
    (case,) = get_store().cases()
    at: datetime = fold(get_store().entries(case), clock.now(), vocabulary()).occurred_at
    return at


@pytest.mark.parametrize(
    ("when", "waited", "minutes"),
    [
        ("0", "", 0),
        ("0", "0", 0),
        ("0", "1800", 30),
        ("15", "60", 16),
        ("120", "604800", 120 + 7 * 24 * 60),
    ],
)
def test_the_time_that_a_phone_waited_is_taken_off_as_well(
    when: str, waited: str, minutes: int
) -> None:
    _send(Client(), when=when, waited=waited)
    assert _occurred_at() == NIGHT - timedelta(minutes=minutes)


@pytest.mark.parametrize("waited", ["604801", "-1", "1.5", "1e3", "٣", "999999999999", "x" * 9999])
def test_a_wait_that_cannot_be_is_asked_about_and_never_read_as_none(waited: str) -> None:
    page = _send(Client(), when="0", waited=waited)

    assert page.status_code == 422
    assert "Choose “Another time”" in page.text
    assert get_store().cases() == []
    answer = _send(Client(), when="other", day="2026-03-03", clock="02:00", waited=waited)
    assert answer["Location"] == "/reported"
    assert _occurred_at() == NIGHT - timedelta(minutes=40)


def test_a_page_that_comes_back_brings_the_seconds_that_had_passed() -> None:
    page = _send(Client(), when="15", fluid="", waited="90")
    assert re.search(r'<input type="hidden" name="waited" value="90"', page.text)


def test_a_report_sent_again_later_keeps_its_time() -> None:
    client = Client()
    _send(client, when="0")
    with clock.standing_at(NIGHT + timedelta(minutes=40)):
        _send(client, when="0")
        _send(client, when="0", place="Ward 5")
        assert _occurred_at() == NIGHT
        _send(client, when="other", day="2026-03-03", clock="02:50", place="Ward 5")
        assert _occurred_at() == NIGHT + timedelta(minutes=10)

    (case,) = get_store().cases()
    assert len(get_store().entries(case)) == 3


def test_a_reference_is_shown_to_the_session_that_made_it_and_to_nobody_else() -> None:
    _send(Client())
    stranger = Client()

    assert stranger.get("/reported")["Location"] == "/"
    (case,) = get_store().cases()
    for path in (f"/reported/{case}", f"/now/{case}", f"/{case}"):
        assert stranger.get(path).status_code in (302, 404)


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"when": ""}, "Choose when it happened"),
        ({"fluid": ""}, "Choose the fluid"),
        ({"fluid": "ink"}, "Select a valid choice"),
        ({"when": "other"}, "Enter the day"),
        ({"when": "other", "day": "2026-03-03", "clock": "02:41"}, "has not come yet"),
        ({"when": "other", "day": "2026-03-04"}, "has not come yet"),
        ({"when": "other", "day": "2026-13-03", "clock": "02:00"}, "Enter the day, for example"),
        (
            {"when": "other", "day": "2026-03-02", "clock": "half two"},
            "Enter the time, for example",
        ),
        ({"when": "15", "day": "2026-03-02"}, "also typed a day or time"),
        ({"place": "x" * 121}, "at most 120"),
    ],
)
def test_an_error_is_told_and_everything_typed_is_still_there(
    changes: dict[str, str], says: str
) -> None:
    page = _send(Client(), **changes)

    assert page.status_code == 422
    assert says in page.text
    assert get_store().cases() == []
    form = page.context["form"]
    for field in ("name", "phone", "account", "once"):
        assert form[field].value() == _report(**changes)[field]
    assert f'value="{NAME}"' in page.text
    assert "Recapping beside bed 12 &lt;b&gt;" in page.text


@pytest.mark.parametrize(
    ("day", "time", "which", "instant"),
    [
        ("2026-03-03", "02:40", "", "2026-03-03T01:40:00+00:00"),
        ("2026-03-02", "23:50", "", "2026-03-02T22:50:00+00:00"),
        ("2026-03-02", "", "", "2026-03-01T23:00:00+00:00"),
        # 2025-10-26 in Central Europe: 03:00 summer time became 02:00 (Directive 2000/84/EC).
        ("2025-10-26", "02:30", "0", "2025-10-26T00:30:00+00:00"),
        ("2025-10-26", "02:30", "1", "2025-10-26T01:30:00+00:00"),
    ],
)
def test_a_time_typed_is_that_time_in_the_hospitals_zone(
    day: str, time: str, which: str, instant: str
) -> None:
    # What lies more than 30 days back is asked about first; here the answer comes along.
    sure = f"{day} {time}"
    _send(Client(), when="other", day=day, clock=time, repeated=which, sure=sure)

    (case,) = get_store().cases()
    body = get_store().entries(case)[0].body
    assert datetime.fromisoformat(body["occurred_at"]) == datetime.fromisoformat(instant)
    assert body["occurred_at_precision"] == ("minute" if time else "date")


@pytest.mark.parametrize(
    ("day", "time", "asks"),
    [
        # 30 days before 02:40 on 3 March 2026 is 02:40 on 1 February.
        ("2026-02-01", "02:41", False),
        ("2026-02-01", "02:40", False),
        ("2026-02-01", "02:39", True),
        ("2026-02-01", "", False),
        ("2026-01-31", "", True),
    ],
)
def test_a_time_more_than_30_days_back_is_asked_about_once(day: str, time: str, asks: bool) -> None:
    client = Client()
    page = _send(client, when="other", day=day, clock=time)
    assert page.status_code == (422 if asks else 302)
    assert len(get_store().cases()) == (0 if asks else 1)
    if not asks:
        return

    assert "If that is right, send it again; if not, correct it." in page.text
    assert f'value="{NAME}"' in page.text
    asked = page.context["form"]["sure"].value()
    again = _send(client, when="other", day=day, clock=time, sure=asked)
    assert again["Location"] == "/reported"
    (case,) = get_store().cases()
    local = datetime.fromisoformat(get_store().entries(case)[0].body["occurred_at"]).astimezone(
        ZoneInfo("Europe/Zurich")
    )
    assert f"{local:%Y-%m-%d %H:%M}" == f"{day} {time or '00:00'}"


def test_a_wrong_year_is_shown_as_it_will_be_read() -> None:
    page = _send(Client(), when="other", day="2019-01-01", clock="02:40")

    assert "That is 7 years and 2 months ago: Tue 1 Jan 2019, 02:40." in page.text
    assert re.search(r'<input type="hidden" name="sure" value="2019-01-01 02:40"', page.text)


def test_a_yes_to_one_time_is_none_to_another() -> None:
    client = Client()
    first = _send(client, when="other", day="2019-01-01", clock="02:40")
    asked = first.context["form"]["sure"].value()

    second = _send(client, when="other", day="2018-01-01", clock="02:40", sure=asked)
    assert second.status_code == 422
    assert "Mon 1 Jan 2018, 02:40" in second.text
    assert get_store().cases() == []
    corrected = _send(client, when="other", day="2026-03-02", clock="02:40", sure=asked)
    assert corrected["Location"] == "/reported"


def test_a_time_that_came_twice_long_ago_is_asked_about_both_ways_and_kept() -> None:
    client = Client()
    typed = {"when": "other", "day": "2025-10-26", "clock": "02:30"}
    assert "came twice" in _send(client, **typed).text
    page = _send(client, repeated="1", **typed)
    asked = page.context["form"]["sure"].value()
    _send(client, repeated="1", sure=asked, **typed)

    assert _occurred_at() == datetime(2025, 10, 26, 1, 30, tzinfo=UTC)


def test_the_receipt_says_when_and_what_was_recorded_and_nothing_of_who() -> None:
    client = Client()
    _send(client, "eye", when="other", day="2026-03-03", clock="01:55")
    page = client.get("/reported")

    assert "Tue 3 Mar 2026, 01:55" in page.text
    assert "45 min ago" in page.text
    assert "Splash in the eye" in page.text
    for secret in (NAME, PHONE, STORY, "Recapping", "Ward 4B"):
        assert secret not in page.text


@pytest.mark.parametrize(
    ("changes", "when", "since"),
    [
        # 60 minutes before 02:40 is told to the hour: from 01:00 on.
        ({"when": "60"}, "Tue 3 Mar 2026 (in the hour from 01:00)", "up to 1 h 40 min ago"),
        (
            {"when": "other", "day": "2026-03-02"},
            "Mon 2 Mar 2026 (hour not known)",
            "up to 26 h 40 min ago",
        ),
        ({"when": "not_known"}, "Not known", ""),
        (
            {"when": "other", "day": "2019-01-01", "clock": "02:40", "sure": "2019-01-01 02:40"},
            "Tue 1 Jan 2019, 02:40",
            "7 years and 2 months ago",
        ),
    ],
)
def test_the_receipt_is_no_more_exact_than_the_report(
    changes: dict[str, str], when: str, since: str
) -> None:
    client = Client()
    _send(client, **changes)
    told = client.get("/reported").context["page"].told

    assert (told.when, told.ago) == (when, since)
    assert told.fluid == "Blood"


def test_the_receipt_says_what_stands_where_a_report_sent_again_keeps_its_time() -> None:
    client = Client()
    _send(client, when="0")
    with clock.standing_at(NIGHT + timedelta(minutes=40)):
        _send(client, when="0")
        told = client.get("/reported").context["page"].told
    assert (told.when, told.ago) == ("Tue 3 Mar 2026, 02:40", "40 min ago")


def test_a_way_that_nobody_said_is_none_on_the_receipt() -> None:
    client = Client()
    _send(client, "other", fluid="not_sure")
    assert client.get("/reported").context["page"].told.what == "Not said"


def test_whoever_opens_the_receipt_later_finds_the_reference_and_nothing_of_the_report() -> None:
    client = Client()
    _send(client, "eye", when="other", day="2026-03-03", clock="01:55")
    assert client.head("/reported").status_code == 200  # a look ahead uses up nothing
    assert "01:55" in client.get("/reported").text

    (case,) = get_store().cases()
    later = client.get("/reported").text
    assert case in later
    for told in ("01:55", "45 min", "Splash"):
        assert told not in later
    assert "01:55" not in str(dict(client.session))


def test_nobody_without_the_session_is_told_what_was_recorded() -> None:
    _send(Client(), "eye")
    stranger = Client()
    _send(stranger, "bite", once="another-token")
    page = stranger.get("/reported").text
    assert "Human bite" in page
    assert "Splash" not in page


@given(day=st.dates(date(1930, 1, 1), date(2026, 3, 3)), after=st.integers(0, 30_000))
def test_a_span_of_months_is_the_calendars(day: date, after: int) -> None:
    """Against the steps that the protocols' windows take, which clamp at the end of a month."""
    today = day + timedelta(days=after)
    words = span(day, today)
    numbers = {unit: int(n) for n, unit in re.findall(r"(\d+) (day|month|year)", words)}
    if "day" in numbers or words == "0 days":
        assert numbers.get("day", 0) == after
        assert after < 93
        return
    months = 12 * numbers.get("year", 0) + numbers.get("month", 0)
    start = datetime(day.year, day.month, day.day, tzinfo=UTC)
    now = datetime(today.year, today.month, today.day, tzinfo=UTC)
    assert add(start, Duration(months, "months"), UTC) <= now
    assert now < add(start, Duration(months + 1, "months"), UTC)


def test_a_control_character_costs_nobody_a_report() -> None:
    _send(Client(), place="Ward\x08 4B\x1f", account="one\r\n\ttwo\x7f\x0b", name="\x01" + NAME)

    (case,) = get_store().cases()
    body = get_store().entries(case)[0].body
    assert body["place"] == "Ward 4B"
    assert body["account"] == "one\r\n\ttwo\x7f"
    worker = get_identities().worker(case)
    assert worker is not None
    assert worker.name == NAME


def test_a_report_that_is_refused_after_all_comes_back_with_all_that_was_typed(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def refuse(*_: Any, **__: Any) -> None:
        raise Refused("place holds a character that cannot be kept")

    monkeypatch.setattr("thimble.web.report.views.report", refuse)
    page = _send(Client())
    assert page.status_code == 422
    assert "cannot be kept" in page.text
    assert f'value="{NAME}"' in page.text


def test_a_time_that_came_twice_is_asked_about_and_one_that_never_was_is_refused() -> None:
    twice = _send(Client(), when="other", day="2025-10-26", clock="02:30")
    never = _send(Client(), when="other", day="2025-03-30", clock="02:30")

    assert twice.status_code == never.status_code == 422
    assert "came twice" in twice.text
    assert "clocks went forward" in never.text


def test_a_flood_is_slowed_and_still_shows_first_aid_and_keeps_what_was_typed(
    settings: Any,
) -> None:
    settings.REPORTS_PER_WINDOW = 2
    client = Client()
    statuses = [_send(client, once=f"token-{turn}").status_code for turn in range(2)]
    page = _send(client, once="token-3")

    assert statuses == [302, 302]
    assert page.status_code == 429
    assert "soap and water" in page.text
    assert "0911" in page.text
    assert f'value="{NAME}"' in page.text
    assert len(get_store().cases()) == 2
    elsewhere = Client(REMOTE_ADDR="10.9.8.7")
    assert _send(elsewhere, once="token-4").status_code == 302


def test_a_page_left_open_too_long_keeps_the_report_and_sends_at_the_second_try() -> None:
    client = Client(enforce_csrf_checks=True)
    page = _send(client)

    assert page.status_code == 403
    assert "Send it once more" in page.text
    assert f'value="{NAME}"' in page.text
    proof = re.search(
        r'name="csrfmiddlewaretoken" value="([^"]+)"', page.text.split("data-draft")[1]
    )
    assert proof is not None
    again = _send(client, csrfmiddlewaretoken=proof[1])
    assert again["Location"] == "/reported"


def test_the_page_needs_no_script() -> None:
    page = Client().get("/now/eye").text
    assert "<noscript" not in page
    assert re.search(r'<form[^>]*method="post"', page)
    assert (
        "hidden" not in page[page.index('id="another-time"') - 40 : page.index('id="another-time"')]
    )


@pytest.fixture
def log_lines() -> Iterator[io.StringIO]:
    """What the log of the running server would hold: its own handler, filter and format."""
    handler = logging.getLogger("thimble").handlers[0]
    assert isinstance(handler, logging.StreamHandler)
    lines = io.StringIO()
    before = handler.setStream(lines)
    yield lines
    handler.setStream(before)


def test_no_identity_and_no_typed_text_reaches_the_log(log_lines: io.StringIO) -> None:
    client = Client(raise_request_exception=False)
    _send(client)
    _send(client, when="")
    client.get("/now/Rosalind-Sampleworth")
    client.get("/?name=Sampleworth", headers={"host": "sampleworth.example"})
    for _ in range(6):
        client.post("/sign-in", {"username": "rosalind-sampleworth", "password": "wrong"})

    (case,) = get_store().cases()
    lines = [json.loads(line) for line in log_lines.getvalue().splitlines()]
    assert {"event": "reported", "case": case}.items() <= lines[0].items()
    assert "sign_in_locked" in [line["event"] for line in lines]
    for secret in ("sampleworth", PHONE, "recapping", "ward 4b", "127.0.0.1"):
        assert secret not in log_lines.getvalue().lower()


def test_a_failure_leaves_its_kind_in_the_log_and_none_of_its_values(
    monkeypatch: pytest.MonkeyPatch, log_lines: io.StringIO
) -> None:
    def fail(*_: Any, **__: Any) -> None:
        raise RuntimeError(f"cannot keep {NAME}")

    monkeypatch.setattr("thimble.web.report.views.report", fail)
    page = _send(Client(raise_request_exception=False))

    assert page.status_code == 500
    assert "downtime pack" in page.text
    assert NAME not in page.text
    assert "RuntimeError at fail" in log_lines.getvalue()
    assert NAME not in log_lines.getvalue()


def test_the_start_page_has_one_door_for_each_choice_and_marks_invented_data(
    signed_in: Callable[[Role], Client],
) -> None:
    page = Client().get("/").text
    assert page.count('href="/now/') == len(CHOICES)
    assert "INVENTED DATA" in page
    assert "Decision support for trained staff" in page


def test_a_clock_that_steps_back_does_not_take_the_receipt_away() -> None:
    client = Client()
    assert _send(client).status_code == 302
    with clock.standing_at(NIGHT - timedelta(minutes=5)):
        answer = client.get("/reported")

    assert answer.status_code == 200
