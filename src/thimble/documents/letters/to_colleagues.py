"""Letters to colleagues: a referral to a specialist, and what the general practitioner is told.

Clinical, to a named recipient, about the worker alone: facts and results of the source patient, and
whatever staff typed, stay in the case. Whoever needs more is asked to call.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import tzinfo

from thimble.clinical.saying import minute, occurrence
from thimble.clinical.serology import (
    Course,
    current,
    tables,
)
from thimble.clinical.site import Site
from thimble.documents.frame import frame, mark_of, unconfirmed
from thimble.documents.letters.letter import (
    Letter,
    Part,
    Table,
    here,
    rests_on,
    results_table,
    still_planned,
)
from thimble.documents.record import Record
from thimble.ledger.exposed import protocol_for, say
from thimble.ledger.exposed import told as said
from thimble.ledger.linking import is_patient_case
from thimble.ledger.plan import Plan
from thimble.ledger.results.clearance import without_source
from thimble.ledger.results.of_worker import WorkersResults
from thimble.ledger.situation import Situation
from thimble.protocol.finding import Reason
from thimble.protocol.protocol import Protocol

SPECIALTIES = {
    "hepatology": "Hepatology",
    "infectious_diseases": "Infectious diseases",
}

QUESTIONS = {
    "confirm": "Please confirm and classify the infection, and take over care.",
    "treat": "Please assess for treatment, and take over care.",
    "unclear": "Please help to read results that are not clear.",
    "medicine": "Please advise on the medicine to prevent HIV: side effects, interactions or a change.",
    "immunity": "Please advise on protection against hepatitis B where vaccination did not lead to it.",
}

PLANNED = ("sample", "dose", "review")
"""Kinds of action that a colleague is told as planned."""

CONFIDENTIAL = (
    "What is known of the source is confidential and not in this letter. Please call if it "
    "bears on your decision."
)
NO_CONSENT = (
    "The worker has not agreed to a letter to the general practitioner. Record the agreement first."
)


@dataclass(frozen=True, slots=True)
class About:
    """Whom a letter is about and to whom it goes: as typed, or as the case's identity has it."""

    to: tuple[str, ...]
    worker: str


def referral(
    plan: Plan,
    situation: Situation,
    site: Site,
    protocol: Protocol,
    course: Course,
    about: About,
    *,
    specialty: str,
    question: str,
    record: Record | None = None,
) -> Letter:
    """A referral as of `plan.now`.

    Args:
        specialty, question: ids of `SPECIALTIES` and `QUESTIONS`.
        record: the entries of the case, for the doses given.

    Raises:
        ValueError: no recipient is named, or an id is none.
    """
    if not about.to:
        raise ValueError("A referral goes to somebody by name.")
    if specialty not in SPECIALTIES or question not in QUESTIONS:
        raise ValueError("Choose to which specialty and with which question the referral goes.")
    protocol = protocol_for(protocol, situation)
    told = _Told(plan, situation, site.zone, protocol, record or Record())
    readings, because = told.readings(course)
    patient = is_patient_case(situation)
    whom = "patient of our hospital" if patient else "member of our hospital's staff"
    return Letter(
        frame=frame(
            f"Referral: {SPECIALTIES[specialty].lower()}", "Confidential medical letter", site,
            plan.now, mark_of(protocol), situation,
        ),
        to=about.to,
        about=about.worker,
        opening=(QUESTIONS[question], f"Thank you for seeing this {whom}."),
        parts=told.with_content(
            Part("The exposure", points=told.exposure()),
            Part(say("Of the worker", situation), points=told.worker()),
            Part("Results", table=told.results()),
            Part("How they read", points=said(readings, situation)),
            Part("Given", table=told.doses()),
            Part("Still planned here", table=told.ahead()),
            Part("", sentences=(CONFIDENTIAL,)),
            Part("To add by hand", by_hand=3),
        ),
        contacts=here(site),
        signed_by="Name and role of the clinician",
        any_unconfirmed=unconfirmed((*because, *rests_on(plan, PLANNED))),
    )  # fmt: skip


