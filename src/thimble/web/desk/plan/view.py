"""The whole plan in words."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from thimble.clinical.saying import inside
from thimble.clinical.site import Site
from thimble.ledger.exposed import protocol_for
from thimble.ledger.plan import Plan
from thimble.ledger.pressing import OVERDUE
from thimble.ledger.situation import Situation
from thimble.protocol.protocol import Protocol
from thimble.web.desk.plan.actions import ActionView, Group, groups_of
from thimble.web.desk.plan.cautions import CautionView, Topic, caution_of, topics_of
from thimble.web.desk.plan.decisions import DecisionView, DepartureView, decisions_of
from thimble.web.desk.plan.expert import ExpertView, expert_facts, expert_of
from thimble.web.desk.plan.lens import Lens
from thimble.web.desk.plan.rings import Ring, rings_of
from thimble.web.desk.words import (
    RuleLink,
    join,
    no_link,
)

NEXT_STEPS = 3


@dataclass(frozen=True, slots=True)
class PlanView:
    """The whole plan as it is read on the case page, on the page to sign, and in the history."""

    protocol: str
    contradictions: tuple[str, ...]
    left_to_you: tuple[DecisionView, ...]
    settled: tuple[DecisionView, ...]
    nothing_due: tuple[DecisionView, ...]
    open: tuple[DecisionView, ...]
    undecidable: tuple[DecisionView, ...]
    groups: tuple[Group, ...]
    topics: tuple[Topic, ...]
    possible_cautions: tuple[str, ...]
    first_aid: tuple[CautionView, ...]
    first_aid_action: str
    first_aid_past: bool
    rings: tuple[Ring, ...]
    expert: ExpertView | None
    expert_for: str
    expert_reasons: str
    expert_facts: tuple[tuple[str, str], ...]
    computed: tuple[tuple[str, str], ...]
    departures: tuple[DepartureView, ...]

    @property
    def not_decided(self) -> tuple[DecisionView, ...]:
        """What is left to a person and has not been decided by one yet."""
        return tuple(d for d in (*self.left_to_you, *self.undecidable) if d.departure is None)

    @property
    def next_steps(self) -> tuple[ActionView, ...]:
        """The first of what is to be done now, in the plan's order."""
        now = next((group.actions for group in self.groups if group.id == "now"), ())
        return now[:NEXT_STEPS]

    @classmethod
    def of(
        cls,
        plan: Plan,
        situation: Situation,
        *,
        protocol: Protocol,
        site: Site,
        names: Mapping[str, str],
        link: RuleLink = no_link,
    ) -> PlanView:
        """A plan in words, at its own moment."""
        protocol = protocol_for(protocol, situation)
        lens = Lens(plan, situation, protocol, site.zone, names, link)
        decisions = decisions_of(lens)
        expert = expert_of(lens, site)
        certain = [caution for caution in plan.cautions if caution.certain]
        return cls(
            protocol=f"{protocol.title}, edition {plan.protocol_edition}",
            contradictions=plan.contradictions,
            left_to_you=tuple(d for d in decisions if d.value and d.to_a_person),
            settled=tuple(d for d in decisions if d.value and not d.quiet and not d.to_a_person),
            nothing_due=tuple(d for d in decisions if d.value and d.quiet),
            open=tuple(d for d in decisions if not d.value and not d.stuck_on),
            undecidable=tuple(d for d in decisions if d.stuck_on),
            groups=groups_of(lens),
            topics=topics_of(certain, lens),
            possible_cautions=tuple(c.text for c in plan.cautions if not c.certain),
            first_aid=tuple(caution_of(c, lens) for c in certain if c.topic == "first_aid")
            if "first_aid" not in situation.done
            else (),
            first_aid_action=next((a.id for a in plan.actions if a.kind == "first_aid"), ""),
            first_aid_past=situation.occurred_at is not None
            and situation.occurred_at < plan.now - OVERDUE,
            rings=rings_of(lens),
            expert=expert,
            expert_reasons=""
            if expert is None
            else "; ".join(inside(reason.text) for reason in expert.reasons if reason.certain),
            expert_for=join([inside(d.label) for d in decisions if d.asks_expert], "and"),
            expert_facts=expert_facts(situation, protocol),
            computed=tuple(
                (lens.question(fact), words)
                for fact, words in plan.computed.items()
                if fact in protocol.vocabulary and fact != "hours_since_exposure"
            ),
            departures=tuple(DepartureView.of(d, lens) for d in situation.departures),
        )
