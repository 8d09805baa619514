"""What is on record of visits, of reaching the worker, and of what they agree to."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, time

from thimble.ledger.entries import Kind
from thimble.ledger.plan import AgreedVisit, FollowUp, ReachingDecision
from thimble.ledger.standing import Standing

FOLLOWING = frozenset(
    {
        Kind.VISITS_AGREED,
        Kind.VISIT_MISSED,
        Kind.CONTACTED,
        Kind.WORKER_AGREED,
        Kind.REACHING_DECIDED,
        Kind.COUNSELLED,
    }
)
"""The kinds of entries that say something of it."""


class FollowUpReading:
    """`record` while it is being read; one entry at a time, as it stands."""

    def __init__(self) -> None:
        self.record = FollowUp()

    def take(self, found: Standing) -> None:
        """Read one entry; those of other kinds say nothing here."""
        kind, body, so_far = found.entry.kind, found.body, self.record
        if kind is Kind.VISITS_AGREED:
            self.record = replace(
                so_far,
                visits=tuple(
                    AgreedVisit(
                        date.fromisoformat(visit["day"]),
                        tuple(visit["actions"]),
                        time.fromisoformat(visit["at"]) if "at" in visit else None,
                    )
                    for visit in body["visits"]
                ),
                agreed_by=found.entry.position,
                unavailable=tuple(
                    (date.fromisoformat(away["first"]), date.fromisoformat(away["last"]))
                    for away in body["unavailable"]
                ),
            )
        elif kind is Kind.VISIT_MISSED:
            missed = {*so_far.missed, date.fromisoformat(body["day"])}
            self.record = replace(so_far, missed=tuple(sorted(missed)))
        elif kind is Kind.WORKER_AGREED:
            said = {**so_far.agreements, body["to"]: body["agreed"]}
            self.record = replace(so_far, agreements=said)
        elif kind is Kind.REACHING_DECIDED:
            until = body["until"]
            decided = ReachingDecision(
                entry=found.entry.position,
                at=found.happened_at,
                decision=body["decision"],
                until=None if until is None else date.fromisoformat(until),
                reason=body["text"],
            )
            self.record = replace(so_far, decisions=(*so_far.decisions, decided))
        elif kind is Kind.COUNSELLED:
            if answer := body.get("answer"):
                said_to = (found.happened_at, body["action"], answer)
                self.record = replace(so_far, answers=(*so_far.answers, said_to))
        elif kind is Kind.CONTACTED:
            contact = (found.happened_at, body["how"], body["outcome"])
            reminds = {found.happened_at} if body.get("about") == "reminder" else set()
            self.record = replace(
                so_far,
                contacts=(*so_far.contacts, contact),
                reminders=so_far.reminders | reminds,
            )
