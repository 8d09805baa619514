"""What still stands in the way of an end: which items are left, which decisions open.

A case ends when each item of its plan is done, no longer needed, or decided otherwise with a reason.
What is left all the same is named in the entry that closes the case, by somebody who may decide so; it
is to be done again once the case is reopened.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import tzinfo

from thimble.ledger.entries import Entry
from thimble.ledger.plan import TO_DO, Action, Plan
from thimble.ledger.results.clearance import Awaited, results_awaited, why_not_clear
from thimble.ledger.results.recorded import course_around
from thimble.ledger.situation import Situation
from thimble.protocol.protocol import Protocol

ALL_CLEAR = "all_clear"
"""The reason to close that nothing may be left for."""

GOES_ON_ELSEWHERE = frozenset({"duplicate"})
"""Reasons for which nothing is given up by leaving it: another case holds it."""


@dataclass(frozen=True, slots=True)
class Remainder:
    """What a case has left: `actions` neither done nor decided otherwise, `open` decisions by id.

    `awaited` says for which actions blood was drawn whose result is not on record, `not_clear` why the
    worker's results allow no all clear ("" where they do): both stand in the way of that alone.
    """

    actions: tuple[Action, ...]
    open: tuple[str, ...]
    awaited: tuple[Awaited, ...] = ()
    not_clear: str = ""

    @property
    def clear(self) -> bool:
        """Whether it can be said that all is clear."""
        return not (self.actions or self.open or self.awaited or self.not_clear)


def remainder(
    plan: Plan, situation: Situation, protocol: Protocol, entries: Sequence[Entry], zone: tzinfo
) -> Remainder:
    """What is left of a plan.

    What waits for an action that was never done is not left undone. What may be needed is: a question
    that nobody asked is no "no".
    """
    departed = {departure.subject for departure in situation.departures}
    course = course_around(situation, plan.actions, protocol, zone)
    return Remainder(
        actions=tuple(a for a in plan.actions if a.state in TO_DO and not a.window.waits_for),
        open=tuple(
            name
            for name, finding in plan.findings.items()
            if finding.value is None
            and name not in departed
            and not protocol.outputs[name].inner
            and name not in protocol.amount_parts
        ),
        awaited=results_awaited(entries),
        not_clear=why_not_clear(plan, situation, course, plan.now),
    )
