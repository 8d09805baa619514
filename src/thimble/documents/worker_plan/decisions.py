"""The decisions as the worker reads them, and why."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from thimble.clinical.saying import inside
from thimble.documents.frame import unconfirmed
from thimble.documents.otherwise import doses_decided_otherwise
from thimble.documents.worker_plan.plain import plain_words
from thimble.documents.worker_plan.telling import Telling
from thimble.ledger.exposed import say
from thimble.ledger.situation import Departure
from thimble.protocol.finding import Finding, Reason

_LEFT_TO_A_PERSON = frozenset({"consider", "expert_decides", "clinician_decides"})
"""Values that ask a person to decide: whatever is decided then is no departure from them."""
_REASON_IN_RECORD = "The reason is in your record; ask your clinician to go through it with you."


@dataclass(frozen=True, slots=True)
class Decided:
    """One decision in a sentence and why; `settled` is False while it is open."""

    question: str
    answer: str
    why: str
    settled: bool
    unconfirmed: bool


class Decisions(Telling):
    """The decisions in plain words, each with the worker's own reasons."""

    def decisions(self) -> tuple[Decided, ...]:
        """Every decision that has plain words."""
        departed = self._departures()
        plain = plain_words().decisions
        return tuple(
            self._decided(finding, plain[finding.decision], departed.get(finding.decision))
            for finding in self.plan.findings.values()
            if finding.decision in plain
            and (
                finding.value is None
                or finding.value in plain[finding.decision]
                or finding.decision in departed
            )
        )

    def _departures(self) -> dict[str, Departure]:
        """Decision → the departure that stands: from itself, or from the dose that follows from it."""
        itself = {
            departure.subject: departure
            for departure in self.situation.departures
            if departure.subject in self.plan.findings
        }
        return {
            **doses_decided_otherwise(self.plan, self.situation, self.protocol),
            **itself,
        }

    def _decided(
        self, finding: Finding, plain: Mapping[str, str], departure: Departure | None
    ) -> Decided:
        question = plain["question"]
        if departure is not None:
            decided = self.instead(departure)
            advised = plain.get(finding.value or "", "")
            if finding.value is None or finding.value in _LEFT_TO_A_PERSON:
                return Decided(question, f"Decided: {decided}", _REASON_IN_RECORD, True, False)
            why = (
                f"Advised: {inside(advised)} {_REASON_IN_RECORD}" if advised else _REASON_IN_RECORD
            )
            return Decided(
                question,
                f"Decided with you otherwise than the protocol advises: {decided}",
                why,
                settled=True,
                unconfirmed=False,
            )
        doubtful = unconfirmed(finding.because)
        if finding.value is not None:
            return Decided(question, plain[finding.value], self._why(finding), True, doubtful)
        choices = [plain[value].rstrip(".") for value in finding.possible if value in plain]
        answer = f"Not settled yet. Possible: {'; or: '.join(choices)}." if choices else "Not yet."
        return Decided(question, answer, self._waits_for(finding.open_facts), False, doubtful)

    def _why(self, finding: Finding) -> str:
        """One sentence: the worker's own answers and earlier decisions that the rule looked at."""
        parts: dict[str, None] = {}
        of_the_source = False
        for id_ in self._looked_at(finding.because):
            fact = self.protocol.vocabulary.get(id_)
            if fact is None:
                clauses = plain_words().because.get(id_, {})
                clause = clauses.get(self.plan.findings[id_].value or "")
                if clause:
                    parts[clause] = None
            elif fact.about == "source":
                of_the_source = True
            elif (known := self.situation.facts.get(id_)) is not None:
                parts[f"{inside(self.name(id_))}: {inside(fact.label(known.value))}"] = None
        said = "; ".join(parts)
        if of_the_source:
            rest = say("what is known of the other patient, which is confidential", self.situation)
            said = f"{said}; and {rest}" if said else rest
        return f"Because of: {said}." if said else "This holds for every exposure of this kind."

    def _looked_at(
        self, because: Iterable[Reason], seen: frozenset[str] = frozenset()
    ) -> Iterator[str]:
        """The facts and worker-facing decisions behind the rules that fired.

        An inner decision, which a worker's plan does not name, is replaced by what it rests on.
        """
        fired = {(reason.table, reason.rule) for reason in because}
        for table in self.protocol.tables:
            for rule in table.rules:
                if (table.id, rule.id) not in fired:
                    continue
                for column, cell in zip(table.inputs, rule.cells, strict=True):
                    id_ = column.partition(".")[0]
                    if cell.strip() == "-":
                        continue
                    if id_ in self.protocol.vocabulary or id_ in plain_words().decisions:
                        if id_ in self.protocol.vocabulary or id_ in self.plan.findings:
                            yield id_
                    elif id_ in self.plan.findings and id_ not in seen:
                        yield from self._looked_at(self.plan.findings[id_].because, seen | {id_})

    def _waits_for(self, open_facts: tuple[str, ...]) -> str:
        waits = [
            inside(self.name(id_))
            for id_ in open_facts
            if id_ in self.protocol.vocabulary and self.protocol.vocabulary[id_].about != "source"
        ]
        if len(waits) < len(open_facts):
            waits.append(say("what we still learn of the other patient", self.situation))
        return (
            f"It depends on: {'; '.join(waits)}." if waits else "Your clinician decides with you."
        )
