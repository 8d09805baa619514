"""How results of messages are told apart, and what the laboratory took back or set right."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from thimble.clinical.serology.results import label_key
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
    return _key(str(body["test"]), body["report"]) if "report" in body else None


def changes_of(entries: Iterable[Entry[Kind]]) -> tuple[Change, ...]:
    """What the laboratory took back or set right, in the order in which it was recorded.

    A correction that says the same is none.
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
            if "report" in body and (body.get("withdrawn") or value_of(before) != value_of(after)):
                found.append(
                    Change(
                        body["corrects"],
                        entry.position,
                        entry.recorded_at,
                        bool(body.get("withdrawn")),
                        _key(before["test"], body["report"]),
                        datetime.fromisoformat(body["report"]["reported_at"]),
                    )
                )
    return tuple(found)


def value_of(body: Mapping[str, Any]) -> tuple[Any, ...]:
    """What a result says, and of which day."""
    return tuple(body[key] for key in ("word", "number", "comparator", "unit", "when"))


def _key(test: str, report: Mapping[str, Any]) -> ResultKey:
    return test, label_key(report["request"]), label_key(report["specimen"])
