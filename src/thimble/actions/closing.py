"""Ending the follow-up, and taking it up again."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime

from thimble.actions._append import Refused, append, existing
from thimble.actions.reference import read_reference
from thimble.ledger.assess import Site, assess
from thimble.ledger.closing import ALL_CLEAR, GOES_ON_ELSEWHERE, remainder
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
            or such things are left and `text` does not say why they may be, or the writer may not leave
            them; or whoever may not says that it was reported twice and names no other open case.
    """
    entries = existing(store, case)
    situation = fold(entries, now, protocol.vocabulary)
    if situation.closed_at is not None:
        raise Refused(f"case {case} is closed already")
    plan = assess(situation, protocol, now, site)
    left = remainder(plan, situation, protocol, entries, site.zone)
    if not left.clear:
        undone = [
            *(action.what for action in left.actions),
            *(f"Open: {protocol.outputs[name].label or name}" for name in left.open),
            *(f"Result awaited: {each.words(plan.words)}" for each in left.awaited),
            *([left.not_clear] if left.not_clear else []),
        ]
        if reason == ALL_CLEAR:
            raise Refused(
                [
                    "That is no all clear: do what is left and answer what is open, or decide "
                    "otherwise with a reason; or close for another reason",
                    *undone,
                ]
            )
        _refuse_leaving(undone, reason, text, may_leave=may_leave)
        if reason in GOES_ON_ELSEWHERE and not may_leave:
            _refuse_elsewhere(store, case, text, now, protocol)
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


def _refuse_leaving(undone: list[str], reason: str, text: str, *, may_leave: bool) -> None:
    many = "1 thing is" if len(undone) == 1 else f"{len(undone)} things are"
    left = f"{many} not done or not settled"
    if not text.strip():
        raise Refused([f"{left}; do them or say why they may be left", *undone])
    if not may_leave and reason not in GOES_ON_ELSEWHERE:
        raise Refused(
            [
                f"{left}; who may decide otherwise than advised closes the case. Leave it open and "
                "ask a physician",
                *undone,
            ]
        )


def _refuse_elsewhere(
    store: LedgerStore, case: str, text: str, now: datetime, protocol: Protocol
) -> None:
    """Refuse unless `text` names another case that is open: what is left here goes on there."""
    for word in text.split():
        try:
            other = read_reference(word.strip(".,;:()"))
        except ValueError:
            continue
        entries = store.entries(other) if other != case else []
        if entries and fold(entries, now, protocol.vocabulary).closed_at is None:
            return
    raise Refused(
        "name the open case that goes on in place of this one, by its reference; without one, leave "
        "this case open and ask a physician"
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
