"""The page of one decision: what is left to a clinician, or decided otherwise than advised. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from thimble.clinical.site import Site
from thimble.ledger.exposed import protocol_for
from thimble.ledger.plan import Plan
from thimble.ledger.telling import INSTEAD_OF_AN_ACTION
from thimble.protocol.finding import Finding
from thimble.protocol.protocol import Protocol
from thimble.web.desk.plan import (
    LEFT_TO_A_PERSON,
    DepartureView,
    ExpertView,
    Lens,
    PlanView,
    asks_expert,
    protective_first,
)
from thimble.web.desk.reading import Reading
from thimble.web.desk.words import ReasonWords, RuleLink, no_link


def advised_words(finding: Finding, plan: Plan, lens: Lens) -> str:
    """What the protocol says of a decision, as a departure records it."""
    if finding.value is not None:
        return lens.value(finding.decision, finding.value)
    order = protective_first(finding.decision, finding.possible, lens.protocol)
    among = "; ".join(lens.value(finding.decision, value) for value in order)
    if finding.decision in plan.undecidable:
        return f"A clinician decides among: {among}"
    return f"Still open: {among}"


@dataclass(frozen=True, slots=True)
class OtherwisePage:
    """One decision or action: what is advised and why, what may be decided instead."""

    case: str
    position: int
    subject: str
    label: str
    advised: str
    left_to_you: bool
    options: tuple[str, ...]
    stuck_on: tuple[str, ...]
    reasons: tuple[ReasonWords, ...]
    expert: ExpertView | None
    earlier: tuple[DepartureView, ...]

    @classmethod
    def of(
        cls,
        reading: Reading,
        subject: str,
        *,
        protocol: Protocol,
        site: Site,
        names: Mapping[str, str],
        link: RuleLink = no_link,
    ) -> OtherwisePage | None:
        """The page, or None where the plan holds no such decision or action."""
        plan, situation = reading.plan, reading.situation
        protocol = protocol_for(protocol, situation)
        lens = Lens(plan, situation, protocol, site.zone, names, link)
        view = PlanView.of(plan, situation, protocol=protocol, site=site, names=names, link=link)
        earlier = tuple(
            DepartureView.of(d, lens) for d in situation.departures if d.subject == subject
        )
        finding = plan.findings.get(subject)
        if finding is not None:
            stuck = plan.undecidable.get(subject, ())
            order = protective_first(
                subject, finding.possible if stuck else protocol.outputs[subject].values, protocol
            )
            return cls(
                case=reading.case,
                position=reading.position,
                subject=subject,
                label=lens.label(subject),
                advised=advised_words(finding, plan, lens),
                left_to_you=bool(stuck) or finding.value in LEFT_TO_A_PERSON,
                options=tuple(
                    lens.value(subject, value)
                    for value in order
                    if value != finding.value and value not in LEFT_TO_A_PERSON
                ),
                stuck_on=tuple(lens.question(fact) for fact in stuck),
                reasons=lens.reasons(finding.because),
                expert=view.expert if asks_expert(subject, plan, protocol) else None,
                earlier=earlier,
            )
        action = next((a for a in plan.actions if a.id == subject), None)
        if action is None:
            return None
        return cls(
            case=reading.case,
            position=reading.position,
            subject=subject,
            label=action.what,
            advised=action.what + (f" ({action.amount})" if action.amount else ""),
            left_to_you=False,
            options=INSTEAD_OF_AN_ACTION,
            stuck_on=(),
            reasons=lens.reasons(action.because),
            expert=view.expert if asks_expert(subject, plan, protocol) else None,
            earlier=earlier,
        )
