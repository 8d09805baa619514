"""An entry as its corrections leave it.

A correction acts where the entry it corrects stands, not where it was written itself. Withdrawing an entry
brings back whatever it had replaced.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Generic

from thimble.ledger.entries import Entry, K, Kind


@dataclass(frozen=True, slots=True)
class Standing(Generic[K]):
    """An entry as it stands after every correction of it."""

    entry: Entry[K]
    body: Mapping[str, Any]
    happened_at: datetime


def known_by(entries: Iterable[Entry[K]], as_of: datetime) -> list[Entry[K]]:
    """The entries recorded at or before `as_of`, by position."""
    return sorted(
        (entry for entry in entries if entry.recorded_at <= as_of), key=lambda e: e.position
    )


def standing(entries: Sequence[Entry[K]]) -> dict[int, Standing[K] | None]:
    """Each entry of one case, by position, as its corrections leave it; None where withdrawn.

    In every ledger a correction is of the kind `corrected`.

    A correction is an entry too: one that is itself withdrawn or replaced acts accordingly.
    """
    after: dict[int, Standing[K] | None] = {}
    corrections: dict[int, list[Mapping[str, Any]]] = {}
    # From the last to the first: whether a correction counts is settled before what it corrects.
    for entry in sorted(entries, key=lambda e: e.position, reverse=True):
        now = _corrected(entry, reversed(corrections.get(entry.position, [])))
        after[entry.position] = now
        if now is not None and entry.kind == Kind.CORRECTED:
            target = now.body["corrects"]
            # An entry cannot set right itself or what came after it.
            if target < entry.position:
                corrections.setdefault(target, []).append(now.body)
    return dict(sorted(after.items()))


def standing_bodies(entries: Sequence[Entry[K]]) -> dict[int, Mapping[str, Any] | None]:
    """The body of each entry as its corrections leave it; None where withdrawn."""
    return {
        position: None if found is None else found.body
        for position, found in standing(entries).items()
    }


def _corrected(entry: Entry[K], corrections: Iterable[Mapping[str, Any]]) -> Standing[K] | None:
    body: Mapping[str, Any] = entry.body
    happened_at = entry.happened_at
    withdrawn = False
    for correction in corrections:
        if correction.get("withdrawn"):
            withdrawn = True
        if "body" in correction:
            body = correction["body"]
        if "facts" in correction:
            facts = {**body.get("facts", {}), **correction["facts"]}
            body = {**body, "facts": {f: v for f, v in facts.items() if v is not None}}
        if "happened_at" in correction:
            happened_at = datetime.fromisoformat(correction["happened_at"])
    return None if withdrawn else Standing(entry, body, happened_at)
