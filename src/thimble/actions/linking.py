"""The patient's own protection: a case with the patient as exposed person and the worker as source."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime

from thimble.actions._append import Refused, append, existing
from thimble.actions.identity import IdentityStore, SourceIdentity, WorkerIdentity
from thimble.actions.report import report
from thimble.ledger.entries import Kind
from thimble.ledger.fold import fold
from thimble.ledger.linking import PATIENT_CASE, WORKER_CASE, is_patient_case, linked
from thimble.ledger.situation import Situation
from thimble.ledger.store import LedgerStore, Overtaken
from thimble.protocol.vocabulary import Fact, Value

TOUCHED = "source_touched_again"
"""The fact that makes the patient an exposed person too."""

CARRIED = ("route", "device")
"""Facts of the event that hold for the patient as they do for the worker."""


def open_patient_case(
    store: LedgerStore,
    case: str,
    *,
    identities: IdentityStore,
    vocabulary: Mapping[str, Fact],
    now: datetime,
    by: str,
    role: str,
    expected_position: int | None = None,
) -> str:
    """Open the patient's case beside the worker's, and link each to the other; its reference is returned.

    The time and the instrument are carried over, and that it was blood. Nothing that is known of either
    person's health is: what the worker told for their own care is not the patient's to read, and is asked
    anew, with consent, where the worker is the source. Identities change places in their own store.

    Call it in one transaction of the database that holds both, so that none is ever linked half.

    Raises:
        Refused: the answer that the patient was touched is missing or no; the case is a patient's
            itself; or the patient's case is open already (the sentence names it).
        thimble.ledger.store.Overtaken: somebody wrote to the worker's case first.
    """
    entries = existing(store, case)
    if expected_position is not None and len(entries) > expected_position:
        raise Overtaken(case, entries[expected_position:])
    situation = fold(entries, now, vocabulary)
    _may_open(situation)
    opened = report(
        store,
        facts=_facts(situation),
        occurred_at=situation.occurred_at,
        occurred_at_precision=situation.occurred_at_precision,  # type: ignore[arg-type]
        vocabulary=vocabulary,
        now=now,
        by=by,
        role=role,
        reported_by="clinician",
        contact_left=True,
    ).case
    append(
        store, opened, [(Kind.LINKED, {"case": case, "is": WORKER_CASE})], now=now, by=by, role=role
    )
    append(
        store, case, [(Kind.LINKED, {"case": opened, "is": PATIENT_CASE})], now=now, by=by,
        role=role, expected_position=expected_position,
    )  # fmt: skip
    _change_places(identities, case, opened, by=by, now=now)
    return opened


def _may_open(situation: Situation) -> None:
    if is_patient_case(situation):
        raise Refused("this case is a patient's already; it opens no other")
    if there := linked(situation, PATIENT_CASE):
        raise Refused(f"the patient's case is open already: {there[0]}")
    touched = situation.facts.get(TOUCHED)
    if touched is None or touched.value == "no":
        raise Refused(
            "answer first whether the instrument touched the patient again; the patient's case is "
            "opened when it did, or may have"
        )


def _facts(situation: Situation) -> dict[str, Value]:
    carried = {f: situation.facts[f].value for f in CARRIED if f in situation.facts}
    return {**carried, "fluid": "blood"}


def _change_places(
    identities: IdentityStore, case: str, opened: str, *, by: str, now: datetime
) -> None:
    """The patient as the one who is followed; the worker as the source, by the least that names them."""
    patient, worker = identities.source(case), identities.worker(case)
    if patient is not None:
        identities.save_worker(
            opened,
            WorkerIdentity(
                name=patient.name, date_of_birth=patient.date_of_birth, department=patient.ward
            ),
            by=by, now=now,
        )  # fmt: skip
    if worker is not None:
        identities.save_source(
            opened,
            SourceIdentity(name=worker.name, date_of_birth=worker.date_of_birth),
            by=by, now=now,
        )  # fmt: skip
