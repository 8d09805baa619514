"""Certificates on the pages of people, in plain values."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from thimble.clinical.diseases import DISEASES
from thimble.clinical.readiness import DiseaseState
from thimble.documents.clearance_certificate.data import on
from thimble.ledger.entries import Entry
from thimble.people.certificates.basis import Basis, doubts
from thimble.people.certificates.checking import Worth
from thimble.people.certificates.issued import Issued
from thimble.people.certificates.limits import LIMITS
from thimble.people.entries import Kind
from thimble.people.fold import Person
from thimble.web.context import zone

WORTHS: Mapping[Worth, str] = {
    Worth.HOLDS: "Holds until {until}",
    Worth.NOT_AT_PRESENT: "Does not hold at present; last day {until}",
    Worth.EXPIRED: "Ran out on {until}",
    Worth.WITHDRAWN: "Withdrawn",
}


@dataclass(frozen=True, slots=True)
class Line:
    """One certificate. `doubts` are sentences that call for a look; `open` while it can be withdrawn,
    `kept` where it can be printed, `unfit` where nobody can say that it still holds."""

    number: str
    state: str
    result: str
    facts: tuple[str, ...]
    doubts: tuple[str, ...]
    open: bool
    withdrawn: bool
    kept: bool
    unfit: bool


@dataclass(frozen=True, slots=True)
class Asked:
    """One thing that the house asks for."""

    name: str
    met: str
    words: str
    confirmed: bool


def lines(
    person: Person,
    entries: Sequence[Entry[Kind]],
    basis: Basis,
    today: date,
    names: Mapping[str, str],
    kept: Sequence[str],
) -> tuple[Line, ...]:
    """The certificates of a person, the newest first. `kept` are the numbers that can be printed."""
    return tuple(
        _line(each, entries, basis, today, names, kept) for each in reversed(person.certificates)
    )


def _line(
    issued: Issued,
    entries: Sequence[Entry[Kind]],
    basis: Basis,
    today: date,
    names: Mapping[str, str],
    kept: Sequence[str],
) -> Line:
    worth = issued.worth(today, basis.decided)
    running = worth in {Worth.HOLDS, Worth.NOT_AT_PRESENT}
    facts = [f"Issued on {on(issued.issued_on)} by {names.get(issued.by, issued.by)}"]
    if running and issued.limited_by != "longest":
        facts.append(f"The last day is {LIMITS[issued.limited_by]}")
    if issued.reason:
        facts.append(f"Why: {issued.reason}")
    if issued.withdrawn is not None:
        who = names.get(issued.withdrawn.by, issued.withdrawn.by)
        facts.append(f"Withdrawn by {who}: {issued.withdrawn.reason}")
    statement = issued.statement
    return Line(
        number=issued.number,
        state=WORTHS[worth].format(until=on(issued.valid_until)),
        result=". ".join(
            part for part in (statement.words, statement.about_exposure_prone) if part
        ),
        facts=tuple(facts),
        doubts=doubts(issued, entries, basis, zone()) if running else (),
        open=running,
        withdrawn=issued.withdrawn is not None,
        kept=issued.number in kept and worth is not Worth.NOT_AT_PRESENT,
        unfit=basis.decided is not None and basis.decided.outcome == "not_fit",
    )


_MET: Mapping[bool | None, str] = {True: "Met", False: "Not met", None: "Not judged by any table"}


def asked(basis: Basis) -> tuple[Asked, ...]:
    """What the house asks for and how each part stands."""
    return tuple(_asked(state) for state in basis.states)


def _asked(state: DiseaseState) -> Asked:
    return Asked(DISEASES[state.disease], _MET[state.satisfied], state.words, state.confirmed)
