"""The recall list kept in the database, one row a case, and brought up to date before it is read.

Only a case with new entries, one read under other rules, or one whose answer no longer holds is planned
anew; the rest is a query. The ledger stays the truth: the table may be emptied at any time and is
made again.
"""

from __future__ import annotations

import json
import threading
from collections.abc import Sequence
from dataclasses import asdict
from datetime import date, datetime, tzinfo
from functools import lru_cache
from hashlib import sha256
from importlib.metadata import version

from django.db import transaction
from django.db.models import Count, Max, Q, QuerySet

from thimble import __version__
from thimble.clinical.ladder import Ladder
from thimble.clinical.site import Site
from thimble.ledger.entries import Entry
from thimble.protocol import Protocol
from thimble.web.models import LedgerEntry, RecallLine
from thimble.web.store import DjangoStore, one_writer
from thimble.web.visits.recall.standing import PARTS, Answer, Listed, Recalled, answer, pressing

FORM = 4
"""To be raised when the same ledger gives another row, so that rows of before are made anew."""

AT_ONCE = 200
"""How many cases are written in one transaction: what is done when a first reading is cut short stays."""

_one_at_a_time = threading.Lock()


def refresh(
    store: DjangoStore, protocol: Protocol, site: Site, ladder: Ladder, now: datetime
) -> int:
    """Make every row say where its case stands at `now`; how many had to be made anew."""
    with _one_at_a_time:
        rules = rules_of(protocol, site, ladder)
        cases, last = _to_read(rules, now)
        for start in range(0, len(cases), AT_ONCE):
            rows = []
            for case in cases[start : start + AT_ONCE]:
                entries = [entry for entry in store.entries(case) if entry.number <= last]
                rows.append(_row(entries, rules, answer(entries, protocol, site, ladder, now), now))
            _write(rows)
        return len(cases)


def _write(rows: Sequence[RecallLine]) -> None:
    """Write rows, but none over one that another process made from more entries."""
    lines = RecallLine.objects
    with transaction.atomic(using=lines.db):
        one_writer(RecallLine, lines.db)
        there = lines.filter(case__in=[row.case for row in rows])
        read = dict(there.values_list("case", "last"))
        lines.bulk_create(
            [row for row in rows if read.get(row.case, 0) <= row.last],
            update_conflicts=True,
            unique_fields=["case"],
            update_fields=["last", "rules", "since", "until", "part", "day", "said"],
        )


def counts() -> dict[str, int]:
    """How many cases stand in each part, in the order of the parts."""
    found = dict(_listed().values_list("part").annotate(Count("case")).order_by())
    return {part: found[part] for part in PARTS if part in found}


def listed(part: str, first: int, count: int, *, zone: tzinfo, now: datetime) -> list[Listed]:
    """Rows of a part, the `first` counted from 0. Those who did not come stand in the one order of what is
    to be done (`ledger.pressing`), the others by day; of two alike, by reference."""
    rows = RecallLine.objects.filter(part=part).order_by("day", "case")
    if part != "overdue":
        return [Listed(row.case, _recalled(row)) for row in rows[first : first + count]]
    days = rows.values_list("day", flat=True).distinct().order_by()
    found: list[RecallLine] = []
    for day in sorted(filter(None, days), key=lambda day: pressing(day, zone, now)):
        there = rows.filter(day=day)
        if first >= (many := there.count()):
            first -= many
            continue
        found += there[first : first + count - len(found)]
        first = 0
        if len(found) == count:
            break
    return [Listed(row.case, _recalled(row)) for row in found]


@lru_cache(maxsize=8)
def rules_of(protocol: Protocol, site: Site, ladder: Ladder) -> str:
    """A digest of everything but ledger and time that an answer rests on."""
    read_by = (
        f"{FORM} {__version__} holidays {version('holidays')} {protocol.digest} {site!r} {ladder!r}"
    )
    return sha256(read_by.encode()).hexdigest()


def _listed() -> QuerySet[RecallLine]:
    return RecallLine.objects.exclude(part="")


def _to_read(rules: str, now: datetime) -> tuple[list[str], int]:
    """Cases whose row is missing or may no longer hold, and the number up to which they are read.

    Those with new entries come last, in order of their last entry: the highest number in a row says up
    to where the ledger is read, also after a reading that was cut short.
    """
    seen = RecallLine.objects.aggregate(Max("last"))["last__max"] or 0
    news: dict[str, int] = {}
    found = LedgerEntry.objects.filter(number__gt=seen).order_by("number")
    for case, number in found.values_list("case", "number").iterator(chunk_size=10_000):
        news.pop(case, None)
        news[case] = number
    changed = RecallLine.objects.filter(Q(until__lte=now) | Q(since__gt=now) | ~Q(rules=rules))
    stale = [case for case in changed.values_list("case", flat=True) if case not in news]
    return [*stale, *news], max(news.values(), default=seen)


def _row(entries: Sequence[Entry], rules: str, found: Answer, now: datetime) -> RecallLine:
    recalled = found.recalled
    return RecallLine(
        case=entries[-1].case,
        last=entries[-1].number,
        rules=rules,
        since=now,
        until=found.until or now,
        part="" if recalled is None else recalled.part,
        day=None if recalled is None else recalled.due or recalled.day,
        said="" if recalled is None else json.dumps(asdict(recalled), default=date.isoformat),
    )


def _recalled(row: RecallLine) -> Recalled:
    said = json.loads(row.said)
    for name in ("day", "due"):
        said[name] = None if said[name] is None else date.fromisoformat(said[name])
    return Recalled(**(said | {"what": tuple(said["what"])}))
