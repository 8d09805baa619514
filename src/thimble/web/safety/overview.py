"""Counts of exposures over twelve months, one way at a time, with no identity and no reference.

The period ends with the last complete month and is read from the ledger as it stood then: the page is
the same all month, so that no two looks at it differ by one person.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta, tzinfo

from thimble.clinical.durations import on_the_wall
from thimble.clinical.saying import opening
from thimble.ledger.bodies import CLOSED_REASONS
from thimble.ledger.entries import Entry, Kind
from thimble.ledger.fold import fold
from thimble.ledger.linking import is_patient_case
from thimble.ledger.situation import Situation
from thimble.ledger.standing import standing_bodies
from thimble.protocol.vocabulary import Fact
from thimble.web.safety.small_cells import Published, publish

MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September",
    "October", "November", "December",
)  # fmt: skip
HOURS_IN_BAND = 4
DUPLICATE = "duplicate"
NOT_RECORDED = "Not recorded"
NOT_KNOWN = "Time not known"
FOLLOWED = "Still followed"
DELAYS: Sequence[tuple[str, timedelta | None]] = (
    ("Within 1 hour", timedelta(hours=1)),
    ("After 1 to 4 hours", timedelta(hours=4)),
    ("After 4 to 24 hours", timedelta(hours=24)),
    ("After 1 to 3 days", timedelta(days=3)),
    ("After more than 3 days", None),
)
"""From the exposure to the report; each band includes its end. For counting alone."""


@dataclass(frozen=True, slots=True)
class Period:
    """Twelve calendar months: `start` included, `end` not. Instants of the site's midnights."""

    start: datetime
    end: datetime
    words: str


@dataclass(frozen=True, slots=True)
class Exposure:
    """What is counted of one exposure. Nothing here leads back to it."""

    route: str
    device: str
    place: str
    hour: str
    delay: str
    ended: str


@dataclass(frozen=True, slots=True)
class Count:
    """One line of a table: `share` of the total in per cent, for the bar."""

    label: str
    count: int
    share: int


@dataclass(frozen=True, slots=True)
class CountTable:
    """One table as it may be shown. `together` is the sentence for the categories put together."""

    id: str
    title: str
    lines: tuple[Count, ...]
    together: str
    withheld: bool


@dataclass(frozen=True, slots=True)
class Overview:
    """The page: `total` in words, then the tables."""

    period: Period
    total: str
    tables: tuple[CountTable, ...]


def period_at(now: datetime, zone: tzinfo) -> Period:
    """The twelve complete months before the month that `now` lies in."""
    local = now.astimezone(zone)
    this_month = local.date().replace(day=1)
    start = this_month.replace(year=this_month.year - 1)
    last = this_month - timedelta(days=1)
    return Period(
        start=on_the_wall(start, time(0), zone),
        end=on_the_wall(this_month, time(0), zone),
        words=f"{MONTHS[start.month - 1]} {start.year} to {MONTHS[last.month - 1]} {last.year}",
    )


def exposures(
    entries: Iterable[Entry], period: Period, vocabulary: Mapping[str, Fact], zone: tzinfo
) -> list[Exposure]:
    """The exposures of a period, as known at its end. A report entered twice counts once."""
    cases: dict[str, list[Entry]] = {}
    end = period.end.astimezone(UTC)
    for entry in entries:
        if entry.recorded_at < end:
            cases.setdefault(entry.case, []).append(entry)
    found = []
    for own in cases.values():
        situation = fold(own, end, vocabulary)
        at = situation.occurred_at or situation.reported_at
        if at is None or not period.start <= at < period.end:
            continue
        # A patient whom a worker's blood touched is followed, and is no worker's exposure.
        if situation.closed_reason == DUPLICATE or is_patient_case(situation):
            continue
        found.append(_exposure(own, situation, vocabulary, zone))
    return found


def _exposure(
    entries: Sequence[Entry], situation: Situation, vocabulary: Mapping[str, Fact], zone: tzinfo
) -> Exposure:
    return Exposure(
        route=_label("route", situation, vocabulary),
        device=_label("device", situation, vocabulary),
        place=_place(entries),
        hour=hour_band(situation, zone),
        delay=delay_band(situation),
        ended=ending(situation.closed_reason),
    )


