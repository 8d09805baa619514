"""What is on record of visits, of reaching the worker, and of what they agree to."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date, datetime, time

from thimble.clinical.saying import calendar_day
from thimble.ledger.entries import Kind
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


@dataclass(frozen=True, slots=True)
class AgreedVisit:
    """A visit that the worker was told: its day, in the site's calendar, what it is for, and the hour on
    the clock of the site if one was agreed."""

    day: date
    actions: tuple[str, ...]
    at: time | None = None

    @property
    def words(self) -> str:
        """Day and hour: "Thu 26 Nov 2026, 09:30"."""
        day = calendar_day(self.day)
        return day if self.at is None else f"{day}, {self.at:%H:%M}"


@dataclass(frozen=True, slots=True)
class ReachingDecision:
    """What a physician decided about a worker who was not reached (an id of `ledger.bodies`).

    `until` is the day on which it is decided anew; None where the case is to be closed.
    """

    entry: int
    at: datetime
    decision: str
    until: date | None
    reason: str


@dataclass(frozen=True, slots=True)
class FollowUp:
    """What was agreed with the worker and what came of it.

    `visits` are those that stand, in order of their days; `agreed_by` is the entry that says so, None
    while nothing was agreed. `unavailable` are stretches of days, first and last included. `missed`
    are days on which the worker was expected and did not come; `contacts` are the attempts to reach
    the worker, each with its instant, how, and what came of it (ids of `ledger.bodies`); `reminders` are
    the instants of those that only reminded of a visit to come.
    `agreements` are the worker's last words on what they were asked to agree to: what is not in it was
    never asked, and counts as not agreed. `decisions` are those about a worker who was not reached.
    `answers` are the worker's answers to what was offered: instant, action, answer.
    """

    visits: tuple[AgreedVisit, ...] = ()
    agreed_by: int | None = None
    unavailable: tuple[tuple[date, date], ...] = ()
    missed: tuple[date, ...] = ()
    contacts: tuple[tuple[datetime, str, str], ...] = ()
    reminders: frozenset[datetime] = frozenset()
    agreements: Mapping[str, bool] = field(default_factory=dict)
    decisions: tuple[ReachingDecision, ...] = ()
    answers: tuple[tuple[datetime, str, str], ...] = ()


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
