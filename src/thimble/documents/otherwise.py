"""Which decision is touched when a clinician decides that the dose which follows from it is not given."""

from __future__ import annotations

from collections.abc import Iterator

from thimble.ledger.plan import Action, Plan, State
from thimble.ledger.situation import Departure, Situation
from thimble.protocol.protocol import Protocol

STANDS_WHATEVER_IS_GIVEN = frozenset({"significance"})
"""Whether an exposure could pass on an infection is no advice to give anything."""


def asked_for_by(action: Action, plan: Plan, protocol: Protocol) -> Iterator[str]:
    """The decisions of the plan in the rows that ask for an action."""
    fired = {(reason.table, reason.rule) for reason in action.because}
    for table in protocol.tables:
        for rule in table.rules:
            if (table.id, rule.id) not in fired:
                continue
            for column, cell in zip(table.inputs, rule.cells, strict=True):
                asks = column in plan.findings and column not in STANDS_WHATEVER_IS_GIVEN
                if asks and cell.strip() != "-":
                    yield column


def doses_decided_otherwise(
    plan: Plan, situation: Situation, protocol: Protocol
) -> dict[str, Departure]:
    """Decision → the departure from the dose that it asks for, where that stands.

    A dose that was given after all is none.
    """
    departed = {departure.subject: departure for departure in situation.departures}
    return {
        decision: departed[action.id]
        for action in plan.actions
        if action.kind == "dose" and action.state is State.DEPARTED and action.id in departed
        for decision in asked_for_by(action, plan, protocol)
    }
