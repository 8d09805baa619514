"""The decisions as a clinician reads them: outcome, rules, what is open, departures."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from thimble.clinical.saying import opening
from thimble.documents.clinician_summary.telling import Instead, Telling
from thimble.documents.frame import unconfirmed
from thimble.documents.otherwise import doses_decided_otherwise
from thimble.protocol.finding import STANDINGS, Finding, Item, Reason


@dataclass(frozen=True, slots=True)
class Why:
    """Rules that fired and rest on one source, as shown."""

    rules: str
    source: str
    standing: str


@dataclass(frozen=True, slots=True)
class Decision:
    """A decision with its outcome, or the outcomes still possible and what they wait for."""

    question: str
    answer: str
    settled: bool
    because: tuple[Why, ...]
    waits_for: str
    advised: str
    departed: Instead | None
    dose_otherwise: str
    unconfirmed: bool


@dataclass(frozen=True, slots=True)
class Otherwise:
    """A departure from something that no longer stands among the decisions and actions."""

    subject: str
    departed: Instead
    advised: str


class Decisions(Telling):
    """The decisions with their outcomes, what they rest on and wait for."""

    def decisions(self) -> tuple[Decision, ...]:
        """Every decision but the parts of a dose, which stand worked out beside the action."""
        return (
            *(
                self._decision(finding)
                for finding in self.plan.findings.values()
                if self._told(finding)
            ),
            *(self._reasons(id_, items) for id_, items in self.plan.reasons.items() if items),
        )

    def _told(self, finding: Finding) -> bool:
        return finding.decision not in self.protocol.amount_parts and not (
            finding.value is None and self.protocol.outputs[finding.decision].inner
        )

    def _reasons(self, id_: str, items: Sequence[Item]) -> Decision:
        """A decision whose answer is a list: what applies for certain, and what may apply."""
        output = self.protocol.outputs[id_]
        sure = [item for item in items if item.certain]
        perhaps = [item for item in items if not item.certain]
        told = ", ".join(output.words(item.outputs[id_]) for item in sure)
        if perhaps:
            possible = ", ".join(output.words(item.outputs[id_]) for item in perhaps)
            told = f"{told}; perhaps: {possible}" if told else f"Perhaps: {possible}"
        because = tuple(reason for item in sure for reason in item.because)
        facts = tuple(dict.fromkeys(fact for item in perhaps for fact in item.open_facts))
        return Decision(
            question=output.label or id_.replace("_", " "),
            answer=told,
            settled=not perhaps,
            because=self._whys(because),
            waits_for=self.waits_for(facts),
            advised="",
            departed=None,
            dose_otherwise="",
            unconfirmed=unconfirmed(because),
        )

    def _decision(self, finding: Finding) -> Decision:
        output = self.protocol.outputs.get(finding.decision)

        def words(value: str) -> str:
            said = output.words(value) if output else value.replace("_", " ")
            return opening(said)

        departure = self.situation.departure_from(finding.decision)
        dose = doses_decided_otherwise(self.plan, self.situation, self.protocol).get(
            finding.decision
        )
        if finding.value is not None:
            answer = words(finding.value)
        elif finding.decision in self.plan.undecidable:
            answer = f"A clinician decides among: {', '.join(map(words, finding.possible))}"
        else:
            answer = f"Open: {', '.join(map(words, finding.possible))}"
        return Decision(
            question=(output.label if output else "") or finding.decision.replace("_", " "),
            answer=answer,
            settled=finding.value is not None,
            because=self._whys(finding.because),
            waits_for=self.waits_for(
                self.plan.undecidable.get(finding.decision, ()) or finding.open_facts
            ),
            advised=words(departure.advised) if departure else "",
            departed=self.departed(departure, words(departure.decided)) if departure else None,
            dose_otherwise=(
                f"About the dose, decided: {opening(dose.decided.strip().rstrip('.'))}. "
                f"See the action, entry {dose.entry}."
                if dose
                else ""
            ),
            unconfirmed=unconfirmed(finding.because),
        )

    def otherwise(self) -> tuple[Otherwise, ...]:
        """Departures that neither a decision nor an action of the plan carries any more."""
        carried = {
            *(id_ for id_ in self.plan.findings if self._told(self.plan.findings[id_])),
            *(action.id for action in self.plan.actions),
        }
        return tuple(
            Otherwise(
                self._subject(departure.subject),
                self.departed(departure, opening(departure.decided)),
                opening(departure.advised),
            )
            for departure in self.situation.departures
            if departure.subject not in carried
        )

    def _subject(self, id_: str) -> str:
        output = self.protocol.outputs.get(id_)
        if output is not None and output.label:
            return output.label
        return self.what(id_)

    @staticmethod
    def _whys(reasons: Sequence[Reason]) -> tuple[Why, ...]:
        together: dict[tuple[str, str], list[str]] = {}
        for reason in reasons:
            key = (reason.source, STANDINGS[reason.standing])
            together.setdefault(key, []).append(reason.rule)
        return tuple(
            Why(", ".join(rules), source, standing)
            for (source, standing), rules in together.items()
        )
