"""Whether a plan stands signed as it reads now."""

from __future__ import annotations

from collections.abc import Sequence
from enum import Enum, auto

from thimble.ledger.plan import CHASE, TO_DO, Action, Plan, State
from thimble.ledger.prophylaxis.course import follows_from_course
from thimble.ledger.situation import SignedPlan, Situation
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

    A change is a decision that people are told, something new to do or to do again, something no
    longer needed, another amount, a departure since then, or a caution that was not shown. What was
    done since is none; nor is what is not told (how many hours have passed
    for a dose that is not needed) while every decision stands; nor what a course that has begun
    brings with it: tablets, blood, an expert's answer; nor what the chase of the source asks for.

    Args:
        as_signed: the plan at this moment without what was recorded after the last signature; without
            it a change of an amount or a caution is not seen, nor what is to be done again.
    """
    if not situation.signed:
        return SignatureState.UNSIGNED
    last: SignedPlan = situation.signed[-1]
    if last.protocol_digest != plan.protocol_digest:
        return SignatureState.OTHER_RULES
    matters = {finding.decision for finding in told(plan, protocol)} | set(protocol.amount_parts)
    now = {name: plan.findings[name].value for name in matters if name in plan.findings}
    to_do = [
        a
        for a in plan.actions
        if a.state in TO_DO and not follows_from_course(a) and not a.id.startswith(CHASE)
    ]
    changed = (
        any(now[name] != value for name, value in last.decisions.items() if name in now)
        or any(a.stands and a.id not in last.actions for a in to_do)
        or any(a.state is State.NO_LONGER_NEEDED and a.id in last.actions for a in plan.actions)
        or any(departure.entry > last.entry for departure in situation.departures)
        or (as_signed is not None and _differs(to_do, plan, as_signed))
    )
    return SignatureState.CHANGED if changed else SignatureState.AS_SIGNED


def _differs(to_do: Sequence[Action], plan: Plan, as_signed: Plan) -> bool:
    """Whether something was settled then and is to be done again, or is more or less, or is new to know."""
    before = {action.id: action for action in as_signed.actions}
    cautions = {(c.topic, c.text) for c in as_signed.cautions if c.certain}
    return (
        any(a.id in before and before[a.id].state not in TO_DO for a in to_do)
        or any(a.id in before and before[a.id].amount != a.amount for a in to_do)
        or any((c.topic, c.text) not in cautions for c in plan.cautions if c.certain)
    )
