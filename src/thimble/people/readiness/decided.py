"""What a physician decided about fitness makes of readiness: evidence alone never overrules it."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

from thimble.clinical.readiness import Readiness, Status
from thimble.ledger.bodies import FITNESS_RESTRICTIONS
from thimble.ledger.fitness import FitnessDecision

REVIEW_DUE = "A physician reviews the decision about fitness first."


def as_decided(
    whole: Readiness, decision: FitnessDecision | None, on: date, exposure_prone: str
) -> Readiness:
    """Where somebody stands on a day under the decision in force.

    Whoever is not fit is not ready, whatever is documented. A decision whose review is due is no yes. Under
    a restriction the work is ready without what it forbids, and no day is said for that.

    Args:
        whole: by what is documented.
        exposure_prone: whether the work holds such procedures, as the file has it.
    """
    if decision is None:
        return whole
    if decision.outcome == "not_fit":
        return _without_a_day(whole, Status.NOT_FIT)
    if decision.due(on):
        status = Status.TO_JUDGE if _nothing_missing(whole) else Status.OPEN
        found = _without_a_day(whole, status)
        return replace(found, open=tuple(dict.fromkeys((*whole.open, REVIEW_DUE))))
    if decision.restriction == "none":
        return whole
    said = replace(whole, restriction=FITNESS_RESTRICTIONS[decision.restriction])
    if exposure_prone == "no" or whole.status not in (Status.READY, Status.READY_WITHOUT):
        return said
    return replace(said, status=Status.READY_WITHOUT, ready_on=None, soonest=None)


def _nothing_missing(whole: Readiness) -> bool:
    return whole.status in (Status.READY, Status.TO_JUDGE)


def _without_a_day(whole: Readiness, status: Status) -> Readiness:
    return replace(whole, status=status, ready_on=None, soonest=None, provided=(), without=None)
