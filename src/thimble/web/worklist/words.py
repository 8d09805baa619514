"""One case in few words: when it was, what happened, what is new, what else to know."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime, tzinfo

from thimble.clinical.saying import counted, day, inside
from thimble.clinical.windows import ago
from thimble.ledger.entries import Entry, Kind
from thimble.ledger.history import LABELS
from thimble.ledger.next_thing import (
    NextThing,
    signed_words,
    source_words,
)
from thimble.ledger.plan import Plan
from thimble.ledger.situation import Situation
from thimble.ledger.standing import standing_bodies
from thimble.protocol.vocabulary import Fact
from thimble.web.words import moment
from thimble.web.worklist.board import Standing

LINKED = {
    "patient_case": "the patient is followed too: case {case}",
    "worker_case": "the exposed person is a patient; the source is the injured worker of case {case}",
}


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
    return f"{instant(at, now, zone)} · {ago(at, now)}"


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
    at = instant(doing.limit, now, zone)
    if doing.limit < now:
        return f"was best by {at}" if doing.best else f"window closed {at}"
    if doing.best:
        later = f", no later than {instant(doing.latest, now, zone)}" if doing.latest else ""
        return f"best by {at}{later}"
    return f"no later than {at}"


def instant(at: datetime, now: datetime, zone: tzinfo) -> str:
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
