"""Versions of one result: which a file holds, and whether another one goes before it.

Ranked as in a case (`clinical.serology.current`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

from thimble.clinical.serology import Status
from thimble.exchange.matching import Reported
from thimble.people.entries import Kind
from thimble.people.fold import Person
from thimble.people.reports import ResultKey, key_of

_RANK: Final = {
    Status.PRELIMINARY: 0,
    Status.FINAL: 1,
    Status.CORRECTED: 2,
    Status.RETRACTED: 2,
}


@dataclass(frozen=True, slots=True)
class Held:
    """The version of a result that a file holds: the position of its entry, kind, body and standing."""

    entry: int
    kind: Kind
    body: Mapping[str, Any]
    status: Status
    reported_at: datetime


def held_of(person: Person, key: ResultKey) -> Held | None:
    """The version that counts: what stands, or what was taken back; None where none came."""
    for each in (*person.of(Kind.RESULT_RECORDED), *person.preliminary):
        if key_of(each.body) == key:
            report = each.body["report"]
            at = datetime.fromisoformat(report["reported_at"])
            return Held(each.entry, each.kind, each.body, Status(report["status"]), at)
    back = [change for change in person.changes if change.key == key and change.withdrawn]
    if not back:
        return None
    last = max(back, key=lambda change: change.position)
    return Held(last.entry, Kind.RESULT_RECORDED, {}, Status.RETRACTED, last.reported_at)


def above(status: Status, held: Held) -> bool:
    """Whether a version of this standing goes before the one held, whenever it was issued."""
    return _RANK[status] > _RANK[held.status]


def below(status: Status, held: Held) -> bool:
    """Whether a version of this standing never displaces the one held."""
    return _RANK[status] < _RANK[held.status]


def later(reported: Reported, held: Held) -> bool:
    """Whether it was issued after the one held."""
    return reported.reported_at > held.reported_at


def alike(one: Reported, other: Reported) -> bool:
    """Whether two rows say the same, in whatever words."""
    return (one.standing, one.word, one.quantity) == (other.standing, other.word, other.quantity)
