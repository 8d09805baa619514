"""Whether somebody who did not respond to hepatitis B vaccine was told what that means."""

from __future__ import annotations

from datetime import date, datetime

from thimble.clinical.series import PartialDate
from thimble.clinical.series.counselling import counselling
from thimble.people.entries import Kind
from thimble.people.fold import Evidence, Person

TITRE = "anti_hbs"


def counselled(person: Person, on: date) -> Evidence | None:
    """The latest talk by a day that is no older than the latest titre; None where there is none.

    Of a titre whose day is not known exactly the first day that it can be of counts: a talk that may lie
    after it does.
    """
    titres = [
        PartialDate.parse(e.body["when"]).first
        for e in person.of(Kind.RESULT_RECORDED)
        if e.body["test"] == TITRE and e.body["when"]
    ]
    latest = max((day for day in titres if day <= on), default=date.min)
    talks = [
        (day, e.entry, e)
        for e in person.of(Kind.COUNSELLED)
        if latest <= (day := date.fromisoformat(e.body["on"])) <= on
    ]
    return max(talks)[2] if talks else None


def told_already(person: Person, on: date, protocol: str, next_step: str) -> Evidence | None:
    """The talk that settles a next step of the clearance tables; None where none does."""
    asks = counselling(protocol)
    return counselled(person, on) if asks is not None and next_step == asks.settles else None


def titre_since(person: Person, at: datetime) -> bool:
    """Whether a titre was written down, or set right, after a moment: who decided then did not know it."""
    return any(
        each.said_at > at and each.body["test"] == TITRE for each in person.of(Kind.RESULT_RECORDED)
    )
