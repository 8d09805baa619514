"""The recall list in the database says at any moment what planning every case afresh says."""

from __future__ import annotations

import random
from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from django.db import transaction
from django.test import Client
from django.urls import reverse
from hypothesis import given, settings
from hypothesis import strategies as st

from thimble import actions
from thimble.clinical.site import ClosedDay, Site
from thimble.clinical.vocabulary import VOCABULARY
from thimble.ledger.assess import assess
from thimble.ledger.entries import Entry
from thimble.ledger.fold import fold
from thimble.ledger.follow_up.reaching import rung_on
from thimble.ledger.follow_up.record import AgreedVisit
from thimble.ledger.follow_up.visiting import to_agree, visiting
from thimble.ledger.pressing import urgency
from thimble.ledger.store import MemoryStore
from thimble.protocol import Protocol
from thimble.web import clock
from thimble.web.context import get_ladder, get_protocol, get_site, get_store
from thimble.web.models import LedgerEntry, RecallLine
from thimble.web.roles import Role
from thimble.web.visits.recall import lines, page
from thimble.web.visits.recall.standing import Listed, Recalled, answer

from .conftest import NIGHT

pytestmark = pytest.mark.django_db
STEPS = ("answers", "agree", "missed", "call", "dose", "close")
NURSE: dict[str, str] = {"by": "u-nurse", "role": "occupational_nurse"}
ANSWERS: tuple[dict[str, Any], ...] = (
    {"source_hiv": "positive", "source_hbsag": "positive", "source_hcv_rna": "positive"},
    {"source_hiv": "negative", "source_hbsag": "negative", "source_hcv_rna": "positive"},
    {"worker_hiv": "negative", "worker_anti_hcv": "negative", "worker_hbv_series": "none"},
    {"worker_hbv_infection": "none_known", "worker_hbv_series": "two_complete",
     "worker_hbv_response": "non_responder"},
    {"source_access": "unidentified"},
)  # fmt: skip
KNOWN: dict[str, Any] = {
    "route": "percutaneous", "fluid": "blood", "worker_hbv_infection": "none_known",
    "worker_hbv_response": "responder",
    **ANSWERS[1], **ANSWERS[2], "source_hiv_acute_illness": "no",
    "worker_hbv_series": "one_complete",
}  # fmt: skip
"""Nothing is open: what follows is blood to be drawn in weeks and months."""
DONE = ("follow_up_hcv_rna", "follow_up_hiv_6w", "baseline_hiv")


def history(draw: random.Random, steps: int, begin: datetime) -> MemoryStore:
    """Cases reported, answered, planned, kept, missed, called, absent and closed over some weeks."""
    store, at, own, site = MemoryStore(), begin, get_protocol(), get_site()
    for step in range(steps):
        at += timedelta(hours=draw.choice((0, 1, 7, 26, 100, 300)), minutes=draw.randrange(60))
        cases = store.cases()
        with suppress(actions.Refused, ValueError):
            if len(cases) < 2 or draw.random() < 0.1:
                precision = draw.choice(("minute", "minute", "hour", "date", "unknown"))
                ago = timedelta(hours=draw.choice((1, 30, 400)))
                actions.report(
                    store, facts=draw.choice((KNOWN, {"route": "percutaneous", "fluid": "blood"})),
                    occurred_at=None if precision == "unknown" else at - ago,
                    occurred_at_precision=precision, vocabulary=VOCABULARY, now=at,
                    token=f"{step}",
                )  # fmt: skip
                continue
            _step(store, draw, draw.choice(cases), at, own, site)
    return store


def _step(
    store: MemoryStore, draw: random.Random, case: str, at: datetime, own: Protocol, site: Site
) -> None:
    today = at.astimezone(site.zone).date()
    known = fold(store.entries(case), at, own.vocabulary)
    what = draw.choices(STEPS, (2, 4, 1, 1, 2, 0.3))[0]
    if what == "answers":
        actions.learn_facts(
            store, case, draw.choice(ANSWERS), said_by="clinician", vocabulary=VOCABULARY, now=at,
            **NURSE,
        )  # fmt: skip
    elif what == "agree":
        away = [(today, today + timedelta(days=draw.randrange(40)))] if draw.random() < 0.3 else []
        found = visiting(assess(known, own, at, site), known, site, unavailable=away)
        told = to_agree(found.planned, found.expected)
        moved = tuple(AgreedVisit(v.day + timedelta(days=draw.choice((-7, -1, 0, 0, 1, 7))), v.actions)
                      for v in told)  # fmt: skip
        actions.agree_visits(store, case, moved, unavailable=away, now=at, **NURSE)
    elif what == "missed":
        days = [visit.day for visit in known.follow_up.visits if visit.day <= today] or [today]
        actions.miss_visit(store, case, days[0], today=today, now=at, **NURSE)
    elif what == "call":
        actions.contact(store, case, how="telephone", outcome="no_answer", now=at, **NURSE)
    elif what == "dose":
        actions.take_sample(store, case, draw.choice(DONE), now=at, **NURSE)
    else:
        actions.close(
            store, case, reason="transferred", protocol=own, site=site, now=at, text="moved away",
            may_leave=True, **NURSE,
        )  # fmt: skip


