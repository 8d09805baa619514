"""What every part of the plan is shown through: the names of things, the moment, the zone."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, tzinfo

from thimble.clinical.saying import opening
from thimble.ledger.exposed import say
from thimble.ledger.exposed import told as told_of
from thimble.ledger.plan import Plan
from thimble.ledger.situation import Situation
from thimble.protocol.finding import Reason
from thimble.protocol.protocol import Protocol
from thimble.web.desk.words import (
    ReasonWords,
    RuleLink,
    no_link,
)


@dataclass(frozen=True, slots=True)
class Lens:
    """What every part of the plan is shown through: the names of things, the moment, the zone."""

    plan: Plan
    situation: Situation
    protocol: Protocol
    zone: tzinfo
    names: Mapping[str, str]
    link: RuleLink = no_link

    @property
    def now(self) -> datetime:
        """The moment of the plan."""
        return self.plan.now

    def who(self, by: str) -> str:
        """Who wrote, as shown."""
        return self.names.get(by, say("the worker", self.situation) if by == "worker" else by)

    def question(self, fact: str) -> str:
        """A fact's question; an id that the vocabulary no longer holds stays readable."""
        known = self.protocol.vocabulary.get(fact)
        return known.question if known else fact.replace("_", " ")

    def label(self, decision: str) -> str:
        """A decision's label, or an action's words where the subject is one."""
        output = self.protocol.outputs.get(decision)
        if output is not None and output.label:
            return output.label
        return self.what(decision)

    def value(self, decision: str, value: str) -> str:
        """A decision's value in words."""
        output = self.protocol.outputs.get(decision)
        said = output.words(value) if output else value.replace("_", " ")
        return opening(said)

    def what(self, action: str) -> str:
        """An action's sentence."""
        for known in self.plan.actions:
            if known.id == action:
                return known.what
        return action.replace("_", " ")

    def reasons(self, because: Iterable[Reason]) -> tuple[ReasonWords, ...]:
        """The rules behind something."""
        words = tuple(ReasonWords.of(reason, self.protocol, self.link) for reason in because)
        return told_of(words, self.situation)
