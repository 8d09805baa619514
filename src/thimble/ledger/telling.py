"""Which decisions of a plan are told to people, and which ask for nothing."""

from __future__ import annotations

from thimble.ledger.plan import Plan
from thimble.protocol.finding import Finding
from thimble.protocol.protocol import Protocol

ASKS_FOR_NOTHING = frozenset({"no", "none", "0"})
"""Values that ask for nothing: told, but quietly."""


INSTEAD_OF_AN_ACTION = ("Not done", "Done later than advised", "Done in another way")
"""What can be decided instead of doing something, beside words of one's own."""


def told(plan: Plan, protocol: Protocol) -> tuple[Finding, ...]:
    """The findings to tell, in the plan's order.

    Left out: the parts of an amount, which stand worked out beside the dose; a step on the way to
    others while it is open; and what is said beside a decision that asks for nothing.
    """
    return tuple(
        finding
        for name, finding in plan.findings.items()
        if name not in protocol.amount_parts
        and not (finding.value is None and protocol.outputs[name].inner)
        and not _beside_nothing(protocol.outputs[name].beside, plan)
    )


def _beside_nothing(other: str, plan: Plan) -> bool:
    return other in plan.findings and plan.findings[other].value in ASKS_FOR_NOTHING
