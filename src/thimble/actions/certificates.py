"""Certificates of clearance: issued, withdrawn, found to hold still; and who may decide what."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime

from thimble.actions._append import Refused
from thimble.actions.certificate_papers import CertificatePapers, Paper
from thimble.actions.people import People, append_to, person_of
from thimble.actions.reference import new_code, new_references
from thimble.clinical.diseases import DISEASES
from thimble.clinical.saying import inside
from thimble.clinical.series.deciding import rules as clearance_rules
from thimble.ledger.entries import Entry
from thimble.ledger.fitness import FitnessDecision
from thimble.people.certificates.basis import Basis
from thimble.people.certificates.checking import says_less
from thimble.people.certificates.issued import Issued
from thimble.people.certificates.payload import (
    Payload,
    name_as_signed,
    new_salt,
    person_digest,
)
from thimble.people.certificates.signing import key_of
from thimble.people.certificates.stating import Statement
from thimble.people.entries import Kind
from thimble.people.identity import PersonIdentity

PREFIX = "C-"
"""Begins the number of every certificate."""

Signs = Callable[[bytes], str]
"""Signs a payload: `header.payload.signature` (see `people.certificates.signing`)."""


def why_not(
    identity: PersonIdentity | None,
    basis: Basis,
    statement: Statement,
    *,
    decides: bool,
    reason: str,
) -> list[str]:
    """What stands in the way of a certificate, in sentences; none where it may be issued.

    Args:
        decides: whether whoever issues it may decide otherwise than the tables, and about exposure-prone
            procedures: a physician.
    """
    faults = []
    if identity is None or not identity.name.strip():
        faults.append("The name is missing: a certificate names whom it is about.")
    elif identity.birth_date is None:
        faults.append(
            "The birth date is missing: a certificate tells people of one name apart by it."
        )
    if faults:
        return faults
    if not basis.states:
        faults.append("This house asks for nothing, so nothing can be certified: see the settings.")
        return faults
    if decides:
        if not basis.agrees(statement) and basis.decided is not None:
            faults.append(
                f"The decision about fitness in force says otherwise: {basis.decided_words}. Certify that, "
                "or decide anew."
            )
        if not reason.strip() and not (basis.standard and statement.standard):
            faults.append("Say why: the reason is kept in the file and never printed.")
        return faults
    open_ = [f"{DISEASES[state.disease]}: {inside(state.words)}." for state in basis.unmet]
    if basis.decided is not None:
        open_.append(f"A decision about fitness is in force: {basis.decided_words}.")
    if not statement.standard:
        open_.append("A restriction or exposure-prone procedures are to be certified.")
    if open_:
        faults += [*open_, "A physician decides."]
    return faults


def issue(
    store: People,
    papers: CertificatePapers,
    signs: Signs,
    person: str,
    identity: PersonIdentity | None,
    statement: Statement,
    basis: Basis,
    *,
    issuer: str,
    protocol: str,
    valid_until: date | None = None,
    reason: str = "",
    decides: bool,
    today: date,
    now: datetime,
    by: str,
    role: str,
    expected_position: int | None = None,
) -> Paper:
    """Issue a certificate. Call it in one transaction of both stores.

    Args:
        basis: as of `today`, computed anew and never taken from a form.
        issuer: the house's name, as it is signed.
        protocol: by whose clearance tables hepatitis B was judged.
        valid_until: an earlier last day than the basis allows; None takes the latest, where the
            standard follows from the basis.
        today: the day of `now` in the site's calendar.

    Raises:
        NoSuchPerson, Overtaken.
        Refused: see `why_not`; or the last day lies before today or after what the basis allows.
    """
    held = person_of(store, person, now)
    faults = why_not(identity, basis, statement, decides=decides, reason=reason)
    until, limited_by = basis.limit.until, basis.limit.by
    if valid_until is None and not basis.standard:
        faults.append("Say until when it holds: it does not follow from the tables alone.")
    if valid_until is not None and valid_until > until:
        faults.append(
            f"It holds until {until.isoformat()} at most: {basis.limit.words}; found {valid_until}."
        )
    elif valid_until is not None and valid_until < today:
        faults.append(f"The last day lies no earlier than today, {today.isoformat()}.")
    elif valid_until is not None and valid_until < until:
        until, limited_by = valid_until, "chosen"
    if faults or identity is None or identity.birth_date is None:
        raise Refused(faults)
    salt, name, born = new_salt(), name_as_signed(identity.name), identity.birth_date
    payload = Payload(
        _free_number(papers), issuer, person_digest(name, born, salt), statement, today, until
    )
    proof = signs(payload.to_bytes())
    tables = clearance_rules(protocol)
    body = {
        "number": payload.number,
        "restriction": statement.restriction,
        "exposure_prone": statement.exposure_prone,
        "issued_on": today.isoformat(),
        "valid_until": until.isoformat(),
        "limited_by": limited_by,
        "asked": basis.as_body(),
        "confirmed": basis.confirmed,
        "rules": f"{tables.id} {tables.edition} {tables.digest}",
        "payload": payload.digest,
        "key": key_of(proof),
        "reason": reason.strip(),
    }
    append_to(
        store, person, [(Kind.CERTIFIED, body)], now=now, by=by, role=role,
        expected_position=held.entries if expected_position is None else expected_position,
    )  # fmt: skip
    paper = Paper(payload.number, person, name, born, new_code(), proof, salt)
    papers.keep(paper)
    return paper


def withdraw(
    store: People, person: str, number: str, *, reason: str, now: datetime, by: str, role: str
) -> list[Entry[Kind]]:
    """Withdraw a certificate: whoever is shown it is told so from now on, without the reason.

    Raises:
        NoSuchPerson, Refused: there is none of this number, it is withdrawn already, or no reason is given.
    """
    held = _standing(store, person, number, reason, now)
    draft = (Kind.CERTIFICATE_WITHDRAWN, {"number": held.number, "reason": reason.strip()})
    return append_to(store, person, [draft], now=now, by=by, role=role)


def confirm(
    store: People,
    person: str,
    number: str,
    *,
    reason: str,
    decision: FitnessDecision | None = None,
    decides: bool,
    now: datetime,
    by: str,
    role: str,
    expected_position: int | None = None,
) -> list[Entry[Kind]]:
    """Put on record that somebody looked at what is new in the file, and that the certificate holds still.

    Args:
        decision: the one about fitness in force that they saw. Where it says less than what the certificate
            states, it holds in spite of it from now on, until another is made.

    Raises:
        NoSuchPerson, Overtaken.
        Refused: as `withdraw`; whoever looked is no physician; or the person was found not fit.
    """
    if not decides:
        raise Refused("Whether it holds in spite of what is new is a physician's to decide.")
    held = _standing(store, person, number, reason, now)
    body = {"number": held.number, "reason": reason.strip()}
    if decision is not None and says_less(decision, held.statement):
        if decision.outcome == "not_fit":
            raise Refused(
                "The decision about fitness in force is: not fit. Withdraw the certificate, or decide anew."
            )
        body["in_spite_of"] = decision.restriction
    draft = (Kind.CERTIFICATE_CONFIRMED, body)
    return append_to(
        store, person, [draft], now=now, by=by, role=role, expected_position=expected_position
    )


def _standing(store: People, person: str, number: str, reason: str, now: datetime) -> Issued:
    certificates = person_of(store, person, now).certificates
    held = next((each for each in certificates if each.number == number), None)
    if held is None:
        raise Refused(f"There is no certificate {number} in this file.")
    if held.withdrawn is not None:
        raise Refused("This certificate is withdrawn already.")
    if not reason.strip():
        raise Refused("Say why: the reason is kept in the file and told to nobody else.")
    return held


def _free_number(papers: CertificatePapers) -> str:
    return next(PREFIX + each for each in new_references() if papers.paper(PREFIX + each) is None)
