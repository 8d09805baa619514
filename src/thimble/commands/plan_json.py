"""A plan as one JSON object; `docs/assess.md` lists its keys."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from typing import Any

from thimble.ledger.plan import Action, Plan
from thimble.protocol import Reason

CAUTION = (
    "Decision support for trained staff. Local policy and licensed judgement decide; "
    "a named clinician signs."
)


def as_json(plan: Plan) -> dict[str, Any]:
    """The plan as one object of plain values."""
    decisions: dict[str, Any] = {}
    for id_, finding in plan.findings.items():
        decisions[id_] = {
            "value": finding.value,
            "possible": list(finding.possible),
            "because": [_reason(reason) for reason in finding.because],
        }
    for id_, reasons in plan.reasons.items():
        certain = [item for item in reasons if item.certain]
        decisions[id_] = {
            "value": [i.outputs[id_] for i in certain] if len(certain) == len(reasons) else None,
            "possible": [item.outputs[id_] for item in reasons],
            "because": [_reason(reason) for item in certain for reason in item.because],
        }
    actions = pertinent(plan.actions)
    return {
        "protocol": {
            "id": plan.protocol_id,
            "edition": plan.protocol_edition,
            "digest": plan.protocol_digest,
        },
        "as_of": plan.now.isoformat(),
        "decisions": decisions,
        "questions": [{"fact": q.fact, "changes": list(q.changes)} for q in plan.questions],
        "actions": [_action(action) for action in actions if action.certain],
        "actions_that_may_follow": [_action(action) for action in actions if not action.certain],
        "cautions": [caution.text for caution in plan.cautions if caution.certain] + [CAUTION],
    }


def pertinent(actions: Iterable[Action]) -> list[Action]:
    """Without those that wait for an action which does not follow: nobody stops what never began."""
    kept = list(actions)
    while True:
        ids = {action.id for action in kept}
        fewer = [a for a in kept if not a.window.waits_for or a.window.waits_for in ids]
        if len(fewer) == len(kept):
            return kept
        kept = fewer


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
