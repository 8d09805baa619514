"""Whether a plan stands signed as it reads now."""

from __future__ import annotations

from enum import Enum, auto

from thimble.ledger.plan import TO_DO, Plan, SignedPlan, Situation, State
from thimble.ledger.telling import told
from thimble.protocol.protocol import Protocol


class SignatureState(Enum):
    """Whether a plan stands signed as it reads now."""

    UNSIGNED = auto()
    AS_SIGNED = auto()
    CHANGED = auto()
    OTHER_RULES = auto()


def signature_of(
    plan: Plan, situation: Situation, protocol: Protocol, as_signed: Plan | None
) -> SignatureState:
    """How the plan compares with the last signature: what was signed is what its entry says.

    A change is a decision that people are told, something new to do, something no longer needed, or
    another amount. What was done since is none; nor is what is not told (how many hours have passed
    for a dose that is not needed) while every decision stands.

    Args:
        as_signed: the plan at this moment without what was recorded after the last signature; without
            it a change of an amount alone is not seen.
    """
    if not situation.signed:
        return SignatureState.UNSIGNED
    last: SignedPlan = situation.signed[-1]
    if last.protocol_digest != plan.protocol_digest:
        return SignatureState.OTHER_RULES
    matters = {finding.decision for finding in told(plan, protocol)} | set(protocol.amount_parts)
    now = {name: plan.findings[name].value for name in matters if name in plan.findings}
    signed = set(last.actions)
    before = as_signed.actions if as_signed else ()
    amounts = {action.id: action.amount for action in before if action.state in TO_DO}
    to_do = [action for action in plan.actions if action.state in TO_DO]
    changed = (
        any(now[name] != value for name, value in last.decisions.items() if name in now)
        or any(a.stands and a.id not in signed for a in to_do)
        or any(amounts.get(a.id, a.amount) != a.amount for a in to_do)
        or any(a.state is State.NO_LONGER_NEEDED and a.id in signed for a in plan.actions)
    )
    return SignatureState.CHANGED if changed else SignatureState.AS_SIGNED
