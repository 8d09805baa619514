"""A plan as one JSON object; `docs/assess.md` lists its keys."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import Any

from thimble.ledger.plan import Action, Plan
from thimble.protocol import Reason

CAUTION = (
    "Decision support for trained staff. Local policy and licensed judgement decide; "
    "a named clinician signs."
)


def as_json(plan: Plan, notes: Sequence[str] = ()) -> dict[str, Any]:
    """The plan as one object of plain values; `notes` stand before the cautions."""
    decisions: dict[str, Any] = {}
    for id_, finding in plan.findings.items():
        decisions[id_] = {
            "value": finding.value,
            "possible": list(finding.possible),
            "because": [_reason(reason) for reason in finding.because],
        }
    for id_, reasons in plan.reasons.items():
        apply = [item for item in reasons if item.certain]
        decisions[id_] = {
            "value": [i.outputs[id_] for i in apply] if len(apply) == len(reasons) else None,
            "possible": [item.outputs[id_] for item in reasons],
            "because": [_reason(reason) for item in apply for reason in item.because],
        }
    actions = plan.actions
    sure = certain(actions)
    return {
        "protocol": {
            "id": plan.protocol_id,
            "edition": plan.protocol_edition,
            "digest": plan.protocol_digest,
        },
        "as_of": plan.now.isoformat(),
        "decisions": decisions,
        "questions": [{"fact": q.fact, "changes": list(q.changes)} for q in plan.questions],
        "actions": [_action(action) for action in actions if action.id in sure],
        "actions_that_may_follow": [_action(a) for a in actions if a.id not in sure],
        "cautions": [*notes, *(c.text for c in plan.cautions if c.certain), CAUTION],
    }


def certain(actions: Iterable[Action]) -> set[str]:
    """The ids of those that are certain, and wait for nothing that is not."""
    by_id = {action.id: action for action in actions}
    sure = {id_ for id_, action in by_id.items() if action.certain}
    while doubtful := {id_ for id_ in sure if by_id[id_].window.waits_for in by_id.keys() - sure}:
        sure -= doubtful
    return sure


def _reason(reason: Reason) -> dict[str, str]:
    return {
        "table": reason.table,
        "rule": reason.rule,
        "source": reason.source,
        "standing": reason.standing,
    }


def _action(action: Action) -> dict[str, Any]:
    window = action.window
    return {
        "id": action.id,
        "what": action.what,
        "for": action.whom,
        "amount": action.amount or None,
        "due_from": _iso(window.earliest),
        "due_by": _iso(window.latest),
        "target": _iso(window.target),
        "counted_once_done": window.waits_for or None,
        "waits_for": list(action.open_facts),
        "because": [f"{r.table} {r.rule}: {r.source} ({r.standing})" for r in action.because],
    }


def _iso(instant: datetime | None) -> str | None:
    return instant.isoformat(timespec="seconds") if instant else None
