"""Every word about the source patient, from plain values. No identity is among them. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from thimble.clinical.site import Site
from thimble.ledger.plan import TO_DO, Action, State
from thimble.protocol.protocol import Protocol
from thimble.web.desk.page import Change, Reading, Typed, changed_since
from thimble.web.desk.plan import Lens
from thimble.web.desk.words import point

STEPS: Mapping[str, tuple[str, str]] = {
    "asked": ("Asked for consent", "Asked now"),
    "consented": ("Consented", "Consented now"),
    "refused": ("Refused", "Refused now"),
    "lacks_capacity": ("Cannot decide now", "Cannot decide now"),
    "sampled": ("Blood taken", "Blood taken now"),
}
"""Each step: its name, and the button that records it."""

RESULTS = ("source_hiv", "source_hiv_load", "source_hbsag", "source_hcv_rna", "source_anti_hcv")
"""What a laboratory says of the source patient."""

NOT_A_RESULT = frozenset({"unknown", "not_tested"})


@dataclass(frozen=True, slots=True)
class StepView:
    """One step with the source patient. `at` is "" while it has not been recorded."""

    id: str
    label: str
    button: str
    at: str


@dataclass(frozen=True, slots=True)
class Choice:
    """One result of a test."""

    value: str
    label: str
    chosen: bool


@dataclass(frozen=True, slots=True)
class ResultView:
    """One test: what stands now, and the results that may be entered."""

    fact: str
    label: str
    now: str
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
    may_record: bool
    may_see_identity: bool
    identity_known: bool
    recorded: Change | None
    typed: Typed | None
    today: str
    again: Mapping[str, str]

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
    ) -> SourcePage:
        """The page at the reading's moment."""
        situation, plan = reading.situation, reading.plan
        now, zone = plan.now, site.zone
        lens = Lens(plan, situation, protocol, zone, {})
        access = situation.facts.get("source_access")
        back = typed.values if typed is not None and typed.form == "result" else {}
        return cls(
            case=reading.case,
            position=reading.position,
            access=""
            if access is None
            else protocol.vocabulary["source_access"].label(access.value),
            refused=access is not None and access.value == "refuses",
            steps=tuple(
                StepView(
                    step,
                    label,
                    button,
                    point(situation.source_steps[step], now, zone)
                    if step in situation.source_steps
                    else "",
                )
                for step, (label, button) in STEPS.items()
            ),
            tests=tuple(
                TestView(
                    action.id,
                    action.what,
                    action.certain,
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
            may_record="record_facts" in capabilities,
            may_see_identity="see_source_identity" in capabilities,
            identity_known=identity_known,
            recorded=None
            if since is None
            else changed_since(reading, since, "What this changed", protocol, site),
            typed=typed,
            today=now.astimezone(zone).date().isoformat(),
            again=typed.last() if typed is not None else {},
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
