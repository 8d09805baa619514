"""Every word about the source patient, from plain values. No identity is among them. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from thimble.clinical.saying import calendar_day
from thimble.clinical.site import Site
from thimble.ledger.bodies import INFECTIONS
from thimble.ledger.exposed import protocol_for, told
from thimble.ledger.linking import is_patient_case
from thimble.ledger.plan import TO_DO, Action, State
from thimble.protocol.protocol import Protocol
from thimble.web.desk.changes import Change, changed_since
from thimble.web.desk.page import Typed
from thimble.web.desk.plan import Lens
from thimble.web.desk.reading import Reading
from thimble.web.desk.words import point
from thimble.web.source.chase import (
    ChaseView,
    Span,
    chase_view,
    spans,
)
from thimble.web.source.steps import STEPS, Choice, StepView, TakeBack, taken_back_at_once

RESULTS = ("source_hiv", "source_hiv_load", "source_hbsag", "source_hcv_rna", "source_anti_hcv")
"""What a laboratory says of the source patient."""
NOT_A_RESULT = frozenset({"unknown", "not_tested"})


@dataclass(frozen=True, slots=True)
class ResultView:
    """One test: what stands now, and the results that may be entered. "Not known" is no result: it
    stands in `now`, and `known` is False."""

    fact: str
    label: str
    now: str
    known: bool
    choices: tuple[Choice, ...]

    @property
    def chosen(self) -> bool:
        """Whether a result was chosen on a form that came back."""
        return any(choice.chosen for choice in self.choices)


@dataclass(frozen=True, slots=True)
class TestView:
    """A test of the source that the plan asks for."""

    id: str
    what: str
    certain: bool
    done: str
    ticked: bool


@dataclass(frozen=True, slots=True)
class SourcePage:
    """Where things stand with the source patient."""

    case: str
    position: int
    access: str
    refused: bool
    steps: tuple[StepView, ...]
    tests: tuple[TestView, ...]
    results: tuple[ResultView, ...]
    consent_wording: str
    laboratory_phone: str
    take_back: TakeBack | None
    may_record: bool
    may_see_identity: bool
    identity_known: bool
    recorded: Change | None
    typed: Typed | None
    today: str
    again: Mapping[str, str]
    chase: ChaseView | None = None
    may_settle: bool = False
    spans: tuple[Span, ...] = ()
    hour_not_known: bool = False
    of_patient: bool = False
    chart: tuple[str, ...] = ()

    @property
    def targets_confirmed(self) -> bool:
        """Whether every target was read in a document."""
        return all(span.confirmed for span in self.spans)

    @property
    def stays(self) -> tuple[ResultView, ...]:
        """The results that stand whether or not the source patient lets themselves be tested."""
        return tuple(result for result in self.results if result.known)

    @classmethod
    def of(
        cls,
        reading: Reading,
        *,
        protocol: Protocol,
        site: Site,
        capabilities: frozenset[str],
        identity_known: bool,
        since: int | None = None,
        typed: Typed | None = None,
        by: str = "",
    ) -> SourcePage:
        """The page at the reading's moment; the account `by` is offered its own step to take back."""
        situation, plan = reading.situation, reading.plan
        now, zone = plan.now, site.zone
        protocol = protocol_for(protocol, situation)
        lens = Lens(plan, situation, protocol, zone, {})
        access = situation.facts.get("source_access")
        refused = access is not None and access.value == "refuses"
        back = typed.values if typed is not None and typed.form == "result" else {}
        return cls(
            case=reading.case,
            position=reading.position,
            access=""
            if access is None
            else protocol.vocabulary["source_access"].label(access.value),
            refused=refused,
            steps=told(
                tuple(
                    StepView(
                        step,
                        label,
                        button,
                        point(situation.source_steps[step], now, zone)
                        if step in situation.source_steps
                        else "",
                        typed.last() if typed is not None and typed.subject == step else {},
                    )
                    for step, (label, button) in STEPS.items()
                ),
                situation,
            ),
            tests=tuple(
                TestView(
                    action.id,
                    action.what,
                    action.stands,
                    "" if action.done_at is None else point(action.done_at, now, zone),
                    typed is not None and action.id in typed.values.get("test", ()),
                )
                for action in source_tests(plan.actions)
            ),
            results=tuple(
                ResultView(
                    fact,
                    lens.question(fact),
                    protocol.vocabulary[fact].label(situation.facts[fact].value)
                    if fact in situation.facts
                    else "",
                    fact in situation.facts and situation.facts[fact].value not in NOT_A_RESULT,
                    tuple(
                        Choice(
                            value,
                            protocol.vocabulary[fact].label(value),
                            value in back.get(fact, ()),
                        )
                        for value in protocol.vocabulary[fact].values
                        if value not in NOT_A_RESULT
                    ),
                )
                for fact in RESULTS
                if fact in protocol.vocabulary
            ),
            consent_wording=site.consent_wording,
            laboratory_phone=site.laboratory_phone,
            take_back=taken_back_at_once(reading.entries, since, refused, by)
            if "correct_entry" in capabilities
            else None,
            may_record="record_facts" in capabilities,
            may_see_identity="see_source_identity" in capabilities,
            identity_known=identity_known,
            recorded=None
            if since is None
            else changed_since(reading, since, "What this changed", protocol, site),
            typed=typed,
            today=now.astimezone(zone).date().isoformat(),
            again=typed.last() if typed is not None else {},
            chase=told(chase_view(reading, site), situation),
            may_settle="sign_plan" in capabilities,
            spans=told(spans(situation, plan.findings.get("significance"), site, now), situation),
            of_patient=is_patient_case(situation),
            hour_not_known=situation.occurred_at_precision in ("hour", "date"),
            chart=tuple(
                f"{INFECTIONS[found.infection]}: {found.status}, of {calendar_day(found.evidence_on)} "
                f"({found.evidence})"
                + ("" if found.status == "positive" else ". That day's negative is no negative now")
                for found in situation.source.chart
            ),
        )


def source_tests(actions: tuple[Action, ...]) -> tuple[Action, ...]:
    """Samples of the source patient that the plan asks for, or that were taken."""
    return tuple(
        action
        for action in actions
        if action.whom == "source"
        and action.kind == "sample"
        and action.state in (*TO_DO, State.DONE)
    )
