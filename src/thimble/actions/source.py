"""Steps with the source patient beyond asking and sampling, and the calls when one takes too long."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any, Unpack

from thimble.actions._append import Refused, Told, Writing, append
from thimble.ledger.entries import Entry, Kind
from thimble.ledger.fold import SOURCE_STEPS
from thimble.ledger.source.chasing import SETTLE
from thimble.ledger.store import LedgerStore

ACCESS: Mapping[str, str] = {
    "consented": "testable",
    "authorised": "testable",
    "sampled": "testable",
    "refused": "refuses",
    "not_identified": "unidentified",
}
"""What a step says of whether the source can be tested. Whoever cannot decide now, died or went home
stays open: whether a test is still possible is for the law and a person to say."""

KNOWN_POSITIVE = {"hiv": "source_hiv", "hbv": "source_hbsag"}
"""What a positive in the chart settles. Hepatitis C may have been cured: it is tested."""


def source_step(
    store: LedgerStore,
    case: str,
    step: str,
    *,
    said: Mapping[str, str] | None = None,
    action: str | None = None,
    **told: Unpack[Told],
) -> list[Entry]:
    """One step, by its name in `fold.SOURCE_STEPS`, with what was said of it (keys of the body).

    Raises:
        Refused: there is no such step, or something said of it does not fit.
        NoSuchCase, Overtaken: as `append`.
    """
    kind = next((kind for kind, name in SOURCE_STEPS.items() if name == step), None)
    if kind is None:
        raise Refused(f"there is no step {step!r}; there are {', '.join(SOURCE_STEPS.values())}")
    body: dict[str, Any] = {key: value for key, value in (said or {}).items() if value}
    if action is not None:
        body["action"] = action
    drafts: list[tuple[Kind, Mapping[str, Any]]] = [(kind, body)]
    # Whether somebody else's word binds is the law's to say: the plan goes by it only once decided.
    own_word = body.get("whom") != "representative" or step not in ("consented", "refused")
    if step in ACCESS and own_word:
        fact = {"facts": {"source_access": ACCESS[step]}, "said_by": "clinician"}
        drafts.append((Kind.FACT_LEARNED, fact))
    return append(store, case, drafts, **told)


def find_status(
    store: LedgerStore,
    case: str,
    *,
    infection: str,
    status: str,
    evidence: str,
    evidence_on: date,
    today: date,
    **told: Unpack[Writing],
) -> list[Entry]:
    """What the chart says of the source, with its evidence and the day that it is of; `today` is the day
    by the calendar of the site.

    A positive for HIV or HBsAg counts from now on and is not tested again. A negative settles nothing:
    it says how things stood on that day.

    Raises:
        Refused: a day still to come, no evidence, or a value that does not fit.
    """
    if evidence_on > today:
        raise Refused("the evidence is of a day that is still to come; write the day of the report")
    body = {
        "infection": infection,
        "status": status,
        "evidence": evidence,
        "evidence_on": evidence_on.isoformat(),
    }
    drafts: list[tuple[Kind, Mapping[str, Any]]] = [(Kind.SOURCE_STATUS_FOUND, body)]
    if status == "positive" and infection in KNOWN_POSITIVE:
        fact = {"facts": {KNOWN_POSITIVE[infection]: "positive"}, "said_by": "record"}
        drafts.append((Kind.FACT_LEARNED, fact))
    return append(store, case, drafts, **told)


def escalate(
    store: LedgerStore,
    case: str,
    *,
    about: str,
    to: str,
    outcome: str,
    answer: str = "",
    **told: Unpack[Told],
) -> list[Entry]:
    """The registrar was called about a step (`source_next` of the tables), and what they answered."""
    body = {"about": about, "to": to, "outcome": outcome, "answer": answer}
    return append(store, case, [(Kind.ESCALATED, body)], **told)


def settle_without(
    store: LedgerStore, case: str, *, reason: str, **told: Unpack[Writing]
) -> list[Entry]:
    """A physician settles the plan without the source's result; a further step takes the chase up again.

    Nothing is said of any infection by it: what is not known stays not known.

    Raises:
        Refused: no reason was given.
    """
    if not reason.strip():
        raise Refused("Say why no result will come, or is waited for no longer.")
    body = {"action": SETTLE, "text": reason.strip()}
    return append(store, case, [(Kind.COUNSELLED, body)], **told)