def afresh(entries: list[Entry], now: datetime, site: Site | None = None) -> Recalled | None:
    return answer(entries, get_protocol(), site or get_site(), get_ladder(), now).recalled


@given(seed=st.integers(0, 10**9), later=st.floats(0, 1), reach=st.sampled_from([1, 40, 900]))
@settings(max_examples=150, deadline=None)
def test_an_answer_holds_until_the_instant_it_names(seed: int, later: float, reach: int) -> None:
    draw = random.Random(seed)
    store = history(draw, 12, NIGHT)
    end = max(entry.recorded_at for entry in store.all_entries())
    for case in store.cases():
        entries = store.entries(case)
        now = NIGHT + (end - NIGHT + timedelta(hours=reach)) * draw.random()
        found = answer(entries, get_protocol(), get_site(), get_ladder(), now)
        if found.until is None:
            continue
        assert found.until > now
        last = min(found.until, now + timedelta(days=500)) - timedelta(microseconds=1)
        for then in (now + (last - now) * later, last):
            assert afresh(entries, then) == found.recalled, (case, now, then, found.until)


def table(now: datetime) -> dict[str, Recalled]:
    counts = lines.counts()
    rows = {part: _in_pages(part, now) for part in counts}
    assert {part: len(found) for part, found in rows.items()} == counts
    for part, found in rows.items():
        assert all(row.recalled.part == part for row in found)
        order = [(_key(row.recalled, now), row.case) for row in found]
        assert order == sorted(order)
    return {row.case: row.recalled for found in rows.values() for row in found}


def _in_pages(part: str, now: datetime, size: int = 2) -> list[Listed]:
    found: list[Listed] = []
    while more := lines.listed(part, len(found), size, zone=get_site().zone, now=now):
        assert len(more) <= size
        found += more
    return found


def _key(recalled: Recalled, now: datetime) -> Any:
    if recalled.due is None:
        return recalled.day
    return urgency(rung_on("", "", recalled.due, recalled.day, get_site().zone).action, now)


def plainly(entries: list[Entry], now: datetime, site: Site) -> dict[str, Recalled]:
    found = {}
    for case in dict.fromkeys(entry.case for entry in entries):
        own = [entry for entry in entries if entry.case == case]
        recalled = afresh(own, now, site)
        if recalled is not None:
            found[case] = recalled
    return found


@given(seed=st.integers(0, 10**9))
@settings(max_examples=25, deadline=None)
def test_the_table_says_what_every_case_says(seed: int) -> None:
    """Whatever was written, forgotten, cut short or ruled otherwise in between."""
    draw = random.Random(seed)
    own, site = get_protocol(), get_site()
    closed = replace(site, closed_days=(ClosedDay(date(2026, 3, 24), "works"),))
    written = list(history(draw, 16, NIGHT).all_entries())
    there: list[Entry] = []
    with transaction.atomic():
        _compare(draw, own, (site, site, closed), written, there)
        transaction.set_rollback(True)


def _compare(
    draw: random.Random,
    own: Protocol,
    sites: tuple[Site, ...],
    written: list[Entry],
    there: list[Entry],
) -> None:
    while len(there) < len(written):
        more = written[len(there) :][: draw.randrange(1, 9)]
        LedgerEntry.objects.bulk_create([get_store()._row(entry) for entry in more])
        there += more
        if draw.random() < 0.3:
            RecallLine.objects.all().delete()
        if draw.random() < 0.3:
            _cut_short(draw, own, sites[0], there[-1].recorded_at)
        for _ in range(2):
            now = there[-1].recorded_at + timedelta(hours=draw.choice((-200, 0, 0, 3, 30, 900)))
            rules = draw.choice(sites)
            lines.refresh(get_store(), own, rules, get_ladder(), now)
            assert table(now) == plainly(there, now, rules), now
            assert lines.refresh(get_store(), own, rules, get_ladder(), now) <= _unkept(
                there, now, rules
            )


def _unkept(entries: list[Entry], now: datetime, site: Site) -> int:
    cases = dict.fromkeys(entry.case for entry in entries)
    return sum(
        answer(
            [e for e in entries if e.case == case], get_protocol(), site, get_ladder(), now
        ).until
        is None
        for case in cases
    )


def _cut_short(draw: random.Random, own: Protocol, site: Site, now: datetime) -> None:
    """A reading that ends after some cases, as when the process is stopped."""

    class Stopped(Exception):
        pass

    left = draw.randrange(3)
    store = get_store()

    class Failing:
        def entries(self, case: str) -> list[Entry]:
            nonlocal left
            left -= 1
            if left < 0:
                raise Stopped
            return store.entries(case)

    with pytest.MonkeyPatch.context() as patch, suppress(Stopped):
        patch.setattr(lines, "AT_ONCE", 1)
        lines.refresh(Failing(), own, site, get_ladder(), now)  # type: ignore[arg-type]


