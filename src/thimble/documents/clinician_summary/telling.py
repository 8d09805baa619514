"""What every part of the summary is told from, and what was decided in place of the advice."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import tzinfo

from thimble.clinical.saying import minute
from thimble.documents.record import Record
from thimble.ledger.plan import Plan
from thimble.ledger.situation import Departure, Situation
from thimble.protocol.finding import Reason
from thimble.protocol.protocol import Protocol


@dataclass(frozen=True, slots=True)
class Instead:
    """What was decided in place of the advice, why, and by whom, when and in which entry."""

    decided: str
    reason: str
    by: str


@dataclass(frozen=True)
class Telling:
    """What every part of the sheet is told from."""

    plan: Plan
    situation: Situation
    protocol: Protocol
    zone: tzinfo
    record: Record

    def question(self, fact: str) -> str:
        """A fact's question."""
        return (
            self.protocol.vocabulary[fact].question
            if fact in self.protocol.vocabulary
            else fact.replace("_", " ")
        )

    def waits_for(self, facts: Sequence[str]) -> str:
        """Open facts as numbers of the list of questions; what cannot be asked any more by name."""
        asked = [question.fact for question in self.plan.questions]
        numbers = sorted(asked.index(fact) + 1 for fact in facts if fact in asked)
        named = [self.question(fact) for fact in facts if fact not in asked]
        if numbers:
            word = "question" if len(numbers) == 1 else "questions"
            named.insert(0, f"{word} {', '.join(map(str, numbers))}")
        return "; ".join(named)

    def what(self, action: str) -> str:
        """An action in the plan's words, or in the protocol's where the plan holds it no more."""
        found = next((a.what for a in self.plan.actions if a.id == action), "")
        return found or self.protocol.action_words(action)

    def departed(self, departure: Departure, decided: str) -> Instead:
        """What was decided in place of the advice."""
        return Instead(
            f"{decided.strip().rstrip('.')}.",
            departure.reason.strip(),
            f"{self.record.who(departure.by, departure.entry)}, "
            f"{minute(departure.at, self.zone)}, entry {departure.entry}",
        )


def rules_of(reasons: Sequence[Reason]) -> str:
    """The rules behind something, by id."""
    return ", ".join(reason.rule for reason in reasons)
