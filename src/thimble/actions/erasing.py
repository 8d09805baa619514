"""Who source patients were is erased when its time is over. The ledger keeps when and by which rule."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass
from datetime import date, datetime, timedelta, tzinfo
from typing import Any

from thimble.actions._append import append
from thimble.actions.identity import IdentityStore
from thimble.actions.reference import read_reference
from thimble.clinical.durations import Duration, add
from thimble.clinical.source_law import kept_by_default
from thimble.clinical.source_rules import SourceRules
from thimble.ledger.entries import Entry, Kind
from thimble.ledger.fold import fold
from thimble.ledger.store import LedgerStore
from thimble.protocol.vocabulary import Fact

ONE_DAY = timedelta(days=1)
"""A period that began on 29 February must not end a day early."""


@dataclass(frozen=True, slots=True)
class Erasure:
    """An identity whose time is over: of which case, closed when, kept how long by which rule."""

    case: str
    closed_on: date
    kept: Duration
    rule: str
    position: int


def kept_for(rules: SourceRules) -> tuple[Duration, str]:
    """How long an identity is kept after closing, and by which rule: the site's own, or the tables'."""
    if rules.keep is not None:
        return rules.keep, "site.toml: source_patient.keep_identity"
    kept, because = kept_by_default(rules.jurisdiction)
    return kept, "; ".join(f"{reason.rule} ({reason.source})" for reason in because)


def held(rules: SourceRules) -> frozenset[str]:
    """The cases on hold, as their references are written.

    Raises:
        ValueError: one of them is no reference; before it is set right nothing may be erased.
    """
    return frozenset(read_reference(typed) for typed in rules.hold)


def identities_to_erase(
    store: LedgerStore,
    identities: IdentityStore,
    rules: SourceRules,
    vocabulary: Mapping[str, Fact],
    zone: tzinfo,
    now: datetime,
) -> list[Erasure]:
    """The identities of sources whose case has been closed for longer than the rule keeps them.

    An open case, one that was opened again, and one on hold are never among them.

    Raises:
        ValueError: a reference on hold is none; before it is set right nothing is erased.
    """
    due = (
        due_of(case, store.entries(case), rules, vocabulary, zone, now)
        for case in identities.source_cases()
    )
    return [found for found in due if found is not None]


def due_of(
    case: str,
    entries: Sequence[Entry],
    rules: SourceRules,
    vocabulary: Mapping[str, Fact],
    zone: tzinfo,
    now: datetime,
) -> Erasure | None:
    """What is to be erased of who a case's source was; None while its time is not over."""
    if not entries or case in held(rules):
        return None
    situation = fold(entries, now, vocabulary)
    closed = situation.closed_at
    kept, rule = kept_for(rules)
    if closed is None or now <= add(closed, kept, zone) + ONE_DAY:
        return None
    return Erasure(case, closed.astimezone(zone).date(), kept, rule, situation.entries)


def erase_identity(
    store: LedgerStore,
    identities: IdentityStore,
    erasure: Erasure,
    *,
    together: AbstractContextManager[Any],
    now: datetime,
    by: str,
    role: str,
    also: Callable[[], object] = lambda: None,
) -> None:
    """Erase one identity and put on record that it was; `together` makes it both or neither.

    `also` erases what other files hold of it: done last, so that it is done only where the rest can be,
    and before the rest is certain, so that whatever breaks off here is found and done again.

    Raises:
        Overtaken: somebody wrote to the case since it was looked at; nothing was erased.
    """
    body = {
        "kept": erasure.kept.words,
        "rule": erasure.rule,
        "closed_on": erasure.closed_on.isoformat(),
    }
    with together:
        append(
            store, erasure.case, [(Kind.SOURCE_IDENTITY_PURGED, body)], now=now, by=by, role=role,
            expected_position=erasure.position,
        )  # fmt: skip
        identities.erase_source(erasure.case)
        also()
