"""Whom to ring, why, and what to say: wherever a decision is an expert's to make."""

from __future__ import annotations

from dataclasses import dataclass

from thimble.clinical.site import Site
from thimble.documents.otherwise import asked_for_by
from thimble.ledger.plan import Plan
from thimble.ledger.situation import Situation
from thimble.protocol.protocol import Protocol
from thimble.web.desk.plan.lens import Lens

EXPERT_DECIDES = "expert_decides"
UNSAID = frozenset({"no", "unknown", "not_tested", frozenset()})
"""Answers that an expert is not told unasked."""


@dataclass(frozen=True, slots=True)
class ExpertReason:
    """A reason to ask an expert."""

    text: str
    certain: bool


@dataclass(frozen=True, slots=True)
class ExpertView:
    """Whom to ring, and why. Shown wherever a decision is left to an expert."""

    name: str
    number: str
    reasons: tuple[ExpertReason, ...]


def expert_of(lens: Lens, site: Site) -> ExpertView | None:
    """Whom to ring; None where nothing is left to an expert."""
    reasons = [
        ExpertReason(lens.value(table, value), item.certain)
        for table, items in lens.plan.reasons.items()
        for item in items
        for value in item.outputs.values()
    ]
    to_an_expert = any(
        "expert_decides" in finding.possible for finding in lens.plan.findings.values()
    )
    if not reasons and not to_an_expert:
        return None
    certain_first = sorted(reasons, key=lambda r: not r.certain)
    return ExpertView(site.expert_phone.name, site.expert_phone.number, tuple(certain_first))


def expert_facts(situation: Situation, protocol: Protocol) -> tuple[tuple[str, str], ...]:
    """What is known of all that an expert's decision rests on: what to say on the telephone."""
    names = {
        column.partition(".")[0]
        for table in protocol.tables
        if table.role == "reasons" or any(_to_expert(d, protocol) for d in table.decides)
        for column in table.inputs
    }
    known = situation.facts
    return tuple(
        (fact.question, fact.label(known[id_].value))
        for id_, fact in protocol.vocabulary.items()
        if id_ in names and id_ in known and known[id_].value not in UNSAID
    )


def _to_expert(decision: str, protocol: Protocol) -> bool:
    return EXPERT_DECIDES in protocol.outputs[decision].values


def asks_expert(subject: str, plan: Plan, protocol: Protocol) -> bool:
    """Whether a decision, or what an action rests on, can be an expert's to make."""
    if subject in plan.findings:
        return _to_expert(subject, protocol)
    return any(
        _to_expert(decision, protocol)
        for action in plan.actions
        if action.id == subject
        for decision in asked_for_by(action, plan, protocol)
    )
