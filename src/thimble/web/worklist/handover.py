"""The words on the handover: what the next shift takes over."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta, tzinfo

from thimble.clinical.saying import counted
from thimble.ledger.entries import Entry, Kind
from thimble.ledger.history import LABELS
from thimble.ledger.next_thing import (
    short,
    source_words,
    time_left,
)
from thimble.ledger.plan import Plan
from thimble.ledger.pressing import Group, limits_of, urgency_of
from thimble.ledger.situation import Situation
from thimble.protocol.vocabulary import Fact
from thimble.web.worklist.cases import CAME_AFTER_CLOSING, Seen, came_after_closing, order
from thimble.web.worklist.words import age, happened, instant

SHIFT = timedelta(hours=12)
"""What the handover counts as news."""


@dataclass(frozen=True, slots=True)
class Block:
    """One open case on the handover."""

    reference: str
    age: str
    happened: str
    decided: str
    next: tuple[str, ...]
    more: int
    source: str
    changed: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Handover:
    """What the next shift takes over: cases with something near or new, then the others in a line."""

    near: tuple[Block, ...]
    rest: tuple[Block, ...]

    @property
    def count(self) -> int:
        return len(self.near) + len(self.rest)


def handover(
    cases: Iterable[Seen],
    now: datetime,
    zone: tzinfo,
    vocabulary: Mapping[str, Fact],
    *,
    with_source: bool,
) -> Handover:
    """Every open case in few words, by the window that closes first.

    A closed case to which a result came since comes before all others.
    """
    again: list[Block] = []
    near: list[Block] = []
    rest: list[Block] = []
    for seen in order(cases):
        came = came_after_closing(seen.standing)
        if not (seen.standing.open or came):
            continue
        own = _block(seen, now, zone, vocabulary, with_source=with_source)
        if came:
            again.append(replace(own, next=(CAME_AFTER_CLOSING,), more=0))
            continue
        new = bool(own.changed)
        (near if new or seen.doing.group is Group.NOW else rest).append(own)
    return Handover((*again, *near), tuple(rest))


NAMED = 3
"""How many open things the handover names for a case; how many more there are is said."""


def _block(
    seen: Seen, now: datetime, zone: tzinfo, vocabulary: Mapping[str, Fact], *, with_source: bool
) -> Block:
    standing = seen.standing
    situation = standing.situation
    at = now.timestamp()
    limits = standing.limits or tuple(map(limits_of, standing.to_do))
    clocked = [
        (urgency_of(each, at), place)
        for place, each in enumerate(limits)
        if each.best is not None or each.ends is not None
    ]
    running = [standing.to_do[place] for _, place in sorted(clocked)]
    lines = [seen.doing.words] if not seen.doing.action else []
    named = running[: NAMED - len(lines)]
    lines += [
        f"{short(a.what)}: {time_left(a, now)}{'' if a.stands else ' (may be needed)'}"
        for a in named
    ]
    if not lines:
        lines = [seen.doing.words]
    return Block(
        reference=standing.case,
        age=age(situation, now, zone),
        happened=happened(standing, vocabulary),
        decided=_decided(situation, standing.plan, now, zone),
        next=tuple(lines),
        more=len(standing.to_do) - len(named),
        source=source_words(situation, standing.plan, now) if with_source else "",
        changed=_changed(standing.entries, now, zone),
    )


def _decided(situation: Situation, plan: Plan, now: datetime, zone: tzinfo) -> str:
    if not situation.signed:
        return "plan not signed"
    last = situation.signed[-1]
    words = f"plan signed {instant(last.at, now, zone)}"
    if situation.departures:
        words += f", {counted(len(situation.departures), 'departure')} from the advice"
    if last.protocol_digest != plan.protocol_digest:
        words += " under another edition of the protocol"
    if situation.entries > last.entry:
        words += "; new entries since"
    return words


def _changed(entries: Sequence[Entry], now: datetime, zone: tzinfo) -> tuple[str, ...]:
    """What was written in the last shift, the latest first; several of one kind on one line."""
    fresh = [entry for entry in entries if now - SHIFT < entry.recorded_at <= now]
    last: dict[Kind, tuple[datetime, int]] = {}
    for entry in fresh:
        _, count = last.get(entry.kind, (entry.recorded_at, 0))
        last[entry.kind] = (entry.recorded_at, count + 1)
    latest = sorted(last.items(), key=lambda item: item[1][0], reverse=True)
    return tuple(
        f"{LABELS[kind]} {at.astimezone(zone):%H:%M}{f' ({count} times)' if count > 1 else ''}"
        for kind, (at, count) in latest
    )
