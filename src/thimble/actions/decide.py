"""What a clinician decides: sign, depart from the advice, correct."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any, Unpack

from thimble.actions._append import Refused, Writing, append, existing
from thimble.ledger.assess import Site, assess
from thimble.ledger.bodies import facts_to_json, faults_of
from thimble.ledger.compare import fingerprint
from thimble.ledger.entries import Entry, Kind, instant
from thimble.ledger.fold import fold
from thimble.ledger.plan import CHASE, Plan, State
from thimble.ledger.standing import standing_bodies
from thimble.ledger.store import LedgerStore, check_position
from thimble.protocol.protocol import Protocol
from thimble.protocol.vocabulary import Fact, Value


class PlanMoved(Exception):
    """The plan is no longer what the clinician saw, though nobody wrote: time has passed.

    `plan` is the plan now. Nothing was written.
    """

    def __init__(self, plan: Plan) -> None:
        self.plan = plan
        super().__init__("the plan has changed since it was shown; look at it again, then sign")


@dataclass(frozen=True, slots=True)
class Departing:
    """A departure that is signed together with the plan. All four are required.

    `subject` is the id of a decision or an action.
    """

    subject: str
    advised: str
    decided: str
    reason: str


def sign_plan(
    store: LedgerStore,
    case: str,
    *,
    protocol: Protocol,
    site: Site,
    seen_position: int,
    now: datetime,
    by: str,
    role: str,
    seen_plan: str = "",
    departures: Sequence[Departing] = (),
) -> list[Entry]:
    """A named clinician signs the plan as shown, with any departures from it, in one transaction.

    `seen_position` is the position of the case when the plan was shown, `seen_plan` its
    `fingerprint`. What is signed is recomputed here, never taken from the screen.

    Raises:
        Overtaken: somebody wrote to the case since.
        PlanMoved: the plan differs from the one shown because time has passed.
        Refused: a departure without its reason.
    """
    entries = existing(store, case)
    check_position(case, entries, seen_position)
    plan = assess(fold(entries, now, protocol.vocabulary), protocol, now, site)
    if seen_plan and fingerprint(plan) != seen_plan:
        raise PlanMoved(plan)
    signed = {
        "protocol": {
            "id": plan.protocol_id,
            "edition": plan.protocol_edition,
            "digest": plan.protocol_digest,
        },
        "decisions": {name: finding.value for name, finding in plan.findings.items()},
        "actions": sorted(
            action.id
            for action in plan.actions
            if action.stands
            and action.state is not State.NO_LONGER_NEEDED
            and not action.id.startswith(CHASE)
        ),
        "cautions_shown": len(plan.cautions),
        "at_entry": seen_position,
    }
    drafts: list[tuple[Kind, Mapping[str, Any]]] = [
        (
            Kind.DEPARTED,
            {
                "subject": departing.subject,
                "advised": departing.advised,
                "decided": departing.decided,
                "reason": departing.reason,
            },
        )
        for departing in departures
    ]
    return append(
        store,
        case,
        [*drafts, (Kind.PLAN_SIGNED, signed)],
        now=now,
        by=by,
        role=role,
        expected_position=seen_position,
    )


def depart(
    store: LedgerStore,
    case: str,
    *,
    subject: str,
    advised: str,
    decided: str,
    reason: str,
    **told: Unpack[Writing],
) -> list[Entry]:
    """A clinician decides otherwise than advised, for a reason that must be given.

    Raises:
        Refused: the reason, the advice or the decision is missing.
    """
    if not reason.strip():
        raise Refused("a departure needs its reason: say why the advice is not followed")
    body = {"subject": subject, "advised": advised, "decided": decided, "reason": reason}
    return append(store, case, [(Kind.DEPARTED, body)], **told)


def correct(
    store: LedgerStore,
    case: str,
    position: int,
    *,
    reason: str,
    vocabulary: Mapping[str, Fact],
    now: datetime,
    by: str,
    role: str,
    facts: Mapping[str, Value | None] | None = None,
    body: Mapping[str, Any] | None = None,
    happened_at: datetime | None = None,
    withdrawn: bool = False,
    expected_position: int | None = None,
) -> list[Entry]:
    """Set right an earlier entry, which stays in the history as it was.

    Give `facts` to replace single facts (None takes one back: it is not settled any more), or the
    whole `body`; `happened_at` for a wrong time; or `withdrawn` for an entry that should never
    have been. A withdrawal is undone by withdrawing the correction.

    Raises:
        Refused: no such entry, nothing to correct, the corrected entry would not be valid, or an open
            case would be closed by it.
    """
    entries = existing(store, case)
    found = next((entry for entry in entries if entry.position == position), None)
    if found is None:
        raise Refused(f"case {case} has no entry {position}; its last is {len(entries)}")
    if not reason.strip():
        raise Refused("a correction needs its reason: say what was wrong")
    standing = standing_bodies(entries)[position]
    if standing is None and not withdrawn:
        raise Refused(f"entry {position} is withdrawn; withdraw its withdrawal first")
    if standing is None:
        raise Refused(f"entry {position} is withdrawn already")
    correction: dict[str, Any] = {"corrects": position, "reason": reason}
    after = dict(standing)
    if facts is not None:
        if "facts" not in after:
            raise Refused(f"entry {position} ({found.kind.value}) holds no facts; give its body")
        kept = {fact: value for fact, value in facts.items() if value is not None}
        correction["facts"] = {
            **facts_to_json(kept),
            **{fact: None for fact, value in facts.items() if value is None},
        }
        merged = {**after["facts"], **correction["facts"]}
        after["facts"] = {fact: value for fact, value in merged.items() if value is not None}
    if body is not None:
        correction["body"] = dict(body)
        after = dict(body)
    if happened_at is not None:
        if happened_at.utcoffset() is None or happened_at > now:
            raise Refused(
                "the corrected time needs its offset and lies before now; found "
                f"{happened_at.isoformat()}"
            )
        correction["happened_at"] = instant(happened_at)
    if withdrawn:
        if position == 1:
            raise Refused("the report itself cannot be withdrawn; close the case instead")
        correction["withdrawn"] = True
    elif faults := faults_of(found.kind, after, vocabulary):
        # An entry whose only fact is taken back says nothing: it is withdrawn as a whole.
        if found.kind is Kind.FACT_LEARNED and after.get("facts") == {}:
            faults = [f"entry {position} would hold no fact any more; withdraw it instead"]
        raise Refused(faults)
    if _would_close(entries, correction, now, vocabulary):
        raise Refused(
            "that would close the case without a look at what is left; close it on its own page"
        )
    return append(
        store,
        case,
        [(Kind.CORRECTED, correction)],
        now=now,
        by=by,
        role=role,
        expected_position=expected_position,
        vocabulary=vocabulary,
    )


def _would_close(
    entries: Sequence[Entry],
    correction: Mapping[str, Any],
    now: datetime,
    vocabulary: Mapping[str, Fact],
) -> bool:
    """Whether a case that is open would be closed once this correction is written."""
    last = entries[-1]
    at = max(now, last.recorded_at)
    written = replace(
        last, position=last.position + 1, kind=Kind.CORRECTED, body=correction, happened_at=now,
        recorded_at=at,
    )  # fmt: skip
    before, after = (fold(e, at, vocabulary).closed_at for e in (entries, [*entries, written]))
    return before is None and after is not None
