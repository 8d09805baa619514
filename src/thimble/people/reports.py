"""How results of messages are told apart, and what the laboratory took back or set right."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from thimble.clinical.serology.results import Status, label_key
from thimble.ledger.entries import Entry
from thimble.people.entries import RESULTS, Kind

CORRECTED = "Set right by the laboratory"
TAKEN_BACK = "Taken back by the laboratory"
SAME = "The laboratory's own message says the same"
"""Why an entry of a result is corrected by a message."""

ResultKey = tuple[str, str, str]
"""What the versions of one result share: test, request and specimen number."""


@dataclass(frozen=True, slots=True)
class Change:
    """That the laboratory took a result back or set it right.

    `entry` is the position of the result, `position` that of the correction.
    """

    entry: int
    position: int
    at: datetime
    withdrawn: bool
    key: ResultKey
    reported_at: datetime


def key_of(body: Mapping[str, Any]) -> ResultKey | None:
    """The key of a result that came with a message; None of one that was typed in."""
    if "report" not in body:
        return None
    return result_key(body["test"], body["report"]["request"], body["report"]["specimen"])


def result_key(test: str, request: str, specimen: str) -> ResultKey:
    """The key of a result under these numbers."""
    return test, label_key(request), label_key(specimen)


def changes_of(entries: Iterable[Entry[Kind]]) -> tuple[Change, ...]:
    """What the laboratory took back or set right, in the order in which it was recorded.

    A correction that says the same is none, nor that a typed result became the laboratory's own.
    """
    standing: dict[int, Mapping[str, Any]] = {}
    found: list[Change] = []
    for entry in entries:
        body = entry.body
        if entry.kind in RESULTS:
            standing[entry.position] = body
        elif entry.kind is Kind.CORRECTED and body["corrects"] in standing:
            before = standing[body["corrects"]]
            after = standing[body["corrects"]] = body.get("body", before)
            if (report := body.get("report")) is None:
                continue
            differs = report["status"] != Status.FINAL and value_of(before) != value_of(after)
            if body.get("withdrawn") or differs:
                found.append(
                    Change(
                        body["corrects"],
                        entry.position,
                        entry.recorded_at,
                        bool(body.get("withdrawn")),
                        result_key(before["test"], report["request"], report["specimen"]),
                        datetime.fromisoformat(report["reported_at"]),
                    )
                )
    return tuple(found)


def value_of(body: Mapping[str, Any]) -> tuple[Any, ...]:
    """What a result says, and of which day."""
    return tuple(body[key] for key in ("word", "number", "comparator", "unit", "when"))