def test_a_row_made_from_more_entries_is_not_written_over() -> None:
    draw = random.Random(3)
    entries = list(history(draw, 12, NIGHT).all_entries())
    LedgerEntry.objects.bulk_create([get_store()._row(entry) for entry in entries])
    now = entries[-1].recorded_at
    lines.refresh(get_store(), get_protocol(), get_site(), get_ladder(), now)
    row = RecallLine.objects.order_by("-last").first()
    assert row is not None
    lines._write([RecallLine(**{**_fields(row), "last": row.last - 1, "part": "moved"})])
    assert _fields(RecallLine.objects.get(case=row.case)) == _fields(row)

    lines._write([RecallLine(**{**_fields(row), "last": row.last + 1, "part": "moved"})])
    assert RecallLine.objects.get(case=row.case).part == "moved"


def _fields(row: RecallLine) -> dict[str, Any]:
    names = ("case", "last", "rules", "since", "until", "part", "day", "said")
    return {name: getattr(row, name) for name in names}


def test_a_second_look_plans_nothing_anew(monkeypatch: pytest.MonkeyPatch) -> None:
    entries = list(history(random.Random(8), 14, NIGHT).all_entries())
    LedgerEntry.objects.bulk_create([get_store()._row(entry) for entry in entries])
    now = entries[-1].recorded_at + timedelta(minutes=1)
    first = lines.refresh(get_store(), get_protocol(), get_site(), get_ladder(), now)
    second = lines.refresh(
        get_store(), get_protocol(), get_site(), get_ladder(), now + timedelta(seconds=1)
    )

    assert first == len({entry.case for entry in entries})
    assert second == _unkept(entries, now, get_site())


def test_a_long_part_is_shown_in_pages(
    monkeypatch: pytest.MonkeyPatch, signed_in: Callable[[Role], Client]
) -> None:
    monkeypatch.setattr(page, "MOST_ROWS", 2)
    facts = {"route": "percutaneous", "fluid": "blood", "source_hcv_rna": "positive"}
    cases = sorted(
        actions.report(
            get_store(), facts=facts, occurred_at=NIGHT, occurred_at_precision="minute",
            vocabulary=VOCABULARY, now=NIGHT,
        ).case
        for _ in range(5)
    )  # fmt: skip
    client = signed_in(Role.OCCUPATIONAL_NURSE)

    def shown(query: str) -> list[str]:
        text = client.get(reverse("visits:recall") + query).text
        return [case for case in cases if case in text]

    assert shown("") == cases[:2]
    assert shown("?part=unplanned&from=2") == cases[2:4]
    assert shown("?part=unplanned&from=4") == cases[4:]
    assert shown("?part=unplanned&from=99") == []
    assert shown("?part=nonsense&from=x") == []
    text = client.get(reverse("visits:recall") + "?part=unplanned&from=2").text
    assert "3 to 4 of 5" in text
    assert "?part=unplanned&amp;from=0" in text
    assert "?part=unplanned&amp;from=4" in text


def test_the_list_changes_at_midnight_of_the_site(signed_in: Callable[[Role], Client]) -> None:
    case = actions.report(
        get_store(), facts={"route": "percutaneous", "fluid": "blood", "source_hcv_rna": "positive"},
        occurred_at=NIGHT, occurred_at_precision="minute", vocabulary=VOCABULARY, now=NIGHT,
    ).case  # fmt: skip
    day = date(2026, 3, 24)
    actions.agree_visits(
        get_store(), case, [AgreedVisit(day, ("follow_up_hcv_rna",))], now=NIGHT, **NURSE
    )
    said = {}
    for at in (
        datetime(2026, 3, 23, 22, 59, 59, tzinfo=UTC),
        datetime(2026, 3, 23, 23, 0, tzinfo=UTC),
        datetime(2026, 3, 24, 22, 59, 59, tzinfo=UTC),
        datetime(2026, 3, 24, 23, 0, tzinfo=UTC),
    ):
        with clock.standing_at(at):
            text = signed_in_again(signed_in, at).get(reverse("visits:recall")).text
            said[at.isoformat()[:16]] = next(
                word
                for word in ("Expected today", "1 day ago", "Expected on Tue 24 Mar")
                if word in text
            )
    assert list(said.values()) == [
        "Expected on Tue 24 Mar", "Expected today", "Expected today", "1 day ago",
    ]  # fmt: skip


def signed_in_again(signed_in: Callable[[Role], Client], at: datetime) -> Client:
    roles = [Role.OCCUPATIONAL_NURSE, Role.OCCUPATIONAL_PHYSICIAN]
    from thimble.web.models import Account

    free = [role for role in roles if not Account.objects.filter(role=role.value).exists()]
    if free:
        return signed_in(free[0])
    client = Client()
    account = Account.objects.filter(role=roles[0].value).first()
    assert account is not None
    client.force_login(account, backend="django.contrib.auth.backends.ModelBackend")
    return client
