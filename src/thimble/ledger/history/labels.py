"""What each kind of entry is called."""

from __future__ import annotations

from collections.abc import Mapping

from thimble.ledger.entries import Kind

LABELS: Mapping[Kind, str] = {
    Kind.REPORTED: "Exposure reported",
    Kind.FACT_LEARNED: "Answer recorded",
    Kind.CANNOT_BE_KNOWN: "Cannot be known",
    Kind.FIRST_AID_GIVEN: "First aid given",
    Kind.ASSESSED: "Seen by a clinician",
    Kind.SAMPLE_TAKEN: "Blood taken",
    Kind.RESULT_RECEIVED: "Result received",
    Kind.SOURCE_ASKED: "Source patient asked for consent",
    Kind.SOURCE_CONSENTED: "Source patient consented",
    Kind.SOURCE_REFUSED: "Source patient refused",
    Kind.SOURCE_LACKS_CAPACITY: "Source patient cannot decide now",
    Kind.SOURCE_SAMPLED: "Blood of the source patient taken",
    Kind.SOURCE_DIED: "Source patient died",
    Kind.SOURCE_DISCHARGED: "Source patient went home",
    Kind.SOURCE_NOT_IDENTIFIED: "Nobody knows who the source is",
    Kind.SOURCE_AUTHORISED: "Decided that the source may be tested",
    Kind.SOURCE_STATUS_FOUND: "Status of the source found in the chart",
    Kind.SOURCE_IDENTITY_PURGED: "Who the source was is erased",
    Kind.WORKER_IDENTITY_PURGED: "Who the worker was is erased",
    Kind.ESCALATED: "Registrar called about the source",
    Kind.DOSE_GIVEN: "Dose given",
    Kind.ADVICE_SOUGHT: "Advice sought",
    Kind.ADVICE_GIVEN: "Advice given",
    Kind.TABLETS_HANDED_OUT: "Tablets handed out",
    Kind.DOSES_MISSED: "Doses missed",
    Kind.SIDE_EFFECT: "Side effect",
    Kind.COURSE_REVIEWED: "Course reviewed",
    Kind.COURSE_CHANGED: "Medicine changed",
    Kind.COURSE_STOPPED: "Course ended",
    Kind.COURSE_RESUMED: "Course resumed",
    Kind.COUNSELLED: "Worker counselled",
    Kind.PLAN_SIGNED: "Plan signed",
    Kind.DEPARTED: "Departure from the advice",
    Kind.VISITS_AGREED: "Visits agreed",
    Kind.VISIT_MISSED: "Visit missed",
    Kind.CONTACTED: "Worker contacted",
    Kind.WORKER_AGREED: "What the worker agrees to",
    Kind.REACHING_DECIDED: "Decided about a worker not reached",
    Kind.DOSES_ON_RECORD: "Earlier doses of vaccine",
    Kind.FITNESS_DECIDED: "Fitness decided",
    Kind.LINKED: "Another case belongs to this one",
    Kind.CORRECTED: "Correction",
    Kind.NOTED: "Note",
    Kind.CLOSED: "Case closed",
    Kind.REOPENED: "Case reopened",
}
"""What each kind is called."""
