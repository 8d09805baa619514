"""Who source patients were is erased when its time is over. The ledger keeps when and by which rule."""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import AbstractContextManager
from dataclasses import dataclass
from datetime import date, datetime, timedelta, tzinfo
from typing import Any

from thimble.actions._append import append
from thimble.actions.identity import IdentityStore
from thimble.clinical.durations import Duration, add
from thimble.clinical.source_law import kept_by_default
from thimble.clinical.source_rules import SourceRules
from thimble.ledger.entries import Kind
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
    """
    kept, rule = kept_for(rules)
    found = []
    for case in identities.source_cases():
        entries = store.entries(case)
        if not entries or case in rules.hold:
            continue
        situation = fold(entries, now, vocabulary)
        closed = situation.closed_at
        if closed is not None and now > add(closed, kept, zone) + ONE_DAY:
            day = closed.astimezone(zone).date()
            found.append(Erasure(case, day, kept, rule, situation.entries))
    return found


def erase_identity(
    store: LedgerStore,
    identities: IdentityStore,
    erasure: Erasure,
    *,
    together: AbstractContextManager[Any],
    now: datetime,
    by: str,
    role: str,
) -> None:
    """Erase one identity and put on record that it was; `together` makes it both or neither.

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