def _label(fact: str, situation: Situation, vocabulary: Mapping[str, Fact]) -> str:
    if fact not in situation.facts:
        return NOT_RECORDED
    return vocabulary[fact].label(situation.facts[fact].value)


def _place(entries: Sequence[Entry]) -> str:
    """The place as it was typed, without differences of spacing and capitals."""
    bodies = standing_bodies(entries)
    for entry in entries:
        body = bodies[entry.position]
        if entry.kind is Kind.REPORTED and body is not None:
            typed = " ".join(str(body.get("place", "")).split()).casefold()
            return opening(typed) if typed else NOT_RECORDED
    return NOT_RECORDED


def hour_band(situation: Situation, zone: tzinfo) -> str:
    """The hours of the day in which it happened, by the clock on the wall: "00:00 to 03:59"."""
    if situation.occurred_at is None or situation.occurred_at_precision not in ("minute", "hour"):
        return NOT_KNOWN
    return _band(situation.occurred_at.astimezone(zone).hour // HOURS_IN_BAND)


def _band(number: int) -> str:
    first = number * HOURS_IN_BAND
    return f"{first:02}:00 to {first + HOURS_IN_BAND - 1:02}:59"


def delay_band(situation: Situation) -> str:
    """How long after the exposure it was reported. Only a time known to the minute tells."""
    at, reported = situation.occurred_at, situation.reported_at
    if at is None or reported is None or situation.occurred_at_precision != "minute":
        return NOT_KNOWN
    waited = reported - at
    return next(label for label, most in DELAYS if most is None or waited <= most)


def ending(reason: str) -> str:
    """How the follow-up ended. Who could not be reached any more is told apart from all others.

    >>> ending("lost_to_follow_up"), ending("")
    ('The worker could not be reached any more', 'Still followed')
    """
    words = CLOSED_REASONS.get(reason, reason)
    return opening(words) if words else FOLLOWED


def overview(found: Sequence[Exposure], period: Period, vocabulary: Mapping[str, Fact]) -> Overview:
    """The tables that may be shown of these exposures."""
    routes = [*vocabulary["route"].labels.values(), NOT_RECORDED]
    devices = [*vocabulary["device"].labels.values(), NOT_RECORDED]
    places = [*sorted({exposure.place for exposure in found} - {NOT_RECORDED}), NOT_RECORDED]
    hours = [*(_band(number) for number in range(24 // HOURS_IN_BAND)), NOT_KNOWN]
    delays = [*(label for label, _ in DELAYS), NOT_KNOWN]
    endings = [*(ending(reason) for reason in CLOSED_REASONS if reason != DUPLICATE), FOLLOWED]
    return Overview(
        period=period,
        total=total_words(publish({"": len(found)})),
        tables=(
            _table("route", "How", [e.route for e in found], routes),
            _table("device", "With what", [e.device for e in found], devices),
            # What people typed about a place may itself tell who: never named while it is hidden.
            _table("place", "Where", [e.place for e in found], places, name_hidden=False),
            _table("hour", "At what hour", [e.hour for e in found], hours),
            _table("delay", "How soon it was reported", [e.delay for e in found], delays),
            _table("ended", "How the follow-up ended", [e.ended for e in found], endings),
        ),
    )


def total_words(published: Published) -> str:
    """The total in words; a small one is not told."""
    if published.total is None:
        return "Fewer than 10 exposures"
    if published.total == 0:
        return "No exposure"
    return f"{published.total} exposures"


def _table(
    id_: str, title: str, values: Sequence[str], categories: Sequence[str], *,
    name_hidden: bool = True,
) -> CountTable:  # fmt: skip
    counted = Counter(values)
    published = publish({category: counted[category] for category in categories})
    total = published.total or 0
    withheld = not published.shown and len(values) > 0
    together = ""
    if published.sum_together is not None:
        names = (
            ", ".join(published.together) if name_hidden else "all other places and not recorded"
        )
        together = f"{published.sum_together} together: {names}"
    lines = tuple(
        Count(label, count, round(100 * count / total) if total else 0)
        for label, count in published.shown
    )
    return CountTable(id_, title, lines, together, withheld)
