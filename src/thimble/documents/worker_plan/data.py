"""What the worker's own plan says."""

from __future__ import annotations

import re
from dataclasses import asdict, dataclass
from typing import Any

from thimble.clinical.saying import minute, occurrence, opening
from thimble.clinical.site import Site
from thimble.documents.frame import Contact, Frame, contacts, frame, mark_of, phone, unconfirmed
from thimble.documents.record import Record
from thimble.documents.worker_plan.decisions import Decided, Decisions
from thimble.documents.worker_plan.plain import plain_words
from thimble.documents.worker_plan.tasks import Task, Tasks
from thimble.documents.worker_plan.telling import Telling
from thimble.ledger.exposed import protocol_for, say
from thimble.ledger.plan import Plan, State
from thimble.ledger.prophylaxis.course import course_of
from thimble.ledger.prophylaxis.told import not_covered_words, pack_words
from thimble.ledger.signature import SignatureState, signature_of
from thimble.ledger.situation import Situation
from thimble.protocol.protocol import Protocol

_TAKE = ("first_aid", "dose")
_TESTS = ("sample",)
_ABOUT_THE_WORKER = "worker"


@dataclass(frozen=True, slots=True)
class Line:
    """A question and its answer."""

    label: str
    value: str


@dataclass(frozen=True, slots=True)
class Had:
    """A dose that the worker had: against what, which product, how much, from which batch, when."""

    what: str
    product: str
    amount: str
    batch: str
    when: str


@dataclass(frozen=True, slots=True)
class Signature:
    """Whether a clinician stands behind the sheet: what must be seen, or else who signed and when."""

    warning: str
    words: str


@dataclass(frozen=True, slots=True)
class Sentence:
    """Something to know."""

    text: str
    unconfirmed: bool


@dataclass(frozen=True, slots=True)
class WorkerPlan:
    """Every word of the sheet."""

    frame: Frame
    name: str
    whose: str
    signature: Signature
    happened: tuple[Line, ...]
    decided: tuple[Decided, ...]
    still_open: tuple[Decided, ...]
    take: tuple[Task, ...]
    given: tuple[Had, ...]
    tablets: tuple[str, ...]
    tests: tuple[Task, ...]
    visits: tuple[Task, ...]
    perhaps: tuple[Task, ...]
    protect: tuple[Sentence, ...]
    warnings: tuple[Sentence, ...]
    contacts: tuple[Contact, ...]
    emergency_phone: str
    any_unconfirmed: bool

    def to_data(self) -> dict[str, Any]:
        """For the template."""
        return asdict(self)


def worker_plan(
    plan: Plan,
    situation: Situation,
    site: Site,
    protocol: Protocol,
    *,
    name: str = "",
    record: Record | None = None,
) -> WorkerPlan:
    """The worker's plan as of `plan.now`.

    Args:
        name: the worker's name as they want it on their own sheet; "" leaves a line to write on.
        record: the entries of the case, for the doses given and for who signed.
    """
    protocol = protocol_for(protocol, situation)
    told_from = (plan, situation, site.zone, protocol, record or Record())
    words, to_do = _Words(*told_from), Tasks(*told_from)
    all_mine = [
        action
        for action in plan.actions
        if action.whom == _ABOUT_THE_WORKER and not to_do.too_late_for_first_aid(action)
    ]
    mine = [action for action in all_mine if action.stands or action.state is State.DONE]
    perhaps = to_do.tasks(action for action in all_mine if action not in mine)
    take = to_do.tasks(action for action in mine if action.kind in _TAKE)
    tests = to_do.tasks(action for action in mine if action.kind in _TESTS)
    visits = to_do.tasks(action for action in mine if action.kind not in (*_TAKE, *_TESTS))
    decided = Decisions(*told_from).decisions()
    protect, warnings = words.cautions("precautions"), words.cautions("warning_signs")
    return WorkerPlan(
        frame=frame(
            "Your plan after the exposure",
            "For you to keep. Bring it to every visit.",
            site,
            plan.now,
            mark_of(protocol),
            situation,
        ),
        name=name,
        whose=say("the worker", situation),
        signature=words.signature(),
        happened=words.happened(),
        decided=tuple(item for item in decided if item.settled),
        still_open=tuple(item for item in decided if not item.settled),
        take=take,
        given=words.given(),
        tablets=words.tablets(),
        tests=tests,
        visits=visits,
        perhaps=perhaps,
        protect=protect,
        warnings=warnings,
        contacts=contacts(site),
        emergency_phone=phone(site.emergency_phone),
        any_unconfirmed=any(item.unconfirmed for item in decided)
        or any(task.unconfirmed for task in (*take, *tests, *visits, *perhaps))
        or any(sentence.unconfirmed for sentence in (*protect, *warnings)),
    )


