"""Ending the follow-up, and taking it up again."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime

from thimble.actions._append import Refused, append, existing
from thimble.ledger.assess import Site, assess
from thimble.ledger.closing import ALL_CLEAR, GOES_ON_ELSEWHERE, Remainder, remainder
from thimble.ledger.entries import Entry, Kind
from thimble.ledger.fold import fold
from thimble.ledger.store import LedgerStore
from thimble.protocol.protocol import Protocol
from thimble.protocol.vocabulary import Fact


def close(
    store: LedgerStore,
    case: str,
    *,
    reason: str,
    protocol: Protocol,
    site: Site,
    now: datetime,
    by: str,
    role: str,
    may_leave: bool,
    text: str = "",
    expected_position: int | None = None,
) -> list[Entry]:
    """End the follow-up.

    Args:
        may_leave: whether the writer may decide that an item of the plan is left undone.

    Raises:
        Refused: the case is closed already; or it is said to be all clear while an action that
            applies or may apply is neither done nor decided otherwise, while a decision is open or a
            result awaited, or where the worker's results do not show it;
            or such actions are not done and `text` does not say why they may be left, or the writer
            may not leave them.
    """
    entries = existing(store, case)
    situation = fold(entries, now, protocol.vocabulary)
    if situation.closed_at is not None:
        raise Refused(f"case {case} is closed already")
    plan = assess(situation, protocol, now, site)
    left = remainder(plan, situation, protocol, entries, site.zone)
    if reason == ALL_CLEAR and not left.clear:
        raise Refused(
            [
                "That is no all clear: do what is left and answer what is open, or decide "
                "otherwise with a reason; or close for another reason",
                *(action.what for action in left.actions),
                *(f"Open: {protocol.outputs[name].label or name}" for name in left.open),
                *(f"Result awaited: {plan.words.get(id_, id_)}" for id_ in left.awaited),
                *([left.not_clear] if left.not_clear else []),
            ]
        )
    if left.actions:
        _refuse_leaving(left, reason, text, may_leave=may_leave)
    return append(
        store,
        case,
        [
            (
                Kind.CLOSED,
                {"reason": reason, "text": text, "left": sorted(a.id for a in left.actions)},
            )
        ],
        now=now,
        by=by,
        role=role,
        # What was weighed above is what must still stand.
        expected_position=entries[-1].position if expected_position is None else expected_position,
    )


def _refuse_leaving(left: Remainder, reason: str, text: str, *, may_leave: bool) -> None:
    undone = f"{len(left.actions)} action{'s are' if len(left.actions) > 1 else ' is'} not done"
    if not text.strip():
        raise Refused(
            [
                f"{undone}; do them or say why they may be left",
                *(action.what for action in left.actions),
            ]
        )
    if not may_leave and reason not in GOES_ON_ELSEWHERE:
        raise Refused(
            [
                f"{undone}; who may decide otherwise than advised closes the case. Leave it open "
                "and ask a physician",
                *(action.what for action in left.actions),
            ]
        )


def reopen(
    store: LedgerStore,
    case: str,
    *,
    reason: str,
    vocabulary: Mapping[str, Fact],
    now: datetime,
    by: str,
    role: str,
    expected_position: int | None = None,
) -> list[Entry]:
    """Take up a closed case again.

    Raises:
        Refused: the case is not closed, or the reason is missing.
    """
    entries = existing(store, case)
    if fold(entries, now, vocabulary).closed_at is None:
        raise Refused(f"case {case} is not closed")
    return append(
        store,
        case,
        [(Kind.REOPENED, {"reason": reason})],
        now=now,
        by=by,
        role=role,
        expected_position=entries[-1].position if expected_position is None else expected_position,
    )
