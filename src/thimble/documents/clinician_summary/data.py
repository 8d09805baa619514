"""One case on a sheet: what is known, what follows and why, what is open. By reference, never by name."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import datetime, tzinfo
from typing import Any

from thimble.clinical.saying import elapsed, minute, occurrence, stamp
from thimble.clinical.site import Site
from thimble.documents.clinician_summary.decisions import Decision, Decisions, Otherwise
from thimble.documents.clinician_summary.steps import Dose, Step, Steps
from thimble.documents.clinician_summary.telling import Telling, rules_of
from thimble.documents.frame import Contact, Frame, all_contacts, frame, mark_of, unconfirmed
from thimble.documents.record import Record
from thimble.documents.words import ABOUT
from thimble.ledger.bodies import CLOSED_REASONS
from thimble.ledger.clocks import moment_of
from thimble.ledger.exposed import protocol_for, say
from thimble.ledger.plan import Caution, Plan
from thimble.ledger.prophylaxis.told import course_told
from thimble.ledger.signature import SignatureState, signature_of
from thimble.ledger.situation import KnownFact, Situation
from thimble.protocol.protocol import Protocol

_STANDING = {
    SignatureState.UNSIGNED: "No clinician has signed this plan yet.",
    SignatureState.AS_SIGNED: "",
    SignatureState.CHANGED: "The plan has changed since the last signature.",
    SignatureState.OTHER_RULES: "The protocol has changed since the last signature.",
}
_COUNTED = "Limits count from the first moment that it may have been."


@dataclass(frozen=True, slots=True)
class Known:
    """A fact, its value and where it came from."""

    question: str
    value: str
    said_by: str


@dataclass(frozen=True, slots=True)
class Group:
    """The facts about one of exposure, source and worker."""

    title: str
    known: tuple[Known, ...]


@dataclass(frozen=True, slots=True)
class Warned:
    """A caution as shown."""

    text: str
    rules: str
    possible: bool
    unconfirmed: bool


@dataclass(frozen=True, slots=True)
class Signed:
    """A signature in the ledger."""

    by: str
    at: str
    entry: int


@dataclass(frozen=True, slots=True)
class ClinicianSummary:
    """Every word of the sheet."""

    frame: Frame
    source: str
    occurred: str
    since: str
    counted: str
    reported: str
    closed: str
    contradictions: tuple[str, ...]
    decisions: tuple[Decision, ...]
    questions: tuple[Known, ...]
    unknowable: tuple[Known, ...]
    steps: tuple[Step, ...]
    given: tuple[Dose, ...]
    otherwise: tuple[Otherwise, ...]
    cautions: tuple[Warned, ...]
    groups: tuple[Group, ...]
    source_steps: tuple[Known, ...]
    computed: tuple[Known, ...]
    course: tuple[Known, ...]
    signed: tuple[Signed, ...]
    unsigned: str
    contacts: tuple[Contact, ...]
    any_unconfirmed: bool

    def to_data(self) -> dict[str, Any]:
        """For the template."""
        return asdict(self)


def clinician_summary(
    plan: Plan,
    situation: Situation,
    site: Site,
    protocol: Protocol,
    *,
    record: Record | None = None,
) -> ClinicianSummary:
    """The case as of `plan.now`, for a clinician who takes over with nothing else in hand.

    Args:
        record: the entries of the case, for the doses given and for who wrote what.
    """
    zone = site.zone
    kept = record or Record()
    protocol = protocol_for(protocol, situation)
    told_from = (plan, situation, protocol, zone, kept)
    words, deciding, doing = _Words(*told_from), Decisions(*told_from), Steps(*told_from)
    occurred = situation.occurred_at
    decisions, steps, cautions = deciding.decisions(), doing.steps(), words.cautions()
    return ClinicianSummary(
        frame=frame(
            "Clinician’s summary",
            f"As known at {stamp(plan.now, zone)}",
            site,
            plan.now,
            mark_of(protocol),
            situation,
        ),
        source=say("the source patient", situation),
        occurred=(
            occurrence(occurred, situation.occurred_at_precision, zone)
            if occurred
            else "Time not known yet"
        ),
        since=_since(situation, plan.now, zone),
        counted=(
            _COUNTED if occurred and situation.occurred_at_precision in ("hour", "date") else ""
        ),
        reported=minute(situation.reported_at, zone) if situation.reported_at else "",
        closed=(
            f"{minute(situation.closed_at, zone)}: "
            f"{say(CLOSED_REASONS.get(situation.closed_reason, situation.closed_reason), situation)}"
            if situation.closed_at
            else ""
        ),
        contradictions=plan.contradictions,
        decisions=decisions,
        questions=tuple(
            Known(words.question(question.fact), words.decision_list(question.changes), "")
            for question in plan.questions
        ),
        unknowable=tuple(
            Known(words.question(fact), reason, "")
            for fact, reason in situation.cannot_be_known.items()
        ),
        steps=steps,
        given=doing.given(),
        otherwise=deciding.otherwise(),
        cautions=cautions,
        groups=words.groups(),
        source_steps=tuple(
            Known(step.replace("_", " ").capitalize(), minute(at, zone), "")
            for step, at in sorted(situation.source_steps.items(), key=lambda pair: pair[1])
        ),
        computed=tuple(
            Known(name.replace("_", " ").capitalize(), value, "")
            for name, value in plan.computed.items()
        ),
        course=tuple(
            Known(label, value, "")
            for label, value in course_told(situation, protocol.id, plan.now, zone)
        ),
        signed=tuple(
            Signed(kept.who(signed.by, signed.entry), minute(signed.at, zone), signed.entry)
            for signed in situation.signed
        ),
        unsigned=_STANDING[signature_of(plan, situation, protocol, kept.as_signed)],
        contacts=all_contacts(site),
        any_unconfirmed=any(decision.unconfirmed for decision in decisions)
        or any(step.unconfirmed for step in steps)
        or any(caution.unconfirmed for caution in cautions),
    )


class _Words(Telling):
    """The rest of the sheet."""

    def decision_list(self, ids: Sequence[str]) -> str:
        """The decisions among what a question can change; lists follow from them."""
        outputs = self.protocol.outputs
        named = [outputs[id_].label or id_ for id_ in ids if id_ in outputs]
        return "; ".join(named) or "what is to be done or watched for"

    def cautions(self) -> tuple[Warned, ...]:
        return tuple(map(self._caution, self.plan.cautions))

    @staticmethod
    def _caution(caution: Caution) -> Warned:
        return Warned(
            caution.text,
            rules_of(caution.because),
            not caution.certain,
            unconfirmed(caution.because),
        )

    def _said_by(self, known: KnownFact) -> str:
        """Who said it; a clinician by name and role where these are known, and who wrote it down."""
        writer = self.record.writer(known.entry) if known.entry is not None else ""
        if not writer or known.said_by == "worker":
            return say(known.said_by, self.situation)
        return writer if known.said_by == "clinician" else f"{known.said_by}, recorded by {writer}"

    def groups(self) -> tuple[Group, ...]:
        groups = []
        for about, title in ABOUT.items():
            known = []
            for id_, fact in self.protocol.vocabulary.items():
                found = self.situation.facts.get(id_)
                if fact.about == about and found is not None:
                    entry = f", entry {found.entry}" if found.entry is not None else ", computed"
                    at = f", {minute(found.known_at, self.zone)}" if found.known_at else ""
                    said_by = self._said_by(found)
                    known.append(
                        Known(fact.question, fact.label(found.value), f"{said_by}{at}{entry}")
                    )
            if known:
                groups.append(Group(say(title, self.situation), tuple(known)))
        return tuple(groups)


def _since(situation: Situation, now: datetime, zone: tzinfo) -> str:
    """How long ago the exposure was: at most, where it is known to the hour or the date alone."""
    moment = moment_of(situation, zone, now)
    if situation.occurred_at is None or moment.first is None:
        return ""
    at_most = "up to " if moment.first != moment.last else ""
    return f"{at_most}{elapsed(moment.first, now)}"
