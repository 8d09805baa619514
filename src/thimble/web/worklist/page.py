"""The words on the worklist, made from plain values: no query, no clock."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo

from thimble.ledger.bodies import CLOSED_REASONS
from thimble.ledger.exposed import say
from thimble.ledger.pressing import TITLES
from thimble.protocol.vocabulary import Fact
from thimble.web.words import moment
from thimble.web.worklist.cases import (
    CAME_AFTER_CLOSING,
    FILTERS,
    Seen,
    came_after_closing,
    order,
    passes,
)
from thimble.web.worklist.words import age, asides, happened, limit_words


@dataclass(frozen=True, slots=True)
class Row:
    """One case on the worklist."""

    reference: str
    age: str
    happened: str
    words: str
    certain: bool
    share: int | None
    limit: str
    asides: tuple[str, ...]
    news: str
    name: str = ""


@dataclass(frozen=True, slots=True)
class Part:
    """One part of the worklist with its rows in order."""

    group: str
    title: str
    rows: tuple[Row, ...]


@dataclass(frozen=True, slots=True)
class Filter:
    """A way to see fewer cases, with how many there are."""

    id: str
    label: str
    count: int
    here: bool


def filters(cases: Sequence[Seen], show: str, *, with_source: bool) -> tuple[Filter, ...]:
    """Every filter with its count."""
    return tuple(
        Filter(id_, label, sum(passes(seen, id_) for seen in cases), id_ == show)
        for id_, label in FILTERS.items()
        if with_source or id_ != "source"
    )


def parts(
    cases: Iterable[Seen],
    now: datetime,
    zone: tzinfo,
    vocabulary: Mapping[str, Fact],
    *,
    with_source: bool,
    names: Mapping[str, str],
) -> tuple[Part, ...]:
    """The list in its parts, most urgent first; closed cases make a part of their own at the end, but
    those to which a result came since come first: what they were closed on may hold no more."""
    ordered = order(cases)
    closed = [seen for seen in ordered if not seen.standing.open]
    closed.sort(key=lambda seen: seen.standing.situation.closed_at or now, reverse=True)
    looked_at = [seen for seen in closed if not came_after_closing(seen.standing)]
    again = [seen for seen in closed if came_after_closing(seen.standing)]
    found: list[Part] = []

    def add(group: str, title: str, of: Iterable[Seen]) -> None:
        rows = tuple(
            row(
                seen,
                now,
                zone,
                vocabulary,
                with_source=with_source,
                name=names.get(seen.reference, ""),
            )
            for seen in of
        )
        if rows:
            found.append(Part(group, title, rows))

    add("again", CAME_AFTER_CLOSING, again)
    for group, title in TITLES.items():
        add(
            group.value,
            title,
            (s for s in ordered if s.standing.open and s.doing.group is group),
        )
    add("closed", "Closed", looked_at)
    return tuple(found)


def row(
    seen: Seen,
    now: datetime,
    zone: tzinfo,
    vocabulary: Mapping[str, Fact],
    *,
    with_source: bool,
    name: str = "",
) -> Row:
    """One case in words."""
    standing = seen.standing
    situation, plan = standing.situation, standing.plan
    closed = ""
    if not standing.open:
        reason = CLOSED_REASONS.get(situation.closed_reason, situation.closed_reason)
        at = situation.closed_at
        closed = f"Closed {moment(at, now, zone) if at else ''}: {say(reason, situation)}"
    doing = seen.doing
    return Row(
        reference=standing.case,
        age=age(situation, now, zone),
        happened=happened(standing, vocabulary),
        words=closed or doing.words,
        certain=bool(closed) or doing.certain,
        share=None if closed else doing.share,
        limit="" if closed else limit_words(doing, now, zone),
        asides=() if closed else asides(situation, plan, doing, now, with_source=with_source),
        news=seen.news,
        name=name,
    )
