"""Cases that belong together: a worker's, and that of the patient whom the worker's blood touched."""

from __future__ import annotations

from thimble.ledger.situation import Situation

PATIENT_CASE, WORKER_CASE = "patient_case", "worker_case"
"""What the other case is to this one (ids of `ledger.bodies.LINKS`)."""


def linked(situation: Situation, what: str) -> tuple[str, ...]:
    """The references of the cases that are this to the case, the first one first."""
    return tuple(dict.fromkeys(link.case for link in situation.links if link.what == what))


def is_patient_case(situation: Situation) -> bool:
    """Whether the exposed person is a patient: no worker's exposure, and counted as none."""
    return bool(linked(situation, WORKER_CASE))
