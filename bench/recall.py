"""The recall list over many open cases: `python -m bench recall`.

A prototype of 1,000 courses, with dates agreed, missed and still to agree, is copied under new references
until the site has as many open cases as wanted. The page is asked for through Django's test client. The
first reading plans every case and is told apart; the pages after it are those that people meet, each a
minute after the one before, so that some answers have to be made anew.
"""

from __future__ import annotations

import random
import statistics
import sys
import tempfile
import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

from thimble import actions
from thimble.clinical.site import Site
from thimble.ledger.assess import assess
from thimble.ledger.entries import Draft, Entry
from thimble.ledger.fold import fold
from thimble.ledger.follow_up.record import AgreedVisit
from thimble.ledger.follow_up.visiting import visiting
from thimble.ledger.store import CASES, Head, MemoryStore, chain
from thimble.protocol import Protocol

AIM_MS = 150.0
SIZES = (5_000, 10_000, 20_000)
COURSES = 1_000
ROUNDS = 15
NURSE = {"by": "u-33333333", "role": "occupational_nurse"}
FACTS: dict[str, str] = {
    "route": "percutaneous", "fluid": "blood", "source_hiv": "negative",
    "source_hiv_acute_illness": "no", "source_hbsag": "negative", "source_hcv_rna": "positive",
    "worker_hiv": "negative", "worker_anti_hcv": "negative", "worker_hbv_infection": "none_known",
    "worker_hbv_series": "one_complete", "worker_hbv_response": "responder",
}  # fmt: skip


def courses(protocol: Protocol, site: Site, now: datetime, seed: int = 5) -> MemoryStore:
    """Open cases of the last six months: two in three with dates agreed, one of nine not kept."""
    draw, store = random.Random(seed), MemoryStore()
    for number in range(COURSES):
        at = now - timedelta(minutes=(COURSES - number) * 180 * 24 * 60 / COURSES)
        case = actions.report(
            store, facts=dict(FACTS), occurred_at=at - timedelta(minutes=draw.randrange(5, 600)),
            occurred_at_precision="minute", vocabulary=protocol.vocabulary, now=at,
            token=f"invented {number}",
        ).case  # fmt: skip
        if draw.random() < 0.66:
            known = fold(store.entries(case), at, protocol.vocabulary)
            found = visiting(assess(known, protocol, at, site), known, site)
            told = [AgreedVisit(visit.day, visit.items) for visit in found.planned.visits]
            # What was agreed for the past was kept, but for some.
            if draw.random() < 0.85:
                told = [visit for visit in told if visit.day >= now.date()]
            actions.agree_visits(store, case, told, now=at, **NURSE)
    return store


def copied(store: MemoryStore, copies: int) -> Iterator[Entry]:
    """Every entry `copies` times, each under a case of its own, in one chain."""
    head, positions = Head(), dict.fromkeys(store.cases(), 0)
    for entry in store.all_entries():
        for copy in range(copies):
            [made] = chain(
                f"{entry.case}-{copy}",
                [Draft(entry.kind, entry.happened_at, entry.body)],
                head=head,
                position=positions[entry.case],
                by=entry.by,
                role=entry.role,
                now=entry.recorded_at,
                book=CASES,
            )
            head = Head(made.number, made.digest, made.recorded_at)
            yield made
        positions[entry.case] += 1


def main() -> int:
    """Build each size in a database of its own, measure, print."""
    from bench.pages import prepare

    with tempfile.TemporaryDirectory(prefix="thimble-bench-") as name:
        prepare(Path(name))
        _measure()
    return 0


def _measure() -> None:
    from django.test import Client
    from django.urls import reverse

    from thimble.web import clock
    from thimble.web.context import get_ladder, get_protocol, get_site, get_store
    from thimble.web.models import Account, LedgerEntry
    from thimble.web.roles import Role
    from thimble.web.visits import lines

    now = datetime.now(UTC)
    protocol, site = get_protocol(), get_site()
    account = Account(sign_in="bench", role=Role.OCCUPATIONAL_NURSE.value)
    account.set_unusable_password()
    account.save()
    client = Client(SERVER_NAME="127.0.0.1")
    client.get(reverse("report:alive"))
    client.force_login(account, backend="django.contrib.auth.backends.ModelBackend")
    entries = list(copied(courses(protocol, site, now), max(SIZES) // COURSES))
    there = set[str]()
    print(
        f"{'open cases':>10}{'first, a case':>15}{'page, median':>14}{'slowest':>9}{'aim':>8}  a case"
    )
    for size in SIZES:
        wanted = size // COURSES
        # The table of entries is a chain; here only its rows count, so later copies join as they are.
        more = [e for e in entries if int(e.case[-2:].strip("-")) < wanted and e.case not in there]
        LedgerEntry.objects.bulk_create(
            [get_store()._row(entry) for entry in more], batch_size=2000
        )
        lines.RecallLine.objects.all().delete()
        there |= {entry.case for entry in more}
        begin = time.perf_counter()
        count = lines.refresh(get_store(), protocol, site, get_ladder(), now)
        first = (time.perf_counter() - begin) * 1000
        assert count == size, (count, size)
        times = []
        for minute in range(1, ROUNDS + 1):
            with clock.standing_at(now + timedelta(minutes=minute)):
                begin = time.perf_counter()
                answer = client.get(reverse("visits:recall"))
                times.append((time.perf_counter() - begin) * 1000)
            assert answer.status_code == 200
        median = statistics.median(times)
        print(
            f"{size:>10,}{first / size:>12.2f} ms{median:>11.1f} ms{max(times):>6.0f} ms"
            f"{AIM_MS:>5.0f} ms  {1000 * median / size:.1f} µs"
        )


if __name__ == "__main__":
    sys.exit(main())