class _Words(Telling):
    """The rest of the sheet."""

    def signature(self) -> Signature:
        """What stands near the top: nobody has signed, or it was signed and reads otherwise now."""
        standing = signature_of(self.plan, self.situation, self.protocol, self.record.as_signed)
        if standing is SignatureState.UNSIGNED:
            return Signature(
                "Not signed yet",
                "No clinician has signed this plan yet, and it may still change. "
                "Ask a clinician to go through it with you and to sign it.",
            )
        last = self.situation.signed[-1]
        signed = f"{self.record.who(last.by, last.entry)}, {minute(last.at, self.zone)}"
        if standing is SignatureState.AS_SIGNED:
            return Signature("", f"Signed by {signed}.")
        why = (
            "The rules that it follows have changed since"
            if standing is SignatureState.OTHER_RULES
            else "What was learned or recorded since has changed it"
        )
        return Signature(
            "Changed since it was signed",
            f"This plan was signed by {signed}. {why}, and nobody has signed it as it reads now. "
            "Ask your clinician about it.",
        )

    def given(self) -> tuple[Had, ...]:
        """The doses that are on record, in the order in which they were given."""
        return tuple(
            Had(
                plain_words().given.get(dose.action, self.what(dose.action)),
                dose.product,
                dose.amount,
                dose.batch,
                minute(dose.at, self.zone),
            )
            for dose in self.record.doses(self.situation.as_of)
        )

    def tablets(self) -> tuple[str, ...]:
        """Which pack covers which days, and the days for which there are none yet."""
        course = course_of(self.situation, self.protocol.id, self.plan.now, self.zone)
        if course is None or course.ended is not None:
            return ()
        rest = not_covered_words(course, self.zone)
        return (*pack_words(course), *((f"{rest}. Fetch the next tablets before",) if rest else ()))

    def happened(self) -> tuple[Line, ...]:
        """When, and the answers about the event itself. Numbers that are only counted stay out."""
        lines = []
        occurred = self.situation.occurred_at
        if occurred is None:
            lines.append(Line("When", "Not known yet"))
        else:
            precision = self.situation.occurred_at_precision
            lines.append(Line("When", occurrence(occurred, precision, self.zone)))
        for id_, fact in self.protocol.vocabulary.items():
            known = self.situation.facts.get(id_)
            if known is not None and fact.about == "exposure" and fact.kind != "number":
                lines.append(Line(self.name(id_), fact.label(known.value)))
        return tuple(lines)

    def cautions(self, topic: str) -> tuple[Sentence, ...]:
        """What may apply is shown like what does: a missing answer never takes a warning away."""
        return tuple(
            Sentence(text, unconfirmed(caution.because))
            for caution in self.plan.cautions
            if caution.topic == topic and (text := self._fitting(caution.text))
        )

    def _fitting(self, text: str) -> str:
        """A precaution without the parts that are not for this worker; "" where nothing is left."""
        for unsaid in plain_words().unsaid:
            known = self.situation.facts.get(unsaid.fact)
            if known is None or known.value not in unsaid.values:
                continue
            parts = re.split(r"(?<=[.;])\s+", text)
            kept = [p for p in parts if not any(w in p.lower() for w in unsaid.phrases)]
            if len(kept) < len(parts):
                left = " ".join(kept).rstrip(";. ")
                text = f"{opening(left)}." if left else ""
        return text