def general_practitioner(
    plan: Plan,
    situation: Situation,
    site: Site,
    protocol: Protocol,
    about: About,
    *,
    record: Record | None = None,
) -> Letter:
    """What the general practitioner is told, as of `plan.now`: no result, what was given, what is planned.

    Raises:
        ValueError: the worker has not agreed to it, or no recipient is named.
    """
    if not situation.follow_up.agreements.get("gp_letter"):
        raise ValueError(say(NO_CONSENT, situation))
    if not about.to:
        raise ValueError("The letter goes to somebody by name.")
    protocol = protocol_for(protocol, situation)
    told = _Told(plan, situation, site.zone, protocol, record or Record())
    where = "in our hospital" if is_patient_case(situation) else "at work"
    return Letter(
        frame=frame(
            "To the general practitioner", "Confidential medical letter", site, plan.now,
            mark_of(protocol), situation,
        ),
        to=about.to,
        about=about.worker,
        opening=(
            f"Your patient had an exposure to blood or body fluid {where} and is followed by us. They "
            "agreed that we write to you.",
        ),
        parts=told.with_content(
            Part("The exposure", points=told.exposure()[:1]),
            Part("Given", table=told.doses()),
            Part("Planned here", table=told.ahead()),
            Part(
                "What we ask of you",
                points=(
                    "Before you start a medicine, look at what was given: some interact. Please call.",
                    "With fever, rash, swollen glands, yellow eyes, dark urine or illness without "
                    "a reason, please send them to us, or call, the same day.",
                    "If they come to you and not to us, please ask them to call us.",
                ),
            ),
            Part("", sentences=("Results of tests are with us; your patient decides who sees them.",)),
        ),
        contacts=here(site),
        signed_by="Name and role of the clinician",
        any_unconfirmed=unconfirmed(rests_on(plan, PLANNED)),
    )  # fmt: skip


@dataclass(frozen=True)
class _Told:
    plan: Plan
    situation: Situation
    zone: tzinfo
    protocol: Protocol
    record: Record

    @staticmethod
    def with_content(*parts: Part) -> tuple[Part, ...]:
        return tuple(
            part
            for part in parts
            if part.sentences or part.points or part.by_hand or (part.table and part.table.rows)
        )

    def _facts(self, about: str) -> tuple[str, ...]:
        return tuple(
            f"{fact.question} {fact.label(known.value)}"
            for id_, fact in self.protocol.vocabulary.items()
            if fact.about == about and (known := self.situation.facts.get(id_)) is not None
        )

    def exposure(self) -> tuple[str, ...]:
        occurred, precision = self.situation.occurred_at, self.situation.occurred_at_precision
        when = (
            "At a time that is not known"
            if occurred is None
            else f"On {occurrence(occurred, precision, self.zone)}"
        )
        return (f"{when}.", *self._facts("exposure"))

    def worker(self) -> tuple[str, ...]:
        return self._facts("worker")

    def results(self) -> Table:
        mine = WorkersResults.of(self.situation)
        return results_table(current(mine.results, self.plan.now).settled, self.zone)

    def readings(self, course: Course) -> tuple[tuple[str, ...], tuple[Reason, ...]]:
        """What the worker's results say without the source's, and the rules behind it."""
        mine, alone = WorkersResults.of(self.situation), without_source(course)
        now = self.plan.now
        read = (*mine.at_exposure(alone, now).readings, *mine.since(alone, now).readings)
        said = tuple(
            f"{tables().outputs[r.decision].label}: {r.words}{'' if r.final else ' (not final)'}."
            for r in read
        )
        return tuple(dict.fromkeys(said)), tuple(reason for r in read for reason in r.because)

    def doses(self) -> Table:
        return Table(
            ("Product", "Amount", "Batch", "When"),
            (1.5, 0.8, 0.8, 1.1),
            tuple(
                (dose.product, dose.amount or "–", dose.batch or "–", minute(dose.at, self.zone))
                for dose in self.record.doses(self.situation.as_of)
            ),
        )

    def ahead(self) -> Table:
        return still_planned(self.plan, self.zone, PLANNED)
