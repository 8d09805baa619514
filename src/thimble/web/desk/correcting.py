"""The page on which an earlier entry is set right. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, tzinfo
from typing import Any

from thimble.clinical.saying import minute
from thimble.clinical.site import Site
from thimble.ledger.entries import Entry, Kind
from thimble.ledger.exposed import protocol_for, saying
from thimble.ledger.history import LABELS, details
from thimble.ledger.standing import standing
from thimble.protocol.protocol import Protocol
from thimble.web.desk.questions import BadAnswer, read_moment
from thimble.web.desk.reading import Reading, actions_in_words

WRITTEN_WITH: Mapping[Kind, str] = {
    Kind.PLAN_SIGNED: "sign_plan",
    Kind.DEPARTED: "depart",
    Kind.REACHING_DECIDED: "decide_reaching",
    Kind.FITNESS_DECIDED: "decide_fitness",
    Kind.CLOSED: "close_case",
    Kind.REOPENED: "close_case",
}
"""The capability that writing such an entry takes: setting it right takes it too."""


def needed_to_correct(entries: Iterable[Entry], position: int) -> str:
    """The capability that setting an entry right takes beside the common one; "" for none.

    A correction of a decision is set right by whoever may decide.
    """
    by_position = {entry.position: entry for entry in entries}
    entry = by_position.get(position)
    # A correction names an entry before it, so this ends.
    while entry is not None and entry.kind is Kind.CORRECTED:
        before = int(entry.body["corrects"])
        entry = by_position.get(before) if before < entry.position else None
    return "" if entry is None else WRITTEN_WITH.get(entry.kind, "")


@dataclass(frozen=True, slots=True)
class HeldFact:
    """A fact that the entry holds."""

    fact: str
    question: str
    value: str


@dataclass(frozen=True, slots=True)
class CorrectPage:
    """One entry as it stands, and what may be set right about it."""

    case: str
    position: int
    entry: int
    label: str
    details: tuple[str, ...]
    who: str
    at: str
    facts: tuple[HeldFact, ...]
    withdrawn: bool
    is_report: bool
    day: str
    clock: str

    @classmethod
    def of(
        cls,
        reading: Reading,
        position: int,
        *,
        protocol: Protocol,
        site: Site,
        names: Mapping[str, str],
    ) -> CorrectPage | None:
        """The page, or None where the case has no such entry."""
        entry = next((e for e in reading.entries if e.position == position), None)
        if entry is None:
            return None
        stands = standing(reading.entries)[position]
        body = entry.body if stands is None else stands.body
        facts = body.get("facts", {})
        known = reading.situation.facts
        say = saying(reading.situation)
        vocabulary = protocol_for(protocol, reading.situation).vocabulary
        local = (entry.happened_at if stands is None else stands.happened_at).astimezone(site.zone)
        return cls(
            case=reading.case,
            position=reading.position,
            entry=position,
            label=say(LABELS[entry.kind]),
            details=tuple(
                details(entry, vocabulary, site.zone, actions_in_words(reading.plan, protocol), say)
            ),
            who=names.get(entry.by, say("the worker") if entry.by == "worker" else entry.by),
            at=minute(entry.recorded_at, site.zone),
            facts=tuple(
                HeldFact(
                    fact,
                    vocabulary[fact].question,
                    vocabulary[fact].label(known[fact].value)
                    if fact in known and known[fact].entry == position
                    else "replaced by a later answer",
                )
                for fact in facts
                if fact in vocabulary
            ),
            withdrawn=stands is None,
            is_report=entry.kind is Kind.REPORTED,
            day=local.date().isoformat(),
            clock=f"{local:%H:%M}",
        )


def read_correction(
    post: Mapping[str, str], page: CorrectPage, zone: tzinfo, now: datetime
) -> dict[str, Any]:
    """What was posted, as arguments of `actions.correct`.

    Raises:
        BadAnswer: nothing chosen, or no reason.
    """
    reason = post.get("reason", "").strip()
    how = post.get("how", "")
    if not how:
        raise BadAnswer("Choose what was wrong.")
    if not reason:
        raise BadAnswer("Say what was wrong, in your words: a correction needs its reason.")
    if how == "withdraw":
        return {"reason": reason, "withdrawn": True}
    if how == "time":
        at = read_moment(post.get("day", ""), post.get("clock", ""), zone, now)
        return {"reason": reason, "happened_at": at}
    taken_back = how.removeprefix("fact-")
    if how.startswith("fact-") and any(held.fact == taken_back for held in page.facts):
        return {"reason": reason, "facts": {taken_back: None}}
    raise BadAnswer("Choose what was wrong.")
