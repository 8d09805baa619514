"""What every part of the worker's plan is told from, and the words for a fact, an action, a departure."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import tzinfo

from thimble.clinical.saying import inside
from thimble.documents.record import Record
from thimble.documents.worker_plan.plain import plain_id, plain_words
from thimble.ledger.plan import Plan
from thimble.ledger.situation import Departure, Situation
from thimble.ledger.telling import INSTEAD_OF_AN_ACTION
from thimble.protocol.protocol import Protocol


@dataclass(frozen=True)
class Telling:
    """What every part of the sheet is told from."""

    plan: Plan
    situation: Situation
    zone: tzinfo
    protocol: Protocol
    record: Record

    def name(self, fact: str) -> str:
        """A fact's short name, else its question."""
        return plain_words().facts.get(fact, self.protocol.vocabulary[fact].question)

    def what(self, action_id: str) -> str:
        """An action in plain words."""
        found = next((a.what for a in self.plan.actions if a.id == action_id), action_id)
        perhaps = plain_words().perhaps.get(action_id)
        if perhaps is not None:
            decided = self.plan.findings.get(perhaps["decision"])
            if decided is not None and decided.value != perhaps["sure"]:
                return perhaps["words"]
        return plain_words().actions.get(plain_id(action_id), found)

    def instead(self, departure: Departure) -> str:
        """What was decided in place of the advice, as a sentence; a value of the decision plainly.

        Words of a clinician's own are not repeated: they may say something about the source.
        """
        said = departure.decided.strip().rstrip(".")
        output = self.protocol.outputs.get(departure.subject)
        plain = plain_words().decisions.get(departure.subject, {})
        for value in output.values if output else ():
            if said.lower() in (value.lower(), output.words(value).lower() if output else ""):
                return plain.get(value, f"{inside(said)}.")
        if said in INSTEAD_OF_AN_ACTION:
            return f"{inside(said)}."
        return "as your clinician told you; ask if you are not sure."
