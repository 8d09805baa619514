"""The words on the worklist and on the handover, made from plain values: no query, no clock."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta, tzinfo

from thimble.clinical.saying import counted, day, inside
from thimble.clinical.windows import ago
from thimble.ledger.bodies import CLOSED_REASONS
from thimble.ledger.entries import Entry, Kind
from thimble.ledger.exposed import say
from thimble.ledger.fold import standing_bodies
from thimble.ledger.history import LABELS
from thimble.ledger.next_thing import (
    NextThing,
    next_thing,
    short,
    signed_words,
    source_is_open,
    source_words,
    time_left,
)
from thimble.ledger.plan import Plan, Situation
from thimble.ledger.pressing import TITLES, Group, limits_of, urgency_of
from thimble.protocol.vocabulary import Fact
from thimble.web.words import moment
from thimble.web.worklist.board import Standing

SHIFT = timedelta(hours=12)
"""What the handover counts as news."""


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


LINKED = {
    "patient_case": "the patient is followed too: case {case}",
    "worker_case": "the exposed person is a patient; the source is the injured worker of case {case}",
}

FILTERS = {
    "all": "All open",
    "new": "New to you",
    "unsigned": "Not signed",
    "source": "Source still open",
    "past": "Anything late",
    "closed": "Closed",
}


@dataclass(frozen=True, slots=True)
class Seen:
    """One case with what the list needs to know of it."""

    standing: Standing
    doing: NextThing
    news: str

    @property
    def reference(self) -> str:
        return self.standing.case


def order(cases: Iterable[Seen]) -> list[Seen]:
    """Cases by what presses most in each; of two alike, by reference."""
    return sorted(cases, key=lambda seen: (seen.doing.key, seen.reference))


def seen_of(
    standings: Iterable[Standing],
    looks: Mapping[str, int],
    now: datetime,
    vocabulary: Mapping[str, Fact],
) -> list[Seen]:
    """Each case with its next thing and what is new since this person last looked at it."""
    return [
        Seen(
            standing,
            next_thing(
                standing.plan, standing.situation, now, vocabulary, standing.to_do, standing.limits
            ),
            news(standing.entries, looks.get(standing.case)),
        )
        for standing in standings
    ]


CAME_AFTER_CLOSING = "Closed, and a result came since: look at it, take the case up again"


def came_after_closing(standing: Standing) -> bool:
    """Whether a result came to a case that is closed: nobody looks there by themselves."""
    if standing.open:
        return False
    for entry in reversed(standing.entries):
        if entry.kind is Kind.CLOSED:
            return False
        if entry.kind is Kind.RESULT_RECEIVED:
            return True
    return False


def passes(seen: Seen, show: str) -> bool:
    """Whether a case belongs to a filter."""
    situation = seen.standing.situation
    if show == "closed":
        return not seen.standing.open
    if not seen.standing.open:
        return show == "all" and came_after_closing(seen.standing)
    if show == "new":
        return bool(seen.news)
    if show == "unsigned":
        return not situation.signed
    if show == "source":
        return source_is_open(situation, seen.standing.plan)
    if show == "past":
        return seen.doing.late > 0 or seen.doing.group is Group.PAST
    return True


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


def age(situation: Situation, now: datetime, zone: tzinfo) -> str:
    """When the exposure was, as exactly as it is known."""
    at = situation.occurred_at
    if at is None:
        reported = situation.reported_at
        said = f", reported {_aged(reported, now, zone)}" if reported else ""
        return f"Time of exposure not known{said}"
    if situation.occurred_at_precision == "date":
        # Never an hour that nobody has said: the day alone, and at most how long ago it began.
        return f"On {day(at, zone)}, hour not known · up to {ago(at, now)}"
    about = "About " if situation.occurred_at_precision == "hour" else ""
    return f"{about}{_aged(at, now, zone)}"


def _aged(at: datetime, now: datetime, zone: tzinfo) -> str:
    """An instant and how long ago it was, in whole units."""
    return f"{_instant(at, now, zone)} · {ago(at, now)}"


def happened(standing: Standing, vocabulary: Mapping[str, Fact]) -> str:
    """What happened, in one line: route, device, fluid, place. What is not known is left out."""
    facts = standing.situation.facts
    said = []
    for id_ in ("route", "device", "fluid"):
        if id_ in facts and id_ in vocabulary and facts[id_].value not in ("none",):
            label = vocabulary[id_].label(facts[id_].value)
            said.append(
                "fluid unknown" if (id_, facts[id_].value) == ("fluid", "unknown") else label
            )
    body = _reported(standing.entries)
    place = body.get("place", "") if body else ""
    line = ", ".join([said[0], *(inside(s) for s in said[1:])]) if said else ""
    line = line or "What happened is not recorded yet"
    return f"{line} · {place}" if place else line


def _reported(entries: Sequence[Entry]) -> Mapping[str, object]:
    if any(entry.kind is Kind.CORRECTED for entry in entries):
        bodies = standing_bodies(entries)
    else:
        bodies = {entry.position: entry.body for entry in entries[:1]}
    for entry in entries:
        if entry.kind is Kind.REPORTED:
            return bodies.get(entry.position) or {}
    return {}


def limit_words(doing: NextThing, now: datetime, zone: tzinfo) -> str:
    """The limits of the next thing as instants: "best by 23:10, no later than Tue 1 Dec 2026, 02:40"."""
    if doing.limit is None or not doing.action:
        return ""
    at = _instant(doing.limit, now, zone)
    if doing.limit < now:
        return f"was best by {at}" if doing.best else f"window closed {at}"
    if doing.best:
        later = f", no later than {_instant(doing.latest, now, zone)}" if doing.latest else ""
        return f"best by {at}{later}"
    return f"no later than {at}"


def _instant(at: datetime, now: datetime, zone: tzinfo) -> str:
    """An instant without how far off it is: that stands beside it."""
    return moment(at, now, zone).rpartition(" · ")[0]


def asides(
    situation: Situation, plan: Plan, doing: NextThing, now: datetime, *, with_source: bool
) -> tuple[str, ...]:
    """What else to know at a glance."""
    said = []
    if plan.contradictions:
        said.append("answers contradict each other")
    if doing.late:
        said.append(f"{counted(doing.late, 'thing')} past the window")
    said.append(signed_words(situation, plan, now))
    if with_source and (source := source_words(situation, plan, now)):
        said.append(source)
    if with_source:
        said += [LINKED[link.what].format(case=link.case) for link in situation.links]
    if plan.questions:
        count = len(plan.questions)
        said.append(f"{counted(count, 'question')} open")
    return tuple(said)


def news(entries: Sequence[Entry], seen_to: int | None) -> str:
    """What was written after the position that somebody saw the case to, in words."""
    if seen_to is None:
        return "not opened by you yet"
    fresh = [entry for entry in entries if entry.position > seen_to]
    if not fresh:
        return ""
    labels = dict.fromkeys(LABELS[entry.kind] for entry in fresh)
    said = [inside(label) for label in labels]
    more = f" and {len(said) - 3} more" if len(said) > 3 else ""
    return f"{len(fresh)} new: {', '.join(said[:3])}{more}"


# -- handover -------------------------------------------------------------------------------------


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
    words = f"plan signed {_instant(last.at, now, zone)}"
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
