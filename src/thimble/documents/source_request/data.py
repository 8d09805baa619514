"""What is asked of the team who look after the source patient. It does not say who was exposed.

No parameter here carries the worker's name, and no fact about the worker is read. The words of
consent are the site's own: law differs, and the hospital answers for them.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from datetime import tzinfo
from typing import Any

from thimble.clinical.saying import minute, occurrence
from thimble.clinical.site import Site
from thimble.documents.frame import Contact, Frame, contact, frame, mark_of, phone, unconfirmed
from thimble.documents.words import window_for_a_person
from thimble.ledger.linking import is_patient_case
from thimble.ledger.plan import TO_DO, Action, Plan
from thimble.ledger.situation import Situation
from thimble.protocol.protocol import Protocol

_SOURCE = "source"
_STEPS = {
    "asked": "Asked",
    "consented": "Agreed",
    "refused": "Refused",
    "lacks_capacity": "Cannot decide for themselves",
    "sampled": "Sample taken",
    "died": "Died",
    "discharged": "Went home",
    "not_identified": "Not identified",
    "authorised": "A decision to test is on record",
}
UNIDENTIFIED = (
    "The source patient is recorded as not identified, so there is no team to ask. If it becomes known "
    "who it was, record that first; then the request can be printed."
)
"""Why there is no request for a source whom nobody knows."""
A_WORKER = (
    "The source is the injured worker, whom no ward looks after. Somebody who does not treat the patient "
    "asks the worker for consent, in person."
)
"""Why there is no request where the source is a worker: the sheet would go round with their name."""

_NO_WORDING = (
    "This hospital has not set its consent wording yet. Use the wording and form of local policy."
)


@dataclass(frozen=True, slots=True)
class Asked:
    """One thing asked of the team; `unless_known`: an answer that they may have makes it needless."""

    what: str
    when: str
    unless_known: bool
    unconfirmed: bool


@dataclass(frozen=True, slots=True)
class Step:
    """What has been done already."""

    what: str
    when: str


@dataclass(frozen=True, slots=True)
class SourceRequest:
    """Every word of the sheet."""

    frame: Frame
    patient: str
    ward: str
    occurred: str
    asked: tuple[Asked, ...]
    steps: tuple[Step, ...]
    consent: tuple[str, ...]
    consent_is_set: bool
    laboratory_phone: str
    answer_to: Contact
    out_of_hours: Contact
    any_unconfirmed: bool

    def to_data(self) -> dict[str, Any]:
        """For the template."""
        return asdict(self)


def why_no_request(situation: Situation) -> str:
    """A sentence that says why nobody can be asked; "" where the request can be made."""
    if is_patient_case(situation):
        return A_WORKER
    access = situation.facts.get("source_access")
    return UNIDENTIFIED if access is not None and access.value == "unidentified" else ""


def source_request(
    plan: Plan,
    situation: Situation,
    site: Site,
    protocol: Protocol,
    *,
    patient: str = "",
    ward: str = "",
) -> SourceRequest:
    """The request as of `plan.now`.

    Args:
        patient: how the team knows the patient (name, number); "" leaves a line to write on, so that
            it need never be typed.
        ward: where the patient is; "" leaves a line.

    Raises:
        ValueError: the source is recorded as not identified (`why_no_request`).
    """
    if why := why_no_request(situation):
        raise ValueError(why)
    wording = site.consent_wording.strip()
    asked = tuple(
        _asked(action, plan, site.zone)
        # Asking comes before any sample.
        for action in sorted(plan.actions, key=lambda action: action.kind != "ask")
        if action.whom == _SOURCE and action.state in TO_DO
    )
    return SourceRequest(
        frame=frame(
            "Request to the source patient’s team",
            "Confidential. For the patient’s own clinicians only.",
            site,
            plan.now,
            mark_of(protocol),
            situation,
        ),
        patient=patient,
        ward=ward,
        occurred=(
            occurrence(situation.occurred_at, situation.occurred_at_precision, site.zone)
            if situation.occurred_at
            else "at a time not known yet"
        ),
        asked=asked,
        steps=tuple(
            Step(_STEPS.get(step, step.replace("_", " ").capitalize()), minute(at, site.zone))
            for step, at in sorted(situation.source_steps.items(), key=lambda pair: pair[1])
        ),
        consent=tuple(part.strip() for part in (wording or _NO_WORDING).split("\n\n")),
        consent_is_set=bool(wording),
        laboratory_phone=phone(site.laboratory_phone),
        answer_to=contact(site.occupational_medicine),
        out_of_hours=contact(site.emergency_department),
        any_unconfirmed=any(item.unconfirmed for item in asked),
    )


def _asked(action: Action, plan: Plan, zone: tzinfo) -> Asked:
    what = {other.id: other.what for other in plan.actions}
    when = window_for_a_person(action.window, plan.now, zone, what.get(action.window.waits_for, ""))
    return Asked(action.what, when, not action.stands, unconfirmed(action.because))
