"""How much the doses of a plan are, and the weights that their amounts still wait for."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation

from thimble.clinical.doses import Dose, DoseNeeds, DoseRule, dose
from thimble.ledger.plan import TO_DO, Action
from thimble.protocol.finding import Evaluation
from thimble.protocol.model import PER_KILOGRAM, Amount
from thimble.protocol.protocol import Protocol
from thimble.protocol.vocabulary import Value


@dataclass(frozen=True, slots=True)
class Lack:
    """A fact that an amount waits for: the decision it is for, and whether such a dose is due."""

    amount: str
    due: bool


Lacking = Mapping[str, Lack]


def doses_of(
    evaluation: Evaluation, protocol: Protocol, facts: Mapping[str, Value]
) -> dict[str, Dose | DoseNeeds]:
    """The amount of each dose that is computed, or what it needs, by the action's id."""
    found: dict[str, Dose | DoseNeeds] = {}
    for amount in protocol.amounts:
        rule = _rule(amount, evaluation)
        if rule is None:
            continue
        weight = facts.get(amount.weight)
        answer = dose(rule, weight if isinstance(weight, float) else None, fact=amount.weight)
        found.update(dict.fromkeys(amount.actions, answer))
    return found


def _rule(amount: Amount, evaluation: Evaluation) -> DoseRule | None:
    """How much to give, None while a part of it is open or no number above 0."""
    values = [
        finding.value if (finding := evaluation.findings.get(part)) is not None else None
        for part in amount.parts
    ]
    number, per, unit = values
    if number is None or per is None or unit is None:
        return None
    try:
        exact = Decimal(number)
    except InvalidOperation:
        return None
    if not exact.is_finite() or exact <= 0:
        return None
    return DoseRule(exact, unit, per_kg=per == PER_KILOGRAM, route=amount.route)


def lacking_of(
    actions: Iterable[Action], doses: Mapping[str, Dose | DoseNeeds], protocol: Protocol
) -> Lacking:
    of = {id_: amount.amount for amount in protocol.amounts for id_ in amount.actions}
    found: dict[str, Lack] = {}
    for action in actions:
        answer = doses.get(action.id)
        if action.state in TO_DO and isinstance(answer, DoseNeeds):
            before = found.get(answer.fact)
            due = action.stands or (before is not None and before.due)
            found[answer.fact] = Lack(of[action.id], due)
    return found
